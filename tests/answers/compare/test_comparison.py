"""Observed against what the mix brings: the ends, the fair reading of unfair work, and chance at its promised rate."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.answers.compare.comparison import ONLY
from rqa.answers.compare.expected_by_model import expected_by_model
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.stats import expected_from_mix, standardised_ratio, stratified_exact_test
from tests.answers.compare.made_counts import cells_of, depot_of_checks
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.depot_rows import ROWS

COLUMNS = ["exposures", "observed", "expected", "ratio", "low", "high", "shrunk", "p_value", "p_adjusted", "verdict"]
CHANCE = np.array([0.03, 0.05, 0.08, 0.12, 0.2, 0.3])


def compared(events: Any, trials: Any, *, logged: bool = False, **asked: Any) -> Any:
    with depot_of_checks(cells_of(events, trials), logged=logged) as depot:
        return depot.compare(**asked)


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(ROWS) as opened:
        yield opened


def test_columns_and_order() -> None:
    r = compared([[2, 30], [18, 10]], [[20, 100], [180, 20]])
    assert r.table.columns[:11] == ["technician", *COLUMNS]
    assert r.table["technician"].to_list() == ["T0001", "T0002"]
    kinds = {
        **dict.fromkeys(("exposures", "observed", "no_comparator"), pl.Int64),
        "verdict": pl.String,
        "technician": pl.String,
    }
    assert {n: k for n, k in r.table.schema.items() if k != pl.Float64} == kinds
    assert r.settings["expected"] == "stratified"


def test_numbers_are_those_of_the_pure_functions() -> None:
    x, n = np.array([[2, 30], [18, 10], [5, 9]]), np.array([[20, 100], [180, 20], [60, 60]])
    r = compared(x, n, spread=False)
    mix, test = expected_from_mix(events=x, trials=n), stratified_exact_test(events=x, trials=n)
    ratio = standardised_ratio(observed=mix.observed, expected=mix.expected)
    for name, expected in (
        ("expected", mix.expected), ("ratio", ratio.estimate), ("low", ratio.low), ("high", ratio.high),
        ("p_value", test.p_value), ("z", test.z),
    ):
        assert r.table[name].to_numpy() == pytest.approx(expected, abs=5e-7), name
    # By hand, for the first: 120 x 0 + 20 x 25 / 260 + 100 x 49 / 180 with X = 2+18+5, N = 20+180+60; 30+10+9, 180.
    assert r.table["expected"][0] == pytest.approx(20 * 25 / 260 + 100 * 49 / 180, abs=5e-7)


def test_who_was_given_the_hard_work_is_not_blamed_for_it() -> None:
    """27 % against 14 % in the plain figures; on comparable work the second fails more, and a note says so."""
    events, trials = [[20, 300], [240, 120]], [[200, 1000], [1800, 240]]
    r = compared(events, trials)
    assert r.table["share"].to_list() == pytest.approx([320 / 1200, 360 / 2040], abs=1e-6)
    assert r.table["verdict"].to_list() == ["below expectation", "above expectation"]
    (said,) = [n for n in r.notes if "Simpson" in n]
    assert said.startswith("The plain figures mislead: T0001 has 26.7% and T0002 17.6%")


def test_a_small_chance_is_not_0() -> None:
    r = compared([[150], [20], [20]], [[300], [300], [300]])
    assert r.table["p_value"].to_list()[0] == 1e-30
    assert 0 < r.table["p_value"].to_list()[1] < 1e-12
    assert r.table["verdict"].to_list() == ["above expectation", "below expectation", "below expectation"]


def test_nobody_above_or_below_where_all_passed_or_all_failed() -> None:
    """Enough work is never called too little: where all is alike, nobody can be told apart, and that is known."""
    trials = [[50, 50], [60, 40], [70, 30]]
    for events in (np.zeros((3, 2), dtype=int), np.array(trials)):
        for method in ("stratified", "model"):
            r = compared(events, trials, method=method, logged=True)
            assert set(r.table["verdict"]) == {"not distinguishable"}
            assert r.table["p_value"].to_list() == [1.0] * 3
            assert not any("Cannot be told" in n for n in r.notes)
            assert len(r.stated) == 3
            assert r.findings == ()
            assert r.table["expected"].to_list() == pytest.approx(events.sum(axis=1).tolist())
            # All failed: observed is what was expected. None did: nothing was expected, so there is no ratio.
            assert r.table["ratio"].to_list() == ([None] * 3 if not events.any() else [1.0] * 3)


@pytest.mark.parametrize("method", ["auto", "stratified", "model"])
def test_one_technician_only_is_compared_with_nobody(method: str) -> None:
    r = compared([[5, 9]], [[50, 60]], method=method)
    assert r.table.select("exposures", "observed", "no_comparator", "ratio", "verdict").rows() == [
        (0, 0, 110, None, ONLY)
    ]
    said = " ".join(r.notes)
    assert "Cannot be told: how technicians differ" in said
    assert "only one technician is left to compare" in said
    assert "too little work" not in said


def test_a_kind_of_work_with_one_technician_is_left_out() -> None:
    r = compared([[5, 9], [6, 0], [4, 0]], [[50, 60], [50, 0], [55, 0]], method="stratified")
    assert r.table["no_comparator"].to_list() == [60, 0, 0]
    assert r.table["observed"].to_list() == [5, 6, 4]
    assert any(note.startswith("60 first checks are of kinds that nobody else") for note in r.notes)


def test_little_work_gets_no_verdict_however_bad_it_looks() -> None:
    """Nine of nine failed where one in ten does: striking, and still one bad week."""
    r = compared([[9], [30], [28]], [[9], [300], [300]])
    assert r.table["verdict"].to_list()[0] == "too little work to say"
    assert r.table["p_adjusted"].to_list()[0] is None
    assert 1 < r.table["shrunk"][0] < r.table["ratio"][0]
    assert compared([[9], [30], [28]], [[9], [300], [300]], min_cases=5).table["verdict"][0] == "above expectation"


def test_checks_without_a_name_count_and_have_no_row() -> None:
    cells = cells_of([[5], [9], [20]], [[50], [60], [100]])
    cells = cells.with_columns(pl.col("technician").replace("T0003", "unknown"))
    with depot_of_checks(cells) as depot:
        r = depot.compare()
    assert r.table["technician"].to_list() == ["T0001", "T0002"]
    assert r.table["expected"].to_list() == pytest.approx([50 * 34 / 210, 60 * 34 / 210], abs=5e-7)
    assert "100 first checks name no technician: counted in what the work brings, without a row." in r.notes


def test_a_wide_spread_is_allowed_for_and_its_effect_said() -> None:
    rng = np.random.default_rng(61)
    trials = np.full((24, 3), 200)
    events = rng.binomial(trials, np.clip(0.1 * rng.gamma(8, 1 / 8, (24, 1)), 0, 0.9))
    wide, plain = compared(events, trials), compared(events, trials, spread=False)
    named = [(t.table["verdict"].is_in(["above expectation", "below expectation"])).sum() for t in (wide, plain)]
    assert wide.settings["spread"] > 1.5
    assert plain.settings["spread"] == 1.0
    assert named[0] < named[1]
    assert any(f"{named[0]} stand out with it, {named[1]} would without" in n for n in wide.notes)
    assert (wide.table["high_95"] > plain.table["high_95"]).all()


def test_a_model_takes_the_place_of_thin_strata_and_says_why() -> None:
    """Three technicians on 60 kinds with 2 checks each: nearly all others' work in a kind is below 10."""
    rng = np.random.default_rng(62)
    trials = np.full((3, 60), 2)
    r = compared(rng.binomial(trials, 0.2), trials)
    assert r.settings["expected"] == "model"
    (how,) = [n for n in r.notes if n.startswith("expected comes from a binomial model")]
    assert "since 100 % of the first checks are of kinds in which the others have fewer than 10" in how


