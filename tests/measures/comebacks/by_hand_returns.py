"""How jobs were followed and how often units returned, one row at a time, written from the definitions."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import Row, Tables, first_of_month, groups_of_job, job_groups, known, links

Key = tuple[Any, ...]


def retired_on(tables: Tables, unit: str, as_of: date) -> date | None:
    days = [r["retired_on"] for r in tables["retirements"] if r["unit_id"] == unit and r["retired_on"] <= as_of]
    return days[0] if days else None


def index_jobs(tables: Tables, as_of: date) -> list[tuple[Row, int | None, str | None, Row | None]]:
    """Repaired jobs closed by then: the job, and days, class and job of its return if that was seen by then."""
    found: list[tuple[Row, int | None, str | None, Row | None]] = []
    for job, back, gap, kind in links(tables).values():
        if job["disposition"] != "repaired" or job["closed_on"] > as_of:
            continue
        if back is not None and gap is not None and job["closed_on"] + timedelta(days=gap) <= as_of:
            found.append((job, gap, kind, back))
        else:
            found.append((job, None, None, None))
    return found


def groups_with_parts(job: Row, by: Sequence[str], tables: Tables) -> set[Key]:
    if not {"part_no", "lot"} & set(by):
        return groups_of_job(job, by, tables)
    found = set()
    for part in tables["parts"]:
        if part["job_id"] == job["job_id"]:
            found.add(tuple(known(part[b]) if b in ("part_no", "lot") else job_groups(job, [b])[0] for b in by))
    return found


def end_of_follow_up(tables: Tables, job: Row, gap: int | None, kind: str | None, as_of: date) -> tuple[int, str]:
    if gap is not None and kind is not None:
        return gap, kind
    gone = retired_on(tables, job["unit_id"], as_of)
    if gone is not None and gone >= job["closed_on"]:
        return (gone - job["closed_on"]).days, "retired"
    return (as_of - job["closed_on"]).days, "followed"


def follow_up(tables: Tables, by: Sequence[str], *, as_of: date, upto: int) -> Counter[Key]:
    """Jobs by group, day and how their follow-up ended."""
    found: Counter[Key] = Counter()
    for job, gap, kind, _ in index_jobs(tables, as_of):
        day, outcome = end_of_follow_up(tables, job, gap, kind, as_of)
        if day > upto:
            day, outcome = upto + 1, "followed"
        for key in groups_with_parts(job, by, tables):
            found[(*key, day, outcome)] += 1
    return found


def left_service(tables: Tables, by: Sequence[str], *, as_of: date, window: int) -> dict[Key, tuple[int, int, int]]:
    """Per group: matured jobs, those back within the window, those whose unit left service in it and never came."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0, 0, 0])
    for job, gap, kind, _ in index_jobs(tables, as_of):
        if job["closed_on"] + timedelta(days=window) > as_of:
            continue
        day, outcome = end_of_follow_up(tables, job, gap, kind, as_of)
        for key in groups_of_job(job, by, tables):
            found[key][0] += 1
            found[key][1] += outcome not in ("retired", "followed") and day <= window
            found[key][2] += outcome == "retired" and day < window
    return {key: (a, b, c) for key, (a, b, c) in found.items()}


def service_months(tables: Tables, by: Sequence[str], *, as_of: date) -> Counter[Key]:
    """Jobs by group, closing month, month in which they ended, and how."""
    found: Counter[Key] = Counter()
    for job, gap, kind, _ in index_jobs(tables, as_of):
        day, outcome = end_of_follow_up(tables, job, gap, kind, as_of)
        left = first_of_month(job["closed_on"] + timedelta(days=day)) if outcome != "followed" else None
        said = {"retired": "retired", "followed": "in service"}.get(outcome, "returned")
        for key in groups_with_parts(job, by, tables):
            found[(*key, first_of_month(job["closed_on"]), left, said)] += 1
    return found


