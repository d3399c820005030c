"""What is watched, case by case in a plain loop; what is planted is found; nothing is said of persons."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from math import log, log1p
from typing import Any

import numpy as np
import pytest

from rqa.answers.charts.watch import DIMENSIONS, Watch
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots.dispatch import plot
from tests.depots import depot_of

BAD_FROM, AS_OF, WINDOW = date(2025, 10, 1), date(2026, 2, 10), 30
Case = tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], tuple[str, ...], date, bool]
"""Series, level, like, kind, day, and whether it is an event."""


def made_rows() -> dict[str, list[dict[str, Any]]]:
    """Nineteen months; from October on Quern comes back more, step 'seat', bench B1 and test 'seal' fail more."""
    rng = np.random.default_rng(8)
    jobs, steps, tests, parts = [], [], [], []
    for n in range(2000):
        closed = datetime(2024, 7, 1, 8) + timedelta(hours=6.8 * n)
        bad, model, bench = closed.date() >= BAD_FROM, ("Marl-8", "Quern")[n % 2], f"B{n % 3}"
        job = f"J{n:04}"
        jobs.append({"job_id": job, "unit_id": f"U{n}", "opened_at": closed - timedelta(hours=5), "closed_at": closed,
                     "model": model, "procedure": ("board", "panel")[n % 5 == 0], "billing": "paid",
                     "site": ("Alder", None)[n % 7 == 0], "technician": f"T{n % 4}"})
        if rng.random() < (0.45 if bad and model == "Quern" else 0.08):
            again = closed + timedelta(days=int(rng.integers(0, 45)))
            jobs.append({"job_id": f"{job}/2", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                         "disposition": "not_economic"})
        for seq, step in enumerate(("open", "seat", "close")[: 2 + n % 2]):
            worse = bad and (step == "seat" or bench == "B1")
            fails = rng.random() < (0.25 if worse else 0.06)
            logged = {"job_id": job, "step_seq": seq + 1, "step": step, "bench": bench, "technician": f"T{n % 4}",
                      "ended_at": closed}
            steps.append({**logged, "outcome": "fail" if fails else ("pass", "done")[rng.random() < 0.1]})
            if fails:
                steps.append({**logged, "attempt": 2, "outcome": "fail"})
        for test in ("load", "seal"):
            fails = 0.4 if bad and test == "seal" else 0.1
            outcome = ("pass", "fail", "aborted")[int(rng.choice(3, p=[0.98 - fails, fails, 0.02]))]
            tests.append({"job_id": job, "test": test, "run_at": closed, "outcome": outcome, "station": f"S{n % 2}"})
        parts.append({"job_id": job, "part_no": f"P{n % 2}", "lot": f"K{n // 100}", "quantity": 1})
    return {"jobs": jobs, "steps": steps, "diagnostics": tests, "parts": parts}


@pytest.fixture(scope="module")
def rows() -> dict[str, list[dict[str, Any]]]:
    return made_rows()


@pytest.fixture(scope="module")
def depot(rows: dict[str, list[dict[str, Any]]]) -> Iterator[Depot]:
    with depot_of(rows, as_of=AS_OF.isoformat()) as opened:
        yield opened


def cases(rows: Any, what: str) -> list[Case]:
    """Every case of a dimension, from the rows."""
    own = {j["job_id"]: j for j in rows["jobs"]}
    came = {j["unit_id"]: j["opened_at"].date() for j in rows["jobs"] if j["job_id"].endswith("/2")}
    lots = {p["job_id"]: (p["part_no"], p["lot"]) for p in rows["parts"]}
    made: list[Case] = []
    if what in ("site", "model", "procedure", "lot"):
        for j in own.values():
            day = j["closed_at"].date()
            if j.get("disposition") == "not_economic" or (AS_OF - day).days < WINDOW:
                continue
            back = j["unit_id"] in came and (came[j["unit_id"]] - day).days <= WINDOW
            series = lots[j["job_id"]] if what == "lot" else (j[what] or "unknown",)
            made.append((series, series[:1], (), (j["model"], j["procedure"], j["billing"]), day, back))
        return made
    logs, key = (rows["steps"], "attempt") if what in ("step", "bench") else (rows["diagnostics"], "run")
    first = [r for r in logs if r.get(key, 1) == 1 and r["outcome"] in ("pass", "fail")]
    grouped = defaultdict(list)
    for r in first:
        grouped[r["job_id"], r[what]].append(r)
    for (job, name), checks in grouped.items():
        j = own[job]
        kind = (j["model"], j["procedure"])
        like = (name,) if what in ("step", "test") else (str(len(checks)),)
        day = j["closed_at"].date()
        made.append(((name,), (name,), like, (*like, *kind), day, any(c["outcome"] == "fail" for c in checks)))
    return made


def month_of(day: date) -> int:
    return day.year * 12 + day.month - 1


def by_loop(made: list[Case], pooled: bool, odds: float = 2.0) -> dict[tuple[str, ...], dict[date, float]]:
    """What the cases of each day say, by series, from the first month that has a baseline on."""
    begin = min(month_of(c[4]) for c in made)
    weights: dict[tuple[str, ...], dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for month in sorted({month_of(c[4]) for c in made}):
        base = [c for c in made if month - 25 <= month_of(c[4]) < month - 1]
        hits = sum(c[5] for c in base)
        if month - begin < 7 or len(base) < 100 or not 0 < hits < len(base):
            continue
        share = hits / len(base)
        likes, kinds = defaultdict(lambda: [0, 0]), defaultdict(lambda: [0, 0])
        for c in base:
            for counts in (likes[c[2]], kinds[c[3]]):
                counts[0] += c[5]
                counts[1] += 1

        def chance(c: Case) -> float:
            like = (likes[c[2]][0] + 20 * share) / (likes[c[2]][1] + 20)  # noqa: B023
            return (kinds[c[3]][0] + 20 * like) / (kinds[c[3]][1] + 20)  # noqa: B023

        brought, seen = defaultdict(float), defaultdict(int)
        for c in base:
            brought[c[1]] += chance(c)
            seen[c[1]] += c[5]
        firm = 4.0
        if pooled:
            apart = sum((seen[k] - e) ** 2 - e for k, e in brought.items()) / sum(e**2 for e in brought.values())
            firm = 1 / min(max(apart, 1 / 100), 1 / 4)
        for c in (c for c in made if month_of(c[4]) == month):
            level = (seen[c[1]] + firm) / (brought[c[1]] + firm)
            p = min(max(level * chance(c), 1e-4), 0.9)
            weights[c[0]][c[4]] += c[5] * log(odds) - log1p(p * (odds - 1))
    return weights


def held(
    weights: dict[date, float], limit: float, days: list[date]
) -> tuple[dict[date, float], date | None, date | None]:
    """The course of a sum that is held at its limit; since when it grows, and when its signal was raised."""
    value, out, since, raised = 0.0, False, None, None
    course = {}
    for day in days:
        value = min(max(value + weights.get(day, 0.0), 0.0), limit)
        if value >= limit - 1e-9 and not out:
            out, raised = True, day
        if out and value < limit / 2:
            value, out, raised = 0.0, False, None
        since = None if value == 0 else since or day
        course[day] = value
    return course, since, raised


@pytest.mark.parametrize("what", [d.name for d in DIMENSIONS])
def test_the_sums_are_those_of_a_plain_loop(depot: Depot, rows: Any, what: str) -> None:
    pooled = next(d for d in DIMENSIONS if d.name == what).pooled
    answer = depot.charts.watch(false_alarms=1e6)  # so low limits that much signals: its course is told by day
    assert answer.days is not None
    every = cases(rows, what)
    weights = by_loop(every, pooled)
    courses = answer.days.filter(answer.days["series"].str.starts_with(f"{what} "))
    assert courses["series"].n_unique() > 1
    signals = {r["series"]: r for r in answer.table.iter_rows(named=True)}
    for (name,), course in courses.group_by("series", maintain_order=True):
        series = tuple(str(name).removeprefix(f"{what} ").split(":"))
        expected, since, raised = held(weights[series], course["limit"][0], course["day"].to_list())
        # Limits are told to six digits.
        assert course["value"].to_list() == pytest.approx(list(expected.values()), abs=2e-6)
        if name in signals:
            row = signals[name]
            assert (row["since"], row["raised_on"]) == (since, raised)
            own = [c for c in every if c[0] == series and since is not None and c[4] >= since]
            assert (row["jobs"], row["events"]) == (len(own), sum(c[5] for c in own))
            assert answer.jobs(series=name).table.height == len(own)
            assert answer.jobs("events", series=name).table.height == row["events"]


def test_what_is_planted_is_found(depot: Depot) -> None:
    found = {r["series"]: r for r in depot.charts.watch().table.iter_rows(named=True)}
    assert {"model Quern", "step seat", "test seal"} <= set(found)
    for series in ("model Quern", "step seat", "test seal"):
        assert found[series]["raised_on"] >= BAD_FROM
        assert found[series]["ratio"] > 1.5
        # How far an onset is off is tried in tests/spc/test_held_sums.py: one course alone may be months early.
        assert found[series]["since"] < found[series]["raised_on"]
    assert not any("technician" in series for series in found)


def test_a_past_day_is_told_as_it_was_told_then(rows: Any) -> None:
    """Of checks, nothing later is looked at."""
    day = date(2025, 12, 1)
    late = [r for r in rows["steps"] if r["ended_at"].date() <= day]
    known = [j for j in rows["jobs"] if j["closed_at"].date() <= day]
    with depot_of(rows, as_of=day.isoformat()) as all_rows, depot_of(
        {**rows, "jobs": known, "steps": late,
         "diagnostics": [r for r in rows["diagnostics"] if r["run_at"].date() <= day]}, as_of=day.isoformat(),
    ) as then:
        both = [d.charts.watch().watched for d in (all_rows, then)]
    of_checks = [t.filter(t["what"].is_in(["step", "bench", "test", "station"])) for t in both if t is not None]
    assert of_checks[0].height > 6
    assert of_checks[0].equals(of_checks[1])


def test_what_cannot_be_watched_is_said(rows: Any) -> None:
    with depot_of({"jobs": rows["jobs"]}, as_of=AS_OF.isoformat()) as jobs_alone:
        answer = jobs_alone.charts.watch()
    assert answer.watched is not None
    assert set(answer.watched["what"]) <= {"site", "model", "procedure"}
    assert any("what changed by step" in note for note in answer.notes)
    with depot_of({"jobs": rows["jobs"][:60]}, as_of="2024-09-10") as young:
        early = young.charts.watch()
    assert early.table.is_empty()
    assert any("Not watched by site, model and procedure" in note for note in early.notes)


def test_more_false_alarms_mean_lower_limits(depot: Depot) -> None:
    few, many = (depot.charts.watch(false_alarms=a).watched for a in (0.5, 5.0))
    assert few is not None
    assert many is not None
    assert (few["limit"] > many["limit"]).all()


@pytest.mark.parametrize("how", [
    {"false_alarms": 0}, {"false_alarms": "one"}, {"odds": 1.0}, {"odds": 0.5}, {"window": -1},
])
def test_what_is_asked_amiss_is_said(depot: Depot, how: dict[str, Any]) -> None:
    with pytest.raises(RequestError, match="watch: "):
        depot.charts.watch(**how)


def test_the_picture_says_what_signals(depot: Depot) -> None:
    answer = depot.charts.watch()
    assert isinstance(answer, Watch)
    assert "model Quern" in plot(answer).to_dict()["description"]
