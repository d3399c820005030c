"""The measures of diagnostics again, one row at a time, from their definitions."""

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import Row, Tables, first_of_month, job_groups, known, links

Key = tuple[Any, ...]
KNOWN_FAULT = ("repeat", "workmanship", "new_fault")


def job_of(row: Row, tables: Tables) -> Row | None:
    return next((j for j in tables["jobs"] if j["job_id"] == row["job_id"]), None)


def runs_seen(tables: Tables, as_of: date) -> dict[tuple[str, str], list[Row]]:
    """Runs of each test of each job up to the day, in order."""
    found: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for run in sorted(tables["diagnostics"], key=lambda r: r["run"]):
        if run["run_on"] <= as_of:
            found[run["job_id"], run["test"]].append(run)
    return found


def run_key(run: Row, by: Sequence[str], tables: Tables) -> Key:
    job, key = job_of(run, tables), []
    for name in by:
        if name == "month":
            key.append(first_of_month(run["run_on"]))
        elif name in ("test", "station"):
            key.append(known(run[name]))
        else:
            key.append("unknown" if job is None else known(job[name]))
    return tuple(key)


def attempts_of(job_id: str, tables: Tables) -> list[tuple[Row, Any, Any]]:
    """Attempts that were made, with when they began and ended."""
    made = []
    for s in tables["steps"]:
        if s["job_id"] == job_id and s["outcome"] != "skipped":
            start = s["started_at"] if s["started_at"] is not None else s["ended_at"]
            end = s["ended_at"] if s["ended_at"] is not None else s["started_at"]
            made.append((s, start, end))
    return made


def outcomes(tables: Tables, by: Sequence[str], as_of: date) -> dict[Key, tuple[int, ...]]:
    """tests, first_judged, first_passed, final_passed, runs, aborted; and the jobs."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 6)
    jobs: dict[Key, set[str]] = defaultdict(set)
    for runs in runs_seen(tables, as_of).values():
        if runs[0]["run"] != 1:
            continue
        key = run_key(runs[0], by, tables)
        jobs[key].add(runs[0]["job_id"])
        row = found[key]
        row[0] += 1
        row[1] += runs[0]["outcome"] != "aborted"
        row[2] += runs[0]["outcome"] == "pass"
        row[3] += runs[-1]["outcome"] == "pass"
        row[4] += len(runs)
        row[5] += sum(r["outcome"] == "aborted" for r in runs)
    return {key: (*row, len(jobs[key])) for key, row in found.items()}


def retests(
    tables: Tables, by: Sequence[str], as_of: date, unlogged: Collection[str] = ()
) -> dict[Key, tuple[int, ...]]:
    """runs, fails, retest_passes, after_work, failed_again, not_rerun, untimed, elsewhere; at the sites unlogged."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 9)
    for (job_id, _), runs in runs_seen(tables, as_of).items():
        ended = [r for r in runs if r["outcome"] != "aborted"]
        attempts = attempts_of(job_id, tables)
        for run, after in zip(ended, [*ended[1:], None][: len(ended)], strict=True):
            row = found[run_key(run, by, tables)]
            row[0] += 1
            if run["outcome"] == "pass":
                continue
            row[1] += 1
            if run_key(run, ("site",), tables)[0] in unlogged:
                row[8] += 1
            elif any(end is None for _, _, end in attempts) or (after is not None and after["run_at"] < run["run_at"]):
                row[6] += 1
            elif after is None:
                row[5] += 1
            elif after["outcome"] == "fail":
                row[4] += 1
            elif any(end > run["run_at"] and start <= after["run_at"] for _, start, end in attempts):
                row[3] += 1
            else:
                row[2] += 1
                there, here = after["station"], run["station"]
                row[7] += there is not None and here is not None and there != here
    return {key: tuple(row) for key, row in found.items()}


def touches(job: Row, step: Row, subsystem: str, tables: Tables) -> bool:
    return any(
        p["procedure"] == job["procedure"] and p["step"] == step["step"] and subsystem in (p["subsystems"] or [])
        for p in tables["procedures"]
    )


def first_judged(runs: list[Row]) -> Row | None:
    return next((r for r in runs if r["outcome"] != "aborted"), None)


def day_of(step: Row) -> date | None:
    return step["done_on"]


def works_after(fail: Row, tables: Tables, as_of: date) -> list[Row]:
    return [
        s for s, _, end in attempts_of(fail["job_id"], tables)
        if end is not None and end > fail["run_at"] and s["done_on"] <= as_of
    ]


