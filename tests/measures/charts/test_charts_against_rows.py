"""What control charts are made of, against a slow row loop, on depots full of ties and overlaps."""

from datetime import date, timedelta
from typing import Any

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import depot_of
from tests.examples import examples
from tests.measures import by_hand
from tests.measures.charts import by_hand_charts
from tests.measures.small_depots import START, tables

FEW = settings(
    max_examples=examples(20), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
JOB_LEVEL = ("month", "week", "site", "model", "procedure", "technician", "billing")
as_ofs = st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d))
maybe = st.sampled_from


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(maybe(names), unique=True, max_size=3).map(tuple)


def values(window: int, as_of: date) -> dict[str, object]:
    return {"window": window, "as_of": as_of, "disposition": "repaired"}


@st.composite
def measured_tables(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """Small depots in which some rows hold a reading."""
    data = draw(tables())
    reading = st.one_of(st.none(), maybe((0.0, 1.5, 90.0)))
    for job in data["jobs"]:
        job["labour_minutes"] = draw(reading)
    for row in (*data["steps"], *data["diagnostics"]):
        row["value"] = draw(reading)
    for row in data["diagnostics"]:
        row["unit"], row["lower_limit"], row["upper_limit"] = draw(maybe(((None, None, None), ("V", 1.0, None))))
    return data


@FEW
@given(data=tables(), as_of=as_ofs, window=maybe((0, 5, 30)), by=groups(*JOB_LEVEL))
def test_gaps_between_come_backs(data: dict[str, Any], as_of: date, window: int, by: tuple[str, ...]) -> None:
    expected = by_hand_charts.gaps(data, by, window=window, as_of=as_of)
    with depot_of(data) as depot:
        table = counts(depot._store, "comeback_gaps", by=by, values=values(window, as_of))
    found: dict[Any, list[Any]] = {}
    for row in table.sort("place").iter_rows(named=True):
        found.setdefault(tuple(row[b] for b in by), []).append((row["closed_on"], row["jobs_between"]))
    assert table.schema["jobs_between"] == pl.Int64
    assert found == expected


@FEW
@given(data=tables(), as_of=as_ofs, window=maybe((0, 5, 30)), by=groups("month", "site", "model", "billing"))
def test_days_of_come_backs(data: dict[str, Any], as_of: date, window: int, by: tuple[str, ...]) -> None:
    expected = by_hand_charts.return_days(data, by, window=window, as_of=as_of)
    with depot_of(data) as depot:
        table = counts(depot._store, "comeback_days", by=by, values=values(window, as_of))
    assert {tuple(r[:-1]): r[-1] for r in table.iter_rows()} == dict(expected)


@FEW
@given(data=tables(), as_of=as_ofs, window=maybe((0, 5, 30)), by=groups(*JOB_LEVEL))
def test_jobs_one_by_one(data: dict[str, Any], as_of: date, window: int, by: tuple[str, ...]) -> None:
    expected = by_hand_charts.matured(data, window=window, as_of=as_of)
    with depot_of(data) as depot:
        table = counts(depot._store, "comeback_sequence", by=by, values=values(window, as_of))
    keys = [by_hand_charts.key_of(by, None, job, job["closed_on"], data) for job, _ in expected]
    assert [tuple(r[b] for b in by) for r in table.iter_rows(named=True)] == keys
    assert table["returned"].to_list() == [int(came_back) for _, came_back in expected]
    assert table["place"].to_list() == list(range(1, len(expected) + 1))


@FEW
@given(data=tables(), as_of=as_ofs, by=groups(*JOB_LEVEL))
def test_failed_checks(data: dict[str, Any], as_of: date, by: tuple[str, ...]) -> None:
    expected = by_hand_charts.failed_checks(data, by, as_of)
    with depot_of(data) as depot:
        table = counts(depot._store, "failed_checks", by=by, values={"as_of": as_of})
    found = {tuple(r[:-2]): (r[-2], r[-1]) for r in table.iter_rows()}
    assert found == (expected if by else {(): expected.get((), (0, 0))})


@FEW
@given(data=measured_tables(), as_of=as_ofs, by=groups(*JOB_LEVEL), of=maybe(("jobs", "steps", "tests")))
def test_measured_values(data: dict[str, Any], as_of: date, by: tuple[str, ...], of: str) -> None:
    by = (*by, *{"jobs": (), "steps": ("step",), "tests": ("test", "station")}[of])
    expected = by_hand_charts.measured(data, of, by, as_of)
    with depot_of(data) as depot:
        table = counts(depot._store, f"measured_{of}", by=by, values={"as_of": as_of})
    assert table.schema["readings"] == pl.Int64
    assert {tuple(r[:-1]): r[-1] for r in table.iter_rows()} == dict(expected)


@FEW
@given(data=tables(), as_of=as_ofs, window=maybe((0, 30)))
def test_weeks_are_iso_weeks_in_every_measure(data: dict[str, Any], as_of: date, window: int) -> None:
    """Counts by day sum to the same weeks: of the come-backs from the kept counts, the links and the definition."""
    expected: dict[date, tuple[int, int]] = {}
    for job, came_back in by_hand_charts.matured(data, window=window, as_of=as_of):
        week = by_hand_charts.first_day(job["closed_on"], "week")
        assert week is not None
        jobs, back = expected.get(week, (0, 0))
        expected[week] = (jobs + 1, back + came_back)
    with depot_of(data) as depot:
        for measure in ("comebacks", "comebacks_rows"):
            table = counts(depot._store, measure, by=("week",), values=values(window, as_of))
            table = table.group_by("week").agg(pl.col("matured", "returned").sum()).filter(pl.col("matured") > 0)
            assert {r[0]: (r[1], r[2]) for r in table.iter_rows()} == expected
        table = counts(depot._store, "clean_jobs_rows", by=("week",), values={"as_of": as_of})
        days = by_hand.clean_jobs(data, ("month",), as_of)
        assert table.filter(pl.col("week").is_not_null())["jobs"].sum() == sum(n for n, _ in days.values())


@FEW
@given(data=tables(), as_of=as_ofs, by=groups("site", "model", "step", "technician"))
def test_first_passes_by_week(data: dict[str, Any], as_of: date, by: tuple[str, ...]) -> None:
    """First attempts of each week, by the step's own day or else its job's, whatever file counts them."""
    jobs = {j["job_id"]: j for j in data["jobs"]}
    expected: dict[Any, tuple[int, int]] = {}
    for s in data["steps"]:
        job = jobs.get(s["job_id"])
        day = by_hand.step_day(s, job)
        if s["attempt"] != 1 or day is None or day > as_of:
            continue
        key = by_hand_charts.key_of((*by, "week"), s, job, day, data)
        seen, passed = expected.get(key, (0, 0))
        checked = s["outcome"] in ("pass", "fail")
        expected[key] = (seen + checked, passed + (s["outcome"] == "pass"))
    with depot_of(data, as_of) as depot:
        table = depot.first_pass_yield(by=(*by, "week")).table
    assert {tuple(r[c] for c in (*by, "week")): (r["exposures"], r["passed"]) for r in table.to_dicts()} == expected