def test_the_model_is_that_of_the_reference_library() -> None:
    """Expected numbers from a fit of rows, not cells; the variance from the score test of an added column."""
    rng = np.random.default_rng(63)
    kinds = [(a, b) for a in ("x", "y", "z") for b in ("p", "q")]
    trials = rng.integers(5, 40, (4, 6))
    events = rng.binomial(trials, 0.1 + 0.05 * np.arange(6))
    made = expected_by_model(events=events, trials=trials, kinds=kinds)
    assert made.apart == 0
    design = np.array([[1, a == "y", a == "z", b == "q"] for a, b in kinds], dtype=float)
    rows, outcome, group = [], [], []
    for g in range(4):
        for s in range(6):
            rows += [design[s]] * trials[g, s]
            outcome += [1] * events[g, s] + [0] * (trials[g, s] - events[g, s])
            group += [g] * trials[g, s]
    fit = sm.GLM(outcome, np.array(rows), family=sm.families.Binomial()).fit(tol=1e-12)
    of = [np.array(group) == g for g in range(4)]
    assert made.expected == pytest.approx([fit.mu[g].sum() for g in of], abs=1e-6)
    for g in range(4):
        test = fit.score_test(exog_extra=of[g].astype(float)[:, np.newaxis])
        z = (events[g].sum() - made.expected[g]) / made.variance[g] ** 0.5
        # Relative 1e-4: the library's score test estimates the scale as 1 and stops its own fit a little earlier.
        assert z**2 == pytest.approx(float(np.squeeze(test[0])), rel=1e-4)


