"""Depots of a few hundred jobs whose steps and come-backs are counted beforehand."""

from datetime import datetime, timedelta
from typing import Any

FIRST = datetime(2025, 1, 6, 9)
PLACES = (
    {"step": "open case", "phase": "open", "subsystems": ["case"], "hazards": ["latch"]},
    {"step": "seat cable", "phase": "reseat", "subsystems": ["display"], "hazards": ["latch", "pinch"]},
    {"step": "seal case", "phase": "close", "subsystems": ["case"], "hazards": ["adhesive"]},
)
FAILED, ESCAPED = 5, 6


def stepped(*, done: int, back: int, skipped: int, skipped_back: int) -> dict[str, list[dict[str, Any]]]:
    """Jobs that did "seat cable" and jobs that skipped it; so many of each come back with the display after ten days.

    Of the done ones that come back the first six had passed the display's test, the others failed it last. The cable's
    check failed first in five that did not come back. Every come-back cost 50. Nobody ever sealed a case.
    """
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in ("jobs", "steps", "diagnostics")}
    tables["procedures"] = [{"procedure": "board", "step_seq": i + 1, **place} for i, place in enumerate(PLACES)]
    tables["tests"] = [{"test": "grid", "subsystem": "display"}]
    for n in range(done + skipped):
        did, opened = n < done, FIRST + timedelta(hours=n)
        comes = n < back if did else n - done < skipped_back
        closed = opened + timedelta(hours=2)
        tables["jobs"].append(_job(f"J{n}", f"U{n}", opened, closed, "main_board"))
        tables["steps"].append({"job_id": f"J{n}", "step_seq": 1, "step": "open case", "outcome": "done"})
        fails = did and not comes and n < back + FAILED
        tables["steps"].append({
            "job_id": f"J{n}", "step_seq": 2, "step": "seat cable",
            "outcome": "fail" if fails else "pass" if did else "skipped",
        })
        if comes:
            outcome = "pass" if n < ESCAPED else "fail"
            tables["diagnostics"].append({"job_id": f"J{n}", "test": "grid", "run_at": closed, "outcome": outcome})
            again = closed + timedelta(days=10)
            tables["jobs"].append(_job(f"R{n}", f"U{n}", again, again + timedelta(hours=1), "display"))
    end = FIRST + timedelta(days=90)
    tables["jobs"].append(_job("END", "END", end, end, "case"))
    return tables


def _job(job: str, unit: str, opened: datetime, closed: datetime, found: str) -> dict[str, Any]:
    return {
        "job_id": job, "unit_id": unit, "opened_at": opened, "closed_at": closed, "found": found, "billing": "warranty",
        "parts_cost": 40.0, "freight_cost": 10.0,
    }
