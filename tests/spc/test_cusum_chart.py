"""The tabular CUSUM: published examples, a plain loop from the definition, landmarks, what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import beyond_limits, cusum_chart
from tests.published_runs import RUNS, half

MEASURED = st.one_of(st.just(np.nan), st.floats(-4, 6).map(lambda x: round(x, 6)))


def by_hand(x, k, h, start, restart):
    """One arm, point by point: the sums, where they are out, and where each climb began."""
    sums, out, begun = [], [], []
    level, first = start, 0
    for i, value in enumerate(x):
        if np.isnan(value):
            sums.append(np.nan)
            out.append(False)
            begun.append(None)
        else:
            level = max(0.0, level + value - k)
            sums.append(level)
            out.append(level > h + 1e-9)
            begun.append(first)
        if level == 0.0 or (restart and out[-1]):
            first = i + 1
        if restart and out[-1]:
            level = start
    return sums, out, begun


@pytest.mark.parametrize("block", ["cusum_nist", "cusum_textbook"])
def test_published(block):
    """From memory; see the notes beside the values."""
    given_ = RUNS[block]
    chart = cusum_chart(given_["values"], target=given_["target"], sigma=1, k=given_["k"], h=given_["h"])
    assert np.abs(chart.high - given_["high"]).max() <= half(given_["decimals"])
    assert np.abs(chart.low - given_["low"]).max() <= half(given_["decimals"])
    assert [(s.index + 1, s.side) for s in chart.signals] == [(i, "above") for i in given_["out"]]
    assert chart.limit == given_["h"]


def test_a_signal_names_the_points_since_its_sum_was_last_zero():
    given_ = RUNS["cusum_textbook"]
    chart = cusum_chart(given_["values"], target=10, sigma=1, k=0.5, h=5)
    assert chart.signals[0].points == tuple(range(given_["begun"] - 1, 29))


@given(
    st.lists(MEASURED, max_size=60), st.sampled_from([0.0, 0.5, 1.0]), st.sampled_from([0.0, 1.0, 1.5]), st.booleans()
)
def test_definition(x, k, headstart, restart):
    target, sigma, h = 1.0, 2.0, 2.0
    chart = cusum_chart(x, target=target, sigma=sigma, k=k, h=h, headstart=headstart, restart=restart)
    signals = []
    for arm, sign, side in ((chart.high, 1, "above"), (chart.low, -1, "below")):
        steps = [sign * (value - target) for value in x]
        sums, out, begun = by_hand(steps, k * sigma, h * sigma, headstart * sigma, restart)
        # Sums of a few dozen values of size 10 in another order.
        np.testing.assert_allclose(arm, sums, atol=1e-12)
        signals += [(i, side, tuple(range(begun[i], i + 1))) for i in np.flatnonzero(out)]
    assert [(s.index, s.side, s.points) for s in chart.signals] == sorted(signals, key=lambda s: s[0])


@given(st.lists(MEASURED, max_size=60), st.booleans())
def test_the_limits_on_the_values_tell_the_same(x, restart):
    """A value is beyond `lower` or `upper` exactly where an arm's sum is beyond its limit."""
    chart = cusum_chart(x, target=1.0, sigma=1.5, k=0.5, h=2.0, headstart=1.0, restart=restart)
    assert [(s.index, s.side) for s in beyond_limits(chart)] == [(s.index, s.side) for s in chart.signals]


def test_many_restarts():
    """Restarts before, at and after the ends of the stretches in which sums are taken."""
    random = np.random.default_rng(8)
    for rate in (0.02, 0.3, 1.0):
        x = random.normal(rate, 1, 3000)
        chart = cusum_chart(x, target=0, sigma=1, k=0.1, h=4, headstart=2, restart=True)
        sums, out, _ = by_hand(x, 0.1, 4, 2, True)
        np.testing.assert_allclose(chart.high, sums, atol=1e-9)
        assert [s.index for s in chart.signals if s.side == "above"] == np.flatnonzero(out).tolist()
        assert sum(out) > 50


def test_landmarks():
    empty = cusum_chart([], target=0, sigma=1, k=0.5, h=4)
    assert empty.high.tolist() == empty.low.tolist() == []
    on = cusum_chart([2.5, 2.5, 0.6], target=0, sigma=1, k=0.5, h=4)
    assert on.high.tolist() == pytest.approx([2.0, 4.0, 4.1])
    assert [s.index for s in on.signals] == [2]
    gap = cusum_chart([2.5, np.nan, 2.0], target=0, sigma=1, k=0.5, h=4, headstart=1)
    assert np.isnan([gap.high[1], gap.low[1], gap.upper[1], gap.lower[1], gap.sigma[1]]).all()
    assert gap.high[[0, 2]].tolist() == [3.0, 4.5]
    assert gap.headstart == 1.0


def test_units():
    """Sums are in the units of the values, k, h and headstart in sigma."""
    plain = cusum_chart([1.0, 2.0, -3.0], target=0, sigma=1, k=0.5, h=4, headstart=1)
    scaled = cusum_chart([110.0, 120.0, 70.0], target=100, sigma=10, k=0.5, h=4, headstart=1)
    np.testing.assert_allclose(scaled.high, 10 * plain.high)
    np.testing.assert_allclose(scaled.low, 10 * plain.low)
    np.testing.assert_allclose(scaled.upper, 100 + 10 * plain.upper)
    assert (scaled.limit, scaled.headstart) == (40.0, 10.0)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"sigma": 0}, "sigma must be above 0 and finite: 0"),
        ({"k": -0.5}, "k must be at least 0 and finite: -0.5"),
        ({"h": 0}, "h must be above 0 and finite: 0"),
        ({"headstart": 4}, "headstart must be at least 0 and below h = 4: 4"),
        ({"headstart": -1}, "headstart must be at least 0 and below h = 4: -1"),
        ({"target": np.nan}, "target must be finite: nan"),
        ({"values": [[1.0]]}, r"values must be one number a period, in one dimension: shape \(1, 1\)"),
        ({"values": [np.inf]}, r"values must be finite, or NaN"),
    ],
)
def test_refused(asked, message):
    usual = {"values": [1.0], "target": 0.0, "sigma": 1.0, "k": 0.5, "h": 4.0}
    with pytest.raises(ValueError, match=message):
        cusum_chart(**{**usual, **asked})