def test_a_kind_that_the_model_misses_gets_a_share_of_its_own() -> None:
    """One step fails on one model alone (an interaction): those who do that work are not blamed for it."""
    rng = np.random.default_rng(64)
    kinds = [(a, b) for a in ("x", "y", "z") for b in ("p", "q", "r", "s")]
    trials = np.full((6, 12), 40)
    trials[0, 0] = 400
    chance = np.full(12, 0.05)
    chance[0] = 0.4
    events = rng.binomial(trials, chance)
    made = expected_by_model(events=events, trials=trials, kinds=kinds)
    assert made.apart == 1
    z = (events.sum(axis=1) - made.expected) / np.sqrt(made.variance)
    assert np.abs(z).max() < 3


@pytest.mark.slow
def test_by_model_luck_is_named_as_rarely_as_promised_and_a_difference_is_found() -> None:
    """Thin kinds: 20 technicians, 6 x 8 kinds. 60 depots, error of a share of 0.05 is 0.028; of 1,200 z it is 0.007."""
    rng = np.random.default_rng(65)
    kinds = [(f"a{i}", f"b{j}") for i in range(6) for j in range(8)]
    ease = np.linspace(-0.5, 0.5, 8)
    odds = np.array([c / (1 - c) * np.exp(e) for c in CHANCE for e in ease])
    far, found, knowing = [], [], []
    for _ in range(60):
        trials = rng.poisson(rng.dirichlet(np.full(48, 0.3), 20) * 150)
        for times in (1.0, 3.0):
            each = np.tile(odds, (20, 1))
            each[0] *= times
            events = rng.binomial(trials, each / (1 + each))
            made = expected_by_model(events=events, trials=trials, kinds=kinds)
            z = (events.sum(axis=1) - made.expected) / np.sqrt(made.variance)
            if times == 1.0:
                far.append(np.abs(z) > 1.96)
            else:
                p = odds / (1 + odds)
                true = (events[0].sum() - trials[0] @ p) / np.sqrt(trials[0] @ (p * (1 - p)))
                found.append(z[0] > 3)
                knowing.append(true > 3)
    assert np.mean(far) == pytest.approx(0.05, abs=3 * 0.007)
    # 0.1: what is lost by learning the shares, with the planted technician among those learnt from.
    assert np.mean(found) >= np.mean(knowing) - 0.1
    assert np.mean(knowing) > 0.6


def test_five_thousand_technicians() -> None:
    rng = np.random.default_rng(66)
    trials = rng.poisson(rng.dirichlet(np.full(6, 0.7), 5_000) * 120)
    r = compared(rng.binomial(trials, CHANCE), trials)
    assert r.table.height == (trials.sum(axis=1) > 0).sum()
    assert r.table["technician"].is_sorted()
    assert r.table["verdict"].is_in(["above expectation", "below expectation"]).sum() <= 1


