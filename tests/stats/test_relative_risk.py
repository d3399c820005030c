"""A ratio of two shares: published limits, a search of its own, another library, coverage, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import binom, norm
from scipy.stats.contingency import relative_risk as scipy_relative_risk

from rqa.stats import relative_risk
from tests.examples import examples

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))[
    "ratio_of_shares"
]
NAMES = ("exposed_events", "exposed_total", "unexposed_events", "unexposed_total")


def ask(x1, n1, x2, n2, **more):
    return relative_risk(exposed_events=x1, exposed_total=n1, unexposed_events=x2, unexposed_total=n2, **more)


@st.composite
def tables(draw, least=0):
    n1, n2 = draw(st.integers(1, 400)), draw(st.integers(1, 400))
    return draw(st.integers(min(least, n1), n1)), n1, draw(st.integers(min(least, n2), n2)), n2


@pytest.mark.parametrize("method", ["katz", "score"])
def test_seven_against_one(method):
    """Fagerland, Lydersen and Laake (seen)."""
    half = 0.5 * 10.0 ** -EXAMPLE["decimals"]
    r = relative_risk(**{name: EXAMPLE[name] for name in NAMES}, method=method)
    assert float(r.estimate) == EXAMPLE["ratio"]
    assert abs(r.low - EXAMPLE[method][0]) <= half
    assert abs(r.high - EXAMPLE[method][1]) <= half


@given(tables(least=1), st.floats(0.5, 0.999))
def test_katz_agrees_with_scipy(counts, level):
    x1, n1, x2, n2 = counts
    if x1 == n1 and x2 == n2:
        return
    r = ask(*counts, level=level)
    expected = scipy_relative_risk(x1, n1, x2, n2)
    interval = expected.confidence_interval(level)
    assert (float(r.estimate), float(r.low), float(r.high)) == pytest.approx(
        (expected.relative_risk, interval.low, interval.high), rel=1e-9
    )


def pearson(x1, n1, x2, n2, ratio):
    """Koopman's statistic: Pearson's, at the likeliest shares of that ratio, found as the root of a quadratic."""
    p2 = min(np.roots([(n1 + n2) * ratio, -(ratio * (n1 + x2) + x1 + n2), x1 + x2]).real.min(), 1.0, 1.0 / ratio)
    total = 0.0
    for x, n, p in ((x1, n1, ratio * p2), (x2, n2, p2)):
        if 1e-12 < p < 1 - 1e-12:
            total += (x - n * p) ** 2 / (n * p * (1 - p))
    return total


@given(tables(least=1), st.sampled_from([0.8, 0.95, 0.998]))
def test_score_limits_by_search(counts, level):
    x1, n1, x2, n2 = counts
    r = ask(*counts, method="score", level=level)
    z2, at = norm.isf((1 - level) / 2) ** 2, np.log(x1 * n2 / n1 / x2)
    for end, span in ((r.low, (at - 15, at)), (r.high, (at, at + 15))):
        expected = np.exp(brentq(lambda log: pearson(*counts, np.exp(log)) - z2, *span, xtol=1e-13))
        # 1e-5: the quadratic's root loses digits where a share is all but 1.
        assert float(end) == pytest.approx(expected, rel=1e-5)


@settings(max_examples=examples(40))
@given(tables())
def test_holds_the_estimate_and_swapping_inverts(counts):
    for method in ("katz", "score"):
        r, s = ask(*counts, method=method), ask(*counts[2:], *counts[:2], method=method)
        if counts[0] == counts[2] == 0:
            assert np.isnan(r.estimate)
            assert (r.low, r.high) == (0, np.inf)
            continue
        assert r.low <= r.estimate * (1 + 1e-12)
        assert r.estimate <= r.high * (1 + 1e-12)
        inverse = np.inf if s.high == 0 else 1 / s.high
        assert float(r.low) == pytest.approx(float(inverse) if np.isfinite(s.high) else 0.0, rel=1e-9)


def test_landmarks():
    r = ask([0, 5, 0, 34, 0, 3], 34, [5, 0, 0, 34, 34, 0], [34, 34, 34, 34, 34, 0])
    assert r.estimate[[0, 1, 3, 4]].tolist() == [0.0, np.inf, 1.0, 0.0]
    assert (r.low[0], r.high[1]) == (0.0, np.inf)
    assert 0 < r.high[0] < 1.5
    assert 0.7 < r.low[1] < np.inf
    assert (np.isnan(r.estimate[2]), r.low[2], r.high[2]) == (True, 0.0, np.inf)
    assert r.low[3] < 0.95
    assert r.high[3] > 1.05
    assert np.isnan([r.estimate[5], r.low[5], r.high[5]]).all()


@pytest.mark.parametrize(("p1", "p2"), [(0.1, 0.05), (0.3, 0.3), (0.02, 0.08)])
def test_score_coverage(p1, p2):
    """Exact coverage over all tables of 60 and 80: near 95 %, as Koopman 1984 reports; Katz' is no nearer."""
    x1, x2 = np.arange(61)[:, np.newaxis], np.arange(81)
    chance = binom.pmf(x1, 60, p1) * binom.pmf(x2, 80, p2)
    a, b = (array.ravel() for array in np.broadcast_arrays(x1, x2))
    r = ask(a, 60, b, 80, method="score")
    held = (r.low <= p1 / p2) & (p1 / p2 <= r.high)
    assert 0.935 <= chance.ravel()[held].sum() <= 0.98


def test_refusals():
    with pytest.raises(ValueError, match="exposed_events must not be above exposed_total"):
        ask(5, 3, 1, 2)
    with pytest.raises(ValueError, match="method must be one of katz, score"):
        ask(1, 3, 1, 2, method="wald")
    with pytest.raises(ValueError, match="must be of one shape"):
        ask([1, 2], 3, [1, 2, 3], 4)
