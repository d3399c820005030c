"""Zone rules and Nelson's eight: vectors from the published rules, and each rule against its wording."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import (
    MONTHLY,
    NELSON,
    WESTERN_ELECTRIC,
    Chart,
    LimitRule,
    TrendRule,
    ZoneRule,
    nelson,
    p_chart,
    signal_masks,
    western_electric,
)
from rqa.spc.chart import judge
from rqa.spc.patterns import standardised
from tests.published_runs import RUNS


def distances(low, high):
    """To six decimals, so that none is nearer to an edge than the rules can tell, without being on it."""
    return st.floats(low, high).map(lambda z: round(z, 6) + 0.0)


# Distances on and between the edges of the zones, ties among them, and points without data.
DISTANCES = st.one_of(st.sampled_from([0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 0.5, np.nan]), distances(-3.5, 3.5))
WORDED = [rule for rule in dict.fromkeys((*NELSON, *WESTERN_ELECTRIC)) if not isinstance(rule, LimitRule)]


def chart(z, centre=0.0, sigma=1.0, **more):
    """A chart whose points are so many sigma from the centre, with limits at 3 sigma."""
    z = np.asarray(z, dtype=float)
    centre, sigma = np.broadcast_to(centre, z.shape), np.broadcast_to(sigma, z.shape)
    return Chart(
        values=centre + z * sigma,
        centre=np.array(centre, dtype=float),
        lower=centre - 3 * sigma,
        upper=centre + 3 * sigma,
        sigma=np.array(sigma, dtype=float),
        **more,
    )


def window(z, end, length):
    """The points of a full window without a gap, or None."""
    part = z[end - length + 1 : end + 1] if end + 1 >= length else np.array([np.nan])
    return None if np.isnan(part).any() else part


def since_gap(z, end, length):
    """At most so many points up to `end`, none before the last gap."""
    first = max(0, end - length + 1)
    gaps = [i for i in range(first, end + 1) if np.isnan(z[i])]
    return range(gaps[-1] + 1 if gaps else first, end + 1)


def said(rule, z, end):
    """What the rule's wording says about the pattern that ends at a point: its side and points, or None."""
    if isinstance(rule, TrendRule):
        part = window(z, end, rule.length)
        if part is None:
            return None
        ups = [b - a for a, b in pairwise(part)]
        if min(abs(up) for up in ups) <= 1e-9:
            return None
        points = tuple(range(end - rule.length + 1, end + 1))
        if rule.alternating:
            return ("both", points) if all(a * b < 0 for a, b in pairwise(ups)) else None
        if all(up > 0 for up in ups):
            return "above", points
        return ("below", points) if all(up < 0 for up in ups) else None
    for side, sign in (("above", 1), ("below", -1)) if rule.sides == "same" else (("both", 0),):

        def inside(value, sign=sign):
            far = value * sign if sign else abs(value)
            return (far > rule.beyond or (sign == 0 and rule.beyond == 0)) and far <= rule.within

        points = tuple(i for i in since_gap(z, end, rule.out_of) if inside(z[i]))
        if len(points) >= rule.need and points[-1] == end:
            return side, points
    return None


@pytest.mark.parametrize("row", RUNS["zone_rules"]["rows"], ids=lambda row: row["id"])
def test_vectors(row):
    """Constructed from the published rules (Western Electric 1956, Nelson 1984)."""
    found = [s for s in (*western_electric(chart(row["z"])), *nelson(chart(row["z"]))) if s.rule == row["rule"]]
    assert min((s.index + 1 for s in found), default=0) == row["first"]


