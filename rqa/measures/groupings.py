"""What each measure can be grouped by and filtered on: a closed mapping from the names of the trade to SQL.

A name stands for one expression over the file's own tables. Nothing else ever becomes part of a query's text: the
values of filters are bound.
"""

from collections.abc import Iterable, Mapping, Sequence

from rqa.errors import RequestError
from rqa.words import did_you_mean

Groupings = Mapping[str, str]

JOB_NAMES = ("site", "model", "procedure", "technician", "billing")
STEP_LOG = ("step", "bench", "tool", "phase")
"""Groupings that need a job's step log."""
SHIFTS = ("shift", "shift_hour", "days_since_training")
"""Groupings by when in the working day, or how long after a training, an attempt was made."""
TEST_LOG = ("test", "station")
"""Groupings that need a job's diagnostics."""
PARTS_LIST = ("part_no", "lot")
"""Groupings that need a job's parts list."""


def _known(alias: str, names: Iterable[str]) -> dict[str, str]:
    return {name: f"coalesce({alias}.{name}, 'unknown')" for name in names}


def _plain(alias: str, names: Iterable[str]) -> dict[str, str]:
    return {name: f"{alias}.{name}" for name in names}


def _month(day: str) -> str:
    return f"cast(date_trunc('month', {day}) as date)"


def _periods(day: str) -> dict[str, str]:
    """The month and the ISO week (from Monday) of a day, by their first days."""
    return {"month": _month(day), "week": f"cast(date_trunc('week', {day}) as date)"}


_LINK = {**_periods("l.closed_on"), "month": "l.closed_month", **_known("l", JOB_NAMES)}
_FITTED = {"part_no": "f.part_no", "lot": "coalesce(f.lot, 'unknown')"}
_UNIT = {"month": _month("u.first_on"), **_plain("u", JOB_NAMES)}
"""A unit belongs to the group of its first index job."""
_PHASE = "coalesce(p.phase, 'unknown')"
_JOB_DAY = "coalesce(j.closed_on, j.opened_on)"
_ATTEMPT = {
    **_periods("s.day"),
    **_known("s", JOB_NAMES),
    "step": "s.step",
    **_known("s", ("bench", "tool")),
    "phase": _PHASE,
}
_RETURN_DAY = "c.closed_on + cast(c.elapsed_days as integer)"
_STEP_TECHNICIAN = "coalesce(s.technician, j.technician, 'unknown')"
_RUN = {**_periods("d.run_on"), **_known("j", JOB_NAMES), **_known("d", ("station",)), "test": "d.test"}
_FIRST_RUN: Groupings = _RUN

