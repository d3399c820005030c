"""Limits from the distribution of the count: their promise, by an independent library, and where they end."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, geom, norm, poisson

from rqa.spc import g_chart, p_chart, probability_limits

TAIL = norm.sf(3)


@given(st.integers(1, 100_000), st.floats(0, 1))
def test_binomial(n, p):
    """The lowest and highest count with at most TAIL beyond; by scipy.stats, which counts by other routines.

    A chance within 1e-9 of TAIL may fall on either side of it, by routine.
    """
    low, high = probability_limits.binomial(np.array([float(n)]), np.array([p]))
    assert binom.cdf(low[0] - 1, n, p) <= TAIL * (1 + 1e-9)
    assert binom.cdf(low[0], n, p) >= TAIL * (1 - 1e-9)
    assert binom.sf(high[0], n, p) <= TAIL * (1 + 1e-9)
    assert high[0] == 0 or binom.sf(high[0] - 1, n, p) >= TAIL * (1 - 1e-9)


@given(st.floats(0, 1e5))
def test_poisson(mean):
    low, high = probability_limits.poisson(np.array([mean]))
    assert poisson.cdf(low[0] - 1, mean) <= TAIL * (1 + 1e-9)
    assert poisson.cdf(low[0], mean) >= TAIL * (1 - 1e-9)
    assert poisson.sf(high[0], mean) <= TAIL * (1 + 1e-9)
    assert high[0] == 0 or poisson.sf(high[0] - 1, mean) >= TAIL * (1 - 1e-9)


@given(st.floats(1e-3, 1e5))
def test_geometric(mean):
    low, high = probability_limits.geometric(np.array([mean]))
    p = 1 / (1 + mean)
    # scipy.stats counts the event itself, so a gap of g is its g + 1.
    assert geom.cdf(low[0], p) <= TAIL * (1 + 1e-9)
    assert geom.cdf(low[0] + 1, p) >= TAIL * (1 - 1e-9)
    assert geom.sf(high[0] + 1, p) <= TAIL * (1 + 1e-9)
    assert high[0] == 0 or geom.sf(high[0], p) >= TAIL * (1 - 1e-9)


def test_where_there_is_no_chance():
    low, high = probability_limits.binomial(np.array([9.0, 9.0, np.nan]), np.array([0.0, 1.0, 0.3]))
    assert low[:2].tolist() == high[:2].tolist() == [0.0, 9.0]
    assert np.isnan([low[2], high[2]]).all()
    assert [line.tolist() for line in probability_limits.geometric(np.array([0.0]))] == [[0.0], [0.0]]
    assert [line.tolist() for line in probability_limits.poisson(np.array([0.0]))] == [[0.0], [0.0]]


@pytest.mark.parametrize("size", [20, 60, 200])
def test_p_chart_with_exact_limits_is_called_out_no_more_than_promised(size):
    """A steady 4 %: the exact chance of being out, over every count, is at most 0.0027; normal limits break that."""
    x = np.arange(size + 1)
    count, baseline = np.append(x, size * 4 // 100), np.append(np.zeros(size + 1, bool), True)
    jobs = np.full(size + 2, size)
    if size == 20:  # 4 % of 20 is no whole count: the baseline is 4 of 100 in its own point
        count[-1], jobs[-1] = 4, 100
    share = count[-1] / jobs[-1]
    chances = {}
    for limits in ("normal", "exact"):
        chart = p_chart(count=count, size=jobs, limits=limits, baseline=baseline)
        chances[limits] = binom.pmf([s.index for s in chart.signals], size, share).sum()
    assert chances["exact"] <= 2 * TAIL < chances["normal"]


def test_g_chart_of_very_rare_events_has_a_lower_limit():
    """One in 2,001 jobs: a gap below 2000 x 0.00135, that is 2, has a chance of at most 0.00135."""
    chart = g_chart([1500, 2500, 2000, 1], limits="exact", baseline=slice(0, 3))
    assert chart.lower[0] == 2.0
    assert [(s.index, s.side) for s in chart.signals] == [(3, "below")]
