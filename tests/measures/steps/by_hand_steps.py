"""What happened at steps and the come-backs after it, again, one row at a time, from the definitions."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import Row, Tables, first_of_month, job_groups, known, links, phase_of
from tests.measures.yields.by_hand_work import day_of, job_of, who

Key = tuple[Any, ...]


def matured(tables: Tables, window: int, as_of: date) -> dict[str, tuple[Row, Row | None, int | None, str | None]]:
    return {
        i: link
        for i, link in links(tables).items()
        if link[0]["disposition"] == "repaired" and link[0]["closed_on"] + timedelta(days=window) <= as_of
    }


def places_touching(job: Row, subsystem: str, tables: Tables) -> set[str]:
    """Steps of the job's procedure that touch a subsystem."""
    return {
        p["step"]
        for p in tables["procedures"]
        if p["procedure"] == job["procedure"] and subsystem in (p["subsystems"] or [])
    }


def patterns(
    tables: Tables, by: Sequence[str], window: int, as_of: date, classes: Sequence[str], covariate: str
) -> Counter[Key]:
    """Per group, procedure, causes met, subsystem found, tested, passed: jobs."""
    declared = {p["step"] for p in tables["procedures"]}
    found: Counter[Key] = Counter()
    for job, back, gap, kind in matured(tables, window, as_of).values():
        met = {
            (s["step"], known(s[covariate]) if covariate else "")
            for s in tables["steps"]
            if s["job_id"] == job["job_id"] and s["outcome"] != "skipped" and s["step"] in declared
        }
        if not met:
            continue
        came = back is not None and gap is not None and gap <= window and kind in classes
        fault = back["found"] if came and back is not None else None
        covering, passed = None, None
        if fault is not None:
            last: dict[str, Row] = {}
            for d in tables["diagnostics"]:
                seen = d["job_id"] == job["job_id"] and (d["run_on"] is None or d["run_on"] <= as_of)
                if seen and d["run"] >= last.get(d["test"], d)["run"]:
                    last[d["test"]] = d
            covering = any(t["test"] in last and t["subsystem"] == fault for t in tables["tests"])
            passed = covering and all(d["outcome"] == "pass" for d in last.values())
        found[(*job_groups(job, by), job["procedure"], frozenset(met), fault, covering, passed)] += 1
    return found


def step_comebacks(tables: Tables, by: Sequence[str], window: int, as_of: date) -> dict[Key, tuple[int, int]]:
    """Per group, outcome of the first attempt, tried again, class: jobs, returned."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    index = matured(tables, window, as_of)
    for s in tables["steps"]:
        if s["attempt"] != 1 or s["job_id"] not in index:
            continue
        job, _, gap, kind = index[s["job_id"]]
        here = [o for o in tables["steps"] if (o["job_id"], o["step_seq"]) == (s["job_id"], s["step_seq"])]
        again = any(o["attempt"] > 1 and o["outcome"] != "skipped" for o in here)
        key = tuple(known(s[b]) if b in ("step", "bench", "tool") else job_groups(job, [b])[0] for b in by)
        row = found[(*key, s["outcome"], again, kind)]
        row[0] += 1
        row[1] += gap is not None and gap <= window
    return {k: (v[0], v[1]) for k, v in found.items()}


def bench_comebacks(tables: Tables, by: Sequence[str], window: int, as_of: date) -> dict[Key, tuple[int, int]]:
    found: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    for job, _, gap, kind in matured(tables, window, as_of).values():
        benches = {
            s["bench"] for s in tables["steps"]
            if s["job_id"] == job["job_id"] and s["bench"] is not None and s["outcome"] != "skipped"
        }
        for bench in [*benches, *([""] if benches else [])]:
            row = found[(*job_groups(job, by), bench, kind)]
            row[0] += 1
            row[1] += gap is not None and gap <= window
    return {k: (v[0], v[1]) for k, v in found.items()}


def exposure(tables: Tables, by: Sequence[str], as_of: date) -> dict[Key, tuple[int, ...]]:
    """jobs, logged, done, checked, failed, skipped, again, chances, undeclared; once under each part and lot named."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 8)
    jobs: dict[Key, set[str]] = defaultdict(set)
    parts = {"part_no", "lot"} & set(by)
    for s in tables["steps"]:
        job = job_of(s, tables)
        day = day_of(s, job)
        if s["attempt"] > 2 or (day is not None and day > as_of):
            continue
        fitted = {
            tuple(known(p["lot"]) if b == "lot" else p[b] for b in by if b in parts)
            for p in tables.get("parts", ())
            if p["job_id"] == s["job_id"]
        } if parts else {()}
        places = [
            p for p in tables["procedures"] if job and p["procedure"] == job["procedure"] and p["step"] == s["step"]
        ]
        each = -(-sum(p["opportunities"] for p in places) // len(places)) if places else 1
        for held in fitted:
            key, names = [], list(held)
            for b in by:
                if b in parts:
                    key.append(names.pop(0))
                elif b == "month":
                    key.append(first_of_month(day))
                elif b == "technician":
                    key.append(known(who(s, job)))
                elif b == "phase":
                    key.append("unknown" if job is None else phase_of(job["procedure"], s["step"], tables))
                elif b in ("step", "bench", "tool"):
                    key.append(known(s[b]))
                else:
                    key.append("unknown" if job is None else known(job[b]))
            row, first = found[tuple(key)], s["attempt"] == 1
            did = first and s["outcome"] != "skipped"
            jobs[tuple(key)].add(s["job_id"])
            row[0] += first
            row[1] += did
            row[2] += first and s["outcome"] in ("pass", "fail")
            row[3] += first and s["outcome"] == "fail"
            row[4] += first and s["outcome"] == "skipped"
            row[5] += s["attempt"] == 2 and s["outcome"] != "skipped"
            row[6] += each if did else 0
            row[7] += did and not places
    return {k: (len(jobs[k]), *v) for k, v in found.items()}
