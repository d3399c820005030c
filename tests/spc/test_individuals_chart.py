"""Individuals and moving ranges: the published example, the defining equations, landmarks, what is refused."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from rqa.spc import individuals_chart

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))["individuals"]


def test_published_example():
    """NIST/SEMATECH e-Handbook 6.3.2.2 (seen): printed with d2 = 1.128; the exact limits stand beside them."""
    chart = individuals_chart(EXAMPLE["values"])
    half = 0.5 * 10.0 ** -EXAMPLE["decimals"]
    assert chart.centre[0] == pytest.approx(EXAMPLE["centre"], abs=1e-12)
    assert abs(chart.spread.centre[0] - EXAMPLE["mean_range"]) <= half
    assert chart.upper[0] == pytest.approx(EXAMPLE["upper_exact"], abs=0.5e-5)
    assert chart.lower[0] == pytest.approx(EXAMPLE["lower_exact"], abs=0.5e-5)
    # The same with the rounded constant is the printed page to its last digit.
    as_printed = 3 * chart.spread.centre[0] / EXAMPLE["d2_as_rounded"]
    assert abs(chart.centre[0] + as_printed - EXAMPLE["upper"]) <= half
    assert abs(chart.centre[0] - as_printed - EXAMPLE["lower"]) <= half
    assert chart.signals == ()
    assert "10 points" in chart.warnings[0]


def test_defining_equations():
    x = np.array([3.0, 5.0, 4.0, 9.0, 2.5, 4.5])
    chart = individuals_chart(x)
    ranges = [2.0, 1.0, 5.0, 6.5, 2.0]
    sigma = sum(ranges) / 5 / (2 / math.sqrt(math.pi))
    assert np.isnan(chart.spread.values[0])
    assert chart.spread.values[1:].tolist() == ranges
    assert chart.sigma == pytest.approx(np.full(6, sigma), rel=1e-14)
    assert chart.upper == pytest.approx(x.mean() + 3 * chart.sigma, rel=1e-14)
    assert chart.lower == pytest.approx(x.mean() - 3 * chart.sigma, rel=1e-14)
    # D4(2) = 1 + 3 d3 / d2 with d2 = 2 / sqrt(pi), d3 = sqrt(2 - 4 / pi).
    d4 = 1 + 3 * math.sqrt(2 - 4 / math.pi) / (2 / math.sqrt(math.pi))
    assert chart.spread.upper[1:] == pytest.approx(np.full(5, d4 * 3.3), rel=1e-10)
    assert chart.spread.lower[1:].tolist() == [0.0] * 5


def test_sigma_is_that_of_the_process():
    """4,000 normal values of sigma 2: the estimate is within 5 of its own standard errors, 0.91 / sqrt(n) of sigma."""
    x = np.random.default_rng(5).normal(10, 2, 4_000)
    chart = individuals_chart(x)
    assert abs(chart.sigma[0] - 2) < 5 * 2 * 0.91 / math.sqrt(4_000)
    # 0.27 % of the points and of the ranges' upper limit 0.9 % are expected out: 10.8 and 36; 5 standard deviations.
    assert len(chart.signals) <= 10.8 + 5 * math.sqrt(10.8)
    assert len(chart.spread.signals) <= 36 + 5 * 2 * math.sqrt(36)


def test_a_missing_value_leaves_two_ranges_out():
    chart = individuals_chart([1.0, 2.0, np.nan, 4.0, 5.0, 30.0])
    assert np.isnan([chart.values[2], chart.lower[2], chart.upper[2], chart.sigma[2]]).all()
    assert np.isnan(chart.spread.values[[0, 2, 3]]).all()
    assert chart.spread.centre[0] == pytest.approx((1 + 1 + 25) / 3)
    assert chart.centre[0] == pytest.approx(42 / 5)


@pytest.mark.parametrize("values", [[7.0], [7.0, np.nan, 9.0], [np.nan, np.nan], []])
def test_without_two_neighbours_there_are_no_limits(values):
    chart = individuals_chart(values)
    assert len(chart.values) == len(values)
    assert np.isnan([*chart.lower, *chart.upper, *chart.sigma, *chart.spread.upper]).all()
    assert chart.signals == ()
    if values:
        assert "there are no limits" in chart.warnings[-1]
        known = [v for v in values if v == v]
        assert chart.centre[0] == pytest.approx(np.mean(known)) if known else np.isnan(chart.centre[0])


def test_equal_values_leave_no_room():
    chart = individuals_chart([4.0] * 5 + [4.1], baseline=slice(0, 5))
    assert chart.lower.tolist() == chart.upper.tolist() == [4.0] * 6
    assert [s.index for s in chart.signals] == [5]
    assert any("limits are the centre" in w for w in chart.warnings)


def test_a_later_point_is_judged_by_the_baseline():
    x = [10.0, 11.0, 10.0, 9.0, 10.0, 10.0, 19.0, 10.0]
    chart = individuals_chart(x, baseline=slice(0, 6))
    plain = individuals_chart(x[:6])
    assert chart.upper.tolist() == [plain.upper[0]] * 8
    assert [(s.index, s.side) for s in chart.signals] == [(6, "above")]
    assert [s.index for s in chart.spread.signals] == [6, 7]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ([1.0, np.inf], r"values must be finite, or NaN where nothing was measured: values\[1\] = inf"),
        ([[1.0, 2.0]], r"values must be one number a point, in one dimension: shape \(1, 2\)"),
        (["a", "b"], "values must be numbers"),
        (3.0, r"in one dimension: shape \(\)"),
    ],
)
def test_refused(values, message):
    with pytest.raises(ValueError, match=message):
        individuals_chart(values)
