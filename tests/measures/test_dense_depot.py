"""The same comparison on fuller depots, drawn from a fixed seed: every grouping in one depot of many jobs."""

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.yields.clean import clean_jobs
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.depot import Depot
from tests.depots import completed, depot_of
from tests.measures import by_hand
from tests.measures.test_against_rows import JOB_LEVEL, as_dict

SUBSYSTEMS = (None, "battery", "board", "display")
STEPS = ("open case", "seat board", "close case")
SINGLE = [(name,) for name in JOB_LEVEL]
WHOLE = [(), JOB_LEVEL, ("month", "technician")]
STEP_NAMES = [("step",), ("bench",), ("tool",), ("phase",), ("step", "technician"), ("month", "step", "bench")]
TEST_NAMES = [("test",), ("station",), ("month", "site", "test")]


def dense(seed: int, jobs: int = 260) -> dict[str, list[dict[str, Any]]]:
    """Units with several jobs each, some overlapping, with logs that lack what real logs lack."""
    pick = random.Random(seed)
    start = datetime(2026, 1, 28, 22)
    tables: dict[str, list[dict[str, Any]]] = {"jobs": [], "steps": [], "diagnostics": [], "procedures": []}
    for n in range(jobs):
        opened = start + timedelta(days=pick.randrange(150), hours=pick.choice((0, 0, 1, 3)))
        how = pick.choice(("repaired",) * 6 + ("no_fault_found", "not_economic", "cancelled", "open"))
        closed = None if how == "open" else opened + timedelta(hours=pick.choice((0, 1, 30, 30, 100, 400)))
        tables["jobs"].append({
            "job_id": f"J{n}", "unit_id": f"U{pick.randrange(jobs // 3)}", "opened_at": opened, "closed_at": closed,
            "disposition": how, "site": pick.choice(("Alder", "Birch")), "model": pick.choice(("Marl-8", "Quern")),
            "procedure": pick.choice(("board", "screen")), "technician": pick.choice((None, "T01", "T02")),
            "billing": pick.choice((None, "warranty", "paid")), "complaint": pick.choice(SUBSYSTEMS),
            "found": pick.choice(SUBSYSTEMS),
        })
    for n in range(jobs + 9):
        for place, name in enumerate(STEPS):
            for attempt in range(1, pick.choice((0, 1, 1, 2)) + 1):
                day = start + timedelta(days=pick.randrange(170))
                tables["steps"].append({
                    "job_id": f"J{n}", "step_seq": place, "attempt": attempt, "step": name, "started_at": None,
                    "ended_at": pick.choice((None, day)), "technician": pick.choice((None, "T01", "T03")),
                    "bench": pick.choice((None, "B1", "B2")), "tool": pick.choice((None, "driver")),
                    "outcome": pick.choice(("pass", "pass", "fail", "done", "skipped")),
                })
        for test in ("charge", "touch"):
            for run in range(1, pick.choice((0, 1, 2)) + 1):
                tables["diagnostics"].append({
                    "job_id": f"J{n}", "test": test, "run": run, "run_at": start + timedelta(days=pick.randrange(170)),
                    "outcome": pick.choice(("pass", "pass", "fail", "aborted")), "station": pick.choice((None, "S1")),
                })
    for procedure in ("board", "screen"):
        for place, name in enumerate((*STEPS, "open case")):
            touched = pick.choice((None, [], ["board"], ["battery", "display"]))
            tables["procedures"].append({"procedure": procedure, "step_seq": place, "step": name,
                                         "phase": pick.choice(("open", "fit")), "subsystems": touched})
    return {name: [completed(name, row) for row in rows] for name, rows in tables.items()}


Case = tuple[dict[str, list[dict[str, Any]]], Depot]


EARLIER = pytest.param((8, "2026-05-20"), marks=pytest.mark.slow)


@pytest.fixture(scope="module", params=[(7, None), EARLIER], ids=["whole", "earlier"])
def case(request: pytest.FixtureRequest) -> Iterator[Case]:
    seed, as_of = request.param
    data = dense(seed)
    with depot_of(data, as_of) as depot:
        yield data, depot


def cut(case: Case) -> Any:
    _, depot = case
    return None if depot._snapshot.latest else depot.as_of.date()


def test_links(case: Case) -> None:
    data, depot = case
    expected = {k: (b and b["job_id"], gap, kind) for k, (_, b, gap, kind) in by_hand.links(data).items()}
    rows = depot.query("select job_id, return_job_id, elapsed_days, class from links").rows()
    assert {r[0]: r[1:] for r in rows} == expected
    assert {kind for _, _, kind in expected.values()} >= {"repeat", "workmanship", "new_fault", "unknown"}
    assert set(depot.data.overlaps().table["job_id"]) == by_hand.overlapping(data["jobs"]) != set()


@pytest.mark.parametrize(
    "by", [*WHOLE, *SINGLE, *STEP_NAMES, *TEST_NAMES, ("class",), ("site", "phase", "class")], ids=str
)
def test_comebacks(case: Case, by: tuple[str, ...]) -> None:
    data, depot = case
    for window in (0, 30):
        expected = by_hand.comebacks(data, by, window=window, as_of=depot.as_of.date())
        table = depot.comebacks(window=window, by=by).table
        assert as_dict(table, by, "jobs", "matured", "returned") == expected
        assert comebacks(replace(depot._snapshot, from_rows=True), window=window, by=by).table.equals(table)


@pytest.mark.parametrize("by", [*WHOLE, *SINGLE, *STEP_NAMES, *TEST_NAMES], ids=str)
def test_first_pass_yield(case: Case, by: tuple[str, ...]) -> None:
    data, depot = case
    table = depot.first_pass_yield(by=by).table
    expected = by_hand.first_pass(data, by, cut(case))
    assert as_dict(table, by, "exposures", "passed", "failed", "unchecked") == expected
    assert first_pass_yield(replace(depot._snapshot, from_rows=True), by=by).table.equals(table)


@pytest.mark.parametrize("by", [*WHOLE, *SINGLE], ids=str)
def test_clean_jobs(case: Case, by: tuple[str, ...]) -> None:
    data, depot = case
    table = depot.yields.clean(by=by).table
    assert as_dict(table, by, "jobs", "clean") == by_hand.clean_jobs(data, by, cut(case))
    assert clean_jobs(replace(depot._snapshot, from_rows=True), by=by).table.equals(table)
