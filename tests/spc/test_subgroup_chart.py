"""Means with ranges or deviations: a published example, unequal sizes, the defining equations, landmarks."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2, studentized_range

from rqa.spc import constants, xbar_r_chart, xbar_s_chart

SHARED = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))
RINGS, UNEQUAL = SHARED["rings"], SHARED["rings_unequal"]
ROWS = np.array(RINGS["rows"])


def near(value, printed, decimals):
    return abs(value - printed) <= 0.5 * 10.0**-decimals * (1 + 1e-9)


def test_rings_by_their_ranges():
    """Montgomery's piston rings, from memory: data and figures."""
    chart = xbar_r_chart(RINGS["rows"])
    assert near(chart.centre[0], RINGS["grand_mean"], 3)
    assert near(chart.spread.centre[0], RINGS["mean_range"], 3)
    assert near(chart.lower[0], RINGS["means"]["lower"], 3)
    # Printed from the rounded mean range 0.023: 74.001 + 0.577 x 0.023 = 74.0143; unrounded it is 74.01458.
    assert near(RINGS["grand_mean"] + constants(5).A2 * RINGS["mean_range"], RINGS["means"]["upper"], 3)
    assert chart.upper[0] == pytest.approx(ROWS.mean() + 0.5768193 * np.ptp(ROWS, axis=1).mean(), abs=1e-8)
    assert near(chart.spread.upper[0], RINGS["ranges"]["upper"], 3)
    assert chart.spread.lower[0] == RINGS["ranges"]["lower"]
    assert chart.signals == chart.spread.signals == chart.warnings == ()


def test_rings_by_their_deviations():
    """The same rings, from memory; the book prints limits from the rounded mean deviation 0.0094."""
    chart = xbar_s_chart(RINGS["rows"])
    assert near(chart.centre[0], RINGS["grand_mean"], 3)
    assert near(chart.spread.centre[0], RINGS["mean_deviation"], 4)
    assert near(chart.lower[0], RINGS["means"]["lower"], 3)
    assert near(RINGS["grand_mean"] + constants(5).A3 * RINGS["mean_deviation"], RINGS["means"]["upper"], 3)
    assert near(chart.spread.upper[0], RINGS["deviations"]["upper"], 4)
    assert chart.spread.lower[0] == RINGS["deviations"]["lower"]
    s = ROWS.std(axis=1, ddof=1).mean()
    assert chart.sigma == pytest.approx(np.full(25, s / 0.9399856 / math.sqrt(5)), rel=1e-7)


def test_rings_of_unequal_sizes():
    """The same with measurements left out, from memory: what does not depend on how the deviations are joined."""
    rows = [row[:size] for row, size in zip(RINGS["rows"], UNEQUAL["sizes"], strict=True)]
    chart = xbar_s_chart(rows)
    assert chart.size.tolist() == UNEQUAL["sizes"]
    assert chart.size.sum() == UNEQUAL["measurements"]
    assert near(chart.centre[0], UNEQUAL["grand_mean"], 3)
    assert chart.centre[0] == pytest.approx(np.concatenate(rows).mean(), rel=1e-14)
    sigma = chart.sigma * np.sqrt(chart.size)
    assert np.ptp(sigma) < 1e-15
    # Another estimate of the same sigma, less efficient by little: they agree within their standard errors, 8 %.
    assert sigma[0] == pytest.approx(UNEQUAL["pooled_deviation"], rel=0.08)
    assert chart.signals == ()


@pytest.mark.parametrize("n", [2, 5, 12])
def test_defining_equations(n):
    x = np.random.default_rng(n).normal(20, 3, (30, n))
    c = constants(n)
    ranges, deviations = np.ptp(x, axis=1), x.std(axis=1, ddof=1)
    by_range, by_deviation = xbar_r_chart(x), xbar_s_chart(x)
    for chart, typical, factor, low, high in (
        (by_range, ranges.mean(), c.A2, c.D3, c.D4),
        (by_deviation, deviations.mean(), c.A3, c.B3, c.B4),
    ):
        assert chart.values == pytest.approx(x.mean(axis=1), rel=1e-13)
        assert chart.centre == pytest.approx(np.full(30, x.mean()), rel=1e-13)
        assert chart.upper == pytest.approx(x.mean() + factor * typical * np.ones(30), rel=1e-12)
        assert chart.lower == pytest.approx(x.mean() - factor * typical * np.ones(30), rel=1e-12)
        assert chart.spread.centre == pytest.approx(np.full(30, typical), rel=1e-12)
        assert chart.spread.lower == pytest.approx(np.full(30, low * typical), rel=1e-9, abs=1e-12)
        assert chart.spread.upper == pytest.approx(np.full(30, high * typical), rel=1e-9)
    assert any("waste information" in w for w in by_range.warnings) == (n > 10)


def test_unequal_sizes_have_limits_of_their_own():
    rng = np.random.default_rng(3)
    rows = [rng.normal(0, 1, size) for size in (2, 9, 4, 30, 2, 5)]
    chart = xbar_s_chart(rows)
    h, estimate = [], []
    for row in rows:
        c4 = constants(len(row)).c4
        h.append(c4**2 / (1 - c4**2))
        estimate.append(row.std(ddof=1) / c4)
    sigma = np.dot(h, estimate) / sum(h)
    for i, row in enumerate(rows):
        c = constants(len(row))
        assert chart.upper[i] == pytest.approx(chart.centre[i] + c.A * sigma, rel=1e-12)
        assert chart.spread.lower[i] == pytest.approx(c.B5 * sigma, rel=1e-9, abs=1e-12)
        assert chart.spread.upper[i] == pytest.approx(c.B6 * sigma, rel=1e-12)
        assert chart.spread.centre[i] == pytest.approx(c.c4 * sigma, rel=1e-12)
    assert "Burr" in chart.source