def units(tables: Tables, by: Sequence[str], *, as_of: date, upto: int) -> dict[str, tuple[Key, int, list[int]]]:
    """Per unit: its group, the age at which it was last seen, the ages at its returns up to then."""
    jobs: dict[str, list[tuple[Row, int | None]]] = defaultdict(list)
    for job, gap, _, _ in index_jobs(tables, as_of):
        jobs[job["unit_id"]].append((job, gap))
    found = {}
    for unit, own in jobs.items():
        first = min((job for job, _ in own), key=lambda j: (j["closed_on"], j["job_id"]))
        start = first["closed_on"]
        returns = [job["closed_on"] + timedelta(days=gap) for job, gap in own if gap is not None]
        gone = retired_on(tables, unit, as_of)
        last_sign = max([*returns, *(job["closed_on"] for job, _ in own)])
        end = gone if gone is not None and gone >= last_sign else as_of
        age = min((end - start).days, upto)
        found[unit] = (
            job_groups(first, by), age, sorted((r - start).days for r in returns if (r - start).days <= age),
        )
    return found


def recurrence_counts(tables: Tables, by: Sequence[str], *, as_of: date, upto: int) -> Counter[Key]:
    """Units by age last seen, returns by age and that, pairs of returns by both ages."""
    found: Counter[Key] = Counter()
    for key, end, ages in units(tables, by, as_of=as_of, upto=upto).values():
        found[(*key, "end", end, None)] += 1
        for i, age in enumerate(ages):
            found[(*key, "return", age, end)] += 1
            for later in ages[i + 1 :]:
                found[(*key, "pair", age, later)] += 1
    return found


def comebacks_in(tables: Tables, *, as_of: date, window: int) -> list[tuple[Row, str, Row]]:
    """Matured repaired jobs that came back within the window, the class and the return."""
    return [
        (job, kind, back)
        for job, gap, kind, back in index_jobs(tables, as_of)
        if gap is not None and gap <= window and job["closed_on"] + timedelta(days=window) <= as_of
        if kind is not None and back is not None
    ]


def findings(tables: Tables, by: Sequence[str], *, as_of: date, window: int) -> Counter[Key]:
    found: Counter[Key] = Counter()
    for job, kind, back in comebacks_in(tables, as_of=as_of, window=window):
        repaired = job["found"] if job["found"] is not None else job["complaint"]
        what = "nothing" if kind == "no_fault_found" else known(back["found"])
        found[(*job_groups(job, by), kind, known(repaired), known(back["complaint"]), what)] += 1
    return found


def marks(tables: Tables, by: Sequence[str], *, as_of: date, window: int) -> dict[Key, tuple[int, ...]]:
    """Per group: returned, fault_known, no_fault_found, with_part, same_part, tested, escaped."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 7)
    for job, kind, back in comebacks_in(tables, as_of=as_of, window=window):
        counted = found[job_groups(job, by)]
        counted[0] += 1
        counted[1] += kind != "unknown"
        counted[2] += kind == "no_fault_found"
        fitted = {p["part_no"] for p in tables["parts"] if p["job_id"] == job["job_id"]}
        again = {p["part_no"] for p in tables["parts"] if p["job_id"] == back["job_id"]}
        counted[3] += bool(fitted)
        counted[4] += bool(fitted & again)
        last: dict[str, Row] = {}
        for run in tables["diagnostics"]:
            if run["job_id"] == job["job_id"] and (run["test"] not in last or run["run"] > last[run["test"]]["run"]):
                last[run["test"]] = run
        if not last or kind in ("unknown", "no_fault_found"):
            continue
        counted[5] += 1
        covers = {t["subsystem"] for t in tables["tests"] if t["test"] in last}
        counted[6] += all(run["outcome"] == "pass" for run in last.values()) and back["found"] in covers
    return {k: tuple(int(n) for n in v) for k, v in found.items()}
