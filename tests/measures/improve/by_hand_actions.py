"""Work before and after an action, one job at a time, written from the definitions."""

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import Tables, job_groups, known, links, step_day

Key = tuple[Any, ...]


def action_jobs(
    tables: Tables,
    by: Sequence[str],
    *,
    started_on: date,
    first_on: date,
    as_of: date,
    window: int,
    recent: int,
    classes: Sequence[str],
    steps: Sequence[str],
    subsystems: Sequence[str],
) -> dict[Key, tuple[int, int]]:
    """Per group, side, whether a step was done, month of closing and of maturing, and nearness: matured, returned."""
    matured: Counter[Key] = Counter()
    returned: Counter[Key] = Counter()
    for job, back, gap, kind in links(tables).values():
        ripe = job["closed_on"] + timedelta(days=window)
        if job["disposition"] != "repaired" or job["closed_on"] < first_on or ripe > as_of:
            continue
        done = {s["step"] for s in tables["steps"] if s["job_id"] == job["job_id"] and s["outcome"] != "skipped"}
        if job["closed_on"] < started_on:
            side = "before"
        else:
            side = "under way" if job["opened_on"] < started_on else "after"
        near = started_on - timedelta(days=recent) <= job["closed_on"] < started_on
        key = (
            *job_groups(job, by), side, not steps or bool(done & set(steps)), job["closed_on"].replace(day=1),
            ripe.replace(day=1), near,
        )
        matured[key] += 1
        if back is not None and gap is not None and gap <= window and kind in classes:
            returned[key] += not subsystems or back["found"] in subsystems
    return {key: (n, returned[key]) for key, n in matured.items()}


def action_checks(
    tables: Tables, by: Sequence[str], *, started_on: date, first_on: date, as_of: date, steps: Sequence[str]
) -> dict[Key, tuple[int, int]]:
    """Per group and side: first attempts that passed or failed, and those that passed."""
    jobs = {j["job_id"]: j for j in tables["jobs"]}
    found: dict[Key, tuple[int, int]] = {}
    for s in tables["steps"]:
        job = jobs.get(s["job_id"])
        if job is None or s["attempt"] != 1 or s["outcome"] not in ("pass", "fail") or s["step"] not in steps:
            continue
        day = step_day(s, job)
        if day is None or not first_on <= day <= as_of:
            continue
        who = s["technician"] if s["technician"] is not None else job["technician"]
        key = tuple(known(who) if b == "technician" else job_groups(job, [b])[0] for b in by)
        key = (*key, "before" if day < started_on else "after")
        checked, passed = found.get(key, (0, 0))
        found[key] = (checked + 1, passed + (s["outcome"] == "pass"))
    return found