def test_the_weights_are_the_best_unbiased_ones():
    """Simulated: mean 1, and the variance the weights promise, 1 / sum h; 5 standard errors of 4,000 estimates."""
    sizes = [2, 3, 5, 10]
    rng = np.random.default_rng(11)
    made = [xbar_s_chart([rng.normal(size=n) for n in sizes]).sigma[0] * math.sqrt(2) for _ in range(800)]
    promised = 1 / sum(constants(n).c4 ** 2 / (1 - constants(n).c4 ** 2) for n in sizes)
    assert abs(np.mean(made) - 1) < 5 * math.sqrt(promised / 800)
    assert abs(np.var(made) / promised - 1) < 5 * math.sqrt(2 / 800)


@pytest.mark.slow
def test_false_alarms():
    """20,000 steady subgroups of 4: means out at 0.27 %, deviations at their exact chance, within 5 standard errors.

    3 s^2 / sigma^2 is chi-squared of 3, so s is above B6 sigma with the chance that has above 3 B6^2; B5 is 0. The
    range is above D2 sigma with the chance of the studentised range of infinitely many degrees.
    """
    x = np.random.default_rng(12).normal(50, 4, (20_000, 4))
    c = constants(4)
    by_range, by_deviation = xbar_r_chart(x), xbar_s_chart(x)
    for signals, chance in (
        (by_range.signals, 0.0027),
        (by_deviation.signals, 0.0027),
        (by_deviation.spread.signals, chi2.sf(3 * c.B6**2, 3)),
        (by_range.spread.signals, studentized_range.sf(c.D2, 4, np.inf)),
    ):
        # Estimating sigma from 20,000 subgroups moves these chances by at most 5 %.
        assert abs(len(signals) / 20_000 - chance) < 5 * math.sqrt(chance / 20_000) + 0.05 * chance


def test_sizes_of_one_and_none():
    chart = xbar_s_chart([[1.0, 1.2, 0.8], [1.1], [], [0.9, 1.1, 1.0], [5.0]])
    assert chart.size.tolist() == [3, 1, 0, 3, 1]
    assert np.isnan(chart.values[2])
    assert np.isnan(
        [chart.lower[2], chart.upper[2], *chart.spread.values[[1, 2, 4]], *chart.spread.upper[[1, 2, 4]]]
    ).all()
    assert chart.sigma[1] == pytest.approx(chart.sigma[0] * math.sqrt(3))
    assert [s.index for s in xbar_s_chart([[1.0, 1.2, 0.8], [1.1], [9.0]], baseline=slice(0, 2)).signals] == [2]


def test_only_single_values_have_no_limits():
    chart = xbar_s_chart([[1.0], [2.0], [3.0]])
    assert np.isnan([*chart.lower, *chart.upper, *chart.sigma]).all()
    assert chart.centre.tolist() == [2.0] * 3
    assert any("use individuals_chart" in w for w in chart.warnings)


def test_no_spread_leaves_no_room():
    for chart in (xbar_r_chart([[2.0, 2.0]] * 4), xbar_s_chart([[2.0, 2.0]] * 4)):
        assert chart.lower.tolist() == chart.upper.tolist() == [2.0] * 4
        assert chart.signals == ()


def test_a_spread_that_is_out_is_told():
    rows = [[1.0, 1.1, 0.9, 1.0]] * 20 + [[0.0, 2.0, -1.0, 3.0]]
    for make in (xbar_r_chart, xbar_s_chart):
        chart = make(rows, baseline=slice(0, 20))
        assert [s.index for s in chart.spread.signals] == [20]
        assert any("The spread within is out at 20" in w for w in chart.warnings)


def test_a_missing_row_and_frames():
    rows = [[1.0, 2.0], [np.nan, np.nan], [2.0, 3.0]]
    for given in (rows, np.array(rows), pd.DataFrame(rows, columns=["a", "b"])):
        chart = xbar_r_chart(given)
        assert chart.size.tolist() == [2, 0, 2]
        assert np.isnan(chart.upper[1])
        assert chart.centre[0] == 2.0


def test_no_subgroups():
    for chart in (xbar_r_chart([]), xbar_s_chart([])):
        assert chart.values.tolist() == []
        assert chart.signals == ()


@pytest.mark.parametrize(
    ("make", "rows", "message"),
    [
        (xbar_r_chart, [[1.0, 2.0], [1.0, 2.0, 3.0]], r"sizes \[2, 3\] were given: use xbar_s_chart"),
        (xbar_r_chart, [[1.0, 2.0], [1.0, np.nan]], r"sizes \[1, 2\] were given"),
        (xbar_r_chart, [[1.0], [2.0]], "at least 2 measurements: use individuals_chart"),
        (xbar_r_chart, np.ones((2, 1001)), "n must be a whole number from 2 to 1000: 1001"),
        (xbar_s_chart, [1.0, 2.0], r"subgroups must be rows of measurements: subgroups\[0\] has shape \(\)"),
        (xbar_s_chart, [[1.0, np.inf]], r"subgroups\[0\] must be finite"),
        (xbar_s_chart, "ab", "subgroups must be rows of measurements"),
        (xbar_s_chart, 3, "subgroups must be rows of measurements"),
    ],
)
def test_refused(make, rows, message):
    with pytest.raises(ValueError, match=message):
        make(rows)