def was_caught(fail: Row, subsystem: str, tables: Tables, as_of: date) -> bool:
    job = job_of(fail, tables)
    if job is None:
        return False
    works = works_after(fail, tables, as_of)
    return any(touches(job, s, subsystem, tables) or job["found"] == subsystem for s in works)


def covers(tables: Tables) -> dict[str, str]:
    return {t["test"]: t["subsystem"] for t in tables["tests"]}


def escapes(
    tables: Tables, by: Sequence[str], *, as_of: date, window: int
) -> tuple[dict[Key, tuple[int, ...]], Counter[Key]]:
    """By group and matured: tested, passed, escaped, unverified, open, caught, doubtful; escapes by group and day."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 7)
    days: Counter[Key] = Counter()
    seen = runs_seen(tables, as_of)
    for job, back, gap, kind in links(tables).values():
        if job["disposition"] != "repaired" or job["closed_on"] > as_of:
            continue
        matured = job["closed_on"] + timedelta(days=window) <= as_of
        own = {test: runs for (job_id, test), runs in seen.items() if job_id == job["job_id"]}
        passed = all(runs[-1]["outcome"] == "pass" for runs in own.values())
        came = gap is not None and gap <= window and job["closed_on"] + timedelta(days=gap) <= as_of
        groups: dict[Key, set[str]] = defaultdict(set)
        for test, runs in own.items():
            if test not in covers(tables):
                continue
            subsystem = covers(tables)[test]
            here = {"test": test, "subsystem": subsystem}
            if runs[0]["run"] != 1 and (first_judged(runs) or {}).get("outcome") != "fail":
                continue
            marks = groups[tuple(here[b] if b in here else job_groups(job, [b])[0] for b in by)]
            if runs[0]["run"] == 1:
                marks.add("tested")
                if came and back is not None and kind in KNOWN_FAULT and back["found"] == subsystem:
                    marks.add("back")
            fail = first_judged(runs)
            if fail is not None and fail["outcome"] == "fail":
                marks.add("caught" if was_caught(fail, subsystem, tables, as_of) else "doubtful")
        for key, marks in groups.items():
            row = found[(*key, matured)]
            row[0] += "tested" in marks
            row[1] += "tested" in marks and passed
            row[2] += passed and "back" in marks
            row[3] += "tested" in marks and passed and came and kind not in KNOWN_FAULT
            row[4] += "tested" in marks and passed and not came and not matured
            row[5] += "caught" in marks
            row[6] += "doubtful" in marks and "caught" not in marks
            if matured and passed and "back" in marks:
                days[(*key, gap)] += 1
    return {key: tuple(int(n) for n in row) for key, row in found.items()}, days


def coverage(tables: Tables, by: Sequence[str], *, as_of: date, window: int) -> Counter[Key]:
    """Come-backs by group, subsystem and way."""
    found: Counter[Key] = Counter()
    for job, back, gap, kind in links(tables).values():
        if job["disposition"] != "repaired" or job["closed_on"] + timedelta(days=window) > as_of:
            continue
        if back is None or gap is None or gap > window:
            continue
        own = {t: runs for (job_id, t), runs in runs_seen(tables, as_of).items() if job_id == job["job_id"]}
        fault = back["found"] if kind in KNOWN_FAULT else None
        if fault is None:
            way = "not known"
        elif fault not in covers(tables).values():
            way = "no test covers it"
        elif not any(covers(tables).get(t) == fault for t in own):
            way = "not run"
        elif any(runs[-1]["outcome"] != "pass" for runs in own.values()):
            way = "not passed"
        else:
            way = "escaped"
        found[(*job_groups(job, by), fault or "", way)] += 1
    return found


def alarms(tables: Tables, by: Sequence[str], as_of: date) -> dict[Key, tuple[int, ...]]:
    """fails, confirmed, nothing_found, undecided."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 4)
    for (job_id, test), runs in runs_seen(tables, as_of).items():
        fail, job = first_judged(runs), next((j for j in tables["jobs"] if j["job_id"] == job_id), None)
        if fail is None or fail["outcome"] != "fail" or job is None or job["disposition"] in ("open", "cancelled"):
            continue
        if job["closed_on"] is None or job["closed_on"] > as_of:
            continue
        subsystem = covers(tables).get(test)
        confirmed = any(
            s["outcome"] == "fail" or s["attempt"] > 1 or (subsystem is not None and touches(job, s, subsystem, tables))
            for s in works_after(fail, tables, as_of)
        )
        untimed = any(end is None for _, _, end in attempts_of(job_id, tables))
        settled = runs[-1]["outcome"] == "pass" or job["disposition"] == "no_fault_found"
        row = found[run_key(fail, by, tables)]
        row[0] += 1
        row[1 if confirmed else 2 if settled and not untimed else 3] += 1
    return {key: tuple(row) for key, row in found.items()}


