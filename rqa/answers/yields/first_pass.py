"""Which steps and tests pass first time: first attempts passed, out of those checked."""

from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import CHECKS, RUNS, CaseList, Count, marked
from rqa.answers.core.job_clusters import by_job_note, effects_of_groups, groups_of, said_of
from rqa.answers.core.result import Answer, names_of, sums_by_group, with_shares
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_values,
    scope,
)
from rqa.answers.core.site_clocks import SiteClocks, site_clocks
from rqa.answers.yields.unheld_jobs import unheld_jobs_note
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES, SHIFTS, STEP_LOG, TEST_LOG
from rqa.measures.run import counts, groupings
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "first_pass_yield"
OF = ("steps", "diagnostics")
GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG, *SHIFTS, *TEST_LOG)
"""month, week: the step's, else those of its job's closing, else of its opening; technician: the step's, else the
job's."""
BY_SHIFT = "first_pass_steps_shifts"
BY_TURNS = "first_pass_steps_turns"
BY_DAY = (BY_TURNS, "first_pass_steps_rows", "first_pass_steps_alone", "first_pass_tests_rows", BY_SHIFT)
"""Measures that read rows, or turns, which have a day, and so can leave out what is dated after the as-of day."""
REST = 6
"""Hours without a logged attempt after which a technician's next one begins a new shift."""


class FirstPassYield(Answer):
    """First-pass yield: exposures, passed, failed, unchecked, yield, low, high."""

    question = "First-pass yield"

    def listed(self) -> CaseList:
        """First attempts at steps, or first runs of diagnostics; by shift from the file that knows shifts."""
        told = {"exposures": Count(("exposure",)), **marked("passed", "failed", "unchecked")}
        if self.settings["of"] == "diagnostics":
            return CaseList("listed_runs", told, rows=RUNS)
        where = self.settings.get("where")
        named = {*names_of(self.settings.get("by")), *(where if isinstance(where, dict) else ())}
        if not named & {*SHIFTS} or self.asked_of is None:
            return CaseList("listed_attempts", told, rows=CHECKS)
        zones = site_clocks(self.asked_of.snapshot.store).zones
        values = {"rest": REST, "sites": list(zones), "zones": list(zones.values())}
        return CaseList("listed_shift_attempts", told, rows=CHECKS, values=values)

    def also_needs(self) -> tuple[str, ...]:
        """The log that its groupings and filters are of."""
        where = self.settings.get("where")
        named = {*names_of(self.settings.get("by")), *(where if isinstance(where, dict) else ())}
        return ("diagnostics",) if {"test", "station"} & named else ("checks",)


def first_pass_yield(
    snapshot: Snapshot,
    by: By = ("step",),
    *,
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
    of: str | None = None,
) -> FirstPassYield:
    """Say what share of first attempts passed, of those that were checked.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, and either step,
    bench, tool, phase, shift, shift_hour, days_since_training, or test, station. With test or station among them, or
    `of` "diagnostics" (else "steps"), the answer is about first runs of diagnostics.

    Columns: exposures (first attempts that passed or failed), passed, failed, unchecked (done without a check or
    skipped; for tests: aborted), yield = passed / exposures with its Wilson interval low, high, which allows for checks
    of one job that go together (`settings["by_job"]`: how many times as much the shares vary, at most). Without
    exposures there is no data: yield, low and high are null.

    >>> r = depot.first_pass_yield().table.drop_nulls("yield").sort("yield")
    >>> r.select("step", "passed", "exposures", "yield").row(0)
    ('fit seal ring', 389, 414, 0.939614)

    The seal ring passes least often: of 414 checked first attempts, 389 were good.
    """
    check_level(QUESTION, level)
    if of is not None:
        check_one_of(QUESTION, "of", of, OF)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    of, measure = chosen(QUESTION, snapshot, asked, tests=of == "diagnostics")
    clocks = site_clocks(snapshot.store) if measure == BY_SHIFT else SiteClocks({})
    table, undated = dated(first_attempts(snapshot, asked, measure, clocks), asked)
    effects = effects_of_groups(snapshot, groups_of(table, asked.by), asked, log=of, level=level)
    settings = {
        "of": of, "as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson", **said_of(effects),
    }
    shares = with_shares(table, part="passed", whole="exposures", share="yield", level=level, design_effect=effects)
    notes = list(snapshot.notes)
    if undated:
        notes.append(
            f"{counted(undated, 'first attempt has', 'first attempts have')} no date and no dated job: in no month."
        )
    unchecked = int(table["unchecked"].sum())
    if unchecked:
        noun = "first run" if of == "diagnostics" else "first attempt"
        what = "aborted" if of == "diagnostics" else "done or skipped unchecked"
        notes.append(f"{counted(unchecked, f'{noun} was', f'{noun}s were')} {what}: not in the yield.")
    notes += (*unheld_jobs_note(snapshot, asked, of), *_shift_notes(asked, clocks), *by_job_note(effects))
    return FirstPassYield(shares, settings, tuple(notes))


