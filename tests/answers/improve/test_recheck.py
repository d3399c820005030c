"""Jobs to open again and what they say of all: job by job in a loop, the plan's chances, a filled-in file."""

from collections.abc import Iterator
from contextlib import nullcontext
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner
from hypothesis import given

import rqa
from rqa.cli import main
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.plots.dispatch import plot
from tests.depots import depot_of
from tests.measures.comebacks.by_hand_returns import index_jobs
from tests.measures.comebacks.test_returns_against_rows import FEW, as_ofs, deep_tables

AS_OF = date(2025, 6, 20)


def made_rows(rng: np.random.Generator) -> dict[str, list[dict[str, Any]]]:
    """Marl-10 comes back four times as often as Quern, more where a first check failed; the last days are full."""
    jobs, steps = [], []
    for n in range(800):
        closed = datetime(2024, 4, 1, 9) + timedelta(days=float(rng.uniform(0, 438)), hours=float(rng.uniform(0, 8)))
        if n >= 700:
            closed = datetime(2025, 6, 17, 9) + timedelta(days=n % 4, minutes=n - 700)
        model, failed = ("Marl-10", "Quern")[n % 2], rng.random() < 0.2
        jobs.append({"job_id": f"J{n:04}", "unit_id": f"U{n}", "opened_at": closed - timedelta(hours=2),
                     "closed_at": closed, "model": model})
        steps.append({"job_id": f"J{n:04}", "step": "seat board", "outcome": "fail" if failed else "pass",
                      "started_at": closed - timedelta(hours=1)})
        again = closed + timedelta(days=float(rng.uniform(1, 29)))
        if rng.random() < (0.3 if model == "Marl-10" else 0.06) + 0.15 * failed and again.date() <= AS_OF:
            jobs.append({"job_id": f"J{n:04}/2", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                         "model": model, "disposition": "not_economic"})
    return {"jobs": jobs, "steps": steps}


@pytest.fixture(scope="module")
def rows() -> dict[str, list[dict[str, Any]]]:
    return made_rows(np.random.default_rng(5))


@pytest.fixture(scope="module")
def depot(rows: dict[str, list[dict[str, Any]]]) -> Iterator[Depot]:
    with depot_of(rows, as_of=AS_OF.isoformat()) as opened:
        yield opened


def test_the_plan_draws_each_day_by_risk_and_says_the_chance(depot: Depot) -> None:
    plan = depot.actions.recheck_plan(5, days=4)
    assert plan.days is not None
    assert plan.days["jobs"].min() >= 25  # type: ignore[operator]
    assert plan.days["drawn"].to_list() == [5] * 4
    assert plan.table["chance"].min() >= 0.25 * 5 / plan.days["jobs"].max()  # type: ignore[operator]
    risky = plan.table.group_by("model").agg(pl.col("risk").mean()).rows_by_key("model", unique=True)
    assert risky["Marl-10"] > 2 * risky["Quern"]
    assert plan.table["found"].null_count() == plan.table.height
    assert plan.table.equals(depot.actions.recheck_plan(5, days=4).table)
    assert not plan.table.equals(depot.actions.recheck_plan(5, days=4, seed=1).table)
    last = depot.actions.recheck_plan(5, days=1).table
    assert last.equals(plan.table.filter(plan.table["closed_on"] == AS_OF))


def test_where_there_is_too_little_to_learn_from_all_are_drawn_alike(rows: Any) -> None:
    with depot_of({"jobs": rows["jobs"][-140:]}, as_of=AS_OF.isoformat()) as depot:
        plan = depot.actions.recheck_plan(3, days=1)
    assert plan.days is not None
    jobs, drawn, least = plan.days.select("jobs", "drawn", "least_chance").row(0)
    assert drawn == 3
    assert plan.table["chance"].to_list() == pytest.approx([3 / jobs] * 3, abs=1e-6)  # as rounded
    assert least == pytest.approx(3 / jobs, abs=1e-6)
    assert any("too few to predict a risk" in note for note in plan.notes)


