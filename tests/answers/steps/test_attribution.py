"""Come-backs attributed to steps: closed forms, groups, the null kept, the planted effects found and little else."""

from collections import Counter
from collections.abc import Iterator

import numpy as np
import polars as pl
import pytest

import rqa
from rqa.answers.steps.cause_contrasts import excesses
from rqa.answers.steps.cause_fit import fitted, nearly_together, summed, taken_together
from rqa.answers.steps.cause_patterns import Exposed, Untouched
from rqa.answers.steps.risk import DONE, UNTOUCHED
from rqa.answers.steps.step_cautions import ALWAYS
from rqa.demo.effects import EARLY, PINCH
from rqa.errors import RequestError
from rqa.plots import plot
from rqa.stats import benjamini_hochberg
from tests.answers.steps.made_steps import FIRST, stepped
from tests.depots import depot_of

A, B, C = ("a", ""), ("b", ""), ("c", "")


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Iterator["rqa.Depot"]:
    folder = tmp_path_factory.mktemp("planted")
    rqa.demo.write(folder, jobs=6000, plain=True)
    rqa.load(folder)
    with rqa.open(folder) as opened:
        yield opened


def kinds(names: tuple[tuple[str, str], ...], *rows: tuple[list[int], int, int]) -> Exposed:
    """Jobs by (done, jobs, come-backs), all of one stratum and tested, half of the come-backs escaped."""
    done, jobs, back = (np.array(column) for column in zip(*rows, strict=True))
    return Exposed(names, done.astype(float), np.zeros(len(jobs), dtype=np.int64), jobs, back, back, back // 2)


def test_single_steps_and_both_in_closed_form() -> None:
    """1 - 0.99 x 0.97 = 0.0397: come-backs of jobs that did both fit the chances of those that did one exactly."""
    fit = fitted(
        kinds((A, B), ([1, 0], 10_000, 100), ([0, 1], 10_000, 300), ([1, 1], 10_000, 397)), min_overlap=0.95, level=0.95
    )
    assert fit.rate == pytest.approx([0.01, 0.03], abs=1e-8)
    assert fit.attributed.sum() == pytest.approx(797)
    # Of jobs that did both, by rates -log(0.99) to -log(0.97).
    assert fit.attributed[0] == pytest.approx(100 + 397 * np.log(0.99) / (np.log(0.99) + np.log(0.97)), rel=1e-6)
    assert fit.escaped / fit.tested == pytest.approx([0.4985, 0.4991], abs=0.001)
    assert fit.told_apart.all()


def test_a_cause_met_several_times_is_a_pool() -> None:
    """1 - (1 - x / n)^(1 / k), as of pooled tests."""
    fit = fitted(kinds((A,), ([3], 500, 60)), min_overlap=0.95, level=0.95)
    assert fit.rate[0] == pytest.approx(1 - (1 - 60 / 500) ** (1 / 3), rel=1e-7)
    assert fit.exposures[0] == 1500


def test_steps_done_together_are_one_group_and_never_split() -> None:
    rows = (([1, 1, 0], 970, 30), ([1, 0, 1], 20, 1), ([0, 0, 1], 500, 4))
    fit = fitted(kinds((A, B, C), *rows), min_overlap=0.95, level=0.95)
    assert fit.groups == ((A, B), (C,))
    assert fit.told_apart.tolist() == [False, True]
    assert fit.exposures.tolist() == [990, 520]
    strict = fitted(kinds((A, B, C), *rows), min_overlap=1.0, level=0.95)
    assert len(strict.groups) == 3
    # Without the twenty jobs nothing tells them apart, however strict one is.
    always = fitted(kinds((A, B, C), rows[0], rows[2]), min_overlap=1.0, level=0.95)
    assert always.groups == ((A, B), (C,))
    assert always.rate[0] == pytest.approx(30 / 970)


def test_groups_are_chained_and_counted_by_any_member() -> None:
    done = np.array([[1, 1, 0, 0], [1, 1, 1, 0], [0, 0, 1, 1], [0, 1, 1, 0]], dtype=float)
    assert nearly_together(done, np.array([97, 0, 50, 1]), 0.9) == [[0, 1], [2, 3]]
    assert nearly_together(done, np.array([97, 0, 50, 60]), 0.9) == [[0], [1], [2], [3]]
    assert taken_together(done, [[0, 1], [2, 3]]).tolist() == [[1, 0], [1, 1], [0, 1], [1, 1]]


def test_a_come_back_without_a_candidate_is_laid_to_none() -> None:
    fit = fitted(kinds((A,), ([1], 100, 3), ([0], 50, 2)), min_overlap=0.95, level=0.95)
    assert (fit.loose, fit.attributed[0], fit.rate[0]) == (2, pytest.approx(3), pytest.approx(0.03))


def test_a_sum_has_the_limits_of_one_and_is_narrower_than_their_sum() -> None:
    assert summed([2.0], [1.0], [4.0]) == (2.0, 1.0, 4.0)
    total, low, high = summed([2.0, 3.0], [1.0, 1.0], [4.0, 6.0])
    assert (total, low, high) == (5.0, pytest.approx(5 - 5**0.5), pytest.approx(5 + 13**0.5))


PROCEDURES = {0: [1, 1, 0], 1: [1, 0, 0], 2: [0, 1, 1]}
"""Three procedures: one with both a and b, one with a alone, one with b and c."""


def drawn(rng: np.random.Generator, jobs: dict[int, int], chance: dict[int, float]) -> Exposed:
    """A depot without any step's doing: a come-back's chance is the procedure's, in a fiftieth a is skipped."""
    rows = []
    for p, done in PROCEDURES.items():
        skipped = rng.binomial(jobs[p], 0.02)
        for n, did in ((jobs[p] - skipped, done), (skipped, [0, *done[1:]])):
            rows.append((did, p, n, rng.binomial(n, chance[p])))
    done, stratum, n, x = (np.array(c) for c in zip(*rows, strict=True))
    return Exposed((A, B, C), done.astype(float), stratum, n, x, x, x)


def stated(own: Exposed, rest: Exposed) -> tuple[list[float], list[tuple[str, ...]]]:
    """p-values, and the causes found among them."""
    groups = fitted(own, min_overlap=0.95, level=0.95).groups
    found = list(excesses(own, rest, groups, min_cases=20, level=0.95))
    p = [e.p_value for e in found]
    sure = benjamini_hochberg(p_values=p).found
    return p, [tuple(sorted(n for n, _ in e.cause)) for e, s in zip(found, sure, strict=True) if s]


def test_what_comes_by_itself_is_taken_off_in_closed_form() -> None:
    """2 % of 5,000 jobs that left it alone, 5 % of 1,000 that did the step: the step's chance is 1 - 0.95 / 0.98."""
    touched = kinds((A,), ([1], 1_000, 50))
    fit = fitted(touched, min_overlap=0.95, level=0.95, untouched=Untouched(5_000, 100))
    assert fit.rate == pytest.approx([1 - 0.95 / 0.98], abs=1e-7)
    part = np.log(0.95 / 0.98) / np.log(0.95)
    assert fit.attributed == pytest.approx([50 * part], rel=1e-5)
    assert fit.by_itself == pytest.approx(50 * (1 - part), rel=1e-4)
    assert fit.low[0] < fit.rate[0] < fit.high[0]
    plain = fitted(touched, min_overlap=0.95, level=0.95)
    assert plain.attributed == pytest.approx([50.0])
    for nothing in (Untouched(5_000, 0), Untouched(0, 0)):
        same = fitted(touched, min_overlap=0.95, level=0.95, untouched=nothing)
        assert (same.rate.tolist(), same.by_itself) == (plain.rate.tolist(), 0.0)


def test_attributed_are_as_many_as_were_caused() -> None:
    """Two steps cause 2 and 1 %, 1 % fails by itself: over 60 depots attributed to caused is 1 within three standard
    errors; without the jobs that left it alone it is 1.4."""
    rng, ratio, plain = np.random.default_rng(8), [], []
    jobs, chance, itself = {(1, 0): 3_000, (0, 1): 3_000, (1, 1): 1_000}, (0.02, 0.01), 0.01
    for _ in range(60):
        rows, caused = [], 0
        for did, n in jobs.items():
            by = [rng.random(n) < c * d for c, d in zip(chance, did, strict=True)]
            back = by[0] | by[1] | (rng.random(n) < itself)
            caused += int((by[0] | by[1]).sum())
            rows.append((list(did), n, int(back.sum())))
        alone = Untouched(8_000, int(rng.binomial(8_000, itself)))
        work = kinds((A, B), *rows)
        ratio.append(fitted(work, min_overlap=0.95, level=0.95, untouched=alone).attributed.sum() / caused)
        plain.append(fitted(work, min_overlap=0.95, level=0.95).attributed.sum() / caused)
    assert np.mean(ratio) == pytest.approx(1.0, abs=3 * np.std(ratio) / 60**0.5)
    assert np.mean(plain) > 1.4


def test_where_nothing_differs_findings_are_rare() -> None:
    """Unlike procedures in unlike mixes, no difference within: of 60 depots at most 3 are due to have a finding.

    With 5 % promised, 9 or more of 60 come with a chance below 0.4 %; p-values below 0.05 are due in 5 % of them.
    """
    rng, chance = np.random.default_rng(5), {0: 0.06, 1: 0.01, 2: 0.002}
    all_p, with_finding = list[float](), 0
    for _ in range(60):
        own, rest = drawn(rng, {0: 300, 1: 600, 2: 100}, chance), drawn(rng, {0: 900, 1: 200, 2: 900}, chance)
        p, found = stated(own, rest)
        all_p += p
        with_finding += bool(found)
    assert len(all_p) > 120
    assert with_finding <= 8
    assert np.mean(np.array(all_p) <= 0.05) <= 0.06


@pytest.mark.parametrize(("worse", "step"), [((0, 1), "a"), ((0, 2), "b")])
def test_the_step_that_the_procedures_have_in_common_is_named(worse: tuple[int, int], step: str) -> None:
    rng, chance, named = np.random.default_rng(6), {0: 0.02, 1: 0.01, 2: 0.01}, Counter[tuple[str, ...]]()
    for _ in range(20):
        own = drawn(rng, {0: 400, 1: 600, 2: 400}, chance | {p: chance[p] + 0.06 for p in worse})
        named.update(stated(own, drawn(rng, {0: 900, 1: 900, 2: 900}, chance))[1])
    assert named.most_common(1)[0][0] == (step,)
    assert named[(step,)] >= 15


def test_nothing_to_compare_with() -> None:
    own = kinds((A,), ([1], 100, 3))
    other = Exposed((A,), own.done, own.stratum + 1, own.jobs, own.comebacks, own.tested, own.escaped)
    assert list(excesses(own, other, ((A,),), min_cases=20, level=0.95)) == []
    assert list(excesses(own, kinds((A,), ([1], 10, 3)), ((A,),), min_cases=20, level=0.95)) == []


def test_a_job_whose_other_test_never_passed_let_nothing_escape() -> None:
    """Of nine come-backs six had passed the display's test, but two of these failed another test to the end."""
    tables = stepped(done=60, back=9, skipped=40, skipped_back=2)
    tables["diagnostics"] += [
        {"job_id": f"J{n}", "test": "soak", "run_at": FIRST, "outcome": "fail" if n < 2 else "pass"} for n in range(6)
    ]
    with depot_of(tables) as depot:
        row = depot.steps.attribution().table.filter(pl.col("subsystem") == "display").row(0, named=True)
    # Of the nine as many as the cable causes, beside the 5 % that come by themselves.
    part = 9 * np.log(0.85 / 0.95) / np.log(0.85)
    assert (row["tested"], row["escaping"]) == (pytest.approx(part, abs=1e-4), pytest.approx(4 / 9, abs=1e-6))


def test_why_steps_are_joined_is_true_of_steps_that_are_seldom_done_together() -> None:
    """Every job checks for leaks, one in three refits the screen: where both touch the display all but one did both."""
    tables = stepped(done=60, back=9, skipped=0, skipped_back=0)
    tables["procedures"] = [
        {"procedure": name, "step_seq": 1, "step": "leak check", "subsystems": [touched]}
        for name, touched in (("board", "display"), ("boiler", "boiler"))
    ] + [{"procedure": "board", "step_seq": 2, "step": "refit screen", "subsystems": ["display"]}]
    boiler = [{**tables["jobs"][-1], "job_id": f"B{n}", "unit_id": f"B{n}", "procedure": "boiler",
               "opened_at": FIRST, "closed_at": FIRST} for n in range(120)]
    tables["jobs"] += boiler
    tables["steps"] = [
        {"job_id": f"J{n}", "step_seq": place, "step": step, "outcome": "skipped" if (n, place) == (59, 2) else "done"}
        for n in range(60) for place, step in ((1, "leak check"), (2, "refit screen"))
    ] + [{"job_id": b["job_id"], "step_seq": 1, "step": "leak check", "outcome": "done"} for b in boiler]
    did: dict[str, set[str]] = {step: {s["job_id"] for s in tables["steps"] if s["step"] == step and
                                       s["outcome"] == "done"} for step in ("leak check", "refit screen")}
    both, either = did["leak check"] & did["refit screen"], did["leak check"] | did["refit screen"]
    assert (len(both), len(either)) == (59, 180), "they are seldom done together"
    touching = either - {b["job_id"] for b in boiler}
    assert len(both & touching) / len(touching) == pytest.approx(59 / 60), "where both touch it, nearly always"
    with depot_of(tables) as depot:
        answer = depot.steps.attribution()
    rows = answer.table.filter(pl.col("subsystem") == "display").select("step", "candidate_in", "told_apart").rows()
    assert rows == [("leak check + refit screen", 9, False)]
    said = [n for n in answer.notes if n.startswith('Steps joined by "+"')]
    assert len(said) == 1
    assert "done together" not in said[0]
    assert "nearly every job that came back for what they touch, or could have, had all of them or none" in said[0]


@pytest.mark.parametrize("by", [(), ("procedure",)])
def test_a_step_that_touches_nothing_was_done_all_the_same(by: tuple[str, ...]) -> None:
    """Every job verified the unit, which touches nothing; "polish" was only ever skipped, "seal case" not logged."""
    tables = stepped(done=60, back=9, skipped=40, skipped_back=2)
    tables["procedures"] += [
        {"procedure": "board", "step_seq": 4, "step": "verify", "phase": "verify"},
        {"procedure": "board", "step_seq": 5, "step": "polish", "phase": "close"},
        {"procedure": "board", "step_seq": 6, "step": "glue", "phase": "close", "subsystems": ["case"]},
    ]
    jobs = [f"J{n}" for n in range(100)]
    tables["steps"] += [{"job_id": j, "step_seq": 4, "step": "verify", "outcome": "done"} for j in jobs]
    tables["steps"] += [{"job_id": j, "step_seq": 5, "step": "polish", "outcome": "skipped"} for j in jobs]
    # The last job has not matured: what it did cannot be told yet.
    tables["steps"].append({"job_id": "END", "step_seq": 6, "step": "glue", "outcome": "done"})
    with depot_of(tables) as depot:
        risk, where = depot.steps.risk(by), depot.steps.map("board")
    verified = risk.table.filter(pl.col("step") == "verify")
    assert verified["exposures"].to_list() == [0]
    group = ("board",) if by else ()
    assert risk.unlaid == {(*group, "verify"): UNTOUCHED, (*group, "glue"): DONE}
    assert where.unlaid == {("verify",): UNTOUCHED, ("glue",): DONE}
    rows = plot(where).to_dict()["data"]["values"]
    assert {r["label"]: r["said"] for r in rows if not r["right"]} == {
        "3 · seal case": "not done", "4 · verify": "no subsystem", "5 · polish": "not done",
        "6 · glue": "not to be told",
    }


def test_through_the_depot() -> None:
    """60 jobs did "seat cable", 9 came back with the display; 40 skipped it, 2 came back: so it fails by itself in 5 %.

    The cable's own chance is 1 - 0.85 / 0.95, and its part of the nine log(0.85 / 0.95) over log(0.85).
    """
    part = 9 * np.log(0.85 / 0.95) / np.log(0.85)
    with depot_of(stepped(done=60, back=9, skipped=40, skipped_back=2)) as depot:
        found = depot.steps.attribution()
        risk = depot.steps.risk(sort="step")
        where = depot.steps.map("board").table
        costs = depot.steps.costs(window=30).table
    row = found.table.filter(pl.col("subsystem") == "display").row(0, named=True)
    assert (row["step"], row["exposures"], row["candidate_in"]) == ("seat cable", 60, 9)
    assert row["attributed"] == pytest.approx(part, abs=1e-4)
    assert row["per_10000"] == pytest.approx(10_000 * (1 - 0.85 / 0.95), abs=1e-3)
    assert (row["tested"], row["escaping"], row["told_apart"]) == (
        pytest.approx(part, abs=1e-4), pytest.approx(6 / 9, abs=1e-6), True
    )
    by_step = {r["step"]: r for r in risk.table.iter_rows(named=True)}
    assert by_step["seat cable"]["failed"] == 5
    assert by_step["seat cable"]["fails_per_1000"] == pytest.approx(1000 * 5 / 60, abs=1e-6)
    assert by_step["seat cable"]["escaping"] == pytest.approx(6 / 9, abs=1e-6)
    assert by_step["seat cable"]["cost"] == pytest.approx(50.0)
    assert by_step["seat cable"]["cost_per_1000"] == pytest.approx(50_000.0 * (1 - 0.85 / 0.95), abs=0.01)
    # 50 each, all that is attributed to any step; the cost is that of the jobs that did it, at the cable's chance.
    cost = 60 * 50.0 * (1 - 0.85 / 0.95)
    assert costs.select("step", "share", "cumulative").rows() == [("seat cable", 1.0, 1.0)]
    assert costs["attributed"][0] == pytest.approx(part, abs=1e-4)
    assert costs["cost"][0] == pytest.approx(cost, abs=0.01)
    assert costs["low"][0] < cost < costs["high"][0]
    assert by_step["seat cable"]["hazards"] == "latch, pinch"
    assert "pinched cable" in by_step["seat cable"]["caution"]
    assert all(r["caution"].endswith(ALWAYS) for r in by_step.values())
    assert where["step"].to_list() == ["open case", "seat cable", "seal case"]
    assert where["exposures"].to_list() == [100, 60, None]


def test_planted_and_little_else(depot: "rqa.Depot") -> None:
    found = depot.steps.attribution(by=("model", "procedure")).findings
    pinched = [f for f in found if f.scope["model"] == PINCH.model and f.scope["procedure"] == PINCH.procedure]
    assert [(PINCH.step in f.scope["step"].split(" + "), f.scope["subsystem"]) for f in pinched] == [
        (True, PINCH.subsystem)
    ]
    assert len(pinched[0].scope["step"].split(" + ")) <= 3
    assert pinched[0].low > 0
    assert len(found) <= 2


def test_every_come_back_is_laid_once(depot: "rqa.Depot") -> None:
    made = depot.steps.attribution()
    table = made.table
    sums = table.group_by("subsystem").agg(pl.col("attributed").sum(), pl.col("candidate_in").max())
    # A come-back has a candidate; what would have come anyhow is attributed to none.
    assert (sums["attributed"] <= table["candidate_in"].sum()).all()
    known = depot.comebacks(window=30, where={"class": ["repeat", "workmanship"]}).table["returned"][0]
    by_itself = made.settings["by_itself"]
    assert isinstance(by_itself, float)
    assert table["attributed"].sum() + by_itself == pytest.approx(known, abs=2e-3)
    assert any("would have come anyhow" in note for note in made.notes) == (by_itself >= 0.05)


def test_by_hazard_and_bench(depot: "rqa.Depot") -> None:
    hazards = depot.steps.attribution(per="hazard").table
    worst = hazards.filter(pl.col("subsystem") == PINCH.subsystem).sort("attributed", descending=True)["hazard"][0]
    assert "pinch" in worst or "latch" in worst
    benches = depot.steps.attribution(per="bench", where={"site": "Cedar"}).table
    aligned = benches.filter((pl.col("step") == EARLY.step) & (pl.col("subsystem") == EARLY.subsystem))
    assert aligned.sort("per_10000", descending=True)["bench"][0] == EARLY.bench


def test_what_has_caused_nothing_let_nothing_escape_and_has_no_mean_cost(depot: "rqa.Depot") -> None:
    table = depot.steps.risk(by="model").table
    none = table.filter(pl.col("attributed") == 0)
    assert none.height > 10
    assert none.select(pl.col("escaping", "cost").is_not_null().sum()).row(0) == (0, 0)
    assert not any(str(v).startswith("-") for v in table["cost_low"].drop_nulls())


def test_sorted_as_asked_and_kept_to_steps(depot: "rqa.Depot") -> None:
    costly = depot.steps.risk(sort="cost_per_1000").table["cost_per_1000"].drop_nulls()
    assert costly.to_list() == sorted(costly, reverse=True)
    asked = depot.steps.risk(by="model", where={"step": PINCH.step}, months=("2025-01", "2026-06"))
    kept = asked.table
    assert asked.settings["where"] == {"step": (PINCH.step,)}
    assert "The mean cost is that of come-backs of all months." in asked.notes
    assert kept["step"].unique().to_list() == [PINCH.step]
    worst = kept.filter(pl.col("exposures") > 0).sort("per_10000", descending=True)["model"][0]
    assert worst == PINCH.model


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"per": "person"}, "per is one of step, hazard, bench, tool"),
        ({"min_overlap": 0}, "min_overlap is a share above 0"),
        ({"by": "bench"}, "no grouping 'bench'"),
        ({"index_disposition": "cancelled"}, "index_disposition is one of repaired, no_fault_found"),
    ],
)
def test_what_cannot_be_asked(depot: "rqa.Depot", asked: dict[str, object], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        depot.steps.attribution(**asked)  # type: ignore[arg-type]


def test_unknown_sortings_steps_and_procedures(depot: "rqa.Depot") -> None:
    with pytest.raises(RequestError, match="no sorting 'luck'"):
        depot.steps.risk(sort="luck")
    with pytest.raises(RequestError, match="no step 'polish'"):
        depot.steps.risk(where={"step": "polish"})
    with pytest.raises(RequestError, match=r"step_risk: step takes a text or a list of texts, not 5"):
        depot.steps.risk(where={"step": 5})  # type: ignore[dict-item]
    with pytest.raises(RequestError, match=r"no procedure 'roof' in the table “procedures”\. There is: .*main board"):
        depot.steps.map("roof")


@pytest.mark.parametrize("data", [{}, {"jobs": stepped(done=3, back=1, skipped=0, skipped_back=0)["jobs"]}])
def test_a_depot_without_logs_has_nothing_to_lay(data: dict[str, list[dict[str, object]]]) -> None:
    with depot_of(data) as empty:
        answers = [
            empty.steps.attribution(by=("month", "site")),
            empty.steps.attribution(per="tool"),
            empty.steps.risk(by="model"),
        ]
        assert [a.table.height for a in answers] == [0, 0, 0]
        assert [a.stated for a in answers] == [(), (), ()]
        assert empty.steps.relative_risk().table.height == 0


def test_cost_by_step_is_a_pareto_of_all_that_is_laid(depot: "rqa.Depot") -> None:
    """Costliest first, shares that add up to one; steps that are not told apart have one row."""
    table, risk = depot.steps.costs(window=30).table, depot.steps.risk(window=30).table
    assert table["cost"].to_list() == sorted(table["cost"], reverse=True)
    assert table["cumulative"][-1] == pytest.approx(1.0, abs=1e-5)
    assert table["attributed"].sum() == pytest.approx(depot.steps.attribution().table["attributed"].sum(), rel=0.02)
    named = [step for row in table["step"] for step in row.split(" + ")]
    assert len(named) == len(set(named))
    assert set(named) == set(risk.filter(pl.col("attributed") > 0)["step"])
