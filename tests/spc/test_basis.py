"""Baselines, stages and points set aside: one mechanism, the same for every chart."""

import numpy as np
import pytest

from rqa.spc import (
    SetAside,
    c_chart,
    g_chart,
    individuals_chart,
    laney_p_chart,
    laney_u_chart,
    np_chart,
    p_chart,
    t_chart,
    u_chart,
    western_electric,
    xbar_r_chart,
    xbar_s_chart,
)
from rqa.spc.basis import basis
from rqa.spc.chart import judge

COUNT = np.array([5, 7, 6, 4, 8, 6, 11, 14, 12, 15, 13, 12])
GROUPS = np.random.default_rng(2).normal(COUNT[:, None], 1.0, (12, 4))
CHARTS = {
    "p": lambda part, **how: p_chart(count=COUNT[part], size=100, **how),
    "p exact": lambda part, **how: p_chart(count=COUNT[part], size=100, limits="exact", **how),
    "np": lambda part, **how: np_chart(count=COUNT[part], size=100, **how),
    "c": lambda part, **how: c_chart(COUNT[part], **how),
    "u": lambda part, **how: u_chart(count=COUNT[part], size=8.5, **how),
    "laney p": lambda part, **how: laney_p_chart(count=COUNT[part], size=100, **how),
    "laney u": lambda part, **how: laney_u_chart(count=COUNT[part], size=8.5, **how),
    "individuals": lambda part, **how: individuals_chart(COUNT[part], **how),
    "xbar r": lambda part, **how: xbar_r_chart(GROUPS[part], **how),
    "xbar s": lambda part, **how: xbar_s_chart(GROUPS[part], **how),
    "g": lambda part, **how: g_chart(COUNT[part], **how),
    "t": lambda part, **how: t_chart(COUNT[part], **how),
}
ALL = slice(0, 12)
LINES = ("centre", "lower", "upper", "sigma")
every_chart = pytest.mark.parametrize("make", CHARTS.values(), ids=CHARTS.keys())


@every_chart
def test_frozen_limits_are_those_of_the_baseline_alone(make):
    whole, alone = make(ALL, baseline=slice(0, 6)), make(slice(0, 6))
    for line in LINES:
        assert getattr(whole, line)[:6].tolist() == getattr(alone, line).tolist()
        assert getattr(whole, line)[6:].tolist() == getattr(alone, line).tolist()
    assert whole.baseline.tolist() == [True] * 6 + [False] * 6
    assert len(whole.values) == 12


@every_chart
def test_stages_are_charts_of_their_own(make):
    split, first, second = make(ALL, stages=[6]), make(slice(0, 6)), make(slice(6, 12))
    for line in (*LINES, "values"):
        assert getattr(split, line).tolist() == [*getattr(first, line), *getattr(second, line)]
    assert split.starts == (0, 6)
    moved = [signal.index + 6 for signal in second.signals]
    assert [s.index for s in split.signals] == [s.index for s in first.signals] + moved
    assert any("limits of stage 2 rest on 6 points" in w for w in split.warnings)


@every_chart
def test_a_point_set_aside_stays_with_its_reason_and_moves_nothing(make):
    """At the edge of the chart: the others are as without it."""
    part = make(slice(0, 6), set_aside={5: "strike at the freight depot"})
    without = make(slice(0, 5))
    for line in LINES:
        assert getattr(part, line)[:5].tolist() == getattr(without, line).tolist()
    assert part.set_aside == (SetAside(index=5, reason="strike at the freight depot"),)
    assert not part.baseline[5]
    assert part.values[5] == make(slice(0, 6)).values[5]
    assert np.isfinite([part.lower[5], part.upper[5]]).all()


def test_a_point_set_aside_is_not_judged():
    count = [5, 6, 5, 60, 6, 5]
    assert [s.index for s in p_chart(count=count, size=100).signals] == [3]
    aside = p_chart(count=count, size=100, set_aside={3: "a bad lot of cables, returned"})
    assert aside.signals == ()
    assert aside.centre[0] == pytest.approx(27 / 500)


