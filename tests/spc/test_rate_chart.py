"""c and u charts, and np: published example, defining equations, exact limits, landmarks, what is refused."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from rqa.spc import c_chart, np_chart, p_chart, u_chart

WAFERS = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))["c_chart_wafers"]


@st.composite
def exposures(draw):
    sizes = draw(st.lists(st.floats(0.5, 500) | st.just(0.0), min_size=1, max_size=20))
    return [draw(st.integers(0, 60)) if n else 0 for n in sizes], sizes


def test_wafers():
    """NIST/SEMATECH e-Handbook 6.3.3.1: data seen, limits from memory; wafer 3 with 28 is on the limit, not out."""
    chart = c_chart(WAFERS["count"])
    assert chart.centre.tolist() == [WAFERS["centre"]] * 25
    assert chart.upper.tolist() == [WAFERS["upper"]] * 25
    assert chart.lower.tolist() == [WAFERS["lower"]] * 25
    assert [s.index + 1 for s in chart.signals] == WAFERS["out"]
    assert chart.size.tolist() == [1.0] * 25
    assert chart.warnings == ()


@given(exposures())
def test_defining_equations(periods):
    count, size = periods
    chart = u_chart(count=count, size=size)
    if not sum(size):
        assert np.isnan(chart.centre).all()
        return
    rate = sum(count) / sum(size)
    for i, (x, n) in enumerate(zip(count, size, strict=True)):
        assert chart.centre[i] == pytest.approx(rate, rel=1e-13)
        if n == 0:
            assert np.isnan([chart.values[i], chart.sigma[i], chart.lower[i], chart.upper[i]]).all()
            continue
        sigma = (rate / n) ** 0.5
        assert chart.values[i] == x / n
        assert chart.upper[i] == pytest.approx(rate + 3 * sigma, rel=1e-13)
        assert chart.lower[i] == pytest.approx(max(0, rate - 3 * sigma), rel=1e-9, abs=1e-14)


def test_exact_limits_keep_their_promise():
    """Around a mean of 2.4 the chance beyond each limit is at most 0.00135, and would be more one count further in."""
    chart = c_chart([2, 3, 2, 3, 2], limits="exact")
    low, high = int(chart.lower[0]), int(chart.upper[0])
    assert chart.centre[0] == pytest.approx(2.4)
    assert low == 0
    assert poisson.sf(high, 2.4) <= 0.0013499 < poisson.sf(high - 1, 2.4)
    # The normal limit 7.05 lets 8 be a signal, with a chance of 0.0033 above.
    assert c_chart([2, 3, 2, 3, 2]).upper[0] < 8 <= high
    assert "Poisson" in chart.method


def test_exact_limits_by_size():
    sizes = [5.0, 50.0, 500.0, 0.0]
    chart = u_chart(count=[1, 12, 118, 0], size=sizes, limits="exact")
    rate = 131 / 555
    for i, n in enumerate(sizes[:3]):
        high, low = round(chart.upper[i] * n), round(chart.lower[i] * n)
        assert poisson.sf(high, rate * n) <= 0.0013499 < poisson.sf(high - 1, rate * n)
        assert poisson.cdf(low - 1, rate * n) <= 0.0013499 < poisson.cdf(low, rate * n)
    assert np.isnan([chart.lower[3], chart.upper[3]]).all()


def test_without_an_event():
    chart = c_chart([0, 0, 0, 1], baseline=slice(0, 3))
    assert chart.upper.tolist() == chart.lower.tolist() == [0.0] * 4
    assert [s.index for s in chart.signals] == [3]
    assert any("No event" in w for w in chart.warnings)
    exact = c_chart([0, 0, 0, 1], baseline=slice(0, 3), limits="exact")
    assert exact.upper.tolist() == [0.0] * 4
    assert [s.index for s in exact.signals] == [3]


def test_without_anything_observed():
    chart = u_chart(count=[0, 5], size=[0, 10], baseline=[True, False])
    assert np.isnan([*chart.centre, *chart.upper]).all()
    assert chart.signals == ()
    assert "Nothing was observed" in chart.warnings[-1]
    assert c_chart([]).values.tolist() == u_chart(count=[], size=[]).values.tolist() == []


def test_rare_events_are_told():
    assert any("normal limits mislead" in w for w in c_chart([1, 0, 2, 0, 1]).warnings)
    assert not any("normal limits mislead" in w for w in c_chart([1, 0, 2, 0, 1], limits="exact").warnings)


def test_heaps_are_told():
    heaps = c_chart([40, 90, 35, 120, 60, 20, 95, 30, 110, 45])
    assert any("Laney's u' chart" in w for w in heaps.warnings)


@given(st.lists(st.integers(0, 40), min_size=1, max_size=15))
def test_np_is_p_in_jobs(count):
    size = [40 + 7 * i for i in range(len(count))]
    share, number = p_chart(count=count, size=size), np_chart(count=count, size=size)
    assert number.values.tolist() == count
    for line in ("centre", "lower", "upper", "sigma"):
        assert getattr(number, line) == pytest.approx(getattr(share, line) * size, rel=1e-13, abs=1e-13)
    assert [(s.index, s.side) for s in number.signals] == [(s.index, s.side) for s in share.signals]
    assert number.warnings == share.warnings


def test_np_without_jobs():
    chart = np_chart(count=[3, 0, 5], size=[50, 0, 50])
    assert np.isnan([chart.values[1], chart.centre[1], chart.lower[1], chart.upper[1]]).all()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: c_chart([1.5]), r"count must be whole numbers: count\[0\] = 1.5"),
        (lambda: c_chart([1, np.nan]), "count must not be missing"),
        (lambda: c_chart([[1, 2]]), r"in one dimension: shape \(1, 2\)"),
        (lambda: c_chart([1], limits="t"), "limits must be one of normal, exact: 't'"),
        (lambda: u_chart(count=[1, 2], size=[1.0, 0.0]), "count must be 0 where size is 0: 2 at place 1"),
        (lambda: u_chart(count=[1, 2], size=[1.0, -1.0]), r"size must be at least 0: size\[1\] = -1"),
        (lambda: u_chart(count=[1, 2], size=[1.0, np.inf]), "size must be finite"),
        (lambda: u_chart(count=[1, 2], size=[1.0, np.nan]), "size must not be missing"),
        (lambda: u_chart(count=1, size=2), r"in one dimension: shape \(\)"),
        (lambda: np_chart(count=[3], size=[2]), "count must not be above size"),
    ],
)
def test_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