@pytest.mark.parametrize("rule", WORDED, ids=lambda rule: rule.name)
@given(data=st.data())
def test_rule_as_worded(rule, data):
    length = rule.length if isinstance(rule, TrendRule) else rule.out_of
    biased = data.draw(st.sampled_from([DISTANCES, distances(0, 3.5), distances(-1, 1), distances(1.5, 2.5)]))
    z = np.array(data.draw(st.lists(biased, max_size=length + 8)))
    if data.draw(st.booleans()):
        z = np.sort(z)
    if data.draw(st.booleans()):
        z[1::2] *= -1
    expected = [(end, *found) for end in range(len(z)) if (found := said(rule, z, end))]
    assert [(s.index, s.side, s.points) for s in rule(chart(z))] == expected


def test_each_rule_of_nelson_can_be_met():
    """One pattern written out for each rule; 14 alternating points and 15 near the centre are from the wordings."""
    patterns = {
        "beyond the limits": ([0, 3.1], (1,), "above"),
        "nine in a row, same side": ([0] + [-0.5, -0.4] * 4 + [-0.5], tuple(range(1, 10)), "below"),
        "six in a row, steadily up or down": ([0.4, 1, 0.6, 0.3, 0.1, -0.2, -0.9], tuple(range(1, 7)), "below"),
        "fourteen in a row, up and down by turns": ([0.5, -0.5] * 7, tuple(range(14)), "both"),
        "two of three beyond two sigma, same side": ([-2.5, 0.1, -2.1], (0, 2), "below"),
        "four of five beyond one sigma, same side": ([1.1, 1.2, -1.5, 1.3, 1.4], (0, 1, 3, 4), "above"),
        "fifteen in a row within one sigma": ([0.9, 0.0, -0.9] * 5, tuple(range(15)), "both"),
        "eight in a row beyond one sigma, either side": ([1.1, -1.1] * 4, tuple(range(8)), "both"),
    }
    for name, (z, points, side) in patterns.items():
        found = [s for s in nelson(chart(z)) if s.rule == name]
        assert [(s.points, s.side) for s in found] == [(points, side)], name
    assert list(patterns) == [rule.name for rule in NELSON]


def test_a_run_that_goes_on_is_called_at_each_point():
    found = western_electric(chart([0.5] * 10))
    assert [(s.index, s.points) for s in found] == [
        (7, tuple(range(8))),
        (8, tuple(range(1, 9))),
        (9, tuple(range(2, 10))),
    ]


def test_a_point_without_data_breaks_every_pattern():
    nan = np.nan
    for z in (
        [2.5, nan, 2.5],
        [0.5] * 4 + [nan] + [0.5] * 7,
        [1.5, 1.5, nan, 1.5, 1.5],
        [0, 0.1, 0.2, nan, 0.3, 0.4, 0.5],
    ):
        assert nelson(chart(z)) == western_electric(chart(z)) == ()
    assert [s.points for s in western_electric(chart([nan, 2.5, 2.5, nan]))] == [(1, 2)]
    assert nelson(chart([])) == western_electric(chart([nan])) == ()


@given(st.lists(DISTANCES, min_size=1, max_size=40), st.integers(0, 2**32 - 1))
def test_limits_that_vary_do_not_matter(z, seed):
    """The same distances give the same signals, whatever centre and sigma each point has."""
    random = np.random.default_rng(seed)
    centre, sigma = random.normal(size=len(z)) * 100, 10 ** random.uniform(-3, 3, size=len(z))
    moved = chart(z, centre, sigma)
    assert nelson(moved) == nelson(chart(standardised(moved)))
    edges = np.array([np.isnan(d) or abs(d) in (0.0, 0.5, 1.0, 2.0, 3.0) for d in z])
    np.testing.assert_array_equal(standardised(moved)[edges], np.array(z)[edges])


@pytest.mark.parametrize(("centre", "sigma"), [(0.1, 0.01), (1e6, 1e-2), (-7.3, 1e5)])
def test_on_the_edge_of_a_zone_is_not_beyond_it(centre, sigma):
    for edge, times in ((2, 3), (1, 5), (0, 8), (3, 1)):
        on = chart([edge] * times, centre, sigma)
        names = {s.rule for s in western_electric(on) if s.index == times - 1}
        beyond = {1: "four of five beyond one sigma, same side", 2: "two of three beyond two sigma, same side",
                  0: "eight in a row, same side", 3: "beyond the limits"}[edge]
        assert beyond not in names
        assert beyond in {s.rule for s in western_electric(chart([edge + 1e-3] * times, centre, sigma))}