def test_the_risk_holds_on_later_jobs(depot: Depot) -> None:
    plan = depot.actions.recheck_plan()
    assert plan.brier is not None
    assert plan.tenths is not None
    assert plan.brier[0] < plan.brier[1]
    tenths = plan.tenths
    assert tenths["jobs"].sum() > 100
    expected = float((tenths["predicted"] * tenths["jobs"]).sum())
    # The number of come-backs of later jobs, within three of its own standard errors.
    assert tenths["returned"].sum() == pytest.approx(expected, abs=3 * expected**0.5)
    assert "predicted" in plot(plan).to_dict()["description"]


def kinds_by_hand(tables: dict[str, Any], as_of: date, window: int, since: date) -> dict[Any, int]:
    """Jobs by what the plan goes by, from the rows."""
    found: dict[Any, int] = {}
    for job, gap, _, _ in index_jobs(tables, as_of):
        closed = job["closed_on"]
        first = [s for s in tables.get("steps", []) if s["job_id"] == job["job_id"] and s.get("attempt", 1) == 1]
        run = [d for d in tables.get("diagnostics", []) if d["job_id"] == job["job_id"] and d.get("run", 1) == 1]
        matured = closed + timedelta(days=window) <= as_of
        recent = closed > since
        key = (
            job["job_id"] if recent else None, closed if recent else closed.replace(day=1), job["site"], job["model"],
            job["procedure"], job.get("billing") or "unknown", any(s.get("outcome") == "fail" for s in first),
            any(d.get("outcome") == "fail" for d in run), matured, matured and gap is not None and gap <= window,
        )
        found[key] = found.get(key, 0) + 1
    return found


@FEW
@given(data=deep_tables(), as_of=as_ofs)
def test_kinds_of_jobs_against_rows(data: dict[str, Any], as_of: date) -> None:
    since, window = as_of - timedelta(days=7), 5
    values = {"since": since, "window": window, "as_of": as_of, "disposition": "repaired"}
    with depot_of(data) as depot:
        table = counts(depot._store, "recheck_jobs", values=values)
    names = ("job_id", "closed_on", "site", "model", "procedure", "billing", "failed_check", "failed_test", "matured",
             "returned", "jobs")
    assert {row[:-1]: row[-1] for row in table.select(names).iter_rows()} == kinds_by_hand(data, as_of, window, since)


def judged(plan: Any, bad: set[str], skipped: int = 0) -> list[dict[str, Any]]:
    """The plan filled in, as rows of studies."""
    return [
        {"study": "Recheck", "unit": r["job_id"], "appraiser": "bench", "trial": 1, "value": r["chance"],
         "outcome": None if n < skipped else "fault" if r["job_id"] in bad else "Good "}
        for n, r in enumerate(plan.table.iter_rows(named=True))
    ]


def test_what_was_found_says_how_many_leave_so(depot: Depot, rows: Any) -> None:
    plan = depot.actions.recheck_plan(6, days=4)
    bad = set(plan.table["job_id"].to_list()[::5])
    other = [{"study": "gauge", "unit": "1", "appraiser": "A", "trial": 1, "value": 1.0}]
    with depot_of(rows | {"studies": judged(plan, bad) + other}, as_of=AS_OF.isoformat()) as fed:
        answer, by_model = fed.actions.rechecked(), fed.actions.rechecked(by="model")
        listed = answer.jobs("faulty").table["job_id"].to_list()
        assert fed.tests.agreement().table["study"].to_list() in ([], ["gauge"])
    r = answer.table.row(0, named=True)
    by_loop = sum(1 / x["chance"] for x in plan.table.iter_rows(named=True) if x["job_id"] in bad)
    assert r["estimate"] == pytest.approx(by_loop, abs=1e-5)
    assert (r["drawn"], r["looked_at"], r["faulty"]) == (plan.table.height, plan.table.height, len(bad))
    assert r["jobs"] == plan.days["jobs"].sum()  # type: ignore[index]
    assert r["low"] < r["estimate"] < r["high"]
    assert r["share"] == pytest.approx(r["estimate"] / r["jobs"], abs=1e-6)
    assert sorted(listed) == sorted(bad)
    assert by_model.table["estimate"].sum() == pytest.approx(by_loop, abs=1e-5)
    assert by_model.table["jobs"].sum() == r["jobs"]