MEASURES: Mapping[str, Groupings] = {
    "comebacks": {**_periods("c.closed_on"), **_plain("c", JOB_NAMES)},
    "comebacks_rows": _LINK,
    "comebacks_by_step": {**_LINK, "step": "s.step", **_known("s", ("bench", "tool")), "phase": _PHASE},
    "comebacks_by_test": {**_LINK, "test": "d.test", **_known("d", ("station",))},
    "first_pass_steps": _plain("c", ("month", *JOB_NAMES, "step")),
    "first_pass_steps_rows": _ATTEMPT,
    "step_checks_by_job": _ATTEMPT,
    "test_runs_by_job": _FIRST_RUN,
    "first_pass_steps_alone": {
        **_periods("a.day"),
        "step": "a.step",
        **_known("a", ("technician", "bench", "tool")),
    },
    "first_pass_tests": _plain("c", ("month", *JOB_NAMES, "station", "test")),
    "first_pass_tests_rows": _FIRST_RUN,
    "clean_jobs": _plain("c", ("month", *JOB_NAMES)),
    "clean_jobs_rows": {**_periods(_JOB_DAY), **_known("j", JOB_NAMES)},
    "comeback_gaps": _LINK,
    "comeback_days": {"month": _month(_RETURN_DAY), **_plain("c", JOB_NAMES)},
    "comeback_sequence": _LINK,
    "follow_up": {**_periods("c.closed_on"), **_plain("c", JOB_NAMES)},
    "follow_up_by_step": {**_LINK, "step": "s.step", **_known("s", ("bench", "tool")), "phase": _PHASE},
    "follow_up_by_test": {**_LINK, "test": "d.test", **_known("d", ("station",))},
    "follow_up_by_part": {**_LINK, **_FITTED},
    "left_service": _LINK,
    "lot_months": {},
    "closing_days": {**_periods("c.closed_on"), **_plain("c", JOB_NAMES)},
    "service_months": {**_periods("c.closed_on"), **_plain("c", JOB_NAMES)},
    "service_months_by_part": {**_LINK, **_FITTED},
    "recurrence_counts": _UNIT,
    "returns_per_unit": _UNIT,
    "most_returns": _UNIT,
    "bursts_comebacks": {},
    "bursts_checks": {},
    "co_failures": {},
    "signatures": {},
    "signatures_placed": {},
    "comeback_findings": _LINK,
    "comeback_marks": _LINK,
    "attribution": _LINK,
    "attribution_causes": {},
    "step_touches": {},
    "step_comebacks": {**_LINK, "step": "s.step", **_known("s", ("bench", "tool"))},
    "step_comebacks_bench": _LINK,
    "step_exposure": {**_ATTEMPT, **_FITTED},
    "comeback_costs": {
        **_periods("l.return_opened_on"),
        **_known("l", ("site", "model", "procedure", "billing")),
        "class": "l.class",
        "found": "case when l.class in ('repeat', 'workmanship', 'new_fault') then l.found else '' end",
    },
    "diagnostic_outcomes": _RUN,
    "diagnostic_covered": {},
    "diagnostic_jobs": _RUN,
    "diagnostic_alarms": _RUN,
    "retests": _RUN,
    "escapes": {**_LINK, "test": "d.test", "subsystem": "t.subsystem"},
    "escapes_days": {**_LINK, "test": "d.test", "subsystem": "t.subsystem"},
    "escapes_coverage": _LINK,
    "release_checks": {**_periods("j.closed_on"), **_known("j", JOB_NAMES)},
    "release_list": {**_periods("j.closed_on"), **_known("j", JOB_NAMES)},
    "release_untold": {**_periods("j.closed_on"), **_known("j", JOB_NAMES)},
    "failed_checks": {**_periods(_JOB_DAY), **_known("j", JOB_NAMES)},
    "first_pass_steps_shifts": {
        **_periods("w.day"),
        **_known("w", JOB_NAMES),
        "step": "w.step",
        **_known("w", ("bench", "tool", "phase")),
        **_plain("w", SHIFTS),
    },
    "rework": _ATTEMPT,
    "rework_routes": _ATTEMPT,
    "failures": {**_ATTEMPT, "fault": "coalesce(s.fault, 'unknown')"},
    "defects": _ATTEMPT,
    "booked_labour": {**_periods(_JOB_DAY), **_known("j", JOB_NAMES)},
    "practice": _plain("n", ("technician", "procedure")),
    "measured_jobs": {**_periods("j.closed_on"), **_known("j", JOB_NAMES)},
    "measured_steps": {name: expression for name, expression in _ATTEMPT.items() if name != "phase"},
    "measured_tests": {
        **_periods("d.run_on"),
        **_known("j", JOB_NAMES),
        **_known("d", ("station",)),
        "test": "d.test",
    },
    "readings_by_value": _RUN,
    "station_values": {**_RUN, **_plain("d", ("station",))},
    "retest_pairs": _RUN,
    "test_limits": {"test": "d.test"},
    "study_judgements": {},
    "limit_values": {**_LINK, "test": "f.test"},
    "conformance": {
        **_periods("j.closed_on"),
        **_known("j", JOB_NAMES),
        "bench": "case when m.first_bench = m.last_bench then m.first_bench "
        "when m.first_bench is null then 'unknown' else 'several' end",
    },
    "battery_breaches": {**_periods("j.closed_on"), **_known("j", ("site", "model", "procedure", "billing"))},
    "battery_looked_at": {**_periods("j.closed_on"), **_known("j", ("site", "model", "procedure", "billing"))},
    "actions": {},
    "action_jobs": _known("l", JOB_NAMES),
    "first_closing": _plain("c", JOB_NAMES),
    "scope_overlap": _known("l", JOB_NAMES),
    "scope_steps": _known("j", JOB_NAMES),
    "action_checks": {**_known("j", JOB_NAMES), "technician": _STEP_TECHNICIAN},
    "touched_by_step": {},
    "targets": {},
    "values_jobs": _known("j", JOB_NAMES),
    "values_steps": _plain("c", ("step", "technician")),
    "values_tests": _plain("c", ("test", "station")),
    "values_attempts": {**_known("s", ("technician", "bench", "tool", "fault"))},
    "values_parts": _FITTED,
    "values_subsystems": _plain("t", ("subsystem",)),
    "clocks": {},
    "latest": {},
    "grounds": {},
    "known_by_site": {},
    "overlaps": {},
    "declared_names": {},
    "procedure_steps": {},
    "unusable_rules": {},
    "overlap_count": {},
    "loads": {},
    "views": {},
    "refused": {},
    "refused_rows": {},
    "remarks": {},
    "loose_ends": {},
}
"""Every measure's file, with the groupings it allows."""


def names_only(question: str, what: str, given: Iterable[str], allowed: Sequence[str]) -> None:
    """Raise `RequestError` for a name that is not among the allowed ones, saying what exists."""
    unknown = [name for name in given if name not in allowed]
    if unknown:
        listed = ", ".join(repr(name) for name in unknown)
        meant = did_you_mean(str(unknown[0]), allowed)
        raise RequestError(f"{question}: there is no {what} {listed}. There is: {', '.join(allowed) or 'none'}.{meant}")
