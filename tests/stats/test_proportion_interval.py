"""The interval of one proportion: published values, defining equations, tail mass, landmarks, reference libraries."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta as beta_distribution
from scipy.stats import binom, binomtest, norm
from statsmodels.stats.proportion import proportion_confint

from rqa.stats import proportion_interval

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text("utf-8"))
METHODS = ("wilson", "clopper-pearson", "jeffreys")
STATSMODELS_NAME = {"wilson": "wilson", "clopper-pearson": "beta", "jeffreys": "jeffreys"}
GRID = [(x, n) for n in (1, 2, 7, 40, 1000) for x in sorted({0, 1, n // 3, n - 1, n})]


@st.composite
def counts(draw):
    n = draw(st.integers(1, 100_000))
    return draw(st.integers(0, n)), n


levels = st.floats(0.5, 0.999)


@pytest.mark.parametrize("row", PUBLISHED["newcombe_single"]["rows"], ids=str)
def test_newcombe_table(row):
    """Newcombe 1998, table I; standing of each row in shared/published.toml."""
    r = proportion_interval(successes=row["successes"], trials=row["trials"], method=row["method"])
    half = 0.5 * 10.0 ** -PUBLISHED["newcombe_single"]["decimals"]
    assert abs(r.low - row["low"]) <= half
    assert abs(r.high - row["high"]) <= half


@pytest.mark.parametrize("row", PUBLISHED["jeffreys_seven"]["rows"], ids=str)
def test_jeffreys_table(row):
    """Brown, Cai and DasGupta 2001, table 5 (from memory)."""
    r = proportion_interval(successes=row["successes"], trials=row["trials"], method="jeffreys")
    half = 0.5 * 10.0 ** -PUBLISHED["jeffreys_seven"]["decimals"]
    assert abs(r.low - row["low"]) <= half
    assert abs(r.high - row["high"]) <= half


@given(counts(), levels)
def test_wilson_limits_solve_its_equation(xn, level):
    """|p - t| = z sqrt(t (1 - t) / n) at both ends."""
    x, n = xn
    r = proportion_interval(successes=x, trials=n, level=level)
    z = norm.isf((1 - level) / 2)
    for t in (float(r.low), float(r.high)):
        # 1e-12: t is a double near 1 at worst, so t (1 - t) and with it the square root lose digits near the ends.
        assert abs((x / n - t) ** 2 - z**2 * t * (1 - t) / n) <= 1e-12 * max(1 / n, (x / n - t) ** 2) + 1e-15


@given(counts(), levels)
def test_clopper_pearson_tail_mass(xn, level):
    """At each limit the binomial tail that the counts cut off is (1 - level) / 2."""
    x, n = xn
    r = proportion_interval(successes=x, trials=n, method="clopper-pearson", level=level)
    tail = (1 - level) / 2
    # 1e-7: the limit is held to about 1e-15, and the tail moves by up to n times that, relative to a tail of 5e-4.
    if x > 0:
        assert binom.sf(x - 1, n, float(r.low)) == pytest.approx(tail, rel=1e-7)
    if x < n:
        assert binom.cdf(x, n, float(r.high)) == pytest.approx(tail, rel=1e-7)


@given(counts(), levels)
def test_jeffreys_tail_mass(xn, level):
    """Each limit cuts (1 - level) / 2 off the Beta(x + 1/2, n - x + 1/2) distribution."""
    x, n = xn
    r = proportion_interval(successes=x, trials=n, method="jeffreys", level=level)
    posterior = beta_distribution(x + 0.5, n - x + 0.5)
    tail = (1 - level) / 2
    if x > 0:
        assert posterior.cdf(float(r.low)) == pytest.approx(tail, rel=1e-7)
    if x < n:
        assert posterior.sf(float(r.high)) == pytest.approx(tail, rel=1e-7)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("x", "n"), GRID)
def test_statsmodels_agrees(method, x, n):
    r = proportion_interval(successes=x, trials=n, method=method, level=0.9)
    low, high = proportion_confint(x, n, alpha=0.1, method=STATSMODELS_NAME[method])
    # statsmodels leaves Jeffreys' posterior quantile at the empty end, and Wilson's end at its rounding.
    low = 0.0 if x == 0 else low
    high = 1.0 if x == n else high
    assert (float(r.low), float(r.high)) == pytest.approx((low, high), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize(("method", "scipy_name"), [("wilson", "wilson"), ("clopper-pearson", "exact")])
@pytest.mark.parametrize(("x", "n"), GRID)
def test_scipy_agrees(method, scipy_name, x, n):
    r = proportion_interval(successes=x, trials=n, method=method)
    expected = binomtest(x, n).proportion_ci(method=scipy_name)
    assert (float(r.low), float(r.high)) == pytest.approx((expected.low, expected.high), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize("method", METHODS)
def test_landmarks(method):
    r = proportion_interval(successes=[0, 12, 0], trials=[12, 12, 0], method=method)
    assert r.estimate[:2].tolist() == [0.0, 1.0]
    assert r.low[0] == 0.0
    assert 0.0 < r.high[0] < 1.0
    assert 0.0 < r.low[1] < 1.0
    assert r.high[1] == 1.0
    assert np.isnan([r.estimate[2], r.low[2], r.high[2]]).all()


def test_clopper_pearson_at_none_of_n():
    """0 of n: (1 - high)^n = (1 - level) / 2, solved in closed form."""
    r = proportion_interval(successes=0, trials=20, method="clopper-pearson")
    assert float(r.high) == pytest.approx(1 - 0.025 ** (1 / 20), rel=1e-12)


@pytest.mark.parametrize("method", METHODS)
@given(counts())
def test_holds_the_estimate_within_the_unit_range(method, xn):
    x, n = xn
    r = proportion_interval(successes=x, trials=n, method=method)
    assert 0 <= r.low <= r.estimate <= r.high <= 1


@pytest.mark.parametrize("method", METHODS)
@given(counts())
def test_mirrored_counts_give_mirrored_limits(method, xn):
    x, n = xn
    r = proportion_interval(successes=[x, n - x], trials=n, method=method)
    assert r.low[0] == pytest.approx(1 - r.high[1], abs=1e-15)


@pytest.mark.parametrize("method", METHODS)
def test_more_successes_higher_limits_and_higher_level_wider(method):
    r = proportion_interval(successes=np.arange(51), trials=50, method=method)
    assert (np.diff(r.low) > 0).all()
    assert (np.diff(r.high)[:-1] > 0).all()
    wide = proportion_interval(successes=np.arange(51), trials=50, method=method, level=0.99)
    assert (wide.low <= r.low).all()
    assert (wide.high >= r.high).all()


def test_small_share_of_very_many_keeps_its_digits():
    """3 of 10^12: Wilson's ends are (3 + z^2/2 -/+ z sqrt(3 + z^2/4)) / 10^12 to 12 digits, as 1/n vanishes."""
    r = proportion_interval(successes=3, trials=10**12)
    z = norm.isf(0.025)
    assert float(r.low) == pytest.approx((3 + z**2 / 2 - z * np.sqrt(3 + z**2 / 4)) / 1e12, rel=1e-10)


