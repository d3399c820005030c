"""The measures of rework, defects, shifts and practice again, one row at a time, from their definitions."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.measures.by_hand import Row, Tables, first_of_month, known, phase_of

Key = tuple[Any, ...]


def job_of(step: Row, tables: Tables) -> Row | None:
    return next((j for j in tables["jobs"] if j["job_id"] == step["job_id"]), None)


def day_of(step: Row, job: Row | None) -> date | None:
    if step["done_on"] is not None:
        return step["done_on"]
    if job is None:
        return None
    return job["closed_on"] if job["closed_on"] is not None else job["opened_on"]


def who(step: Row, job: Row | None) -> str | None:
    if step["technician"] is not None:
        return step["technician"]
    return None if job is None else job["technician"]


def key_of(step: Row, by: Sequence[str], tables: Tables) -> Key:
    job = job_of(step, tables)
    key: list[Any] = []
    for name in by:
        if name == "month":
            key.append(first_of_month(day_of(step, job)))
        elif name == "technician":
            key.append(known(who(step, job)))
        elif name == "phase":
            key.append("unknown" if job is None else phase_of(job["procedure"], step["step"], tables))
        elif name in ("step", "bench", "tool", "fault"):
            key.append(known(step[name]))
        else:
            key.append("unknown" if job is None else known(job[name]))
    return tuple(key)


def seen(tables: Tables, as_of: date | None) -> list[Row]:
    """Step rows that are not dated after the day one looks."""
    out = []
    for step in tables["steps"]:
        day = day_of(step, job_of(step, tables))
        if as_of is None or day is None or day <= as_of:
            out.append(step)
    return out


def seconds(step: Row) -> int | None:
    if step["started_at"] is None or step["ended_at"] is None:
        return None
    return int((step["ended_at"] - step["started_at"]).total_seconds())


def rework(tables: Tables, by: Sequence[str], as_of: date | None) -> dict[Key, tuple[int, ...]]:
    """executed, again, attempts, most, timed, seconds, later_timed, later_seconds."""
    made: dict[Key, list[int]] = defaultdict(lambda: [0] * 8)
    for step in seen(tables, as_of):
        if step["outcome"] == "skipped":
            continue
        row = made[key_of(step, by, tables)]
        row[0] += step["attempt"] == 1
        row[1] += step["attempt"] == 2
        row[2] += 1
        row[3] = max(row[3], step["attempt"])
        took = seconds(step)
        if took is not None:
            row[4] += 1
            row[5] += took
            row[6] += step["attempt"] > 1
            row[7] += took if step["attempt"] > 1 else 0
    return {key: tuple(row) for key, row in made.items()}


def rework_by_job(tables: Tables, by: Sequence[str], as_of: date | None) -> dict[Key, tuple[int, ...]]:
    """Jobs with a first attempt; done; again; sums over jobs of done², done x again, again²."""
    made: dict[Key, list[int]] = defaultdict(lambda: [0] * 6)
    each: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    for step in seen(tables, as_of):
        if step["outcome"] != "skipped":
            row = each[(*key_of(step, by, tables), step["job_id"])]
            row[0] += step["attempt"] == 1
            row[1] += step["attempt"] == 2
    for key, (done, again) in each.items():
        if done:
            one = (1, done, again, done * done, done * again, again * again)
            made[key[:-1]] = [a + b for a, b in zip(made[key[:-1]], one, strict=True)]
    return {key: tuple(row) for key, row in made.items()}


def time_of(step: Row) -> datetime | None:
    return step["started_at"] if step["started_at"] is not None else step["ended_at"]


def routes(tables: Tables, by: Sequence[str], as_of: date | None) -> dict[Key, int]:
    """Failures by group, way and the step that came next."""
    found: Counter[Key] = Counter()
    for step in seen(tables, as_of):
        if step["outcome"] != "fail":
            continue
        here = (time_of(step), step["step_seq"], step["attempt"])
        later = [
            (time_of(s), s["step_seq"], s["attempt"], s["step"])
            for s in tables["steps"]
            if s["job_id"] == step["job_id"] and s["outcome"] != "skipped" and time_of(s) is not None
        ]
        if here[0] is None:
            way, to = "unknown", ""
        else:
            after = sorted(x for x in later if x[:3] > here)
            if not after:
                way, to = "ended", ""
            elif after[0][1] == step["step_seq"]:
                way, to = "again", ""
            else:
                way, to = ("back" if after[0][1] < step["step_seq"] else "on"), after[0][3]
        found[(*key_of(step, by, tables), way, to)] += 1
    return dict(found)


def failures(tables: Tables, by: Sequence[str], as_of: date | None) -> dict[Key, tuple[int, int]]:
    made: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    for step in seen(tables, as_of):
        if step["outcome"] == "fail":
            row = made[key_of(step, by, tables)]
            row[0] += 1
            row[1] += step["attempt"] == 1
    return {key: (a, b) for key, (a, b) in made.items()}


def defects(tables: Tables, by: Sequence[str], as_of: date | None) -> dict[Key, tuple[int, ...]]:
    """jobs, exposures, failed, chances, undeclared."""
    jobs: dict[Key, set[str]] = defaultdict(set)
    made: dict[Key, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for step in seen(tables, as_of):
        if step["attempt"] != 1 or step["outcome"] not in ("pass", "fail"):
            continue
        key, job = key_of(step, by, tables), job_of(step, tables)
        jobs[key].add(step["job_id"])
        declared = [
            p["opportunities"]
            for p in tables["procedures"]
            if job is not None and p["procedure"] == job["procedure"] and p["step"] == step["step"]
        ]
        row = made[key]
        row[0] += 1
        row[1] += step["outcome"] == "fail"
        row[2] += -(-sum(declared) // len(declared)) if declared else 1
        row[3] += not declared
    return {key: (len(jobs[key]), *row) for key, row in made.items()}


def booked(tables: Tables, as_of: date | None) -> tuple[int, float, int]:
    """Jobs with booked labour and logged time, the labour, the seconds."""
    jobs, minutes, logged = 0, 0.0, 0
    for job in tables["jobs"]:
        day = job["closed_on"] if job["closed_on"] is not None else job["opened_on"]
        if job.get("labour_minutes") is None or (as_of is not None and day > as_of):
            continue
        took = sum(
            seconds(s) or 0 for s in tables["steps"] if s["job_id"] == job["job_id"] and s["outcome"] != "skipped"
        )
        if took > 0:
            jobs, minutes, logged = jobs + 1, minutes + job["labour_minutes"], logged + took
    return jobs, minutes, logged


def shift_start(step: Row, tables: Tables, rest: int) -> datetime | None:
    """When the technician's shift began: going back attempt by attempt until there is a rest."""
    worker = who(step, job_of(step, tables))
    at = time_of(step)
    if worker is None or at is None:
        return None
    times = sorted(t for s in tables["steps"] if who(s, job_of(s, tables)) == worker and (t := time_of(s)) is not None)
    while True:
        before = [t for t in times if t < at]
        if not before or at - before[-1] >= timedelta(hours=rest):
            return at
        at = before[-1]


