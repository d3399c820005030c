"""The interval of a difference: published values, the defining equation, landmarks, a reference library."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import confint_proportions_2indep

from rqa.stats import difference_interval, proportion_interval

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text("utf-8"))
TABLE = PUBLISHED["newcombe_difference"]


@st.composite
def two_groups(draw):
    n1, n2 = draw(st.integers(1, 10_000)), draw(st.integers(1, 10_000))
    return {
        "successes1": draw(st.integers(0, n1)),
        "trials1": n1,
        "successes2": draw(st.integers(0, n2)),
        "trials2": n2,
    }


@pytest.mark.parametrize("row", TABLE["rows"], ids=str)
def test_newcombe_table(row):
    """Newcombe 1998, table II, method 10 (seen)."""
    r = difference_interval(**{name: row[name] for name in ("successes1", "trials1", "successes2", "trials2")})
    half = 0.5 * 10.0 ** -TABLE["decimals"]
    assert abs(r.estimate - row["difference"]) <= half
    assert abs(r.low - row["low"]) <= half
    assert abs(r.high - row["high"]) <= half


@given(two_groups(), st.floats(0.5, 0.999))
def test_defining_equation(groups, level):
    r = difference_interval(**groups, level=level)
    one = proportion_interval(successes=groups["successes1"], trials=groups["trials1"], level=level)
    two = proportion_interval(successes=groups["successes2"], trials=groups["trials2"], level=level)
    d = one.estimate - two.estimate
    # 1e-13: a handful of operations on numbers below 1.
    assert (r.estimate - r.low) ** 2 == pytest.approx(
        (one.estimate - one.low) ** 2 + (two.high - two.estimate) ** 2, abs=1e-13
    )
    assert (r.high - r.estimate) ** 2 == pytest.approx(
        (one.high - one.estimate) ** 2 + (two.estimate - two.low) ** 2, abs=1e-13
    )
    assert -1 <= r.low <= d <= r.high <= 1


@given(two_groups())
def test_swapped_groups_give_the_negative(groups):
    r = difference_interval(**groups)
    s = difference_interval(
        successes1=groups["successes2"],
        trials1=groups["trials2"],
        successes2=groups["successes1"],
        trials2=groups["trials1"],
    )
    assert (s.estimate, s.low, s.high) == pytest.approx((-r.estimate, -r.high, -r.low), abs=1e-15)


@given(two_groups())
def test_statsmodels_agrees(groups):
    r = difference_interval(**groups)
    low, high = confint_proportions_2indep(
        groups["successes1"], groups["trials1"], groups["successes2"], groups["trials2"], method="newcomb"
    )
    # 1e-7: statsmodels' Wilson ends at 0 of n and n of n are off by a rounding, which its square root enlarges.
    assert (float(r.low), float(r.high)) == pytest.approx((low, high), abs=1e-7)


def test_landmarks():
    r = difference_interval(
        successes1=[0, 5, 5, 0, 0, 2],
        trials1=[5, 5, 5, 5, 0, 5],
        successes2=[0, 5, 0, 5, 1, 0],
        trials2=[5, 5, 5, 5, 3, 0],
    )
    assert r.estimate[:4].tolist() == [0.0, 0.0, 1.0, -1.0]
    assert (r.low[:2] < 0).all()
    assert (r.high[:2] > 0).all()
    assert r.high[2] == 1.0
    assert -1 < r.low[2] < 1
    assert r.low[3] == -1.0
    assert -1 < r.high[3] < 1
    for ends in (r.estimate, r.low, r.high):
        assert np.isnan(ends[4:]).all()


def test_coverage_is_near_the_level():
    """Exact coverage for 20 against 30 jobs; Newcombe 1998 reports a mean near 0.955 and a minimum near 0.87."""
    x1, x2 = (a.ravel() for a in np.meshgrid(np.arange(21), np.arange(31), indexing="ij"))
    r = difference_interval(successes1=x1, trials1=20, successes2=x2, trials2=30)
    covered = []
    for p1 in np.linspace(0.05, 0.95, 10):
        for p2 in np.linspace(0.05, 0.95, 10):
            held = (r.low <= p1 - p2) & (p1 - p2 <= r.high)
            covered.append(float((binom.pmf(x1, 20, p1) * binom.pmf(x2, 30, p2))[held].sum()))
    assert 0.94 <= np.mean(covered) <= 0.97
    assert min(covered) >= 0.85


def test_one_month_against_one_baseline_for_many():
    r = difference_interval(successes1=[3, 4, 5], trials1=[50, 60, 70], successes2=80, trials2=1000)
    assert r.low.shape == (3,)
    assert r.successes2.tolist() == [80, 80, 80]
