"""Sampling plans and audit sizes: published plans and points, other libraries, every n by loop, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, hypergeom

from rqa.stats import jobs_to_audit, sampling_plan, sampling_plan_oc
from tests.examples import examples

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))
CURVE, LOT = PUBLISHED["operating_characteristic"], PUBLISHED["lot_of_ten_thousand"]


@pytest.mark.parametrize("row", CURVE["rows"], ids=lambda r: str(r["accept"]))
def test_operating_characteristic(row):
    """At half a unit either side of the tabulated per cent the chance of acceptance brackets the stated one."""
    half = 0.5 * 10.0 ** -CURVE["decimals"] / 100
    around = np.array([row["binomial"] / 100 - half, row["binomial"] / 100 + half])
    above, below = sampling_plan_oc(n=CURVE["n"], c=CURVE["c"], fraction=around).accept
    assert below <= row["accept"] <= above
    # The Poisson column is the limit of very many jobs with very few faulty ones among them.
    around = np.array([row["poisson"] / 100 - half, row["poisson"] / 100 + half]) / 10_000
    above, below = sampling_plan_oc(n=CURVE["n"] * 10_000, c=CURVE["c"], fraction=around).accept
    assert below <= row["accept"] <= above
    if "printed" in row:
        # Half a unit of the two decimals printed, and half a unit of the three recomputed.
        assert abs(row["poisson"] - row["printed"]) <= 0.005 + 0.0005


def test_lot_of_ten_thousand():
    """The page works with the binomial (seen); its outgoing share is from an acceptance already rounded."""
    r = sampling_plan_oc(n=LOT["n"], c=LOT["c"], fraction=LOT["fraction"])
    assert abs(r.accept - LOT["accept"]) <= 0.5 * 10.0 ** -LOT["accept_decimals"]
    outgoing = float(r.accept) * LOT["fraction"] * (LOT["lot"] - LOT["n"]) / LOT["lot"]
    assert abs(outgoing - LOT["outgoing_unrounded"]) <= 0.5 * 10.0 ** -LOT["outgoing_decimals"]
    rounded = LOT["accept"] * LOT["fraction"] * (LOT["lot"] - LOT["n"]) / LOT["lot"]
    assert abs(rounded - LOT["outgoing"]) <= 0.5 * 10.0 ** -LOT["outgoing_decimals"]
    exact = sampling_plan_oc(n=LOT["n"], c=LOT["c"], fraction=LOT["fraction"], lot=LOT["lot"])
    assert float(exact.accept) == pytest.approx(hypergeom.cdf(LOT["c"], LOT["lot"], 300, LOT["n"]), rel=1e-9)
    assert float(exact.outgoing) == pytest.approx(float(exact.accept) * 0.03 * 9_948 / 10_000, rel=1e-12)


@pytest.mark.parametrize("row", PUBLISHED["single_plans"]["rows"], ids=lambda r: f"{r['letter']}-{r['quality']}")
def test_standard_plans_pass_lots_of_their_quality(row):
    """MIL-STD-105E single plans (seen) at their acceptable quality level: 88 to 99 times in 100 (from memory)."""
    r = sampling_plan_oc(n=row["n"], c=row["c"], fraction=row["quality"] / 100)
    assert 0.88 <= r.accept <= 0.995


@given(st.integers(1, 300), st.integers(0, 12), st.floats(0, 1))
def test_binomial_agrees_with_scipy(n, c, fraction):
    r = sampling_plan_oc(n=n, c=c, fraction=fraction)
    assert float(r.accept) == pytest.approx(binom.cdf(c, n, fraction), rel=1e-9, abs=1e-300)


@given(st.integers(1, 500), st.data())
def test_hypergeometric_agrees_with_scipy(lot, data):
    n, c = data.draw(st.integers(1, lot)), data.draw(st.integers(0, 12))
    faulty = data.draw(st.integers(0, lot))
    r = sampling_plan_oc(n=n, c=c, fraction=faulty / lot, lot=lot)
    assert float(r.accept) == pytest.approx(hypergeom.cdf(c, lot, faulty, n), rel=1e-8, abs=1e-12)
    assert float(r.checked) == pytest.approx(n + (1 - float(r.accept)) * (lot - n), rel=1e-12)
    assert float(r.fraction) == pytest.approx(faulty / lot, rel=1e-15)


def test_plan_landmarks():
    r = sampling_plan_oc(n=20, c=2, fraction=[0.0, 1.0], lot=50)
    assert r.accept.tolist() == pytest.approx([1.0, 0.0], abs=1e-12)
    assert r.checked.tolist() == pytest.approx([20, 50], rel=1e-12)
    assert sampling_plan_oc(n=3, c=3, fraction=[0.2, 1.0]).accept.tolist() == [1.0, 1.0]
    without = sampling_plan_oc(n=20, c=2, fraction=[0.0, 0.5])
    assert without.checked.tolist() == [20, np.inf]


@pytest.mark.parametrize("lot", [None, 60, 400])
@pytest.mark.parametrize(("good", "bad"), [(0.02, 0.2), (0.05, 0.25), (0.1, 0.15)])
def test_no_smaller_plan_will_do(good, bad, lot):
    """Every smaller n, with its best c, breaks one of the promises."""
    plan = sampling_plan(good=good, bad=bad, lot=lot)
    assert plan.accept_good >= 0.95
    assert plan.accept_bad <= 0.10
    for n in range(1, plan.n):
        c = np.arange(0, n)
        if lot is None:
            at_good, at_bad = binom.cdf(c, n, good), binom.cdf(c, n, bad)
        else:
            at_good, at_bad = (hypergeom.cdf(c, lot, round(p * lot), n) for p in (good, bad))
        assert not ((at_good >= 0.95) & (at_bad <= 0.10)).any()


@pytest.mark.parametrize("row", PUBLISHED["audit_sizes"]["rows"], ids=str)
def test_audit_sizes(row):
    """Known sizes for large lots (from memory)."""
    assert jobs_to_audit(fraction=row["fraction"], chance=row["chance"]).jobs == row["jobs"]


@settings(max_examples=examples(50))
@given(st.floats(0.01, 1), st.floats(0.05, 0.99), st.one_of(st.none(), st.integers(1, 200)))
def test_fewest_jobs_by_loop(fraction, chance, lot):
    r = jobs_to_audit(fraction=fraction, chance=chance, lot=lot)
    if lot is None:
        unseen = lambda n: (1 - fraction) ** n  # noqa: E731
    else:
        faulty = max(1, int(np.ceil(fraction * lot - 1e-9)))
        unseen = lambda n: hypergeom.pmf(0, lot, faulty, n)  # noqa: E731
    n = int(r.jobs)
    # 1e-7: chances that tie with the one asked for are taken as reached.
    assert 1 - unseen(n) >= chance - 1e-7
    assert n == 1 or 1 - unseen(n - 1) < chance + 1e-7
    assert float(r.found) == pytest.approx(1 - unseen(n), rel=1e-7)


def test_audit_landmarks():
    assert jobs_to_audit(fraction=1.0).jobs == 1
    assert jobs_to_audit(fraction=0.001, lot=100, chance=0.95).jobs == 95  # one faulty job of 100
    assert jobs_to_audit(fraction=0.5, lot=1).jobs == 1
    assert jobs_to_audit(fraction=[0.1, 0.2], chance=0.75).jobs.shape == (2,)
    assert jobs_to_audit(fraction=0.5, chance=0.75).jobs == 2  # an exact tie


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: jobs_to_audit(fraction=0), "fraction must be above 0"),
        (lambda: jobs_to_audit(fraction=0.1, lot=0), "lot must be one whole number of at least 1: 0"),
        (lambda: sampling_plan_oc(n=0, c=0, fraction=0.1), "n must be one whole number of at least 1"),
        (lambda: sampling_plan_oc(n=9, c=0, fraction=0.1, lot=5), "n must not be above lot: n = 9, lot = 5"),
        (lambda: sampling_plan_oc(n=9, c=-1, fraction=0.1), "c must be at least 0"),
        (lambda: sampling_plan_oc(n=9, c=1, fraction=1.1), "fraction must be between 0 and 1"),
        (lambda: sampling_plan(good=0.1, bad=0.05), "good must be below bad: good = 0.1, bad = 0.05"),
        (lambda: sampling_plan(good=0.11, bad=0.12, lot=20), "good must be below bad: .* of a lot of 20"),
    ],
)
def test_refusals(ask, message):
    with pytest.raises(ValueError, match=message):
        ask()
