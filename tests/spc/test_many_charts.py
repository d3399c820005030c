"""Thousands of charts in one call: each equals the chart made alone, and rules take them all at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import Chart, p_chart, p_charts, signal_masks, u_chart, u_charts, western_electric
from rqa.spc.rules import WESTERN_ELECTRIC

LINES = ("values", "centre", "lower", "upper", "sigma")


@st.composite
def tables(draw):
    """Counts, sizes, and how the limits are to be made, the same for all charts or by chart."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    charts, periods = draw(st.integers(1, 5)), draw(st.integers(2, 14))
    size = rng.integers(0, draw(st.sampled_from([3, 60, 5_000])), (charts, periods)) * rng.integers(
        0, 2, (charts, 1) if draw(st.booleans()) else (charts, periods)
    )
    count = rng.binomial(size, draw(st.sampled_from([0.0, 0.02, 0.3, 1.0])))
    split = draw(st.integers(1, periods - 1))
    how = draw(st.sampled_from([{}, {"baseline": slice(0, split)}, {"stages": [split]}, {"limits": "exact"}]))
    return count, size, how


@pytest.mark.parametrize(("many", "single"), [(p_charts, p_chart), (u_charts, u_chart)], ids=["p", "u"])
@given(tables())
def test_each_row_is_the_chart_made_alone(many, single, table):
    count, size, how = table
    charts = many(count=count, size=size, **how)
    for i in range(len(count)):
        alone = single(count=count[i], size=size[i], **how)
        for line in LINES:
            np.testing.assert_array_equal(getattr(charts, line)[i], getattr(alone, line))
        assert np.flatnonzero(charts.above[i]).tolist() == [s.index for s in alone.signals if s.side == "above"]
        assert np.flatnonzero(charts.below[i]).tolist() == [s.index for s in alone.signals if s.side == "below"]


def test_a_baseline_by_chart():
    count = np.array([[5, 6, 40, 7], [30, 28, 31, 2]])
    mask = np.array([[True, True, False, True], [True, True, True, False]])
    charts = p_charts(count=count, size=100, baseline=mask)
    for i in range(2):
        np.testing.assert_array_equal(charts.upper[i], p_chart(count=count[i], size=100, baseline=mask[i]).upper)
    assert charts.out.tolist() == [[False, False, True, False], [False, False, False, True]]
    assert np.flatnonzero(charts.below[1]).tolist() == [3]


def test_other_rules_take_them_all():
    rng = np.random.default_rng(1)
    count = rng.binomial(300, 0.2, (200, 36))
    charts = p_charts(count=count, size=300)
    masks = signal_masks(charts, WESTERN_ELECTRIC)
    for i in (0, 7, 199):
        expected = {(s.index, s.rule, s.side) for s in western_electric(p_chart(count=count[i], size=np.full(36, 300)))}
        found = {
            (int(j), rule, side)
            for rule, by_side in masks.items()
            for side, mask in by_side.items()
            for j in np.flatnonzero(mask[i])
        }
        assert found == expected


def test_ten_thousand_steady_charts():
    """360,000 points of 10 % of 400: out as often as the binomial beyond the limits says, 0.27 % within its error.

    The centre is estimated from 36 periods, which moves the chance little; 0.0035 leaves room for the jumps of counts.
    """
    count = np.random.default_rng(2).binomial(400, 0.1, (10_000, 36))
    charts = p_charts(count=count, size=400)
    assert isinstance(charts, Chart)
    assert charts.values.shape == charts.upper.shape == charts.out.shape == (10_000, 36)
    assert 0.0018 < charts.out.mean() < 0.0035


def test_frozen():
    charts = p_charts(count=[[1, 2]], size=[[10, 10]])
    for line in (*LINES, "count", "size", "above", "below", "baseline"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(charts, line)[0] = 0


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"count": [1, 2], "size": 10}, r"count must be of shape \(charts, periods\): shape \(2,\)"),
        ({"count": [[1, 2]], "size": [[10]]}, "count and size must be of one shape"),
        ({"count": [[1, 2]], "size": 10, "baseline": [[True, False], [True, True]]}, r"bool of shape \(2, 2\)"),
        ({"count": [[1, 2]], "size": 10, "limits": "z"}, "limits must be one of normal, exact"),
        ({"count": [[1, 2]], "size": 10, "stages": [2]}, "stages must name points from 0 to 1: 2"),
    ],
)
@pytest.mark.parametrize("many", [p_charts, u_charts])
def test_refused(many, asked, message):
    with pytest.raises(ValueError, match=message):
        many(**asked)
