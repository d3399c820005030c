"""Measured values, stations, limits and pairs of runs against a slow row loop, on depots full of ties and gaps."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import depot_of
from tests.measures import by_hand_measured as hand
from tests.measures.small_depots import START, SUBSYSTEMS, maybe, tables

SLOW = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
as_ofs = st.integers(0, 130).map(lambda d: START.date() + timedelta(days=d))
NAMES = ("month", "site", "model", "technician", "station", "test")


@st.composite
def measured(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """A small depot whose tests measure something, against limits that change, with work between runs or not."""
    made = draw(tables())
    for run in made["diagnostics"]:
        run["value"] = draw(maybe((None, 1.0, 1.5, 2.0, 2.25, 9.0)))
        run["unit"] = draw(maybe(("V", "V", None)))
        run["lower_limit"], run["upper_limit"] = draw(maybe(((None, None), (1.5, 2.0), (None, 2.0), (1.2, None))))
        run["station"] = draw(maybe((None, "S1", "S2")))
        run["outcome"] = draw(maybe(("pass", "pass", "fail", "aborted")))
    for step in made["steps"]:
        step["started_at"] = draw(maybe((None, step["ended_at"])))
    for job in made["jobs"]:
        job["disposition"] = draw(maybe((job["disposition"], "repaired")))
        if job["closed_at"] is None and job["disposition"] == "repaired":
            job["closed_at"] = job["opened_at"] + timedelta(days=1)
            job["closed_on"] = job["closed_at"].date()
    made["tests"] = [{"test": "charge", "subsystem": draw(maybe(SUBSYSTEMS))}]
    return made


def groups(*names: str) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(names), unique=True, max_size=3).map(tuple)


def asked(data: Any, as_of: date, measure: str, by: tuple[str, ...], **values: Any) -> list[tuple[Any, ...]]:
    with depot_of(data, as_of) as depot:
        return counts(depot._store, measure, by=by, values={"as_of": as_of, **values}).rows()


def apart(found: list[tuple[Any, ...]], due: dict[tuple[Any, ...], tuple[float, ...]], keys: int) -> list[str]:
    """Rows that differ, in words; sums are of a few halves and quarters, so they are exact."""
    seen = {row[:keys]: row[keys:] for row in found}
    return [f"{key}: {seen.get(key)} for {due.get(key)}" for key in {*seen, *due} if seen.get(key) != due.get(key)]


@SLOW
@given(data=measured(), as_of=as_ofs, by=groups(*NAMES))
def test_counts_by_value(data: Any, as_of: date, by: tuple[str, ...]) -> None:
    found = asked(data, as_of, "readings_by_value", by)
    assert not apart(found, hand.by_value(data, by, as_of), len(by) + 4)


@SLOW
@given(data=measured(), as_of=as_ofs, by=groups("site", "test"), period=maybe(("month", "week")))
def test_stations_on_like_work(data: Any, as_of: date, by: tuple[str, ...], period: str) -> None:
    found = asked(data, as_of, "station_values", by, period=period)
    assert not apart(found, hand.by_station(data, by, as_of, period), len(by) + 5)


@SLOW
@given(data=measured(), as_of=as_ofs, by=groups(*NAMES))
def test_pairs_of_runs(data: Any, as_of: date, by: tuple[str, ...]) -> None:
    found = asked(data, as_of, "retest_pairs", by)
    assert not apart(found, hand.pairs(data, by, as_of), len(by) + 5)


@SLOW
@given(
    data=measured(), as_of=as_ofs, by=groups("month", "site", "model", "test"), side=maybe(("upper", "lower")),
    cuts=maybe((1, 3, 100)),
)  # fmt: skip
def test_what_became_of_jobs_by_value(data: Any, as_of: date, by: tuple[str, ...], side: str, cuts: int) -> None:
    found = asked(data, as_of, "limit_values", by, window=20, disposition="repaired", side=side, cuts=cuts)
    due = hand.limit_classes(data, by, as_of, window=20, side=side, cuts=cuts)
    assert sorted(found, key=repr) == sorted(due, key=repr)


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_classes_are_few_and_lose_no_job(side: str) -> None:
    """Five hundred jobs with values of their own: at most twice the cuts, and every job in one of them."""
    jobs = [
        {"job_id": f"J{i}", "unit_id": f"U{i}", "opened_at": START, "closed_at": START + timedelta(days=1)}
        for i in range(500)
    ]
    tests = [
        {"job_id": f"J{i}", "test": "charge", "run_at": START, "value": float(i**2), "lower_limit": 0.0, "unit": "V",
         "upper_limit": 3e5, "station": "S1"}
        for i in range(500)
    ]  # fmt: skip
    data = {"jobs": jobs, "diagnostics": tests, "tests": [{"test": "charge", "subsystem": "battery"}]}
    found = asked(data, date(2026, 12, 31), "limit_values", ("test",), window=20, disposition="repaired", side=side,
                  cuts=50)  # fmt: skip
    assert 50 < len(found) <= 100
    assert sum(row[6] for row in found) == 500
