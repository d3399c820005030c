"""A made-up depot big enough for a page: a year and a half of jobs, one kind of work that comes back too often."""

import random
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"'&{{ 7*7 }}"
"""A name as nobody should have it, and as a page must survive it."""
FIRST_DAY = datetime(2024, 1, 3, 9)


def made_tables(*, jobs: int = 900, days: int = 540, seed: int = 3, odd_model: str = "Marl-10") -> dict[str, Any]:
    """Rows of the contract's tables; main-board work on `odd_model` comes back four times as often."""
    rng = random.Random(seed)
    made: dict[str, list[Mapping[str, Any]]] = {"jobs": [], "steps": [], "diagnostics": []}
    for n in range(jobs):
        opened = FIRST_DAY + timedelta(days=rng.uniform(0, days))
        model, work = rng.choice(["Marl-8", odd_model, "Quern"]), rng.choice(["main_board", "display", "button"])
        bad = 0.24 if (model, work) == (odd_model, "main_board") else 0.06
        _job(made, f"J{n:05}", f"U{n:05}", model, work, opened, rng)
        if rng.random() < bad:
            again = opened + timedelta(days=2 + rng.uniform(0, 25))
            _job(made, f"R{n:05}", f"U{n:05}", model, work, again, rng)
    made["load_files"] = _books(made)
    made["refused"] = [
        {"load_id": 1, "table_name": "jobs", "source_file": HOSTILE, "source_row": 7, "column_name": "closed_at",
         "rule": "closed before it was opened", "value": "x", "raw": "x"}
    ]
    made["targets"] = [
        {"measure": measure, "from_month": date(2024, 1, 1), "value": value}
        for measure, value in (("comebacks_30", 0.02), ("clean_jobs", 0.5), ("comebacks_90", 0.1), (HOSTILE, 0.3))
    ]
    made["remarks"] = [
        {"load_id": 1, "table_name": "jobs", "source_file": "", "remark": "unknown model", "value": HOSTILE, "rows": 3,
         "first_row": 5}
    ]
    return made


def _books(made: Mapping[str, Sequence[Any]]) -> list[Mapping[str, Any]]:
    zero = {"left_out": 0, "refused": 0, "known": 0, "superseded": 0, "digest": "d1", "mapping_digest": "m1"}
    return [
        {"load_id": 1, "source_file": f"{t}.csv", "table_name": t} | zero
        | dict.fromkeys(("in_file", "read", "accepted"), len(r))
        for t, r in made.items()
    ]


def _job(
    made: dict[str, list[Mapping[str, Any]]], job: str, unit: str, model: str, work: str, opened: datetime, rng: Any
) -> None:
    closed = opened + timedelta(hours=rng.uniform(3, 30))
    made["jobs"].append(
        {"job_id": job, "unit_id": unit, "model": model, "site": rng.choice(["Alder", "Birch"]), "procedure": work,
         "opened_at": opened, "closed_at": closed, "technician": HOSTILE if rng.random() < 0.3 else "T01",
         "found": work, "labour_minutes": 60.0, "parts_cost": None if rng.random() < 0.1 else 25.5, "freight_cost": 9.0,
         "billing": "goodwill" if rng.random() < 0.1 else "paid"}
    )
    for seq, step in enumerate(("open_case", f"fit_{work}", "reseat_cable", "close_case"), 1):
        bench = rng.choice(["A-1", "A-2", "B-1"])
        for attempt in (1, 2):
            passed = attempt == 2 or rng.random() > 0.05
            made["steps"].append(
                {"job_id": job, "step_seq": seq, "attempt": attempt, "step": step, "bench": bench, "ended_at": closed,
                 "outcome": "pass" if passed else "fail"}
            )
            if passed:
                break
    made["diagnostics"].append({"job_id": job, "test": "final", "run_at": closed, "outcome": "pass"})
