"""Measured values, stations, limits and pairs of runs against a slow row loop, on depots full of ties and gaps."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.small_depots import START, SUBSYSTEMS, maybe, tables
from tests.measures.tests import by_hand_measured as hand

SLOW = settings(
    max_examples=examples(8), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
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
@given(data=measured(), as_of=as_ofs, by=groups(*NAMES), unlogged=st.sets(maybe(("Alder", "Birch", "unknown"))))
def test_pairs_of_runs(data: Any, as_of: date, by: tuple[str, ...], unlogged: set[str]) -> None:
    found = asked(data, as_of, "repeated_runs", by, unlogged=sorted(unlogged))
    assert not apart(found, hand.pairs(data, by, as_of, unlogged), len(by) + 5)


@SLOW
@given(
    data=measured(), as_of=as_ofs, by=groups("month", "site", "model", "test"), side=maybe(("upper", "lower")),
    cuts=maybe((1, 3, 100)),
)
def test_what_became_of_jobs_by_value(data: Any, as_of: date, by: tuple[str, ...], side: str, cuts: int) -> None:
    found = asked(data, as_of, "limit_values", by, window=20, disposition="repaired", side=side, cuts=cuts)
    due = hand.limit_classes(data, by, as_of, window=20, side=side, cuts=cuts)
    assert sorted(found, key=repr) == sorted(due, key=repr)


def dense(seed: int) -> dict[str, list[dict[str, Any]]]:
    """A hundred jobs with what hypothesis seldom makes together: failed runs, work in between or not, returns."""
    rng = np.random.default_rng(seed)
    jobs: list[dict[str, Any]] = []
    steps: list[dict[str, Any]] = []
    runs: list[dict[str, Any]] = []

    def pick(*kept: Any) -> Any:
        return kept[int(rng.integers(len(kept)))]

    for n in range(100):
        opened = START + timedelta(days=int(rng.integers(60)))
        same = {"unit_id": f"U{n}", "model": pick("Marl-8", "Quern"), "site": pick("Alder", "Birch")}
        job = {"job_id": f"J{n}", **same, "opened_at": opened, "closed_at": opened + timedelta(hours=9), "found": None}
        jobs.append(completed("jobs", {"complaint": "display", "technician": "T01", "billing": None, **job}))
        if rng.random() < 0.5:
            again = opened + timedelta(days=int(rng.integers(2, 40)))
            back = {**jobs[-1], "job_id": f"R{n}", "opened_at": again, "closed_at": again + timedelta(hours=1)}
            back |= {"found": pick("battery", "display", None), "disposition": pick("repaired", "no_fault_found")}
            jobs.append(completed("jobs", {k: v for k, v in back.items() if not k.endswith("_on")}))
        for number in range(1, pick(1, 2, 2, 3) + 1):
            run = {"job_id": f"J{n}", "test": "charge", "run": number, "run_at": opened + timedelta(hours=2 * number)}
            run |= {"value": pick(1.0, 1.5, 1.75, 2.0, 2.25, 9.0, None), "unit": "V", "lower_limit": 1.25,
                    "upper_limit": 2.0, "station": pick("S1", "S2", None), "outcome": pick("pass", "fail")}
            runs.append(completed("diagnostics", run))
        runs[-1]["outcome"] = "pass"
        if rng.random() < 0.6:
            at = pick(None, opened + timedelta(hours=float(rng.choice([1, 2, 3, 4, 5]))))
            step = {"job_id": f"J{n}", "step": "seat", "started_at": at, "ended_at": at}
            steps.append(completed("steps", {**step, "outcome": pick("pass", "pass", "skipped")}))
    return {"jobs": jobs, "steps": steps, "diagnostics": runs, "procedures": [],
            "tests": [{"test": "charge", "subsystem": "battery"}]}


def test_a_dense_depot_counts_the_same() -> None:
    data, as_of, by = dense(4), date(2026, 4, 20), ("site", "test")
    seen: set[str] = set()
    for side in ("upper", "lower"):
        found = asked(data, as_of, "limit_values", by, window=20, disposition="repaired", side=side, cuts=5)
        due = hand.limit_classes(data, by, as_of, window=20, side=side, cuts=5)
        assert sorted(found, key=repr) == sorted(due, key=repr)
        sums = np.sum([row[6:] for row in due], axis=0)
        seen |= {name for name, n in zip((*hand.PASSED, *hand.FAILED, "back"), sums, strict=True) if n}
    assert seen == {*hand.PASSED, *hand.FAILED, "back"}
    assert not apart(asked(data, as_of, "repeated_runs", by, unlogged=[]), hand.pairs(data, by, as_of), len(by) + 5)
    stations = hand.by_station(data, by, as_of, "month")
    assert not apart(asked(data, as_of, "station_values", by, period="month"), stations, len(by) + 5)
    assert any(row[2] for row in stations.values())


def test_a_quartile_is_reached_where_just_enough_readings_do_not_exceed_it() -> None:
    """Of 1, 2, 3 and 100 the quartiles are 1 and 3, so the fence is at 9, the middle at 2: 100 counts as 7 apart."""
    jobs = [{"job_id": "J", "unit_id": "U", "opened_at": START, "closed_at": START}]
    runs = [
        {"job_id": "J", "test": "a", "run_at": START, "value": value, "station": "S1"}
        for value in (1.0, 2.0, 3.0, 100.0)
    ]
    found = asked({"jobs": jobs, "diagnostics": runs}, date(2026, 12, 31), "station_values", ("test",), period="month")
    assert found[0][6:] == (2.0, 4, 1, -1.0 + 0.0 + 1.0 + 7.0, 1.0 + 1.0 + 49.0)


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
    ]
    data = {"jobs": jobs, "diagnostics": tests, "tests": [{"test": "charge", "subsystem": "battery"}]}
    found = asked(data, date(2026, 12, 31), "limit_values", ("test",), window=20, disposition="repaired", side=side,
                  cuts=50)
    assert 50 < len(found) <= 100
    assert sum(row[6] for row in found) == 500
