"""Depots that lack something, or in which all is alike: every question about risky steps answers, and can be drawn."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest

from rqa.answers.improve.findings import MonthFindings
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.review.tests.diagnostics import diagnostics
from tests.answers.steps.made_steps import stepped
from tests.depots import depot_of
from tests.odd_depots.questions import asked_of

FIRST = datetime(2025, 1, 6, 9)
Tables = dict[str, list[dict[str, Any]]]
PLACES = (
    {"step": "open case", "phase": "open", "subsystems": ["case"]},
    {"step": "isolate battery", "phase": "isolate", "subsystems": ["battery"], "hazards": ["battery"],
     "hold_point": True},
    {"step": "seat cable", "phase": "reseat", "subsystems": ["display"], "hazards": ["pinch"]},
    {"step": "close case", "phase": "close", "subsystems": ["case"], "hazards": ["latch"]},
)
BARE = {"subsystems": None, "hazards": None, "opportunities": None}


def made(outcome: Callable[[str], str], *, jobs: int = 60, timed: bool = False, **more: object) -> Tables:
    """Jobs that go through all places with the outcome of each; every third comes back with the display."""
    tables: Tables = {"jobs": [], "steps": []}
    tables["procedures"] = [{"procedure": "board", "step_seq": i, **place} for i, place in enumerate(PLACES, start=1)]
    for n in range(jobs):
        opened = FIRST + timedelta(hours=3 * n)
        job = {"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": opened, "closed_at": opened + timedelta(hours=2),
               "found": "display", "complaint": "display", **more}
        tables["jobs"].append(job)
        if n % 3 == 0:
            again = opened + timedelta(days=5)
            tables["jobs"].append({**job, "job_id": f"R{n}", "opened_at": again, "closed_at": again,
                                   "disposition": "not_economic"})
        for place in tables["procedures"]:
            at = {"started_at": opened, "ended_at": opened + timedelta(minutes=1)} if timed else {}
            tables["steps"].append({"job_id": f"J{n}", "step_seq": place["step_seq"], "step": place["step"],
                                    "outcome": outcome(place["step"]), "bench": "B1", "tool": "T1", **at})
    end = FIRST + timedelta(days=90)
    tables["jobs"].append({"job_id": "END", "unit_id": "END", "opened_at": end, "closed_at": end})
    return tables


def passing(step: str) -> str:
    return "pass"


def without(table: str) -> Tables:
    return {name: rows for name, rows in made(passing).items() if name != table}


def bare() -> Tables:
    tables = made(passing)
    return tables | {"procedures": [{**place, **BARE} for place in tables["procedures"]]}


DEPOTS: dict[str, Callable[[], Tables]] = {
    "no jobs": dict,
    "one job": lambda: made(passing, jobs=1, timed=True),
    "no step logged": lambda: without("steps"),
    "no procedures": lambda: without("procedures"),
    "procedures that name steps alone": bare,
    "all pass, no times": lambda: made(passing),
    "all fail": lambda: made(lambda step: "fail"),
    "two steps always fail": lambda: made(lambda step: "fail" if "case" in step else "pass"),
    "all skipped": lambda: made(lambda step: "skipped"),
    "names like formulas": lambda: made(lambda step: "fail" if "case" in step else "pass", model="=1+1; (x)"),
}
ASKED: dict[str, Callable[[Depot], Any]] = {
    "step_risk": lambda d: d.steps.risk(by="model"),
    "attribution": lambda d: d.steps.attribution(per="hazard"),
    "conformance": lambda d: d.steps.conformance(),
    "conformance of jobs": lambda d: d.steps.conformance(per="job", by="month"),
    "breaches": lambda d: d.steps.breaches(steps=True),
    "clusters": lambda d: d.steps.clusters(resamples=2),
    "co_failures": lambda d: d.steps.co_failures(),
    "step_relative_risk": lambda d: d.steps.relative_risk(),
    "bursts": lambda d: d.steps.bursts(simulations=19),
    "failed checks": lambda d: d.steps.bursts(what="failed_checks", mix=(), simulations=19),
}


@pytest.mark.parametrize("name", DEPOTS)
def test_every_question_answers_and_can_be_drawn(name: str) -> None:
    with depot_of(DEPOTS[name]()) as depot:
        for question, ask in ASKED.items():
            answer = ask(depot)
            assert plot(answer).to_dict()["description"], question
            assert all(0 <= f.p_value <= 1 for f in answer.stated), question


def test_a_step_whose_every_job_comes_back_has_them_all() -> None:
    with depot_of(stepped(done=8, back=8, skipped=0, skipped_back=0)) as depot:
        row = depot.steps.attribution().table.filter(pl.col("subsystem") == "display").row(0, named=True)
    assert (row["per_10000"], row["attributed"], row["tested"], row["escaping"]) == (10_000.0, 8.0, 8.0, 0.75)


@pytest.mark.parametrize(
    ("question", "asked", "said"),
    [
        ("steps.bursts", {"seed": -1}, "seed is a whole number, 0 or more: -1"),
        ("steps.bursts", {"window": 10**9}, "window is a whole number of days, 0 to 3,650"),
        ("steps.clusters", {"seed": "a"}, "seed is a whole number, 0 or more: 'a'"),
        ("steps.clusters", {"window": 10**9}, "window is a whole number of days, 0 to 3,650"),
        ("steps.co_failures", {"window": -1}, "window is a whole number of days, 0 to 3,650"),
        ("steps.breaches", {"by": 5}, "by takes a grouping or a list of groupings, not 5"),
    ],
)
def test_what_cannot_be_asked_says_so(question: str, asked: dict[str, Any], said: str) -> None:
    with depot_of({}) as depot, pytest.raises(RequestError, match=said):
        asked_of(depot, question)(**asked)


def test_failures_that_every_job_has_are_no_pair_to_compare() -> None:
    with depot_of(DEPOTS["two steps always fail"]()) as depot:
        answer = depot.steps.co_failures()
    assert answer.table.is_empty(), "what every job has meets whatever else there is, and says nothing"
    assert answer.stated == ()


def test_a_failure_that_every_job_of_one_model_has_is_compared_on_the_others() -> None:
    tables = made(passing)
    for step in tables["steps"]:
        n = int(step["job_id"][1:])
        if "case" in step["step"] and (n < 30 or n % 2):
            step["outcome"] = "fail"
    for job in tables["jobs"][:40]:
        job["model"] = "Marl-10"
    with depot_of(tables) as depot:
        pair = depot.steps.co_failures().table.row(0, named=True)
    assert (pair["first"], pair["second"]) == ("close case", "open case")
    assert pair["lift"] > 1


def departing(back: Callable[[int], bool]) -> Tables:
    """Jobs of which each third does a step before the one it must follow; `back` says which of all come back."""
    tables = made(passing, jobs=90)
    tables["procedures"][3]["must_follow"] = "seat cable"
    for step in tables["steps"]:
        n = int(step["job_id"][1:])
        if n % 3 == 1 and step["step"] in ("seat cable", "close case"):
            step["step"] = "close case" if step["step"] == "seat cable" else "seat cable"
    tables["jobs"] = [j for j in tables["jobs"] if not j["job_id"].startswith("R") or back(int(j["job_id"][1:]))]
    returned = {j["unit_id"] for j in tables["jobs"] if j["job_id"].startswith("R")}
    for n in range(90):
        if back(n) and f"U{n}" not in returned:
            again = FIRST + timedelta(hours=3 * n, days=5)
            tables["jobs"].append({"job_id": f"R{n}", "unit_id": f"U{n}", "opened_at": again, "closed_at": again,
                                   "found": "display", "disposition": "not_economic"})
    return tables


@pytest.mark.parametrize("back", [lambda n: False, lambda n: True, lambda n: n % 2 == 0, lambda n: n < 3])
def test_breaches_with_enough_jobs_are_never_too_little_work(back: Callable[[int], bool]) -> None:
    """Nobody comes back, all do, half do, three do: 30 of 90 jobs departed, and that is enough to say so."""
    with depot_of(departing(back)) as depot:
        answer = depot.steps.breaches()
        assert plot(answer).to_dict()["description"]
    met = answer.table.filter(pl.col("breached_matured") >= 5)
    assert met.height
    # Where nobody comes back no unit is there twice, and none could be seen.
    told = ("not distinguishable", "nothing to compare with") if any(map(back, range(90))) else ("cannot be told",)
    for row in met.iter_rows(named=True):
        assert row["verdict"] in told, row
        if row["p_value"] is None:
            assert row["verdict"] == told[-1]
    assert all(0 <= f.p_value <= 1 and f.size == f.size for f in answer.stated)


def test_a_breach_of_every_job_has_nothing_to_be_compared_with() -> None:
    tables = departing(lambda n: n % 2 == 0)
    for step in tables["steps"]:
        if int(step["job_id"][1:]) % 3 != 1 and step["step"] in ("seat cable", "close case"):
            step["step"] = "close case" if step["step"] == "seat cable" else "seat cable"
    with depot_of(tables) as depot:
        table = depot.steps.breaches().table
    verdicts = set(table.filter(pl.col("breached_matured") >= 5)["verdict"])
    assert verdicts == {"nothing to compare with"}


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        (lambda: made(passing, jobs=3), "No job that has matured has a failed check"),
        (lambda: {n: r for n, r in made(passing, jobs=3).items() if n != "steps"}, "Cannot be told: in what ways"),
    ],
)
def test_no_cluster_says_whether_there_was_anything_to_look_at(tables: Callable[[], Tables], said: str) -> None:
    rows = tables()
    rows["jobs"] = [j for j in rows["jobs"] if not j["job_id"].startswith("R")]
    with depot_of(rows) as depot:
        notes = depot.steps.clusters(resamples=2).notes
    assert any(n.startswith(said) for n in notes), notes


def test_without_a_step_log_no_retest_is_taken_for_one_with_nothing_done() -> None:
    """Work between two runs would be in the step log: without one, nothing is stated of flaky tests."""
    tables = made(passing, jobs=80)
    tables["diagnostics"] = [
        {"job_id": f"J{n}", "test": test, "run": run, "run_at": FIRST + timedelta(hours=3 * n + run / 9),
         "station": f"S{n % 2}", "outcome": "fail" if run == 1 and n % every == 0 else "pass"}
        for n in range(80) for test, every in (("touch", 2), ("charge", 9)) for run in (1, 2)
    ]
    with depot_of(tables) as known:
        assert known.tests.retests().stated
    with depot_of({**tables, "steps": []}) as unknown:
        answer = unknown.tests.retests()
    assert answer.stated == ()
    assert answer.notes[0].startswith("Cannot be told: ")


def test_at_a_site_without_a_step_log_no_retest_is_judged() -> None:
    """Of two sites one keeps no step log: its fails are counted and not judged, in retests, pairs and on the page."""
    tables, vapor = made(passing, jobs=80, timed=True), {f"{kind}{n}" for kind in "JR" for n in range(50)}
    for j in tables["jobs"]:
        j["site"] = "Vapor" if j["job_id"] in vapor else "Crema"
    tables["steps"] = [s for s in tables["steps"] if s["job_id"] in vapor]
    tables["diagnostics"] = [
        {"job_id": f"J{n}", "test": "touch", "run": run, "run_at": FIRST + timedelta(hours=3 * n + run / 2),
         "station": "S1" if n < 50 else "S2", "outcome": "fail" if run == 1 and n % 2 else "pass"}
        for n in range(80) for run in (1, 2)
    ]
    # Of Vapor's 25 fails one was followed by work; all else was done before the first run.
    next(s for s in tables["steps"] if s["job_id"] == "J1")["ended_at"] = FIRST + timedelta(hours=3.75)
    with depot_of(tables) as depot:
        retests = depot.tests.retests()
        by_site, alone = depot.tests.retests(by="site"), depot.tests.retests(where={"site": "Crema"})
        repeated = depot.tests.agreement()
        span = (FIRST.date().replace(day=1), depot.as_of.date().replace(day=1))
        page = diagnostics(depot, span, MonthFindings(pl.DataFrame(), {}, (), answers={"retests": retests}))
    shown = ("site", "runs", "fails", "judged", "retest_passes", "after_work", "untimed", "share")
    assert by_site.table.sort("site").select(shown).rows() == [
        ("Crema", 60, 15, 0, 0, 0, 15, None), ("Vapor", 100, 25, 25, 24, 1, 0, 0.96),
    ]
    assert retests.table.select(shown[1:]).rows() == [(160, 40, 25, 24, 1, 15, 0.96)]
    said = [n for n in retests.notes if "Crema" in n]
    assert len(said) == 1
    assert "whether work lay between two runs: most jobs have no step log" in said[0]
    assert "without any time" not in " ".join(retests.notes)
    assert alone.notes[0].startswith("Cannot be told: whether work lay between two runs at site Crema")
    assert alone.table["judged"].to_list() == [0]
    assert not retests.stated, "the stations are of one site each, and one of the two sites cannot be told"
    assert repeated.runs is not None
    assert repeated.runs["pairs"].sum() == 49
    assert any("Crema" in n for n in repeated.notes)
    assert page.words[0].startswith(
        "Of 40 failed runs it is known of 25 what was done before the next one: 24 of them (96.0\N{NO-BREAK SPACE}%) "
        "passed again with nothing done in between"
    )
    assert said[0] in page.notes
    assert page.tables[0].columns[2:5] == ("failed", "of them judged", "passed again with nothing done")
    assert page.tables[0].rows[0][2:5] == ("40", "25", "24")
