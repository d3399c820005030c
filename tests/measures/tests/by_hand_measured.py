"""Measured values again, row by row: by value, by station on comparable work, by outcome of the jobs, in pairs."""

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from datetime import date, timedelta
from math import floor
from typing import Any

from tests.measures.by_hand import Row, Tables, first_of_month, known, links

Key = tuple[Any, ...]
PASSED, FAILED = ("escaped", "sound", "unknown"), ("mended", "retested")


def runs(tables: Tables, as_of: date) -> list[Row]:
    return [d for d in tables["diagnostics"] if d["run_on"] <= as_of]


def job_of(run: Row, tables: Tables) -> Row | None:
    return next((j for j in tables["jobs"] if j["job_id"] == run["job_id"]), None)


def monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def key_of(run: Row, by: Sequence[str], tables: Tables) -> Key:
    job = job_of(run, tables)
    made: list[Any] = []
    for name in by:
        if name in ("month", "week"):
            made.append(first_of_month(run["run_on"]) if name == "month" else monday(run["run_on"]))
        elif name in ("test", "station"):
            made.append(known(run[name]))
        else:
            made.append("unknown" if job is None else known(job[name]))
    return tuple(made)


def by_value(tables: Tables, by: Sequence[str], as_of: date) -> dict[Key, tuple[int, int]]:
    made: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    for run in runs(tables, as_of):
        if run["outcome"] != "aborted":
            place = (run["unit"], run["lower_limit"], run["upper_limit"], run["value"])
            row = made[(*key_of(run, by, tables), *place)]
            row[0] += run["run"] == 1
            row[1] += 1
    return {key: (a, b) for key, (a, b) in made.items()}


def least_value(values: Sequence[float], share: float) -> float:
    return next(v for v in sorted(values) if sum(w <= v for w in values) >= share * len(values))


def by_station(tables: Tables, by: Sequence[str], as_of: date, period: str) -> dict[Key, tuple[float, ...]]:
    """middle, readings, fenced, total, squares by group, unit, station, period, model and procedure."""
    pools: dict[Key, list[tuple[Key, float]]] = defaultdict(list)
    for run in runs(tables, as_of):
        job = job_of(run, tables)
        if run["run"] == 1 and run["outcome"] != "aborted" and None not in (run["value"], run["station"], job):
            assert job is not None
            day = first_of_month(run["run_on"]) if period == "month" else monday(run["run_on"])
            cell = (run["station"], day, job["model"], job["procedure"])
            pools[*key_of(run, by, tables), run["unit"]].append((cell, run["value"]))
    made: dict[Key, list[float]] = {}
    for group, readings in pools.items():
        values = [v for _, v in readings]
        middle, low, high = (least_value(values, share) for share in (0.5, 0.25, 0.75))
        for cell, v in readings:
            row = made.setdefault((*group, *cell), [middle, 0, 0, 0.0, 0.0])
            cut = v
            if high > low:
                cut = min(max(v, low - 3 * (high - low)), high + 3 * (high - low))
            row[1] += 1
            row[2] += cut != v
            row[3] += cut - middle
            row[4] += (cut - middle) ** 2
    return {key: tuple(row) for key, row in made.items()}


def attempts(job_id: str, tables: Tables) -> list[tuple[Any, Any]]:
    """Begin and end of each attempt; both None without any time."""
    made = []
    for s in tables["steps"]:
        if s["job_id"] == job_id and s["outcome"] != "skipped":
            made.append((s["started_at"] or s["ended_at"], s["ended_at"] or s["started_at"]))
    return made


