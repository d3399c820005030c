"""How long steps take, and come-backs beside rushed and slow attempts, against a slow row loop."""

from collections import defaultdict
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from rqa.errors import RequestError
from rqa.measures.run import counts
from tests.depots import depot_of
from tests.measures.comebacks.by_hand_returns import index_jobs
from tests.measures.comebacks.test_returns_against_rows import FEW, as_ofs, deep_tables

PART, FEWEST, WINDOW = 0.25, 2, 20


def times_by_hand(tables: dict[str, Any], as_of: date) -> dict[Any, list[float]]:
    """By step and pace: seconds of each first attempt; by step, pace and a word: those followed and returned."""
    jobs = {job["job_id"]: job for job in tables["jobs"]}
    followed = {
        job["job_id"]: gap is not None and gap <= WINDOW for job, gap, _, _ in index_jobs(tables, as_of)
        if job["closed_on"] + timedelta(days=WINDOW) <= as_of
    }
    timed = []
    for row in tables["steps"]:
        # Steps of a job that is not in the store count, too, as work of no known kind.
        job, start, end = jobs.get(row["job_id"], {}), row.get("started_at"), row.get("ended_at")
        if row["attempt"] != 1 or row["outcome"] == "skipped" or not (start and end and end >= start):
            continue
        if row["done_on"] <= as_of:
            took = (end - start).total_seconds()
            timed.append((row["step"], job.get("procedure"), job.get("model"), took, row["job_id"]))
    kinds = defaultdict(list)
    for *kind, seconds, _ in timed:
        kinds[tuple(kind)].append(seconds)
    found: dict[Any, list[float]] = defaultdict(list)
    for *kind, seconds, job in timed:
        alike = kinds[tuple(kind)]
        paces = ["all"]
        if len(alike) >= FEWEST:
            quick, slow = np.quantile(alike, [PART, 1 - PART])
            paces.append("rushed" if seconds < quick else "slow" if seconds > slow else "usual")
        for pace in paces:
            found[kind[0], pace].append(seconds)
            if job in followed:
                found[kind[0], pace, "followed"].append(followed[job])
    return found


@FEW
@given(data=deep_tables(), as_of=as_ofs)
def test_paces_of_steps(data: dict[str, Any], as_of: date) -> None:
    for n, row in enumerate(data["steps"]):
        row["started_at"] = datetime(row["done_on"].year, row["done_on"].month, row["done_on"].day, 9) if (
            row.get("done_on") and n % 7
        ) else None
        row["ended_at"] = None if row["started_at"] is None else row["started_at"] + timedelta(seconds=n * n % 90 - 5)
    values = {"as_of": as_of, "outer": PART, "min_cases": FEWEST, "window": WINDOW, "disposition": "repaired"}
    with depot_of(data) as depot:
        table = counts(depot._store, "step_times", by=("step",), values=values)
        minutes = counts(depot._store, "measured_minutes", by=("step",), values={"as_of": as_of})
    by_hand = times_by_hand(data, as_of)
    assert {(r["step"], r["pace"]) for r in table.iter_rows(named=True)} == {key for key in by_hand if len(key) == 2}
    for r in table.iter_rows(named=True):
        seconds = by_hand[r["step"], r["pace"]]
        back = by_hand[r["step"], r["pace"], "followed"]
        assert (r["attempts"], r["matured"], r["returned"]) == (len(seconds), len(back), sum(back))
        assert r["median"] == pytest.approx(median(seconds))
        assert r["quarter"] == pytest.approx(np.quantile(seconds, 0.25))
    every = sorted((key[0], round(s / 60, 2)) for key, of in by_hand.items() if key[1:] == ("all",) for s in of)
    charted = sorted((r["step"], r["value"]) for r in minutes.iter_rows(named=True) for _ in range(r["readings"]))
    assert [name for name, _ in charted] == [name for name, _ in every]
    assert [value for _, value in charted] == pytest.approx([value for _, value in every], abs=0.011)


AT = datetime(2026, 1, 5, 9)


def shop() -> dict[str, list[dict[str, Any]]]:
    """Forty jobs of which one step takes 10 minutes, and in four of them one: these come back."""
    jobs, steps = [], []
    for n in range(40):
        opened, job = AT + timedelta(days=n // 4), f"J{n}"
        jobs.append({"job_id": job, "unit_id": f"U{n}", "opened_at": opened, "closed_at": opened})
        took = 1 if n < 4 else 9 + n / 20
        steps.append({"job_id": job, "step": "fit", "started_at": opened, "ended_at": opened + timedelta(minutes=took)})
        if n < 4:
            again = opened + timedelta(days=6)
            jobs.append({"job_id": f"{job}r", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                         "disposition": "not_economic"})
    return {"jobs": jobs, "steps": steps}


def test_rushed_work_stands_beside_come_backs_and_its_list_is_as_long() -> None:
    with depot_of(shop(), as_of="2026-04-01") as depot:
        answer = depot.steps.times()
        assert answer.paces is not None
        rows = {r["pace"]: r for r in answer.paces.iter_rows(named=True)}
        assert answer.jobs(step="fit").table.height == answer.table["attempts"][0] == 40
        with pytest.raises(RequestError, match="part is a share"):
            depot.steps.times(part=0.5)
        chart = depot.control_chart("step_minutes", where="step=fit", period="week")
    assert (rows["rushed"]["attempts"], rows["rushed"]["returned"], rows["rushed"]["minutes"]) == (4, 4, 1.0)
    assert rows["usual"]["returned"] == rows["slow"]["returned"] == 0
    assert chart.table["size"].sum() == 40
    assert any(note.startswith("Rushed and slow: quicker or slower than 10 %") for note in answer.notes)
