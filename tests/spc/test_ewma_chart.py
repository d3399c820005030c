"""The EWMA chart: published examples, the defining sum, landmarks, what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import ewma_chart, individuals_chart
from tests.published_runs import RUNS, half

NIST, TEXTBOOK = RUNS["ewma_nist"], RUNS["ewma_textbook"]
MEASURED = st.one_of(st.just(np.nan), st.floats(-1e3, 1e3))


def test_nist():
    """NIST/SEMATECH e-Handbook 6.3.2.4, values seen; the printed lower limit is truncated, as the note says."""
    chart = ewma_chart(NIST["values"], weight=0.3, width=3, target=50, sigma=NIST["sigma"], limits="asymptotic")
    assert np.abs(chart.values - NIST["ewma"]).max() <= half(NIST["ewma_decimals"])
    assert np.abs(chart.upper - NIST["upper"]).max() <= half(NIST["limit_decimals"])
    assert np.abs(chart.lower - NIST["lower_rounded"]).max() <= half(NIST["limit_decimals"])
    # The second way: truncating to the printed decimals gives the printed limit, as does the page's rounded factor.
    assert np.floor(chart.lower[0] * 1e4) / 1e4 == NIST["lower_printed"]
    assert round(50 - 3 * 0.4201 * NIST["sigma"], 4) == NIST["lower_printed"]
    assert chart.signals == ()


def test_textbook():
    """From memory: the averages, the first and the settled limits."""
    values = RUNS["cusum_textbook"]["values"]
    chart = ewma_chart(values, weight=TEXTBOOK["weight"], width=TEXTBOOK["width"], target=10, sigma=1)
    assert np.abs(chart.values[:10] - TEXTBOOK["ewma"]).max() <= half(TEXTBOOK["decimals"])
    for place, limits in ((0, TEXTBOOK["first_limits"]), (-1, TEXTBOOK["settled_limits"])):
        drawn = np.array([chart.lower[place], chart.upper[place]])
        assert np.abs(drawn - limits).max() <= half(TEXTBOOK["limit_decimals"])
    assert [s.index + 1 for s in chart.signals] == TEXTBOOK["out"]


@given(st.lists(MEASURED, max_size=30), st.floats(0.01, 1), st.sampled_from(["exact", "asymptotic"]))
def test_defining_sum(x, weight, limits):
    """Each average written out as a weighted sum of the values there are, its variance from the squared weights."""
    chart = ewma_chart(x, weight=weight, width=2.5, target=7.0, sigma=3.0, limits=limits)
    there = []
    for i, value in enumerate(x):
        if np.isnan(value):
            assert np.isnan([chart.values[i], chart.lower[i], chart.upper[i], chart.sigma[i]]).all()
            continue
        there.append(value)
        shares = weight * (1 - weight) ** np.arange(len(there))[::-1]
        assert chart.values[i] == pytest.approx(shares @ there + (1 - weight) ** len(there) * 7.0, rel=1e-9, abs=1e-9)
        variance = (shares**2).sum() if limits == "exact" else weight / (2 - weight)
        assert chart.sigma[i] == pytest.approx(3.0 * variance**0.5, rel=1e-9)
        assert chart.upper[i] - 7.0 == pytest.approx(2.5 * chart.sigma[i], rel=1e-9)
        assert 7.0 - chart.lower[i] == pytest.approx(2.5 * chart.sigma[i], rel=1e-9)
    beyond = np.abs(chart.values - 7.0) - (chart.upper - 7.0)
    called = np.isin(np.arange(len(x)), [s.index for s in chart.signals])
    # A value that is on its limit on paper may lie on either side of it in its last bits.
    clear = np.abs(beyond) > 1e-6
    assert (called == (beyond > 0))[clear].all()


def test_weight_one_is_a_chart_of_single_values():
    values = [3.0, 5.0, 4.0, 6.0, 4.5, 30.0]
    ewma, single = ewma_chart(values, weight=1, width=3), individuals_chart(values)
    for name in ("values", "centre", "lower", "upper", "sigma"):
        np.testing.assert_allclose(getattr(ewma, name), getattr(single, name), rtol=1e-13)
    assert [s.index for s in ewma.signals] == [s.index for s in single.signals]


def test_target_and_sigma_come_from_the_baseline():
    chart = ewma_chart([9, 11, 9, 11, np.nan, 30, 30], weight=0.2, width=3, baseline=slice(0, 5))
    assert chart.target == 10.0
    assert chart.sigma_observed == pytest.approx(2.0 * np.sqrt(np.pi) / 2, rel=1e-14)
    assert [s.index for s in chart.signals] == [5, 6]
    assert len(chart.warnings) == 1
    assert "rest on 4 points" in chart.warnings[0]
    assert ewma_chart([9.0], weight=0.2, width=3, target=10, sigma=1).warnings == ()


def test_landmarks():
    assert ewma_chart([], weight=0.2, width=3, target=0, sigma=1).values.tolist() == []
    flat = ewma_chart([5, 5, 5.001], weight=0.2, width=3, target=5, sigma=0)
    assert [(s.index, s.side) for s in flat.signals] == [(2, "above")]
    gap = ewma_chart([12, np.nan, 12], weight=0.5, width=3, target=10, sigma=1)
    assert gap.values[[0, 2]].tolist() == [11.0, 11.5]
    assert gap.observed[0] == 12.0


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"weight": 0}, "weight must be above 0 and at most 1: 0"),
        ({"weight": 1.01}, "weight must be above 0 and at most 1: 1.01"),
        ({"width": 0}, "width must be above 0 and finite: 0"),
        ({"width": np.inf}, "width must be above 0 and finite"),
        ({"sigma": -1}, "sigma must be at least 0 and finite: -1"),
        ({"sigma": np.nan}, "sigma must be at least 0 and finite: nan"),
        ({"target": np.inf}, "target must be finite: inf"),
        ({"limits": "usual"}, "limits must be one of exact, asymptotic: 'usual'"),
        ({"values": [1, np.inf]}, r"values must be finite, or NaN .*values\[1\]"),
        ({"values": [[1]]}, r"values must be one number a period, in one dimension: shape \(1, 1\)"),
        ({"values": [1.0], "sigma": None}, "sigma must be given, as the baseline holds no two values in a row"),
        ({"values": [np.nan], "target": None}, "target must be given, as the baseline holds no value"),
    ],
)
def test_refused(asked, message):
    usual = {"values": [1.0, 2.0], "weight": 0.2, "width": 3, "target": 0.0, "sigma": 1.0}
    with pytest.raises(ValueError, match=message):
        ewma_chart(**{**usual, **asked})