def shifts(
    tables: Tables, names: Sequence[str], as_of: date | None, zones: Mapping[str, str], rest: int
) -> dict[Key, tuple[int, int, int, int]]:
    """exposures, passed, failed, unchecked by any of site, shift, shift_hour, days_since_training."""
    trainings: list[tuple[str, date]] = []
    for action in tables["actions"]:
        for part in action["scope"].split(";"):
            name, _, value = part.partition("=")
            if name.strip() == "technician":
                trainings += [(t.strip(), action["started_on"]) for t in value.split(",")]
    made: dict[Key, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for step in seen(tables, as_of):
        if step["attempt"] != 1:
            continue
        job = job_of(step, tables)
        begun, at, worker, day = shift_start(step, tables, rest), time_of(step), who(step, job), day_of(step, job)
        said = {"site": "unknown" if job is None else known(job["site"]), "shift": "unknown", "shift_hour": "unknown"}
        if begun is not None and at is not None:
            zone = ZoneInfo(zones.get(job["site"], "UTC") if job is not None else "UTC")
            hour = begun.replace(tzinfo=ZoneInfo("UTC")).astimezone(zone).hour
            said["shift"] = "early" if 4 <= hour < 12 else "late" if 12 <= hour < 20 else "night"
            said["shift_hour"] = f"{min(int((at - begun).total_seconds() // 3600) + 1, 13):02d}"
        own = [d for t, d in trainings if t == worker]
        if not own:
            said["days_since_training"] = "no training"
        elif day is None:
            said["days_since_training"] = "unknown"
        elif not [d for d in own if d <= day]:
            said["days_since_training"] = "before training"
        else:
            since = (day - max(d for d in own if d <= day)).days
            said["days_since_training"] = (
                "0 to 30 days" if since <= 30 else "31 to 90 days" if since <= 90
                else "91 to 180 days" if since <= 180 else "after 180 days"
            )
        row = made[tuple(said[name] for name in names)]
        row[0] += step["outcome"] in ("pass", "fail")
        row[1] += step["outcome"] == "pass"
        row[2] += step["outcome"] == "fail"
        row[3] += step["outcome"] in ("done", "skipped")
    return {key: (a, b, c, d) for key, (a, b, c, d) in made.items()}


def practice(tables: Tables, as_of: date | None) -> dict[Key, tuple[Any, ...]]:
    """jobs, numbers, exposures, passed, first_on, last_on by technician, procedure and number (16 at most)."""
    work: dict[tuple[str, str], dict[str, list[Any]]] = defaultdict(dict)
    for step in tables["steps"]:
        job = job_of(step, tables)
        if job is None or step["outcome"] == "skipped":
            continue
        worker, day = who(step, job), day_of(step, job)
        if worker is None or day is None:
            continue
        row = work[worker, job["procedure"]].setdefault(job["job_id"], [day, 0, 0])
        row[0] = min(row[0], day)
        if step["attempt"] == 1 and step["outcome"] in ("pass", "fail") and (as_of is None or day <= as_of):
            row[1] += 1
            row[2] += step["outcome"] == "pass"
    made = {}
    for pair, jobs in work.items():
        order = sorted((day, job_id, n, x) for job_id, (day, n, x) in jobs.items() if as_of is None or day <= as_of)
        for number, (day, _, n, x) in enumerate(order, start=1):
            made[(*pair, number)] = (1, number, n, x, day, day)
    return made
