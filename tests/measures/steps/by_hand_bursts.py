"""What the searches of bursts and of failures alike count, written as loops over rows from their definitions."""

from collections import Counter
from collections.abc import Collection, Mapping
from datetime import date, timedelta
from typing import Any

from tests.measures.by_hand import links

Tables = Mapping[str, Any]
CLASSES = ("repeat", "workmanship")


def start(day: date, period: str) -> date:
    return day - timedelta(days=day.weekday()) if period == "week" else day.replace(day=1)


def matured(data: Tables, as_of: date, window: int) -> list[Any]:
    return [
        {**job, "return": back, "elapsed_days": gap, "class": kind}
        for job, back, gap, kind in links(data).values()
        if job["disposition"] == "repaired" and job["closed_on"] + timedelta(days=window) <= as_of
    ]


def came_back(link: Any, window: int) -> bool:
    return bool(link["elapsed_days"] is not None and link["elapsed_days"] <= window)


def names(data: Tables, job: str, column: str) -> set[str]:
    return {s[column] for s in data["steps"] if s["job_id"] == job and s[column] is not None}


def lots(data: Tables, job: str) -> set[tuple[str, str]]:
    return {(p["part_no"], p["lot"]) for p in data["parts"] if p["job_id"] == job and p.get("lot") is not None}


def comebacks(data: Tables, as_of: date, window: int, period: str, aside: set[Any]) -> dict[Any, tuple[int, int]]:
    """(dimension, part, name, period) to cases and events; `aside` holds such keys."""
    found: Counter[Any] = Counter()
    events: Counter[Any] = Counter()
    for link in matured(data, as_of, window):
        job, when = link["job_id"], start(link["closed_on"], period)
        groups = {("time", "", "")}
        groups |= {(d, "", link[d]) for d in ("site", "model", "technician") if link[d] is not None}
        groups |= {(d, "", name) for d in ("bench", "tool") for name in names(data, job, d)}
        groups |= {("lot", *lot) for lot in lots(data, job)}
        if any((*g, when) in aside for g in groups):
            continue
        for g in groups:
            found[*g, when] += 1
            events[*g, when] += came_back(link, window) and link["class"] in CLASSES
    return {key: (n, events[key]) for key, n in found.items()}


def checks(data: Tables, as_of: date, period: str, aside: set[Any]) -> dict[Any, tuple[int, int]]:
    jobs = {j["job_id"]: j for j in data["jobs"]}
    found: Counter[Any] = Counter()
    events: Counter[Any] = Counter()
    for s in data["steps"]:
        job = jobs.get(s["job_id"])
        if job is None or s["attempt"] != 1 or s["outcome"] not in ("pass", "fail"):
            continue
        earlier = [o for o in data["steps"] if o["job_id"] == s["job_id"] and o["step_seq"] < s["step_seq"]]
        if any(o["attempt"] == 1 and o["outcome"] == "fail" for o in earlier):
            continue
        day = s["done_on"] or job["closed_on"] or job["opened_on"]
        if day > as_of:
            continue
        when = start(day, period)
        groups = {("time", "", ""), ("site", "", job["site"]), ("model", "", job["model"]), ("step", "", s["step"])}
        groups |= {("technician", "", s["technician"] or job["technician"])}
        groups |= {(d, "", s[d]) for d in ("bench", "tool")}
        groups |= {("lot", *lot) for lot in lots(data, s["job_id"])}
        groups = {g for g in groups if g[2] is not None}
        if any((*g, when) in aside for g in groups):
            continue
        for g in groups:
            found[*g, when] += 1
            events[*g, when] += s["outcome"] == "fail"
    return {key: (n, events[key]) for key, n in found.items()}


def marks(data: Tables, link: Any, window: int, faults: bool, unknown: bool) -> frozenset[str]:
    job = link["job_id"]
    failed = [s for s in data["steps"] if s["job_id"] == job and s["outcome"] == "fail"]
    made = {f"step\x1e{s['step']}" for s in failed}
    if faults:
        made |= {f"fault\x1e{s['fault']}" for s in failed if s.get("fault") is not None}
    made |= {
        f"test\x1e{d['test']}"
        for d in data["diagnostics"]
        if d["job_id"] == job and d["run"] == 1 and d["outcome"] == "fail"
    }
    if came_back(link, window):
        found = (
            "nothing"
            if link["class"] == "no_fault_found"
            else link["return"]["found"] or ("unknown" if unknown else None)
        )
        made |= {f"found\x1e{found}"} if found else set()
    return frozenset(made)


def signature(data: Tables, link: Any, window: int, unwritten: Collection[str]) -> str:
    """A job's marks; of a site that does not write down what was found, those of its return are none."""
    own = marks(data, link, window, True, True)
    blind = link["site"] in unwritten
    return "\x1f".join(sorted(m for m in own if not (blind and m.startswith("found\x1e"))))


def signatures(data: Tables, as_of: date, window: int, unwritten: Collection[str] = ()) -> dict[str, tuple[int, int]]:
    found: Counter[str] = Counter()
    back: Counter[str] = Counter()
    for link in matured(data, as_of, window):
        pattern = signature(data, link, window, unwritten)
        if pattern:
            found[pattern] += 1
            back[pattern] += came_back(link, window)
    return {p: (n, back[p]) for p, n in found.items()}


def placed(
    data: Tables, as_of: date, window: int, clusters: Mapping[str, int], unwritten: Collection[str] = ()
) -> dict[Any, int]:
    found: Counter[Any] = Counter()
    for link in matured(data, as_of, window):
        cluster = clusters.get(signature(data, link, window, unwritten))
        if cluster is None:
            continue
        groups = {(d, "", link[d]) for d in ("site", "model", "procedure", "technician") if link[d] is not None}
        groups |= {("bench", "", name) for name in names(data, link["job_id"], "bench")}
        groups |= {("lot", *lot) for lot in lots(data, link["job_id"])}
        written = "nothing" if link["site"] in unwritten else ""
        found.update((cluster, *g, link["model"], link["procedure"], written) for g in groups)
    return dict(found)


def together(data: Tables, as_of: date, window: int) -> dict[Any, int]:
    found: Counter[Any] = Counter()
    for link in matured(data, as_of, window):
        kind = (link["model"], link["procedure"])
        own = sorted(marks(data, link, window, False, False))
        found[*kind, "", ""] += 1
        found.update((*kind, m, "") for m in own)
        found.update((*kind, a, b) for i, a in enumerate(own) for b in own[i + 1 :])
    return dict(found)
