"""The p chart: published examples, the defining equations, landmarks, baselines, what is refused."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from rqa.spc import Signal, p_chart

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text("utf-8"))
WAFERS = PUBLISHED["p_chart_wafers"]
MOTORS = PUBLISHED["p_chart_motors"]


@st.composite
def periods(draw):
    sizes = draw(st.lists(st.integers(0, 3_000), min_size=1, max_size=24))
    return [draw(st.integers(0, n)) for n in sizes], sizes


def test_wafers():
    """NIST/SEMATECH e-Handbook 6.3.3.2: data and mean seen, limits and the samples out from memory."""
    count = [round(p * WAFERS["size"]) for p in WAFERS["fraction"]]
    chart = p_chart(count=count, size=WAFERS["size"])
    half = 0.5 * 10.0 ** -WAFERS["decimals"]
    assert chart.values.tolist() == pytest.approx(WAFERS["fraction"], abs=1e-12)
    assert np.abs(chart.centre - WAFERS["centre"]).max() <= half
    assert np.abs(chart.upper - WAFERS["upper"]).max() <= half
    assert np.abs(chart.lower - WAFERS["lower"]).max() <= half
    assert chart.centre[0] == pytest.approx(347 / 1500, rel=1e-14)
    assert [signal.index + 1 for signal in chart.signals] == WAFERS["out"]
    assert {signal.side for signal in chart.signals} == {"above"}


def test_motors_of_varying_size():
    """NIST data file CCP.DAT: data seen, expected values recomputed."""
    chart = p_chart(count=MOTORS["defective"], size=MOTORS["inspected"])
    assert chart.centre[0] == pytest.approx(465 / 4678, rel=1e-14)
    assert abs(chart.centre[0] - MOTORS["centre"]) <= 0.5e-7
    assert abs(chart.upper[13] - MOTORS["upper_of_14"]) <= 0.5e-4
    assert chart.lower[16] == MOTORS["lower_of_17"]
    assert [signal.index + 1 for signal in chart.signals] == MOTORS["out"]


@given(periods())
def test_defining_equations(given_periods):
    count, size = given_periods
    chart = p_chart(count=count, size=size)
    if sum(size) == 0:
        assert np.isnan(chart.centre).all()
        assert chart.signals == ()
        return
    p = sum(count) / sum(size)
    out = []
    for i, (x, n) in enumerate(zip(count, size, strict=True)):
        assert chart.centre[i] == pytest.approx(p, rel=1e-14)
        if n == 0:
            assert np.isnan([chart.values[i], chart.lower[i], chart.upper[i], chart.sigma[i]]).all()
            continue
        sigma = (p * (1 - p) / n) ** 0.5
        assert chart.sigma[i] == pytest.approx(sigma, rel=1e-13)
        assert chart.upper[i] == pytest.approx(min(1, p + 3 * sigma), rel=1e-13)
        assert chart.lower[i] == pytest.approx(max(0, p - 3 * sigma), rel=1e-10, abs=1e-15)
        # In whole numbers, so that a point on its limit is told exactly: |x N - X n| > 3 sqrt(X (N - X) n).
        if (x * sum(size) - sum(count) * n) ** 2 > 9 * sum(count) * (sum(size) - sum(count)) * n:
            out.append(i)
    assert [signal.index for signal in chart.signals] == out


def test_on_the_limit_is_not_out():
    """Centre 0.1, sigma 0.03 at 100 jobs: 19 of 100 is exactly the upper limit, 1 of 100 exactly the lower one."""
    baseline = [True, False, False, False, False]
    chart = p_chart(count=[10, 19, 20, 1, 0], size=100, baseline=baseline)
    assert chart.upper[1] == pytest.approx(0.19, rel=1e-14)
    assert chart.signals == (
        Signal(index=2, rule="beyond the limits", side="above"),
        Signal(index=4, rule="beyond the limits", side="below"),
    )


def test_a_period_without_jobs_has_no_value_and_no_signal():
    chart = p_chart(count=[5, 0, 40], size=[100, 0, 100])
    assert np.isnan(chart.values[1])
    assert np.isnan([chart.lower[1], chart.upper[1], chart.sigma[1]]).all()
    assert chart.centre.tolist() == [0.225] * 3
    assert [(s.index, s.side) for s in chart.signals] == [(0, "below"), (2, "above")]


@pytest.mark.parametrize("share", [0, 1])
def test_all_or_none(share):
    chart = p_chart(count=[share * 20, share * 30], size=[20, 30])
    for line in (chart.values, chart.centre, chart.lower, chart.upper):
        assert line.tolist() == [share, share]
    assert chart.signals == ()


def test_no_periods():
    chart = p_chart(count=[], size=[])
    assert chart.values.tolist() == []
    assert chart.signals == ()


@pytest.mark.parametrize("baseline", [slice(0, 3), [True, True, True, False], np.array([1, 1, 1, 0], dtype=bool)])
def test_later_points_do_not_move_a_baseline(baseline):
    chart = p_chart(count=[4, 6, 5, 90], size=100, baseline=baseline)
    assert chart.centre.tolist() == [0.05] * 4
    assert chart.baseline.tolist() == [True, True, True, False]
    assert [s.index for s in chart.signals] == [3]


def test_baseline_without_an_event_calls_out_the_first():
    chart = p_chart(count=[0, 0, 1], size=50, baseline=slice(0, 2))
    assert chart.upper.tolist() == [0.0] * 3
    assert [s.index for s in chart.signals] == [2]


def test_baseline_without_a_job_leaves_the_centre_unknown():
    chart = p_chart(count=[0, 5], size=[0, 50], baseline=slice(0, 1))
    assert np.isnan(chart.centre).all()
    assert chart.values[1] == 0.1
    assert chart.signals == ()


@pytest.mark.parametrize("kind", [list, np.array, pd.Series, pl.Series], ids=lambda k: k.__module__)
def test_accepts_array_likes_and_echoes_them(kind):
    chart = p_chart(count=kind([1, 2, 30]), size=kind([100, 100, 100]), baseline=kind([True, True, False]))
    assert chart.count.tolist() == [1, 2, 30]
    assert chart.size.tolist() == [100, 100, 100]
    assert [s.index for s in chart.signals] == [2]


def test_frozen():
    chart = p_chart(count=[1, 2], size=10)
    with pytest.raises(AttributeError):
        chart.signals = ()
    for line in (chart.values, chart.centre, chart.lower, chart.upper, chart.sigma, chart.count, chart.baseline):
        with pytest.raises(ValueError, match="read-only"):
            line[0] = 0


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"count": [1, 12], "size": 10}, r"count must not be above size: count\[1\] = 12, size\[1\] = 10"),
        ({"count": [1, -1], "size": 10}, r"count must be at least 0: count\[1\] = -1"),
        ({"count": [1, 2], "size": [10, None]}, r"size must not be missing"),
        ({"count": [1, 2], "size": [1, 2, 3]}, r"count and size must be of one shape"),
        ({"count": 1, "size": 10}, r"count must be one number a period, in one dimension: shape \(\)"),
        ({"count": [[1]], "size": 10}, r"in one dimension: shape \(1, 1\)"),
        ({"count": [1, 2], "size": 10, "baseline": [True]}, r"each of the 2 points: bool of shape \(1,\)"),
        ({"count": [1, 2], "size": 10, "baseline": [0, 1]}, r"true/false for each of the 2 points: int64"),
        ({"count": [1, 2], "size": 10, "baseline": [False, False]}, r"must take at least one of the 2 points"),
        ({"count": [1, 2], "size": 10, "baseline": slice(5, 9)}, r"must take at least one of the 2 points"),
    ],
)
def test_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        p_chart(**asked)


def test_steady_work_is_seldom_called_out():
    """Exact chance that a steady 10 % of 400 jobs is called out: near the normal 0.0027, at most twice that."""
    x = np.arange(401)
    steady = np.full(401, 40)
    chart = p_chart(count=np.append(steady, x), size=400, baseline=slice(0, 401))
    out = [signal.index - 401 for signal in chart.signals]
    assert binom.pmf(out, 400, 0.1).sum() <= 2 * 0.0027
