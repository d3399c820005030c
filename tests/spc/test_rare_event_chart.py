"""g and t charts: the identity and the published transform, false alarms by simulation, landmarks, refusals."""

import math
import tomllib
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from rqa.spc import g_chart, t_chart

SHARED = tomllib.loads((Path(__file__).parents[2] / "shared" / "charts.toml").read_text("utf-8"))
VALVES, IDENTITY = SHARED["t_chart_valves"], SHARED["g_chart_identity"]


def test_g_identity():
    """Kaminsky et al. 1992, formula from memory: a share of 0.1 has a mean gap of 9, and 0.9^38 of its gaps above."""
    chart = g_chart([9])
    assert chart.centre[0] == IDENTITY["centre"]
    assert abs(chart.upper[0] - IDENTITY["upper"]) <= 0.5e-4
    assert chart.lower[0] == 0
    assert abs(chart.false_alarm - IDENTITY["false_alarm"]) <= 0.5e-6
    assert chart.false_alarm == pytest.approx((1 - IDENTITY["chance"]) ** 38, rel=1e-12)
    assert any("1.8 %" in w for w in chart.warnings)


@pytest.mark.parametrize("limits", ["normal", "exact"])
def test_g_false_alarms(limits):
    """20,000 gaps of a share of 0.02, judged by their own mean: out as often as told, within 5 standard errors."""
    gaps = np.random.default_rng(4).geometric(0.02, 20_000) - 1
    chart = g_chart(gaps, limits=limits)
    seen = len(chart.signals) / 20_000
    assert abs(seen - chart.false_alarm) < 5 * math.sqrt(chart.false_alarm / 20_000)
    assert chart.false_alarm <= 0.0027 if limits == "exact" else 0.015 < chart.false_alarm < 0.02


def test_g_landmarks():
    zeros = g_chart([0, 0, 0, 4], baseline=slice(0, 3))
    assert zeros.upper.tolist() == [0.0] * 4
    assert [s.index for s in zeros.signals] == [3]
    assert zeros.false_alarm == 0.0
    assert g_chart([0, 0], limits="exact").upper.tolist() == [0.0, 0.0]
    empty = g_chart([])
    assert empty.values.tolist() == []
    assert math.isnan(empty.false_alarm)


def test_g_split_and_frozen():
    gaps = [9, 11, 10, 10, 90, 110, 100]
    split = g_chart(gaps, stages=[4])
    assert split.centre.tolist() == [10.0] * 4 + [100.0] * 3
    assert [s.index for s in split.signals] == []
    assert [s.index for s in g_chart(gaps, baseline=slice(0, 4)).signals] == [4, 5, 6]


def test_valves():
    """Montgomery's valve failures, from memory: values and mean to print; limits with 1.128 recomputed."""
    chart = t_chart(VALVES["hours"], power=VALVES["exponent"])
    half = 0.5 * 10.0 ** -VALVES["decimals"]
    wrong = VALVES["misprint"]
    for hours, made, printed in zip(VALVES["hours"], chart.values, VALVES["transformed"], strict=True):
        correct = wrong["correct"] if hours == wrong["hours"] else printed
        assert abs(made - correct) <= half, hours
    # The one figure that differs in its last digit, by arithmetic in 28 decimal digits.
    assert round(Decimal(wrong["hours"]) ** Decimal(str(VALVES["exponent"])), 5) == Decimal(str(wrong["correct"]))
    assert abs(chart.centre[0] - VALVES["centre"]) <= 0.5e-6
    three = 3 * chart.sigma[0] * (2 / math.sqrt(math.pi)) / 1.128
    assert abs(chart.centre[0] + three - VALVES["upper_with_1128"]) <= half
    assert abs(chart.centre[0] - three - VALVES["lower_with_1128"]) <= half
    assert chart.upper[0] == pytest.approx(chart.centre[0] + 3 * chart.sigma[0], rel=1e-14)
    assert chart.lower.tolist() == [0.0] * 20
    assert [s.index + 1 for s in chart.signals] == VALVES["out"]


def test_t_lines_in_the_unit_given():
    chart = t_chart(VALVES["hours"])
    assert chart.power == VALVES["exponent"]
    assert chart.gaps.tolist() == VALVES["hours"]
    for line, gap_line in (
        (chart.centre, chart.gap_centre), (chart.lower, chart.gap_lower), (chart.upper, chart.gap_upper),
    ):
        assert gap_line**chart.power == pytest.approx(line, rel=1e-12)


def test_t_false_alarms():
    """20,000 times of a constant hazard: the transform leaves fewer than 0.27 % out, nearly all of them above.

    Exact for a hazard of 1 and limits from the transformed moments: mean G(1 + a), variance G(1 + 2a) - mean^2 with
    a = 0.2777; above with chance exp(-upper^3.6), below none, as the lower limit is positive but tiny.
    """
    chart = t_chart(np.random.default_rng(6).exponential(100.0, 20_000))
    a = chart.power
    mean = math.gamma(1 + a)
    sigma = math.sqrt(math.gamma(1 + 2 * a) - mean**2)
    upper, lower = mean + 3 * sigma, max(mean - 3 * sigma, 0.0)
    expected = math.exp(-(upper ** (1 / a))) + -math.expm1(-(lower ** (1 / a)))
    assert expected < 0.0027
    assert abs(len(chart.signals) / 20_000 - expected) < 5 * math.sqrt(expected / 20_000) + 0.1 * expected


def test_t_landmarks():
    chart = t_chart([0.0, 10.0, 0.0, 12.0])
    assert chart.values[0] == 0.0
    assert chart.signals == ()
    assert any("lower limit is 0" in w for w in chart.warnings)
    one = t_chart([5.0])
    assert one.gap_centre[0] == pytest.approx(5.0)
    assert np.isnan([one.lower[0], one.upper[0], one.gap_upper[0]]).all()
    assert t_chart([]).values.tolist() == []


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: g_chart([3, -1]), r"gaps must be at least 0: gaps\[1\] = -1"),
        (lambda: g_chart([3, 1.5]), "gaps must be whole numbers"),
        (lambda: g_chart([3, np.nan]), "gaps must not be missing"),
        (lambda: g_chart([[3]]), r"in one dimension: shape \(1, 1\)"),
        (lambda: g_chart([3], limits="wide"), "limits must be one of normal, exact"),
        (lambda: t_chart([3.0, -1.0]), "gaps must be at least 0"),
        (lambda: t_chart([3.0, np.inf]), "gaps must be finite"),
        (lambda: t_chart([[3.0]]), r"in one dimension: shape \(1, 1\)"),
        (lambda: t_chart([3.0], power=1.0), "power must be one number between 0 and 1"),
    ],
)
def test_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