def pairs(
    tables: Tables, by: Sequence[str], as_of: date, unlogged: Collection[str] = ()
) -> dict[Key, tuple[float, ...]]:
    """pairs, measured, difference, squares by group, unit, stations and outcomes; none of the sites unlogged."""
    made: dict[Key, list[float]] = defaultdict(lambda: [0, 0, 0.0, 0.0])
    for one in runs(tables, as_of):
        for two in runs(tables, as_of):
            if (two["job_id"], two["test"], two["run"]) != (one["job_id"], one["test"], one["run"] + 1):
                continue
            if "aborted" in (one["outcome"], two["outcome"]) or two["run_at"] < one["run_at"]:
                continue
            if key_of(one, ("site",), tables)[0] in unlogged:
                continue
            tried = attempts(one["job_id"], tables)
            if any(a is None or (b > one["run_at"] and a <= two["run_at"]) for a, b in tried):
                continue
            row = made[
                (*key_of(one, by, tables), two["unit"], known(one["station"]), known(two["station"]), one["outcome"],
                 two["outcome"])
            ]
            row[0] += 1
            if one["unit"] == two["unit"] and None not in (one["value"], two["value"]):
                row[1] += 1
                row[2] += two["value"] - one["value"]
                row[3] += (two["value"] - one["value"]) ** 2
    return {key: tuple(row) for key, row in made.items()}


def decided(tables: Tables, as_of: date, window: int, side: str) -> list[tuple[Row, str, Any, float, str, bool]]:
    """Job, test, unit, value, what became of it, and whether it came back for what the test covers."""
    made = []
    everything = runs(tables, as_of)
    for job, back, gap, kind in links(tables).values():
        if job["disposition"] != "repaired" or (as_of - job["closed_on"]).days < window:
            continue
        own = [r for r in everything if r["job_id"] == job["job_id"]]
        last = {r["test"]: r for r in sorted(own, key=lambda r: r["run"])}
        if any(r["outcome"] != "pass" for r in last.values()):
            continue
        returned = back is not None and gap is not None and gap <= window
        for test in {(r["test"], r["unit"]) for r in own}:
            covers = [t["subsystem"] for t in tables["tests"] if t["test"] == test[0]]
            valued = [r for r in own if (r["test"], r["unit"]) == test and r["outcome"] != "aborted"]
            valued = sorted((r for r in valued if r["value"] is not None), key=lambda r: r["run"])
            if not covers or not valued or valued[-1]["outcome"] != "pass":
                continue
            first, end = valued[0], valued[-1]
            again = returned and kind in ("repeat", "workmanship", "new_fault") and back["found"] == covers[0]
            if first["outcome"] == "fail":
                limit = first[f"{side}_limit"]
                if limit is None or not (first["value"] > limit if side == "upper" else first["value"] < limit):
                    continue
                tried = attempts(job["job_id"], tables)
                timed = [(a, b) for a, b in tried if a is not None]
                if any(b > first["run_at"] and a <= end["run_at"] for a, b in timed):
                    became = "mended"
                else:
                    became = "retested" if len(timed) == len(tried) else "unknown"
                made.append((job, *test, first["value"], became, again, True))
            else:
                became = "escaped" if again else "sound"
                if returned and kind in ("no_fault_found", "unknown"):
                    became = "unknown"
                made.append((job, *test, end["value"], became, again, False))
    return made


def limit_classes(
    tables: Tables, by: Sequence[str], as_of: date, *, window: int, side: str, cuts: int
) -> list[tuple[Any, ...]]:
    """group, unit, beyond, lowest, highest and the counts of each class."""
    pools: dict[Key, list[tuple[float, str, bool, bool]]] = defaultdict(list)
    for job, test, unit, value, became, again, beyond in decided(tables, as_of, window, side):
        names = {"test": test, "month": first_of_month(job["closed_on"])}
        key = tuple(names[b] if b in names else known(job[b]) for b in by)
        pools[*key, unit].append((value, became, again, beyond))
    made = []
    for group, jobs in pools.items():
        values = [v for v, *_ in jobs]
        least, most = min(values), max(values)
        classes: dict[Key, list[tuple[float, str, bool]]] = defaultdict(list)
        for value, became, again, beyond in jobs:
            order = floor(cuts * (sum(w <= value for w in values) - 1) / len(values))
            reach = min(floor(cuts * (value - least) / (most - least)), cuts - 1) if most > least else 0
            classes[beyond, order, reach].append((value, became, again))
        for (beyond, _, _), members in classes.items():
            n = Counter(became for _, became, _ in members)
            back = sum(again and became in FAILED for _, became, again in members)
            ends = (min(v for v, *_ in members), max(v for v, *_ in members))
            made.append((*group, beyond, *ends, *(n[w] for w in (*PASSED, *FAILED)), back))
    return made