def test_sigma_zero():
    """On the centre nothing is seen; off it a point is as far out as can be."""
    flat = chart([0.0] * 9, 5.0, 0.0)
    assert nelson(flat) == ()
    off = Chart(values=np.array([5.0, 6.0]), centre=flat.centre[:2], lower=flat.lower[:2], upper=flat.upper[:2],
                sigma=flat.sigma[:2])
    assert standardised(off).tolist() == [0.0, np.inf]
    assert [(s.index, s.rule) for s in western_electric(off)] == [(1, "beyond the limits")]


def test_many_charts_in_one_call():
    random = np.random.default_rng(3)
    z = random.normal(size=(5, 7, 60)) * 1.3
    z[random.random(z.shape) < 0.05] = np.nan
    masks = signal_masks(chart(z, 10.0, random.uniform(0.5, 2, size=z.shape)), NELSON)
    assert list(masks) == [rule.name for rule in NELSON]
    for place in np.ndindex(5, 7):
        one = {(s.rule, s.side, s.index) for s in nelson(chart(z[place]))}
        many = {
            (n, side, int(i)) for n, m in masks.items() for side, at in m.items() for i in np.flatnonzero(at[place])
        }
        assert many == one
    assert sum(int(at.sum()) for m in masks.values() for at in m.values()) > 100


def test_no_pattern_runs_across_a_split_or_over_a_point_set_aside():
    counts = [9] * 5 + [11] * 10 + [9] * 5
    assert [s.index for s in western_electric(p_chart(count=counts, size=100))] == [12, 13, 14]
    assert western_electric(p_chart(count=counts, size=100, stages=[10])) == ()
    whole = p_chart(count=[9, 11] * 6 + [11] * 7, size=100, baseline=slice(0, 12))
    assert [s.points for s in western_electric(whole)] == [tuple(range(11, 19))]
    aside = p_chart(count=[9, 11] * 6 + [11] * 7, size=100, baseline=slice(0, 12), set_aside={15: "a test day"})
    assert western_electric(aside) == ()


def test_judge_takes_sets_and_single_rules():
    z = chart([0.5] * 8 + [3.5])
    by_set = judge(z, western_electric).signals
    assert [(s.index, s.rule) for s in by_set] == [
        (7, "eight in a row, same side"),
        (8, "beyond the limits"),
        (8, "eight in a row, same side"),
    ]
    assert judge(z, *MONTHLY).signals == by_set


def test_probability_limits_are_those_of_the_chart():
    """Rule 1 goes by the limits drawn, not by three sigma."""
    drawn = Chart(values=np.array([3.5, -2.9]), centre=np.zeros(2), lower=np.full(2, -2.5), upper=np.full(2, 4.0),
                  sigma=np.ones(2))
    assert [(s.index, s.rule, s.side) for s in western_electric(drawn)] == [(1, "beyond the limits", "below")]


@pytest.mark.parametrize(
    ("made", "message"),
    [
        (lambda: ZoneRule(name="x", need=0, out_of=3), "need must be from 1 to out_of: need 0, out_of 3"),
        (lambda: ZoneRule(name="x", need=4, out_of=3), "need must be from 1 to out_of"),
        (lambda: ZoneRule(name="x", need=2, out_of=3, beyond=-1), "beyond must be at least 0 and below within"),
        (lambda: ZoneRule(name="x", need=2, out_of=3, beyond=2, within=2, sides="either"), "below within: beyond 2"),
        (lambda: TrendRule(name="x", length=2), "length must be at least 3 points: 2"),
    ],
)
def test_refused(made, message):
    with pytest.raises(ValueError, match=message):
        made()
