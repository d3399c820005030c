"""The jobs behind a figure, one job and one lot, each against a row loop over the raw rows."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures import by_hand
from tests.measures.small_depots import START, UNITS, maybe, tables, times

Row = dict[str, Any]
SLOW = settings(
    max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
as_ofs = st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d))
parts = st.lists(
    st.builds(
        lambda job, line, lot: completed("parts", {"job_id": f"J{job}", "line": line, "part_no": "DA-1", "lot": lot}),
        st.integers(0, 9), st.integers(0, 2), maybe((None, "L1", "L2")),
    ),
    unique_by=lambda p: (p["job_id"], p["line"]), max_size=8,
)
retirements = st.lists(
    st.builds(lambda u, at: completed("retirements", {"unit_id": u, "retired_at": at}), maybe(UNITS), times()),
    unique_by=lambda r: r["unit_id"], max_size=2,
)


def index_jobs(data: dict[str, list[Row]], as_of: date) -> list[tuple[Any, ...]]:
    """Repaired jobs closed by the day: id, model, matured, returned within 30 days, and what is said of the return."""
    found = []
    for job, back, gap, kind in by_hand.links(data).values():
        if job["disposition"] != "repaired" or job["closed_on"] > as_of:
            continue
        matured = (as_of - job["closed_on"]).days >= 30
        seen = back is not None and back["opened_on"] <= as_of
        said = (gap, kind, back["job_id"]) if seen and back is not None else (None, None, None)
        found.append((job["job_id"], job["model"], matured, matured and seen and gap is not None and gap <= 30, *said))
    return found


@SLOW
@given(data=tables(), as_of=as_ofs)
def test_the_jobs_of_a_rate(data: dict[str, Any], as_of: date) -> None:
    expected = index_jobs(data, as_of)
    with depot_of(data, as_of) as depot:
        found = depot.comebacks(by="model")
        for model in found.table["model"].to_list():
            own = [row for row in expected if row[1] == model]
            kept_of = {"jobs": own, "matured": [r for r in own if r[2]], "returned": [r for r in own if r[3]]}
            for count, kept in kept_of.items():
                table = found.jobs(count, model=model).table
                said = table.select("job_id", "days_out", "class", "return_job_id").rows()
                assert sorted(said) == sorted((r[0], *r[4:]) for r in kept)


@SLOW
@given(data=tables(), as_of=as_ofs)
def test_the_failed_checks_of_a_step(data: dict[str, Any], as_of: date) -> None:
    jobs = {j["job_id"]: j for j in data["jobs"]}
    failed = sorted(
        (s["job_id"], s["step_seq"], s["step"]) for s in data["steps"]
        if s["attempt"] == 1 and s["outcome"] == "fail"
        and ((on := by_hand.step_day(s, jobs.get(s["job_id"]))) is None or on <= as_of)
    )
    with depot_of(data, as_of) as depot:
        found = depot.first_pass_yield(by="step")
        listed = [
            row for step in found.table["step"].to_list()
            for row in found.jobs("failed", step=step).table.select("job_id", "step_seq", "at_step").rows()
        ]
    assert sorted(listed) == failed


@SLOW
@given(data=tables(), as_of=as_ofs)
def test_one_job_beside_its_procedure(data: dict[str, Any], as_of: date) -> None:
    """Each step of the plan once, at its first place; what was logged of it, in the order in which it was begun."""
    with depot_of(data, as_of) as depot:
        for job in (j for j in data["jobs"] if j["opened_on"] <= as_of):
            plan: dict[str, int] = {}
            declared = [p for p in data["procedures"] if p["procedure"] == job["procedure"]]
            for row in sorted(declared, key=lambda p: p["step_seq"]):
                plan.setdefault(row["step"], len(plan) + 1)
            log: dict[str, list[Row]] = {}
            for s in data["steps"]:
                on = by_hand.step_day(s, job)
                if s["job_id"] == job["job_id"] and (on is None or on <= as_of):
                    log.setdefault(s["step"], []).append(s)
            last = {
                step: max(rows, key=lambda s: (s["attempt"], s["step_seq"]))["outcome"] for step, rows in log.items()
            }
            begun = sorted(
                (step for step in log if last[step] != "skipped"),
                key=lambda step: (
                    min((s["ended_at"] for s in log[step] if s["ended_at"]), default=None) is None,
                    min((s["ended_at"] for s in log[step] if s["ended_at"]), default=START),
                    min(s["step_seq"] for s in log[step]),
                ),
            )
            table = depot.job(job["job_id"]).table
            steps = table.filter((table["kind"] == "step") & (table["name"] != ""))
            found = {
                name: (planned, attempts, outcome)
                for name, planned, attempts, outcome in steps.select("name", "planned", "attempts", "outcome").rows()
            }
            assert found == {
                step: (plan.get(step), len(log.get(step, ())), last.get(step)) for step in {*plan, *log}
            }
            order = steps.filter(steps["logged"].is_not_null()).sort("logged")
            assert order["logged"].to_list() == list(range(1, len(begun) + 1))
            firsts = {step: min((s["ended_at"] for s in log[step] if s["ended_at"]), default=None) for step in begun}
            assert [firsts[step] for step in order["name"].to_list()] == [firsts[step] for step in begun]
            runs = sum(d["job_id"] == job["job_id"] and d["run_on"] <= as_of for d in data["diagnostics"])
            assert (table["kind"] == "test").sum() == runs
            skipped = {step for step in log if last[step] == "skipped"}
            said = dict(steps.select("name", "departs").rows())
            assert all("skip" in said[step] for step in skipped)
            assert all("not in the procedure" in said[step] for step in log if plan and step not in plan)


@SLOW
@given(data=tables(), fitted=parts, gone=retirements, as_of=as_ofs)
def test_the_jobs_of_a_lot(data: dict[str, Any], fitted: list[Row], gone: list[Row], as_of: date) -> None:
    data = {**data, "parts": fitted, "retirements": gone}
    jobs, links = {j["job_id"]: j for j in data["jobs"]}, by_hand.links(data)
    retired = {r["unit_id"]: r["retired_on"] for r in gone}
    expected = {}
    for job_id in {p["job_id"] for p in fitted if p["lot"] == "L1"} & {*jobs}:
        job = jobs[job_id]
        if job["closed_on"] is None or job["closed_on"] > as_of or job["disposition"] in ("open", "cancelled"):
            continue
        _, back, gap, _ = links.get(job_id, (job, None, None, None))
        left = retired.get(job["unit_id"])
        if job["disposition"] != "repaired":
            expected[job_id] = ("not repaired", None)
        elif job_id not in links:
            expected[job_id] = ("not followed", None)
        elif back is not None and back["opened_on"] <= as_of:
            expected[job_id] = ("came back", gap)
        elif left is not None and job["closed_on"] <= left <= as_of:
            expected[job_id] = ("left service", (left - job["closed_on"]).days)
        else:
            expected[job_id] = ("still out", (as_of - job["closed_on"]).days)
    with depot_of(data, as_of) as depot:
        opened = {j["job_id"] for j in data["jobs"] if j["opened_on"] <= as_of}
        if not opened & {p["job_id"] for p in fitted if p["lot"] == "L1"}:
            return
        found = depot.lot("DA-1", "L1")
    assert {row[0]: row[1:] for row in found.table.select("job_id", "ended", "days").rows()} == expected
    unfollowed = sum(ended == "not followed" for ended, _ in expected.values())
    told = [note for note in found.notes if "'not followed'" in note]
    assert [note.split(" repaired job", 1)[0] for note in told] == [str(unfollowed)] * (unfollowed > 0)
    if found.expected is None:
        assert "still out" not in {ended for ended, _ in expected.values()}
        return
    every = {}
    for job_id in {p["job_id"] for p in fitted} & {*links}:
        job, back, gap, _ = links[job_id]
        if job["disposition"] == "repaired" and job["closed_on"] <= as_of:
            left = retired.get(job["unit_id"])
            seen = gap if back is not None and back["opened_on"] <= as_of else None
            end = left if left is not None and job["closed_on"] <= left <= as_of else as_of
            every[job_id] = (seen is not None, (end - job["closed_on"]).days if seen is None else seen)
    for row in found.expected.iter_rows(named=True):
        assert row["back"] == sum(ended == "came back" and days <= row["days"] for ended, days in expected.values())
        out = [days for ended, days in expected.values() if ended == "still out"]
        usual = sum(1 - stays(every, row["days"]) / stays(every, d) for d in out if d < row["days"])
        assert row["at_usual_pace"] == pytest.approx(usual, abs=2e-6)
        assert row["low"] <= row["at_usual_pace"] <= row["high"]
        assert row["low"] <= row["at_own_pace"] + 1e-6


def stays(every: dict[str, tuple[bool, int]], day: int) -> float:
    """The share of jobs not back by a day, by the product-limit estimate, one day after the other."""
    left = 1.0
    for d in range(day + 1):
        at_risk = sum(days >= d for _, days in every.values())
        back = sum(was and days == d for was, days in every.values())
        left *= 1 - back / at_risk if at_risk else 1.0
    return max(left, 1e-12)
