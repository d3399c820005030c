"""Outcomes, retest passes, escapes and releases against a slow row loop, on depots full of ties, gaps and odd times."""

from datetime import date, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.tests.retests import by_group
from rqa.measures.run import counts
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.small_depots import START, SUBSYSTEMS, jobs, maybe, procedures
from tests.measures.tests import by_hand_diagnostics as by_hand

FEW = settings(
    max_examples=examples(12), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
JOB_NAMES = ("month", "site", "model", "procedure", "technician", "billing")
SITES = ("Alder", "Birch", "unknown")
as_ofs = st.one_of(st.none(), st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d)))
windows = st.sampled_from((0, 30, 90))


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(names), unique=True, max_size=2).map(tuple)


@st.composite
def runs_and_work(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Small depots in which runs and step attempts lie close together, and tests are known in part."""
    made = {"jobs": draw(jobs()), "procedures": draw(procedures()), "steps": [], "diagnostics": []}
    opened = {j["job_id"]: j["opened_at"] for j in made["jobs"]}
    for number in range(draw(st.integers(0, 10))):
        job = f"J{number}"
        start = opened.get(job, START)
        hours = st.integers(0, 4).map(lambda h, start=start: start + timedelta(hours=h))
        for place in range(draw(st.integers(0, 2))):
            for attempt in range(1, draw(st.integers(1, 2)) + 1):
                ended = draw(maybe((None, 1, 2, 3, 4)))
                ended = None if ended is None else start + timedelta(hours=ended)
                began = draw(maybe((None, 0, 1)))
                began = None if began is None else (start if ended is None else ended) - timedelta(hours=began)
                made["steps"].append(completed("steps", {
                    "job_id": job, "step_seq": place, "attempt": attempt, "started_at": began, "ended_at": ended,
                    "step": draw(maybe(("open case", "seat board", "close case"))),
                    "outcome": draw(maybe(("pass", "fail", "done", "skipped"))),
                }))
        for test in sorted(draw(st.sets(maybe(("charge", "soak", "touch"))))):
            first = draw(maybe((1, 1, 1, 2)))
            for run in range(first, first + draw(st.integers(1, 3))):
                made["diagnostics"].append(completed("diagnostics", {
                    "job_id": job, "test": test, "run": run, "run_at": draw(hours),
                    "outcome": draw(maybe(("pass", "pass", "fail", "aborted"))),
                    "station": draw(maybe((None, "S1", "S2"))),
                }))
    known = sorted(draw(st.sets(maybe(("charge", "touch")))))
    made["tests"] = [{"test": test, "subsystem": draw(maybe(SUBSYSTEMS))} for test in known]
    return made


@FEW
@given(data=runs_and_work(), as_of=as_ofs, by=groups(*JOB_NAMES, "test", "station"), unlogged=st.sets(maybe(SITES)))
def test_outcomes_retest_passes_and_alarms(
    data: dict[str, Any], as_of: date | None, by: tuple[str, ...], unlogged: set[str]
) -> None:
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        asked = {"by": by, "values": {"as_of": day}}
        ended = counts(depot._store, "diagnostic_outcomes", **asked)
        jobs_there = counts(depot._store, "diagnostic_jobs", **asked)
        values = {"as_of": day, "unlogged": sorted(unlogged)}
        again = by_group(counts(depot._store, "retests", by=by, values=values), by)
        alarms = counts(depot._store, "diagnostic_alarms", **asked)
    width = len(by)
    whole = by_hand.outcomes(data, by, day)
    assert {r[:width]: r[width:] for r in ended.rows()} == (
        {key: row[:-1] for key, row in whole.items()} if by or whole else {(): (0,) * 6}
    )
    assert {r[:width]: r[width] for r in jobs_there.rows()} == (
        {key: row[-1] for key, row in whole.items()} if by or whole else {(): 0}
    )
    for found, expected, zero in (
        (again, by_hand.retests(data, by, day, unlogged), (0,) * 9), (alarms, by_hand.alarms(data, by, day), (0,) * 4),
    ):
        assert {r[:width]: r[width:] for r in found.rows()} == (expected if by or expected else {(): zero})


@FEW
@given(data=runs_and_work(), as_of=as_ofs, by=groups(*JOB_NAMES, "test", "subsystem"), window=windows)
def test_what_escaped_and_what_was_caught(
    data: dict[str, Any], as_of: date | None, by: tuple[str, ...], window: int
) -> None:
    plain = tuple(n for n in by if n not in ("test", "subsystem"))
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        values = {"as_of": day, "window": window, "disposition": "repaired"}
        found = counts(depot._store, "escapes", by=by, values=values)
        days = counts(depot._store, "escapes_days", by=by, values=values)
        covered = counts(depot._store, "escapes_coverage", by=plain, values=values)
    expected, by_day = by_hand.escapes(data, by, as_of=day, window=window)
    assert {r[: len(by) + 1]: r[len(by) + 1 :] for r in found.rows()} == expected
    assert {r[:-1]: r[-1] for r in days.rows()} == dict(by_day)
    assert {r[:-1]: r[-1] for r in covered.rows()} == dict(by_hand.coverage(data, plain, as_of=day, window=window))


@FEW
@given(
    data=runs_and_work(), as_of=as_ofs, by=groups(*JOB_NAMES), window=windows, usual=st.sampled_from((0.3, 0.8, 1.0)),
    untold=st.sets(st.integers(0, 5), max_size=2),
)
def test_what_was_released(
    data: dict[str, Any], as_of: date | None, by: tuple[str, ...], window: int, usual: float, untold: set[int]
) -> None:
    """Some jobs have runs that the load refused; rows of another table, or of no job, refuse nothing here."""
    jobs = [data["jobs"][i % len(data["jobs"])]["job_id"] for i in sorted(untold) if data["jobs"]]
    refused = [{"table_name": "diagnostics", "job_id": job_id} for job_id in [*jobs, None]]
    refused += [{"table_name": "steps", "job_id": j["job_id"]} for j in data["jobs"]]
    data = {**data, "refused": refused}
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        values = {"as_of": day, "window": window, "disposition": "repaired", "usual": usual, "min_cases": 2}
        found = counts(depot._store, "release_checks", by=by, values=values)
        listed = counts(depot._store, "release_list", values={**values, "limit": 1000})
    asked = {"as_of": day, "usual": usual, "min_cases": 2}
    assert {r[:-3]: r[-3:] for r in found.rows()} == by_hand.release_checks(data, by, window=window, **asked)
    assert set(listed.select("job_id", "check", "test").rows()) == by_hand.release_list(data, **asked)
    assert listed.height == listed.select("job_id", "check", "test").unique().height
