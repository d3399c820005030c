"""One made-up depot in two kinds: in the good one there is nothing to find, in the bad one everything is amiss.

What the page says of the good one must be denied of the bad one.
"""

import random
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from rqa.contract import TABLES

FIRST = datetime(2024, 9, 2, 8)
DAYS = 285
MONTH = date(2025, 5, 1)
"""The page's month; the depot is looked at in the middle of July."""
DAY = date(2025, 7, 10)
LATE = datetime(2025, 3, 1)
"""From here on a bad depot is worse than before."""
WORKS = ("board", "display", "button")
STEPS = (("open_case", "open"), ("isolate_battery", "isolate"), ("fit_{}", "fit"), ("reseat_cable", "reseat"),
         ("close_case", "close"))
Tables = dict[str, list[dict[str, Any]]]


def made(bad: bool, *, jobs: int = 450, seed: int = 5) -> Tables:
    """The rows of every table of the contract that the page asks for."""
    rng, tables = random.Random(seed), Tables()
    for n in range(jobs):
        opened = FIRST + timedelta(days=DAYS * n / jobs)
        work, model = WORKS[n % 3], ("Marl-8", "Marl-10")[n // 3 % 2]
        late, site = bad and opened >= LATE, rng.choice(("Alder", "Birch"))
        failing = (0.4 if opened >= LATE else 0.1 if model == "Marl-10" else 0.02) if bad else 0.02
        _job(tables, f"J{n:04}", f"U{n:04}", work, model, site, opened, rng, bad=bad, late=late, failing=failing)
        often = (0.8 if late else 0.3 if model == "Marl-10" else 0.02) + (0.2 if site == "Birch" else 0.0)
        if rng.random() < (often if bad else 0.05):
            again = opened + timedelta(days=4 + rng.random() * 20)
            _job(tables, f"R{n:04}", f"U{n:04}", work, model, site, again, rng, bad=bad, late=late, failing=failing)
    tables["procedures"] = [
        {"procedure": work, "step_seq": seq, "step": name.format(work), "phase": phase,
         "subsystems": [work] if phase in ("fit", "reseat") else [], "hazards": ["battery"] if seq == 2 else []}
        for work in WORKS for seq, (name, phase) in enumerate(STEPS, 1)
    ]
    tables["tests"] = [{"test": "final", "subsystem": w} for w in (WORKS[:1] if bad else WORKS)]
    tables["targets"] = [{"measure": "comebacks_30", "from_month": date(2024, 1, 1), "value": 0.05 if bad else 0.9}]
    tables["actions"] = [{"action_id": "A1", "what": "guide", "started_on": date(2024, 12, 2), "scope": "model=Marl-8"}]
    return tables


def _job(
    tables: Tables, job: str, unit: str, work: str, model: str, site: str, opened: datetime, rng: random.Random,
    *, bad: bool, late: bool,
    failing: float,
) -> None:
    back, number = job.startswith("R"), int(job[1:])
    closed, person, bench = opened + timedelta(hours=6), f"T{rng.randrange(6)}", f"B{rng.randrange(3)}"
    tables.setdefault("jobs", []).append(
        {"job_id": job, "unit_id": unit, "model": model, "site": site, "procedure": work,
         "opened_at": opened, "closed_at": closed, "technician": person, "complaint": work, "found": work,
         "billing": "paid", "labour_minutes": 50.0, "parts_cost": 20.0, "freight_cost": 9.0,
         "disposition": "not_economic" if back else "repaired"}
    )
    order = [0, 2, 1, 3, 4] if bad and number % 3 == 0 else range(5)
    for place, seq in enumerate(order):
        outcome = "fail" if rng.random() < (0.6 if bad and person == "T1" else failing) else "pass"
        at = opened + timedelta(minutes=10 * place + 1)
        row = {"job_id": job, "step_seq": seq + 1, "step": STEPS[seq][0].format(work), "technician": person,
               "bench": bench, "tool": f"D{rng.randrange(2)}", "started_at": at,
               "ended_at": at + timedelta(minutes=5)}
        tables.setdefault("steps", []).append(row | {"attempt": 1, "outcome": outcome})
        if outcome == "fail":
            after = at + timedelta(minutes=6)
            tables["steps"].append(
                row | {"attempt": 2, "outcome": "pass", "started_at": after, "ended_at": after + timedelta(minutes=2)}
            )
    for test, flaky in (("final", bad), ("charge", False)):
        station = f"S{rng.randrange(2)}"
        value = rng.gauss(10.0, 0.1) + (0.3 if bad and station == "S1" else 0.0)
        often = 0.4 if flaky else 0.7 if late else 0.4 if station == "S1" else 0.1
        first = "fail" if bad and rng.random() < often else "pass"
        run = {"job_id": job, "test": test, "station": station, "value": value, "lower_limit": 8.0, "upper_limit": 12.0,
               "unit": "A", "run_at": closed - timedelta(minutes=40)}
        tables.setdefault("diagnostics", []).append(run | {"run": 1, "outcome": first})
        if first == "fail":
            again = "pass" if flaky else "fail"
            tables["diagnostics"].append(run | {"run": 2, "outcome": again, "run_at": closed - timedelta(minutes=20)})


def without_table(name: str) -> Callable[[Tables], Tables]:
    """The same without one table."""
    return lambda tables: {table: rows for table, rows in tables.items() if table != name}


def without_column(table: str, column: str) -> Callable[[Tables], Tables]:
    """The same with one column that nobody gives."""
    return lambda tables: {**tables, table: [{k: v for k, v in r.items() if k != column} for r in tables[table]]}


def no_unit_twice(tables: Tables) -> Tables:
    """The same with a serial number of its own for each job."""
    return {**tables, "jobs": [job | {"unit_id": job["job_id"]} for job in tables["jobs"]]}


OPTIONAL: Mapping[str, tuple[str, ...]] = {
    name: tuple(c.name for c in table.columns if not c.required) for name, table in TABLES.items()
}
LESS: dict[str, Callable[[Tables], Tables]] = {
    "no unit twice": no_unit_twice,
    **{f"no {t}": without_table(t) for t in ("steps", "diagnostics", "procedures", "tests", "targets", "actions")},
    **{f"no {t}.{c}": without_column(t, c)
       for t, columns in (("jobs", ("found", "complaint", "technician", "freight_cost")),
                          ("steps", ("bench", "tool", "technician", "started_at")),
                          ("diagnostics", ("station", "value")), ("procedures", ("subsystems",)))
       for c in columns},
}
"""What can be taken away."""
