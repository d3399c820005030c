"""The measures again, one row at a time, written from their definitions and not from the SQL.

Slow on purpose: every job is compared with every other, nothing is sorted cleverly, nothing shared with the library.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

Row = Mapping[str, Any]
Tables = Mapping[str, Sequence[Row]]
NEVER = datetime.max


def end_of(job: Row) -> datetime:
    return job["closed_at"] or NEVER


def overlapping(jobs: Sequence[Row]) -> set[str]:
    """Ids of jobs that overlap another on the same unit: each opened before the other ended."""
    alive = [j for j in jobs if j["disposition"] != "cancelled"]
    found = set()
    for a in alive:
        for b in alive:
            same_unit = a["unit_id"] == b["unit_id"] and a["job_id"] != b["job_id"]
            if same_unit and a["opened_at"] < end_of(b) and b["opened_at"] < end_of(a):
                found.add(a["job_id"])
    return found


def class_of(index: Row, back: Row, tables: Tables) -> str:
    if back["disposition"] == "no_fault_found":
        return "no_fault_found"
    if back["found"] is None:
        return "unknown"
    repaired = index["found"] if index["found"] is not None else index["complaint"]
    if back["found"] == repaired:
        return "repeat"
    for s in tables["steps"]:
        if s["job_id"] == index["job_id"] and s["outcome"] != "skipped":
            for p in tables["procedures"]:
                in_procedure = p["procedure"] == index["procedure"] and p["step"] == s["step"]
                if in_procedure and back["found"] in (p["subsystems"] or []):
                    return "workmanship"
    return "new_fault"


def links(tables: Tables) -> dict[str, tuple[Row, Row | None, int | None, str | None]]:
    """Per index job: the job, its return, the days between, the class."""
    out = overlapping(tables["jobs"])
    rest = [j for j in tables["jobs"] if j["disposition"] != "cancelled" and j["job_id"] not in out]
    found: dict[str, tuple[Row, Row | None, int | None, str | None]] = {}
    for job in rest:
        if job["disposition"] not in ("repaired", "no_fault_found") or job["closed_at"] is None:
            continue
        later = []
        for other in rest:
            if other["unit_id"] != job["unit_id"] or other["job_id"] == job["job_id"]:
                continue
            comes_after = (other["opened_at"], end_of(other), other["job_id"]) > (
                job["opened_at"], end_of(job), job["job_id"],
            )
            if other["opened_at"] >= job["closed_at"] and comes_after:
                later.append(other)
        back = min(later, key=lambda o: (o["opened_at"], end_of(o), o["job_id"]), default=None)
        if back is None:
            found[job["job_id"]] = (job, None, None, None)
        else:
            gap = (back["opened_on"] - job["closed_on"]).days
            found[job["job_id"]] = (job, back, gap, class_of(job, back, tables))
    return found


def known(value: Any) -> Any:
    return "unknown" if value is None else value


def first_of_month(value: date | None) -> date | None:
    return None if value is None else value.replace(day=1)


def job_groups(job: Row, by: Iterable[str]) -> tuple[Any, ...]:
    return tuple(first_of_month(job["closed_on"]) if b == "month" else known(job[b]) for b in by)


def phase_of(procedure: Any, step: str, tables: Tables) -> str:
    places = [p for p in tables["procedures"] if p["procedure"] == procedure and p["step"] == step]
    return min(places, key=lambda p: p["step_seq"])["phase"] if places else "unknown"


def groups_of_job(job: Row, by: Sequence[str], tables: Tables) -> set[tuple[Any, ...]]:
    """The groups under which an index job counts, once each."""
    log_names = {"step", "bench", "tool", "phase"} & set(by)
    test_names = {"test", "station"} & set(by)
    if not log_names and not test_names:
        return {job_groups(job, by)}
    logs = tables["steps"] if log_names else tables["diagnostics"]
    groups = set()
    for row in logs:
        if row["job_id"] != job["job_id"]:
            continue
        key: list[Any] = []
        for b in by:
            if b == "phase":
                key.append(phase_of(job["procedure"], row["step"], tables))
            elif b in log_names | test_names:
                key.append(known(row[b]))
            else:
                key += job_groups(job, [b])
        groups.add(tuple(key))
    return groups


def known_by_site(tables: Tables, as_of: date) -> dict[str, tuple[int, int, int, int, int, int]]:
    """Per site: repaired jobs, those with a step log, of these those whose procedure says what it touches, those with
    diagnostics, those that came back with a fault or nobody wrote which, those of them with a fault found."""
    logged, tested = ({row["job_id"] for row in tables[name]} for name in ("steps", "diagnostics"))
    described = {row["procedure"] for row in tables["procedures"] if row["subsystems"]}
    found: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
    for job, _, _, kind in links(tables).values():
        if job["disposition"] == "repaired" and job["closed_on"] <= as_of:
            has_log = job["job_id"] in logged
            there = (
                True, has_log, has_log and job["procedure"] in described, job["job_id"] in tested,
                kind not in (None, "no_fault_found"), kind in ("repeat", "workmanship", "new_fault"),
            )
            for place, is_so in enumerate(there):
                found[job["site"]][place] += is_so
    return {site: (a, b, c, d, e, f) for site, (a, b, c, d, e, f) in found.items()}


def without_classes(tables: Tables, as_of: date) -> set[str]:
    """Sites at which nobody knows the classes of come-backs, where another site knows what they do not."""
    seen = known_by_site(tables, as_of)
    left: set[str] = set()
    for known, of in ((5, 4), (2, 0)):
        if any(n[of] and n[known] >= n[of] / 2 for n in seen.values()):
            left |= {site for site, n in seen.items() if n[known] + 2 < n[of] / 2}
    return left


def comebacks(
    tables: Tables, by: Sequence[str], *, window: int, as_of: date, index_disposition: str = "repaired"
) -> dict[tuple[Any, ...], tuple[int, int, int]]:
    """Per group: jobs, matured, returned. `class` goes last in `by`; then jobs of sites that do not know it are out."""
    left_out = without_classes(tables, as_of) if "class" in by else set()
    groups = [b for b in by if b != "class"]
    jobs: Counter[Any] = Counter()
    matured: Counter[Any] = Counter()
    returned: Counter[Any] = Counter()
    for job, back, gap, kind in links(tables).values():
        if job["disposition"] != index_disposition or job["closed_on"] > as_of or job["site"] in left_out:
            continue
        for key in groups_of_job(job, groups, tables):
            jobs[key] += 1
            if job["closed_on"] + timedelta(days=window) <= as_of:
                matured[key] += 1
                if back is not None and gap is not None and gap <= window:
                    returned[(key, kind)] += 1
    classes = ("no_fault_found", "unknown", "repeat", "workmanship", "new_fault")
    if "class" in by:
        return {(*k, c): (jobs[k], matured[k], returned[(k, c)]) for k in jobs for c in classes}
    return {k: (jobs[k], matured[k], sum(returned[(k, c)] for c in classes)) for k in jobs}


def step_day(step: Row, job: Row | None) -> date | None:
    if step["done_on"] is not None:
        return step["done_on"]
    if job is None:
        return None
    return job["closed_on"] if job["closed_on"] is not None else job["opened_on"]


def first_pass(
    tables: Tables, by: Sequence[str], as_of: date | None = None, *, tests: bool = False
) -> dict[tuple[Any, ...], tuple[int, int, int, int]]:
    """Per group: exposures, passed, failed, unchecked; of diagnostics when asked or `by` names test or station."""
    jobs = {j["job_id"]: j for j in tables["jobs"]}
    tests = tests or bool({"test", "station"} & set(by))
    found: dict[Any, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in tables["diagnostics"] if tests else tables["steps"]:
        if (row["run"] if tests else row["attempt"]) != 1:
            continue
        job = jobs.get(row["job_id"])
        when = row["run_on"] if tests else step_day(row, job)
        if as_of is not None and when is not None and when > as_of:
            continue
        get: dict[str, Callable[[], Any]] = {
            "month": lambda when=when: first_of_month(when),
            "phase": lambda job=job, row=row: phase_of(job and job["procedure"], row["step"], tables),
        }
        key = []
        for b in by:
            if b in get:
                key.append(get[b]())
            elif b == "technician":
                own = row.get("technician")
                key.append(known(own if own is not None else job and job["technician"]))
            elif b in ("step", "bench", "tool", "test", "station", "job_id"):
                key.append(known(row[b]))
            else:
                key.append(known(job and job[b]))
        counted = found[tuple(key)]
        if row["outcome"] in ("pass", "fail"):
            counted[0] += 1
            counted[1 if row["outcome"] == "pass" else 2] += 1
        else:
            counted[3] += 1
    return {
        k: (v[0], v[1], v[2], v[3]) for k, v in found.items() if not ("month" in by and k[by.index("month")] is None)
    }


def checks_by_job(
    tables: Tables, by: Sequence[str], as_of: date | None = None, *, tests: bool = False
) -> dict[tuple[Any, ...], tuple[int, ...]]:
    """Per group: jobs with a first check; checks; failed; sums over jobs of checks², checks x failed, failed²."""
    found: dict[Any, list[int]] = defaultdict(lambda: [0] * 6)
    for key, (checks, _, failed, _) in first_pass(tables, (*by, "job_id"), as_of, tests=tests).items():
        if checks:
            each = (1, checks, failed, checks * checks, checks * failed, failed * failed)
            found[key[:-1]] = [a + b for a, b in zip(found[key[:-1]], each, strict=True)]
    return {k: tuple(v) for k, v in found.items()}


def clean_jobs(tables: Tables, by: Sequence[str], as_of: date | None = None) -> dict[tuple[Any, ...], tuple[int, int]]:
    """Per group: jobs with a check or a diagnostic, and those where all passed first time."""
    jobs = {j["job_id"]: j for j in tables["jobs"]}
    results: dict[str, list[bool]] = defaultdict(list)
    for s in tables["steps"]:
        if s["attempt"] == 1 and s["outcome"] in ("pass", "fail"):
            results[s["job_id"]].append(s["outcome"] == "pass")
    for d in tables["diagnostics"]:
        if d["run"] == 1:
            results[d["job_id"]].append(d["outcome"] == "pass")
    found: dict[Any, list[int]] = defaultdict(lambda: [0, 0])
    for job_id, passed in results.items():
        job = jobs.get(job_id)
        when = None if job is None else job["closed_on"] if job["closed_on"] is not None else job["opened_on"]
        if as_of is not None and when is not None and when > as_of:
            continue
        key = tuple(first_of_month(when) if b == "month" else known(job and job[b]) for b in by)
        found[key][0] += 1
        found[key][1] += all(passed)
    return {k: (v[0], v[1]) for k, v in found.items() if not ("month" in by and k[by.index("month")] is None)}