def first_run(seen: dict[tuple[str, str], list[Row]], job_id: str, test: str) -> bool:
    return any(run["run"] == 1 for run in seen.get((job_id, test), []))


def release_rows(tables: Tables, *, as_of: date, usual: float, min_cases: int) -> dict[str, dict[str, Any]]:
    """Per repaired job closed by the day: the job, its last runs, what it lacks, whether early; None where unknown."""
    seen = runs_seen(tables, as_of)
    untold = {row["job_id"] for row in tables.get("refused", ()) if row["table_name"] == "diagnostics"}
    released = [j for j in tables["jobs"] if j["disposition"] == "repaired" and j["closed_on"] <= as_of]
    released = [j for j in released if j["job_id"] not in untold]
    last = {j["job_id"]: {t: r[-1] for (job_id, t), r in seen.items() if job_id == j["job_id"]} for j in released}
    needed: dict[str, set[str]] = {}
    for job in released:
        needed[job["job_id"]] = set()
        kin = [j for j in released if (j["model"], j["procedure"]) == (job["model"], job["procedure"])]
        for test in {t for j in kin for t in last[j["job_id"]]}:
            had = [j["closed_on"] for j in kin if first_run(seen, j["job_id"], test)]
            if not had:
                continue
            span = [j for j in kin if min(had) <= j["closed_on"] <= max(had)]
            if job in span and len(span) >= min_cases and len(had) >= usual * len(span):
                needed[job["job_id"]].add(test)
    made = {}
    for job in released:
        own = last[job["job_id"]]
        ends = [end for s, _, end in attempts_of(job["job_id"], tables) if end is not None and s["done_on"] <= as_of]
        made[job["job_id"]] = {
            "job": job, "last": own, "needed": needed[job["job_id"]], "until": max(ends, default=None),
        }
    return made


def release_checks(
    tables: Tables, by: Sequence[str], *, as_of: date, window: int, usual: float, min_cases: int
) -> dict[Key, tuple[int, int, int]]:
    """By group, procedure, model, check and flagged: jobs, matured, returned."""
    found: dict[Key, list[int]] = defaultdict(lambda: [0] * 3)
    linked = links(tables)
    for job_id, r in release_rows(tables, as_of=as_of, usual=usual, min_cases=min_cases).items():
        job, own = r["job"], r["last"].values()
        said: dict[str, bool | None] = {
            "missing": bool(r["needed"] - set(r["last"])) if r["needed"] else None,
            "failed": any(run["outcome"] == "fail" for run in own) if own else None,
            "aborted": any(run["outcome"] == "aborted" for run in own) if own else None,
            "early": any(run["run_at"] < r["until"] for run in own) if own and r["until"] is not None else None,
        }
        told = [flag for flag in said.values() if flag is not None]
        said["any"] = any(told) if told else None
        gap = linked[job_id][2] if job_id in linked else None
        ripe = job_id in linked and job["closed_on"] + timedelta(days=window) <= as_of
        for check, flagged in said.items():
            if flagged is not None or check == "any":
                row = found[(*job_groups(job, by), job["procedure"], job["model"], check, flagged)]
                row[0] += 1
                row[1] += ripe
                row[2] += ripe and gap is not None and gap <= window
    return {key: (a, b, c) for key, (a, b, c) in found.items()}


def release_list(tables: Tables, *, as_of: date, usual: float, min_cases: int) -> set[Key]:
    """Job, check and test."""
    made: set[Key] = set()
    for job_id, r in release_rows(tables, as_of=as_of, usual=usual, min_cases=min_cases).items():
        made |= {(job_id, "missing", test) for test in r["needed"] - set(r["last"])}
        for test, run in r["last"].items():
            if run["outcome"] != "pass":
                made.add((job_id, "failed" if run["outcome"] == "fail" else "aborted", test))
            if r["until"] is not None and run["run_at"] < r["until"]:
                made.add((job_id, "early", test))
    return made