@given(
    work=st.lists(st.tuples(st.integers(0, 80), st.integers(0, 80)), min_size=1, max_size=4),
    shares=st.tuples(*[st.sampled_from((0.0, 0.05, 0.5, 1.0))] * 2),
    method=st.sampled_from(("auto", "stratified", "model")),
    least=st.sampled_from((1, 30)),
)
@settings(max_examples=examples(40), deadline=None)
def test_too_little_work_is_said_of_too_little_comparable_work_alone(
    work: list[tuple[int, int]], shares: tuple[float, float], method: str, least: int
) -> None:
    """Whatever passed and failed, with the least number of comparable cases there is a verdict, below it none."""
    trials = np.array(work)
    events = np.array([[round(n * share) for n, share in zip(row, shares, strict=True)] for row in work])
    r = compared(events, trials, method=method, min_cases=least)
    said = "too little work to say" if r.table.height > 1 else ONLY
    untold = (r.table["verdict"] == said).to_list()
    assert untold == [n < least or said == ONLY for n in r.table["exposures"]]
    assert [p is None for p in r.table["p_adjusted"]] == untold


def test_the_other_outcomes(depot: Depot) -> None:
    """ROWS is too small for verdicts; the counts are those of the questions behind them."""
    r = depot.compare(outcome="comeback", mix=(), window=30)
    assert r.table.select("technician", "exposures", "observed").rows() == [("T01", 3, 2)]
    assert r.settings["window"] == 30
    r = depot.compare(who="site", outcome="clean_job", mix=())
    assert r.table.select("site", "exposures", "observed").rows() == [("Alder", 2, 2), ("Birch", 1, 1)]
    r = depot.compare(who="station", outcome="first_run", mix=())
    assert r.table.select("station", "exposures", "observed").rows() == [("S1", 1, 0), ("S2", 1, 1)]
    r = depot.compare(who="bench", outcome="comeback", mix="model")
    assert r.table.select("bench", "exposures", "observed", "verdict").rows() == [
        ("B1", 2, 2, "too little work to say"), ("B2", 1, 1, "too little work to say"),
    ]


def test_nothing_to_compare(depot: Depot) -> None:
    assert depot.compare(months="2020-01").table.height == 0
    assert depot.compare(who="tool").table.height == 0


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"outcome": "speed"}, "outcome is one of first_pass, first_run, comeback, clean_job"),
        ({"who": "month"}, "first_pass is known of technician, bench, tool, site"),
        ({"who": "bench", "outcome": "clean_job"}, "clean_job is known of technician, site, not of 'bench'"),
        ({"mix": "age"}, "no part of the mix 'age'"),
        ({"who": "site", "mix": ("site",)}, "site is what is compared"),
        ({"method": "guess"}, "method is one of auto, stratified, model"),
        ({"min_cases": 0}, "min_cases is a whole number of cases"),
        ({"level": 1.0}, "level"),
    ],
)
def test_what_cannot_be_asked(depot: Depot, asked: dict[str, Any], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        depot.compare(**asked)


def test_people_come_with_a_caution(depot: Depot) -> None:
    for who in ("technician", "bench", "site"):
        assert any("for coaching and for changing the process" in n for n in depot.compare(who=who).notes)


def test_a_group_with_nothing_beside_it_has_no_ratio_by_the_model_either() -> None:
    """Each does its own step alone: a model of the steps is fitted to the group's own work, and says 1.0 of it."""
    steps = [f"step {i}" for i in range(4)]
    cells = [(f"T{i}", step, 20 + i, 400) for i, step in enumerate(steps)]
    kinds = [(step, "m") for step in steps]
    events, trials = np.diag([c[2] for c in cells]), np.diag([c[3] for c in cells])
    assert expected_by_model(events=events, trials=trials, kinds=kinds).no_comparator.all()
    beside = trials + np.eye(4, k=1, dtype=np.int64) * 300
    shared = expected_by_model(events=events + (beside > trials) * 30, trials=beside, kinds=kinds).no_comparator
    assert not shared.any()
    r = compared(events, trials, method="model")
    assert r.table["exposures"].to_list() == [0] * 4
    assert r.table["ratio"].is_null().all()
    assert r.table["low"].is_null().all()
    assert set(r.table["verdict"]) == {"too little work to say"}
    assert any("there is nothing to compare them with" in note.replace("\n", " ") for note in r.notes)


def test_what_an_expectation_comes_from_is_named_with_its_filter(depot: Depot) -> None:
    whole, kept = depot.compare("technician"), depot.compare("technician", where="model=Marl-8")
    assert "in the whole depot" in " ".join(whole.notes)
    assert "in the whole depot" not in " ".join(kept.notes)
    assert "in the work with model=Marl-8" in " ".join(kept.notes)
