"""Conformance with the procedure on a depot small enough to count in one's head, and on the invented one."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest
from scipy import stats

import rqa
from rqa.answers.steps.breach_kinds import WORDS
from rqa.answers.steps.breach_risk import with_risk
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.depots import depot_of
from tests.made_once import Shelf

SHARES = re.compile(r"\(([\d,]+) of ([\d,]+)\)")

MORNING = datetime(2026, 3, 2, 8, 0)
PLAN: tuple[dict[str, Any], ...] = (
    {"step": "isolate", "phase": "isolate", "hazards": ["battery"], "hold_point": True},
    {"step": "release", "phase": "release", "subsystems": ["port"]},
    {"step": "write", "phase": "fit", "irreversible": True},
    {"step": "reseat", "phase": "reseat", "subsystems": ["port"]},
    {"step": "count", "phase": "verify", "hold_point": True, "opportunities": 4},
    {"step": "reconnect", "phase": "reseat", "hazards": ["battery"], "must_follow": "count"},
    {"step": "tighten", "phase": "close", "hazards": ["mixed_fasteners"]},
    {"step": "align", "phase": "align", "hazards": ["alignment"], "must_follow": "tighten"},
    {"step": "seal", "phase": "close", "must_follow": "align"},
)
NAMES = [str(p["step"]) for p in PLAN]


def swapped(one: str, two: str) -> list[str]:
    order = list(NAMES)
    order[NAMES.index(one)], order[NAMES.index(two)] = two, one
    return order


def without(step: str) -> list[str]:
    return [name for name in NAMES if name != step]


ORDERS: dict[str, list[str]] = {
    "J1": NAMES,
    "J2": swapped("tighten", "align"),
    "J3": swapped("isolate", "release"),
    "J4": without("count"),
    "J5": without("reseat"),
    "J6": swapped("count", "reconnect"),
    "J7": swapped("align", "seal"),
    "J8": [],
}
"""J1 to the letter; J2 also seals after aligning, which it should; J8 has no log."""


def job(number: int, **more: Any) -> dict[str, Any]:
    return {
        "job_id": f"J{number}", "unit_id": f"U{number}", "opened_at": MORNING,
        "closed_at": MORNING + timedelta(hours=3), "technician": "T01", **more,
    }


def step(job_id: str, place: int, name: str, **more: Any) -> dict[str, Any]:
    return {
        "job_id": job_id, "step_seq": place, "step": name, "started_at": MORNING + timedelta(minutes=place),
        "ended_at": MORNING + timedelta(minutes=place + 1), "bench": "B1", "technician": "T02", **more,
    }


ROWS: dict[str, list[dict[str, Any]]] = {
    "procedures": [{"procedure": "board", "step_seq": i, **p} for i, p in enumerate(PLAN)],
    "jobs": [
        *(job(n) for n in range(1, 9)),
        job(9, procedure="screen"),
        job(10, disposition="not_economic"),
        job(11, disposition="no_fault_found"),
        job(12, disposition="open", closed_at=None),
        job(13, unit_id="U2", opened_at=MORNING + timedelta(days=5), closed_at=MORNING + timedelta(days=80)),
    ],
    "steps": [
        *(step(j, i, name) for j, order in ORDERS.items() for i, name in enumerate(order)),
        step("J10", 0, "release"),
        step("J11", 0, "align"),
        step("J12", 0, "release"),
        *(step("J13", i, name, outcome="skipped" if name == "isolate" else "pass") for i, name in enumerate(NAMES)),
    ],
    "parts": [
        {"job_id": "J1", "line": 1, "part_no": "P1"},
        {"job_id": "J1", "line": 2, "part_no": "P2"},
        {"job_id": "J2", "line": 1, "part_no": "P1"},
    ],
    "pairings": [{"part_no": "P1", "requires_part_no": "P2"}],
}
BREACHED = {
    "missing": 2, "skipped": 1, "left_failed": 0, "out_of_order": 1, "check_before_tightening": 1, "count_not_done": 1,
    "unequal_connectors": 1, "irreversible_before_hold": 1, "pairing": 1, "isolated_late": 2, "reconnected_early": 2,
}
"""missing J4, J5; skipped J13; out of order J7; alignment J2; count J4; connectors J5; before a hold point J13, since
J3 isolates before it writes; pairing J2; isolated late J3, J13; reconnected early J4, J6."""


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def test_each_kind_is_counted_once_where_it_belongs(depot: Depot) -> None:
    table = depot.steps.breaches().table
    assert dict(table.select("kind", "breached").rows()) == BREACHED
    assert table["kind"].to_list() == list(WORDS)
    jobs = dict(table.select("kind", "jobs").rows())
    assert jobs.pop("pairing") == 2
    assert set(jobs.values()) == {8}


def test_steps_and_jobs_done_as_they_should(depot: Depot) -> None:
    steps = depot.steps.conformance()
    as_should = dict(steps.table.select("step", "as_should").rows())
    assert as_should == {
        "isolate": 7, "release": 8, "write": 7, "reseat": 7, "count": 7, "reconnect": 8, "tighten": 8, "align": 7,
        "seal": 7,
    }
    assert steps.table["jobs"].to_list() == [8] * 9
    whole = depot.steps.conformance(per="job").table.row(0, named=True)
    assert (whole["jobs"], whole["as_should"]) == (8, 3)  # J1, J3 and J6: the battery's order is no part of shares
    low, high = stats.binomtest(3, 8).proportion_ci(method="wilson")
    assert (whole["low"], whole["high"]) == pytest.approx((low, high), abs=1e-6)
    assert any("1 repaired job has no procedure to compare with" in note for note in steps.notes)
    assert any("1 repaired job has no step of their procedure logged" in note for note in steps.notes)


def test_kinds_that_nothing_could_meet_are_counted_as_none() -> None:
    plain = {**ROWS, "procedures": [{k: v for k, v in p.items() if k != "irreversible"} for p in ROWS["procedures"]]}
    with depot_of({**plain, "pairings": []}) as simple:
        whole = simple.steps.conformance(per="job").table.row(0, named=True)
    assert (whole["jobs"], whole["as_should"]) == (8, 3)
    assert (whole["missing"], whole["irreversible_before_hold"], whole["pairing"]) == (2, 0, 0)


def test_the_battery_has_a_list_and_no_rate(depot: Depot) -> None:
    rates = depot.steps.breaches().table.filter(pl.col("kind").is_in(["isolated_late", "reconnected_early"]))
    assert rates.select("share", "low", "high").null_count().row(0) == (2, 2, 2)
    listed = depot.steps.battery_breaches()
    told = {(r["job_id"], r["kind"]): r["what"] for r in listed.table.iter_rows(named=True)}
    assert told == {
        ("J3", "isolated_late"): "“release” began at 08:00 UTC, “isolate” was done only at 08:02 UTC",
        ("J4", "reconnected_early"): "“reconnect” began at 08:04 UTC, but “count” is missing from the log",
        ("J6", "reconnected_early"): "“reconnect” began at 08:04 UTC, “count” was done only at 08:06 UTC",
        ("J10", "isolated_late"): "“release” began at 08:00 UTC, but “isolate” is missing from the log",
        ("J13", "isolated_late"): "“release” began at 08:01 UTC, but “isolate” was skipped",
    }
    assert "technician" not in listed.table.columns
    assert set(depot.steps.battery_breaches(people=True).table["technician"]) == {"T02"}
    assert any("maker's service guide" in note for note in listed.notes)


def test_nothing_after_the_day_is_seen(sample: Depot) -> None:
    with depot_of(ROWS, as_of="2026-03-04") as early:
        assert dict(early.steps.breaches().table.select("kind", "breached").rows())["skipped"] == 0
        assert early.steps.battery_breaches().table["job_id"].to_list() == ["J10", "J3", "J4", "J6"]
    with depot_of(ROWS, as_of="2026-03-01") as before:
        assert before.steps.breaches().table.height == 0
        none, some = before.steps.breaches().benches, sample.steps.breaches().benches
        assert none is not None
        assert some is not None
        assert none.schema == some.schema
        assert before.steps.conformance(by="month").table.height == 0
        assert before.steps.battery_breaches().table.height == 0
        assert before.steps.conformance(per="job").table.height == 0


def test_what_is_asked_wrongly(depot: Depot) -> None:
    with pytest.raises(RequestError, match="per is one of step, job"):
        depot.steps.conformance(per="phase")
    with pytest.raises(RequestError, match="there is no grouping 'step'"):
        depot.steps.breaches(by="step")
    with pytest.raises(RequestError, match="There is: site, model, procedure, billing"):
        depot.steps.battery_breaches(where={"technician": "T01"})


@pytest.fixture(scope="module")
def sample(shelf: Shelf) -> Iterator[Depot]:
    with rqa.open(shelf.demo(6000)) as opened:
        yield opened


def test_the_planted_early_alignment_is_found_and_nothing_else(sample: Depot) -> None:
    """Bench C-3 aligns early in 80 % of its jobs, and 12 % of these come back of it; other slips do no harm."""
    answer = sample.steps.breaches(window=90)
    early = WORDS["check_before_tightening"]
    assert {(f.scope["breach"], f.scope.get("bench")) for f in answer.findings} == {(early, None), (early, "C-3")}
    risk = next(f for f in answer.findings if "bench" not in f.scope)
    # 12 % come back of it beside about 9 % that would have come anyway
    assert risk.low < 1 + 0.12 / 0.09 < risk.high
    assert answer.benches is not None
    for f in answer.findings:
        # The two shares told are whole numbers of jobs, and their plain ratio agrees with the one on comparable work.
        own, jobs, other, others = (int(n.replace(",", "")) for pair in SHARES.findall(f.what) for n in pair)
        assert f.low < (own / jobs) / (other / others) < f.high, f.what
        told = [float(n) for n in re.findall(r"([\d.]+)\s%", f.what)]
        assert told == [round(100 * own / jobs, 1), round(100 * other / others, 1)]
    there = answer.benches.filter((pl.col("bench") == "C-3") & (pl.col("kind") == "check_before_tightening"))
    low, share, high = there.select("low", "share", "high").row(0)
    assert low < 0.8 < high
    assert share > 0.7


def work(model: str, breached: tuple[int, int], others: tuple[int, int]) -> dict[str, Any]:
    """Counts of one kind of work: come-backs and matured jobs of the breached, and of the others."""
    return {
        "kind": "skipped", "of_procedure": "board", "of_model": model, "jobs": breached[1] + others[1],
        "matured": breached[1] + others[1], "returned": breached[0] + others[0], "breached": breached[1],
        "breached_matured": breached[1], "breached_returned": breached[0],
    }


def test_on_one_kind_of_work_the_ratio_is_the_plain_one() -> None:
    """Mantel and Haenszel's ratio is then the ratio of two shares, and the stratified test twice Fisher's tail."""
    row = with_risk(pl.DataFrame([work("Quern", (18, 120), (40, 900))]), ["kind"], 0.95).row(0, named=True)
    assert row["measure"] == "risk ratio"
    assert row["ratio"] == pytest.approx((18 / 120) / (40 / 900), abs=1e-6)
    # What is expected and the ratio say the same: 18 come-backs are so many times what jobs without it have.
    assert row["expected"] == pytest.approx(120 * 40 / 900, abs=1e-6)
    assert row["breached_returned"] / row["expected"] == pytest.approx(row["ratio"], rel=1e-5)
    tail = stats.fisher_exact([[18, 102], [40, 860]], alternative="greater").pvalue
    assert row["p_value"] == pytest.approx(2 * tail, rel=1e-4)
    assert row["verdict"] == "comes back more often"


def test_few_come_backs_have_exact_limits() -> None:
    row = with_risk(pl.DataFrame([work("Quern", (3, 20), (40, 900))]), ["kind"], 0.95).row(0, named=True)
    exact = stats.contingency.odds_ratio([[3, 17], [40, 860]], kind="conditional")
    limits = exact.confidence_interval(0.95)
    assert row["measure"] == "odds ratio, exact"
    assert (row["ratio"], row["ratio_low"], row["ratio_high"]) == pytest.approx(
        (exact.statistic, limits.low, limits.high), rel=1e-4
    )
    assert row["verdict"] == "not distinguishable"


def test_work_that_comes_back_more_often_is_no_breach_s_fault() -> None:
    """One model comes back ten times as often and has most breaches, which do nothing: the crude ratio is 4."""
    counted = pl.DataFrame([work("Quern", (80, 400), (20, 100)), work("Marl-8", (2, 100), (40, 2000))])
    row = with_risk(counted, ["kind"], 0.95).row(0, named=True)
    assert row["ratio"] == pytest.approx(1.0)
    assert row["expected"] == pytest.approx(82.0)
    assert with_risk(counted.head(0), ["kind"], 0.95).height == 0
    nobody = with_risk(pl.DataFrame([work("Quern", (0, 0), (20, 100))]), ["kind"], 0.95).row(0, named=True)
    assert (nobody["ratio"], nobody["p_value"], nobody["verdict"]) == (None, None, "too little work to say")


def test_every_comparison_is_stated_once(sample: Depot) -> None:
    answer = sample.steps.breaches(window=90)
    ids = [f.id for f in answer.stated]
    assert len(set(ids)) == len(ids)
    compared = answer.table.filter(pl.col("p_value").is_not_null()).height
    assert sum(set(f.scope) == {"breach"} for f in answer.stated) == compared
    assert answer.benches is not None
    assert sum("bench" in f.scope for f in answer.stated) == answer.benches.height
    by_site = sample.steps.breaches(by="site", steps=True)
    assert by_site.benches is None
    assert {"site", "breach"} <= set(by_site.stated[0].scope)


def test_a_rule_of_the_reference_that_no_log_can_keep_is_told() -> None:
    plan = [*ROWS["procedures"], {"procedure": "board", "step_seq": 9, "step": "label", "must_follow": "seal it"}]
    with depot_of({**ROWS, "procedures": plan}) as depot:
        notes = depot.steps.conformance().notes
    assert any("1 rule of the reference cannot be judged, such as “label” of board: “seal it”" in n for n in notes)


@pytest.mark.parametrize("hazards", [["heat"], []])
def test_what_is_isolated_without_the_hazard_battery_is_no_battery(hazards: list[str]) -> None:
    """A boiler is isolated, too: work before that breaks its own order, and tells nothing of a battery."""
    plan = [{**p, "hazards": hazards} if "battery" in p.get("hazards", ()) else p for p in ROWS["procedures"]]
    with depot_of({**ROWS, "procedures": plan}) as depot:
        answer = depot.steps.battery_breaches()
        kinds = set(depot.steps.breaches().table["kind"])
    assert "isolated_late" not in set(answer.table["kind"]) | kinds
    assert not any("could be seen in" in note or "no rate" in note for note in answer.notes)
    (told,) = (note for note in answer.notes if note.startswith("Cannot be told"))
    assert 'the hazard "battery"' in told
