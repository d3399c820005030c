"""The picture of one job: its steps beside the procedure, what departs, and its tests with their limits."""

from datetime import datetime
from typing import Any

import pytest

from rqa.errors import RequestError
from rqa.plots import plot
from rqa.plots.renderer import compiled
from tests.depots import depot_of

DAY = datetime(2026, 1, 10, 8)
PLAN = ("open case", "fit board", "check board", "close case")
TABLES: dict[str, list[dict[str, Any]]] = {
    "jobs": [
        {"job_id": "J1", "unit_id": "U1", "opened_at": DAY, "closed_at": DAY.replace(hour=16), "complaint": "board",
         "technician": "T01", "found": "board"},
        {"job_id": "J2", "unit_id": "U1", "opened_at": DAY.replace(day=20), "closed_at": DAY.replace(day=21),
         "found": "board"},
    ],
    "procedures": [
        {"procedure": "board", "step_seq": n, "step": step, "subsystems": ["board"]} for n, step in enumerate(PLAN)
    ],
    "steps": [
        {"job_id": "J1", "step_seq": n, "step": step, "outcome": outcome, "attempt": attempt, "technician": "T02",
         "ended_at": DAY.replace(hour=9, minute=minute)}
        for n, step, outcome, attempt, minute in (
            (0, "open case", "done", 1, 1), (1, "fit board", "fail", 1, 30), (1, "fit board", "pass", 2, 40),
            (2, "check board", "pass", 1, 20), (4, "polish case", "done", 1, 50),
        )
    ],
    "diagnostics": [
        {"job_id": "J1", "test": "charge", "outcome": "fail", "run_at": DAY.replace(hour=15), "value": 1.2,
         "lower_limit": 1.4, "upper_limit": 2.2, "unit": "A", "station": "S1"},
    ],
    "parts": [{"job_id": "J1", "line": 1, "part_no": "MB-110", "lot": "B-1", "quantity": 1}],
}
PASSED = {"job_id": "J9", "test": "charge", "run_at": DAY.replace(hour=15)}


def test_what_departs_is_said_and_drawn() -> None:
    with depot_of(TABLES) as depot:
        found = depot.job("J1")
        named = depot.job("J1", people=True)
    departs = dict(found.table.select("name", "departs").rows())
    assert departs["fit board"] == "done 2 times; begun after a later step"
    assert departs["close case"] == "a step missing from the log"
    assert departs["polish case"] == "not in the procedure"
    assert departs["open case"] == departs["check board"] == ""
    assert "It came back after 10 days (job J2): repeat, found at fault: board." in found.notes
    assert "technician" not in found.table.columns
    assert set(named.table["technician"].drop_nulls()) == {"T02"}
    drawn = plot(found)
    assert compiled(drawn.to_dict())
    rows = drawn.to_dict()["data"]["values"]
    said = {row["label"]: row["said"] for row in rows}
    assert said["charge"].replace("\xa0", " ") == "fail  ·  1.2 A (1.4 to 2.2)"
    marked = {row["label"] for row in rows if row["mark"] is not None}
    assert marked == {"fit board", "close case", "polish case", "charge"}
    assert "a step missing from the log" in drawn.to_dict()["description"]


def test_a_job_that_is_none_is_answered_with_the_nearest() -> None:
    with depot_of(TABLES) as depot:
        with pytest.raises(RequestError, match="Did you mean 'J1'"):
            depot.job("J11")
        with pytest.raises(RequestError, match="job_id is the job's id as a text"):
            depot.job(11)  # type: ignore[arg-type]


def unfinished(**more: Any) -> dict[str, list[dict[str, Any]]]:
    """A job with the first two steps of its procedure logged."""
    job = {"job_id": "J9", "unit_id": "U9", "opened_at": DAY, "closed_at": DAY.replace(hour=16), **more}
    return {**TABLES, "jobs": [job], "diagnostics": [], "parts": [], "steps": [
        {"job_id": "J9", "step_seq": n, "step": PLAN[n], "outcome": "done", "ended_at": DAY.replace(hour=9, minute=n)}
        for n in range(2)
    ]}


@pytest.mark.parametrize(("tables", "departs", "note", "said"), [
    (unfinished(), 2, "2 rows depart from its procedure of 4 steps.", "close case: a step missing from the log"),
    (unfinished(closed_at=None, disposition="open"), 0, "0 rows depart from its procedure of 4 steps; steps that are "
     "not logged do not count, as it is open.", "The steps logged are as the procedure has them; others are not"),
    (unfinished(disposition="cancelled"), 0, "do not count, as it is cancelled.", "others are not logged"),
    ({**unfinished(), "steps": []}, 0, "It is not compared with its procedure of 4 steps: no step of it is logged.",
     "No step of its procedure is logged"),
    ({**unfinished(procedure="display"), "steps": [], "diagnostics": [PASSED]}, 0, "closed 2026-01-10 as repaired",
     "No steps of a procedure"),
])
def test_a_step_not_logged_departs_where_it_must_have_been_done(
    tables: dict[str, list[dict[str, Any]]], departs: int, note: str, said: str
) -> None:
    with depot_of(tables) as depot:
        found = depot.job("J9")
    assert (found.table["departs"] != "").sum() == departs
    assert any(note in told for told in found.notes)
    assert said in plot(found).to_dict()["description"]