def test_a_point_set_aside_in_the_middle_breaks_the_chain_of_ranges():
    chart = individuals_chart([1.0, 2.0, 50.0, 3.0, 5.0], set_aside={2: "read in the wrong unit"})
    assert np.isnan(chart.spread.values[[0, 2, 3]]).all()
    assert chart.spread.centre[0] == pytest.approx((1 + 2) / 2)
    assert chart.centre[0] == pytest.approx(11 / 4)


def test_no_range_is_taken_across_a_split():
    chart = individuals_chart([1.0, 2.0, 1.0, 50.0, 52.0, 50.0], stages=[3])
    assert np.isnan(chart.spread.values[3])
    assert chart.spread.centre.tolist() == [1.0] * 3 + [2.0] * 3
    assert chart.signals == chart.spread.signals == ()


def test_baseline_within_stages():
    chart = c_chart([4, 6, 30, 10, 20, 90], stages=[3], baseline=[True, True, False, True, True, False])
    assert chart.centre.tolist() == [5.0] * 3 + [15.0] * 3
    assert [s.index for s in chart.signals] == [2, 5]


def test_patterns_do_not_run_across_a_split():
    """Eight in a row above the centre, four on either side of a split, are no run."""
    z = [-1.0, -1.0, -1.0, 1.5, 0.5, 1.0, 0.5, 0.8, 0.4, 0.7, 0.9, -2.0, -2.0, -1.5]
    one = individuals_chart(z, baseline=[True] * 3 + [False] * 8 + [True] * 3)
    two = individuals_chart(z, stages=[7], baseline=[True] * 3 + [False] * 8 + [True] * 3)
    run = "eight in a row, same side"
    assert (10, tuple(range(3, 11))) in [(s.index, s.points) for s in western_electric(one) if s.rule == run]
    assert run not in [s.rule for s in western_electric(two)]
    judged = judge(two, western_electric)
    assert all(0 <= i < 14 for s in judged.signals for i in s.points)


def test_signals_of_a_later_stage_name_their_places_in_the_whole():
    chart = c_chart([4, 5, 6, 5, 20, 21, 19, 60], stages=[4], baseline=[True] * 7 + [False])
    (signal,) = chart.signals
    assert (signal.index, signal.points) == (7, (7,))
    (again,) = western_electric(chart)
    assert (again.index, again.points) == (7, (7,))


def test_several_stages_and_reasons():
    chart = c_chart(range(1, 10), stages=[3, 6], set_aside={1: "stocktaking", 8: "half a month"})
    assert chart.centre.tolist() == [2.0] * 3 + [5.0] * 3 + [7.5] * 3
    assert [p.index for p in chart.set_aside] == [1, 8]


@pytest.mark.parametrize(
    ("how", "message"),
    [
        ({"stages": [0]}, r"stages must be ascending places after the first point: \[0\]"),
        ({"stages": [5, 3]}, r"ascending places after the first point: \[5, 3\]"),
        ({"stages": [12]}, "stages must name points from 0 to 11: 12"),
        ({"stages": [2.5]}, "stages must name points by their place, a whole number: 2.5"),
        ({"stages": [True]}, "stages must name points from 0 to 11: True"),
        ({"set_aside": {3: " "}}, "set_aside must give a reason in words for each point: 3: ' '"),
        ({"set_aside": {3: None}}, "must give a reason in words"),
        ({"set_aside": {-1: "why"}}, "set_aside must name points from 0 to 11: -1"),
        ({"stages": [6], "baseline": slice(0, 6)}, r"stage 2 \(points 6 to 11\) has none"),
        ({"baseline": slice(0, 1), "set_aside": {0: "why"}}, r"stage 1 \(points 0 to 11\) has none"),
        ({"baseline": [[True] * 12]}, r"bool of shape \(1, 12\)"),
    ],
)
@every_chart
def test_refused(make, how, message):
    with pytest.raises(ValueError, match=message):
        make(ALL, **how)


def test_twenty_points_are_usual():
    enough = c_chart([9, 11] * 10)
    assert enough.warnings == ()
    assert "rest on 19 points" in c_chart([9, 11] * 10, set_aside={0: "holiday"}).warnings[0]
    assert "rest on 1 point;" in c_chart([9, 11], baseline=slice(0, 1)).warnings[0]


def test_an_empty_chart_takes_the_defaults_only():
    assert basis(0, None, (), None).starts == (0,)
    with pytest.raises(ValueError, match="stages must name points"):
        basis(0, None, [1], None)
