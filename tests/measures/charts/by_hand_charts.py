"""What control charts count, one row at a time, written from the definitions and not from the SQL."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import Row, Tables, known, links, phase_of, step_day

Key = tuple[Any, ...]


def first_day(day: date | None, period: str) -> date | None:
    """The first day of the month, or the Monday of the week."""
    if day is None:
        return None
    while (day.day != 1) if period == "month" else (day.isoweekday() != 1):
        day -= timedelta(days=1)
    return day


def key_of(by: Sequence[str], row: Row | None, job: Row | None, day: date | None, tables: Tables) -> Key:
    key: list[Any] = []
    for b in by:
        if b in ("month", "week"):
            key.append(first_day(day, b))
        elif b == "technician":
            own = None if row is None else row.get("technician")
            key.append(known(own if own is not None else job and job["technician"]))
        elif b == "phase":
            key.append(phase_of(job and job["procedure"], row and row["step"], tables))
        elif row is not None and b in ("step", "bench", "tool", "test", "station"):
            key.append(known(row[b]))
        else:
            key.append(known(job and job[b]))
    return tuple(key)


def matured(tables: Tables, *, window: int, as_of: date) -> list[tuple[Row, bool]]:
    """Matured repaired jobs in the order of closing, and whether each came back."""
    found = [
        (job, back is not None and gap is not None and gap <= window)
        for job, back, gap, _ in links(tables).values()
        if job["disposition"] == "repaired" and job["closed_on"] + timedelta(days=window) <= as_of
    ]
    return sorted(found, key=lambda pair: (pair[0]["closed_at"], pair[0]["job_id"]))


def gaps(tables: Tables, by: Sequence[str], *, window: int, as_of: date) -> dict[Key, list[tuple[date, int | None]]]:
    """Per group: closing day of each job that came back, and the good jobs since the last one."""
    found: dict[Key, list[tuple[date, int | None]]] = defaultdict(list)
    since: dict[Key, int | None] = defaultdict(lambda: None)
    for job, came_back in matured(tables, window=window, as_of=as_of):
        key = key_of(by, None, job, job["closed_on"], tables)
        if came_back:
            found[key].append((job["closed_on"], since[key]))
            since[key] = 0
        elif since[key] is not None:
            since[key] += 1  # type: ignore[operator]
    return dict(found)


def return_days(tables: Tables, by: Sequence[str], *, window: int, as_of: date) -> Counter[Key]:
    found: Counter[Key] = Counter()
    for job, back, gap, _ in links(tables).values():
        if job["disposition"] == "repaired" and back is not None and gap is not None and gap <= window:
            opened = job["closed_on"] + timedelta(days=gap)
            if opened <= as_of:
                found[(*key_of(by, None, job, opened, tables), opened)] += 1
    return found


def failed_checks(tables: Tables, by: Sequence[str], as_of: date) -> dict[Key, tuple[int, int]]:
    """Per group: jobs with a checked step, and their first attempts that failed."""
    jobs = {j["job_id"]: j for j in tables["jobs"]}
    checked: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for s in tables["steps"]:
        if s["attempt"] == 1 and s["outcome"] in ("pass", "fail"):
            checked[s["job_id"]] += 1
            failed[s["job_id"]] += s["outcome"] == "fail"
    found: dict[Key, tuple[int, int]] = {}
    for job_id in checked:
        job = jobs.get(job_id)
        day = None if job is None else job["closed_on"] if job["closed_on"] is not None else job["opened_on"]
        if day is not None and day > as_of:
            continue
        key = key_of(by, None, job, day, tables)
        have = found.get(key, (0, 0))
        found[key] = (have[0] + 1, have[1] + failed[job_id])
    return found


def measured(tables: Tables, of: str, by: Sequence[str], as_of: date) -> Counter[Key]:
    """Per group (for tests with unit and limits) and value: how many readings."""
    jobs = {j["job_id"]: j for j in tables["jobs"]}
    found: Counter[Key] = Counter()
    if of == "jobs":
        for job in tables["jobs"]:
            closed = job["closed_on"]
            if job["disposition"] != "repaired" or closed is None or closed > as_of or job["labour_minutes"] is None:
                continue
            found[(*key_of(by, None, job, closed, tables), job["labour_minutes"])] += 1
        return found
    first, left_out = ("attempt", "skipped") if of == "steps" else ("run", "aborted")
    for row in tables["steps" if of == "steps" else "diagnostics"]:
        job = jobs.get(row["job_id"])
        day = step_day(row, job) if of == "steps" else row["run_on"]
        if row[first] != 1 or row["outcome"] == left_out or row["value"] is None or (day is not None and day > as_of):
            continue
        # A run's technician is its job's, as the diagnostics name none.
        key = key_of(by, row, job, day, tables)
        limits = () if of == "steps" else (row["unit"], row["lower_limit"], row["upper_limit"])
        found[(*key, *limits, row["value"])] += 1
    return found
