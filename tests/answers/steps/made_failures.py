"""A made depot of 40 weeks: steady work on two models, one bad lot in five weeks, one way of failing at one bench."""

import random
from datetime import datetime, timedelta
from typing import Any

FIRST = datetime(2025, 1, 6, 9)
BAD, BAD_WEEKS = "L4", range(20, 25)


def made_failures(*, bad: float = 0.45, seed: int = 1, a_week: int = 14) -> dict[str, Any]:
    """Jobs with one part and three steps each; units of lot L4 come back with share `bad`, all others with 4 %."""
    rng = random.Random(seed)
    made: dict[str, list[dict[str, Any]]] = {"jobs": [], "steps": [], "parts": [], "diagnostics": []}
    for n in range(40 * a_week):
        week = n // a_week
        opened = FIRST + timedelta(days=7 * week + rng.randrange(5))
        bench = rng.choice(("B1", "B2", "B3"))
        lot = f"L{week // 5}" if rng.random() < 0.8 else f"X{week // 10}"
        job = {"job_id": f"J{n:04}", "unit_id": f"U{n:04}", "model": rng.choice(("Marl-8", "Quern")),
               "procedure": "board", "technician": f"T{rng.randrange(6):02}", "billing": "warranty",
               "complaint": "board", "found": "board", "opened_at": opened, "closed_at": opened + timedelta(hours=5),
               "disposition": "repaired"}
        made["jobs"].append(job)
        made["parts"].append({"job_id": job["job_id"], "line": 1, "part_no": "P1", "lot": lot})
        odd = bench == "B3" and rng.random() < 0.15
        for place, step in enumerate(("open case", "seat board", "close case"), start=1):
            fails = odd if step != "open case" else rng.random() < 0.05
            made["steps"].append({"job_id": job["job_id"], "step_seq": place, "step": step, "bench": bench,
                                  "outcome": "fail" if fails else "pass", "fault": "loose" if fails else None,
                                  "done_on": job["closed_at"].date()})
        made["diagnostics"].append({"job_id": job["job_id"], "test": "charge", "run_at": job["closed_at"],
                                    "outcome": "fail" if rng.random() < 0.08 else "pass"})
        if rng.random() < (bad if lot == BAD else 0.04):
            again = job["closed_at"] + timedelta(days=3 + rng.randrange(20))
            made["jobs"].append({**job, "job_id": f"R{n:04}", "opened_at": again, "disposition": "not_economic",
                                 "closed_at": again + timedelta(hours=2)})
    return made