def _coverage(method, n, chance):
    x = np.arange(n + 1)
    r = proportion_interval(successes=x, trials=n, method=method)
    held = (r.low <= chance) & (chance <= r.high)
    return float(binom.pmf(x, n, chance)[held].sum())


@pytest.mark.parametrize("n", [5, 20, 60])
def test_coverage_is_as_promised(n):
    """Exact coverage over a grid of true shares: guaranteed by Clopper-Pearson, near the level by Wilson's mean."""
    grid = np.linspace(0.005, 0.995, 100)
    guaranteed = [_coverage("clopper-pearson", n, p) for p in grid]
    assert min(guaranteed) >= 0.95
    # 0.94 to 0.97: the range Brown, Cai and DasGupta 2001 report for Wilson's mean coverage at small n.
    assert 0.94 <= np.mean([_coverage("wilson", n, p) for p in grid]) <= 0.97


@pytest.mark.parametrize("kind", [list, tuple, np.array, pd.Series, pl.Series], ids=lambda k: k.__module__)
def test_accepts_array_likes(kind):
    r = proportion_interval(successes=kind([1, 2, 3]), trials=kind([10, 10, 10]))
    assert isinstance(r.low, np.ndarray)
    assert r.low.dtype == np.float64
    assert r.low.tolist() == [float(proportion_interval(successes=x, trials=10).low) for x in (1, 2, 3)]


def test_result_echoes_inputs_and_is_frozen():
    given_counts = np.array([[1, 2], [3, 4]])
    r = proportion_interval(successes=given_counts, trials=9, method="jeffreys", level=0.8)
    assert r.successes.tolist() == [[1, 2], [3, 4]]
    assert r.trials.tolist() == [[9, 9], [9, 9]]
    assert (r.method, r.level, r.low.shape) == ("jeffreys", 0.8, (2, 2))
    with pytest.raises(ValueError, match="read-only"):
        r.low[0, 0] = 0.0
    with pytest.raises(AttributeError):
        r.level = 0.5
    given_counts[0, 0] = 7
    assert r.successes[0, 0] == 1


def test_one_number_gives_arrays_without_dimension():
    r = proportion_interval(successes=3, trials=10)
    assert r.low.shape == ()
    assert float(r.estimate) == 0.3


def test_no_counts_give_no_limits():
    assert proportion_interval(successes=[], trials=[]).low.tolist() == []


def test_unknown_method_says_what_exists():
    with pytest.raises(ValueError, match=r"method must be one of wilson, clopper-pearson, jeffreys: 'wald'"):
        proportion_interval(successes=1, trials=2, method="wald")
