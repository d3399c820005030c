"""A depot of a few jobs, small enough to count in one's head; the answers' tests say what to expect and why."""

from datetime import datetime
from typing import Any


def at(text: str) -> datetime:
    return datetime.fromisoformat(f"2026-{text}")


def job(job_id: str, unit_id: str, opened: str, closed: str | None, **more: Any) -> dict[str, Any]:
    return {
        "job_id": job_id, "unit_id": unit_id, "opened_at": at(opened), "closed_at": closed and at(closed),
        "technician": "T01", "billing": "warranty", **more,
    }


def step(job_id: str, place: int, name: str, outcome: str = "pass", **more: Any) -> dict[str, Any]:
    return {"job_id": job_id, "step_seq": place, "step": name, "outcome": outcome, "bench": "B1", **more}


ROWS: dict[str, list[dict[str, Any]]] = {
    "jobs": [
        job("J1", "U1", "01-05", "01-10", complaint="display"),
        job("J2", "U1", "01-20", "01-25", found="display"),
        job("J3", "U2", "01-06", "01-12", complaint="board", site="Birch"),
        job("J4", "U2", "01-20", "01-22", disposition="not_economic", found="display", site="Birch"),
        job("J5", "U3", "02-01", "02-10", complaint="board", technician=None),
        job("J6", "U3", "02-12", None, disposition="open"),
        job("J7", "U4", "02-01", "02-20", model="Quern"),
        job("J8", "U4", "02-05", "02-07", model="Quern"),
        job("J9", "U5", "05-20", "06-10", procedure="screen", billing=None),
        job("J10", "U6", "02-02", "02-03", disposition="cancelled"),
        job("J11", "U7", "03-01", "03-02", disposition="no_fault_found"),
    ],
    "steps": [
        step("J1", 1, "open case", done_on=at("01-09").date()),
        step("J1", 2, "seat board", "fail"),
        step("J1", 2, "seat board", attempt=2),
        step("J3", 1, "open case", technician="T02", bench="B2"),
        step("J3", 2, "seat board", "done", bench=None),
        step("J5", 1, "open case", "skipped"),
        step("J9", 1, "open case"),
        step("J9", 2, "fit screen"),
        step("J99", 1, "open case"),
    ],
    "diagnostics": [
        {"job_id": "J1", "test": "charge", "run_at": at("01-10"), "station": "S1"},
        {"job_id": "J3", "test": "charge", "run_at": at("01-12"), "outcome": "fail", "station": "S2"},
        {"job_id": "J3", "test": "charge", "run": 2, "run_at": at("01-12"), "station": "S2"},
        {"job_id": "J9", "test": "touch", "run_at": at("06-10"), "outcome": "aborted"},
    ],
    "parts": [
        {"job_id": "J1", "line": 1, "part_no": "P1", "lot": "L1"},
        {"job_id": "J1", "line": 2, "part_no": "P2"},
        {"job_id": "J2", "line": 1, "part_no": "P1", "lot": "L2"},
        {"job_id": "J9", "line": 1, "part_no": "P1", "lot": "L2"},
    ],
    "tests": [{"test": "charge", "subsystem": "display"}],
    "retirements": [{"unit_id": "U5", "retired_at": at("06-20")}],
    "procedures": [
        {"procedure": "board", "step_seq": 1, "step": "open case", "phase": "open", "subsystems": ["display"]},
        {"procedure": "board", "step_seq": 2, "step": "seat board", "subsystems": ["board"]},
        {"procedure": "screen", "step_seq": 1, "step": "open case", "phase": "open", "subsystems": None},
    ],
}