def test_jobs_that_were_not_opened_are_said_and_stood_for(depot: Depot, rows: Any) -> None:
    plan = depot.actions.recheck_plan(6, days=4)
    bad = {plan.table["job_id"][5]}
    with depot_of(rows | {"studies": judged(plan, bad, skipped=3)}, as_of=AS_OF.isoformat()) as fed:
        answer = fed.actions.rechecked()
    # Half of the first day's draws: each opened one stands for two.
    assert answer.table["estimate"][0] == pytest.approx(2 / plan.table["chance"][5], rel=1e-5)
    assert any(note.startswith("3 jobs drawn and not opened") for note in answer.notes)
    with depot_of(rows | {"studies": judged(plan, bad, skipped=6)}, as_of=AS_OF.isoformat()) as fed:
        left_out = fed.actions.rechecked()
    assert left_out.table["jobs"][0] == plan.days["jobs"][1:].sum()  # type: ignore[index]
    assert any(note.startswith("1 day left out") for note in left_out.notes)


@pytest.mark.parametrize("how", [{"per_day": 0}, {"days": 0}, {"uniform": 0.0}, {"uniform": 1.5}, {"seed": -1}])
def test_what_is_asked_amiss_is_said(depot: Depot, how: dict[str, Any]) -> None:
    with pytest.raises(RequestError, match="recheck_plan: "):
        depot.actions.recheck_plan(**how)


def test_the_command_shows_and_writes_a_plan(depot: Depot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rqa, "open", lambda *_, **__: nullcontext(depot))
    runner, asked = CliRunner(), ["recheck", str(tmp_path), "--per-day", "3", "--days", "2"]
    assert "Jobs to open again" in runner.invoke(main, asked).output
    made = runner.invoke(main, [*asked, "--to", str(tmp_path / "plan.csv")])
    assert made.output.startswith("6 jobs written to"), made.output
    wrong = runner.invoke(main, [*asked, "--to", str(tmp_path / "plan.txt")])
    assert (wrong.exit_code, "recheck: a list is written" in wrong.output) == (1, True)


@pytest.mark.slow
def test_a_plan_that_is_filled_in_and_mapped_is_read(tmp_path: Path) -> None:
    """Plan, fill in, load, estimate: as a user does it."""
    folder = tmp_path / "shop"
    folder.mkdir()
    lines = [
        f"J{n},U{n},Marl-8,Alder,board,2026-05-{1 + n % 9:02} 09:00,repaired,2026-05-{1 + n % 9:02} 12:00"
        for n in range(45)
    ]
    head = "job_id,unit_id,model,site,procedure,opened_at,disposition,closed_at"
    (folder / "jobs.csv").write_text("\n".join([head, *lines]), encoding="utf-8")
    mapping = '[workspace]\nzone = "UTC"\n[files.jobs]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "jobs"\n'
    (folder / "sources.toml").write_text(mapping, encoding="utf-8")
    runner = CliRunner()
    assert runner.invoke(main, ["load", str(folder)]).exit_code == 0
    asked = ["recheck", str(folder), "--per-day", "3", "--days", "30", "--to", str(folder / "plan.csv")]
    made = runner.invoke(main, asked)
    assert made.exit_code == 0, made.output
    assert "27 jobs written" in made.output
    plan = (folder / "plan.csv").read_text(encoding="utf-8-sig").splitlines()
    filled = [plan[0], *(f"{line}{'fault' if n == 0 else 'good'}" for n, line in enumerate(plan[1:]))]
    assert plan[0].endswith(",found")
    assert plan[1].endswith(",")
    (folder / "plan.csv").write_text("\n".join(filled), encoding="utf-8")
    (folder / "sources.toml").write_text(mapping + MAPPED, encoding="utf-8")
    loaded = runner.invoke(main, ["load", str(folder)])
    assert loaded.exit_code == 0, loaded.output
    with rqa.open(folder) as depot:
        row = depot.actions.rechecked().table.row(0, named=True)
    assert (row["jobs"], row["drawn"], row["faulty"], row["estimate"]) == (45, 27, 1, pytest.approx(5 / 3, abs=1e-4))


MAPPED = """
[files.recheck]
path = "plan*.csv"
[[table]]
table = "studies"
from = "recheck"
[table.columns]
study = { constant = "recheck" }
unit = "job_id"
appraiser = { constant = "recheck" }
trial = { constant = "1" }
value = "chance"
outcome = "found"
"""