def chosen(question: str, snapshot: Snapshot, asked: Scope, *, tests: bool = False) -> tuple[str, str]:
    """What is counted, steps or diagnostics, and the cheapest measure that can say it."""
    of_tests, of_steps = asked.named & set(TEST_LOG), asked.named & {*STEP_LOG, *SHIFTS}
    if of_steps and (of_tests or tests):
        raise RequestError(
            f"{question}: {', '.join(sorted(of_steps))} (step log) and {', '.join(sorted(of_tests)) or 'first runs'} "
            "(diagnostics) cannot be combined in one call. Make two calls."
        )
    if of_tests or tests:
        kept = snapshot.latest and not snapshot.from_rows and "week" not in asked.by
        return "diagnostics", "first_pass_tests" if kept else "first_pass_tests_rows"
    if asked.named & set(SHIFTS):
        return "steps", BY_SHIFT
    for measure in ("first_pass_steps", BY_TURNS, "first_pass_steps_alone", "first_pass_steps_rows"):
        if measure in ("first_pass_steps", BY_TURNS) and snapshot.from_rows:
            continue
        if measure == "first_pass_steps" and not snapshot.latest:
            continue
        if asked.named <= set(groupings(measure)):
            return "steps", measure
    return "steps", "first_pass_steps_rows"


def first_attempts(snapshot: Snapshot, asked: Scope, measure: str, clocks: SiteClocks | None = None) -> "pl.DataFrame":
    """Counts of first attempts by group."""
    values: dict[str, object] = {"as_of": snapshot.day} if measure in BY_DAY else {}
    if measure == BY_SHIFT:
        zones = clocks.zones if clocks else {}
        values |= {"rest": REST, "sites": list(zones), "zones": list(zones.values())}
    table = counts(snapshot.store, measure, by=asked.by, where=asked.where, months=asked.months, values=values)
    return by_group(table, asked.by) if measure in BY_DAY else table


def by_group(table: "pl.DataFrame", by: tuple[str, ...]) -> "pl.DataFrame":
    """A row a group, in the order of the groups, from a row a group and outcome."""
    import polars as pl

    outcome = pl.col("outcome")
    checked = outcome.is_in(["pass", "fail"])
    return sums_by_group(
        table, by, "attempts",
        exposures=checked, passed=outcome == "pass", failed=outcome == "fail", unchecked=~checked,
    )


def _shift_notes(asked: Scope, clocks: SiteClocks) -> list[str]:
    notes = []
    if asked.named & {"shift", "shift_hour"}:
        notes.append(
            "The logs hold no rota: a shift is taken to begin with a technician's logged attempt after "
            f"{REST} hours or more without one. early: begun from 4 to before 12 on the site's own clock, late: from "
            "12 to before 20, night: else. shift_hour 01 is its first hour, 13 stands for all from the thirteenth on."
        )
        if clocks.note:
            notes.append(clocks.note)
    if "days_since_training" in asked.named:
        notes.append(
            "The logs hold no training as such: taken are the actions with a technician in their scope (technician=…), "
            "whatever they were about. Who was trained was chosen for a reason, and practice grows meanwhile."
        )
    return notes


def dated(table: "pl.DataFrame", asked: Scope) -> tuple["pl.DataFrame", int]:
    """The rows that belong to a period when months or weeks are asked for, in order; how many counts belong to none."""
    import polars as pl

    periods = [name for name in PERIODS if name in asked.by]
    if not periods:
        return (table.sort(asked.by) if asked.by else table), 0
    period = periods[0]
    none = table.filter(pl.col(period).is_null())
    sizes = [name for name in ("exposures", "unchecked", "jobs") if name in table.columns]
    undated = sum(int(none[name].sum()) for name in sizes)
    return table.filter(pl.col(period).is_not_null()).sort(asked.by), undated
