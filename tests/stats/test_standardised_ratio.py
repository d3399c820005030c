"""Observed over expected: published limits, tail mass, coverage, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, poisson

from rqa.stats import standardised_ratio

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))
TABLE = PUBLISHED["poisson_limits"]
HALF = 0.5 * 10.0 ** -TABLE["decimals"]


@pytest.mark.parametrize("row", TABLE["rows"], ids=lambda r: str(r["observed"]))
def test_limits_of_a_count(row):
    """Garwood 1936 and Byar; standing in shared/comparison.toml."""
    exact = standardised_ratio(observed=row["observed"], expected=1)
    assert abs(exact.low - row["low"]) <= HALF
    assert abs(exact.high - row["high"]) <= HALF
    level = 1 - 2 * norm.sf(TABLE["z_byar"])
    byar = standardised_ratio(observed=row["observed"], expected=1, method="byar", level=level)
    assert abs(byar.low - row["byar_low"]) <= HALF
    assert abs(byar.high - row["byar_high"]) <= HALF


@given(st.integers(0, 10**6), st.floats(0.01, 1e6), st.floats(0.5, 0.999))
def test_exact_limits_cut_equal_tails(observed, expected, level):
    """P(X >= observed) at the low mean and P(X <= observed) at the high one are (1 - level) / 2."""
    r = standardised_ratio(observed=observed, expected=expected, level=level)
    tail = (1 - level) / 2
    # 1e-7: the limit is held to about 1e-15, and the tail moves by up to the count times that, relative to 5e-4.
    if observed:
        assert poisson.sf(observed - 1, float(r.low) * expected) == pytest.approx(tail, rel=1e-7)
    assert poisson.cdf(observed, float(r.high) * expected) == pytest.approx(tail, rel=1e-7)
    assert r.low <= r.estimate <= r.high
    assert float(r.estimate) == pytest.approx(observed / expected, rel=1e-15)


@given(st.integers(5, 10_000), st.floats(0.8, 0.99))
def test_byar_is_close_to_exact(observed, level):
    """Breslow and Day 1987: accurate even for small counts; a hundredth of the count is a wide margin for that."""
    exact, byar = (standardised_ratio(observed=observed, expected=1, method=m, level=level) for m in ("exact", "byar"))
    assert float(byar.low) == pytest.approx(float(exact.low), abs=0.01 * observed)
    assert float(byar.high) == pytest.approx(float(exact.high), abs=0.01 * observed)


@pytest.mark.parametrize("expected", [0.3, 2.0, 9.5, 60.0])
@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_exact_coverage_is_never_below_the_level(expected, ratio):
    """Summed over the Poisson distribution of the count, whose mass above 1,000 is nil here."""
    x = np.arange(1001)
    r = standardised_ratio(observed=x, expected=expected)
    held = (r.low <= ratio) & (ratio <= r.high)
    assert poisson.pmf(x, expected * ratio)[held].sum() >= 0.95


def test_landmarks():
    r = standardised_ratio(observed=[0, 3, 0], expected=[2.0, 0.0, 0.0])
    assert (r.estimate[0], r.low[0]) == (0.0, 0.0)
    assert float(r.high[0]) == pytest.approx(-np.log(0.025) / 2, rel=1e-13)
    assert np.isnan([r.estimate[1:], r.low[1:], r.high[1:]]).all()


def test_refuses_what_is_no_count_or_amount():
    with pytest.raises(ValueError, match=r"expected must be at least 0: expected\[1\] = -1"):
        standardised_ratio(observed=[1, 2], expected=[1, -1])
    with pytest.raises(ValueError, match="expected must be finite"):
        standardised_ratio(observed=1, expected=np.inf)
    with pytest.raises(ValueError, match="observed must be whole numbers"):
        standardised_ratio(observed=1.5, expected=1)
    with pytest.raises(ValueError, match=r"observed \(2,\), expected \(3,\)"):
        standardised_ratio(observed=[1, 2], expected=[1, 2, 3])
    with pytest.raises(ValueError, match="method must be one of exact, byar"):
        standardised_ratio(observed=1, expected=1, method="wald")
