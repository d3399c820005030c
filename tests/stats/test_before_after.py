"""Change of a rate on comparable work, net of other work, against reference libraries, definitions and simulation."""

import numpy as np
import pytest
from scipy import stats

from rqa.stats import beyond_both, difference_interval, net_change, proportion_test, rate_change


def change(b, n0, a, n1, **how):
    return rate_change(returned_before=b, before=n0, returned_after=a, after=n1, **how)


def test_one_stratum_is_the_plain_difference_and_fishers_test():
    r = change([42], [700], [14], [500])
    assert r.difference == pytest.approx(14 / 500 - 42 / 700, abs=1e-15)
    assert r.ratio == pytest.approx((14 / 500) / (42 / 700), rel=1e-12)
    # The stratified exact test doubles the smaller tail of the hypergeometric distribution (scipy).
    tail = stats.hypergeom.cdf(14, 1200, 56, 500)
    assert r.p_value == pytest.approx(2 * tail, rel=1e-9)
    assert r.z == pytest.approx(stats.norm.ppf(tail), rel=1e-9)
    # Fisher's test sums all tables as unlikely, so it lies near but not on it.
    assert proportion_test(successes1=14, trials1=500, successes2=42, trials2=700).p_value == pytest.approx(
        float(r.p_value), rel=0.3
    )


def test_one_large_stratum_has_the_limits_of_the_usual_standard_error():
    """Sato's variance and the plain one estimate the same; they are as near as 1 / jobs."""
    r = change([420], [7000], [140], [5000])
    plain = np.sqrt(0.06 * 0.94 / 7000 + 0.028 * 0.972 / 5000)
    assert r.se == pytest.approx(plain, rel=0.01)
    newcombe = difference_interval(successes1=140, trials1=5000, successes2=420, trials2=7000)
    assert r.low == pytest.approx(float(newcombe.low), abs=2e-4)
    assert r.high == pytest.approx(float(newcombe.high), abs=2e-4)


def test_the_difference_from_its_definition():
    """Mantel and Haenszel weights n0 n1 / N, written out."""
    b, n0, a, n1 = np.array([[3, 9, 0], [40, 90, 12], [1, 4, 0], [30, 50, 0]])
    weights, gaps = [], []
    for s in range(3):
        if n0[s] and n1[s]:
            weights.append(n0[s] * n1[s] / (n0[s] + n1[s]))
            gaps.append(a[s] / n1[s] - b[s] / n0[s])
    r = change(b, n0, a, n1)
    assert r.difference == pytest.approx(np.average(gaps, weights=weights), abs=1e-14)
    assert (r.before, r.after, r.comparable) == (130, 80, 210)


def test_a_changed_mix_alone_is_no_change():
    """8 % and 2 % in both kinds of work; after, most work is of the easy kind."""
    r = change([80, 2], [1000, 100], [8, 20], [100, 1000])
    assert r.difference == pytest.approx(0.0, abs=1e-15)
    assert r.ratio == pytest.approx(1.0)
    assert r.p_value > 0.99


def test_no_data_no_come_backs_and_questions_side_by_side():
    nothing = change([3], [30], [0], [0])
    assert np.isnan([nothing.difference, nothing.low, nothing.z, nothing.p_value]).all()
    none = change([0], [40], [0], [60])
    assert (none.difference, none.z, none.p_value) == (0.0, 0.0, 1.0)
    assert none.low < 0 < none.high
    both = change([[42], [0]], [[700], [40]], [[14], [0]], [[500], [60]])
    assert both.difference.tolist() == [float(change([42], [700], [14], [500]).difference), 0.0]


def test_the_limits_cover_as_promised():
    """Pairs of counts in four thin strata, with a true difference in each of -4 points."""
    rng = np.random.default_rng(5)
    n0, n1 = np.array([120, 80, 40, 25]), np.array([60, 90, 30, 10])
    p0 = np.array([0.06, 0.08, 0.1, 0.14])
    b, a = rng.binomial(n0, p0, (600, 4)), rng.binomial(n1, p0 - 0.04, (600, 4))
    r = change(b, np.broadcast_to(n0, b.shape), a, np.broadcast_to(n1, a.shape))
    covered = ((r.low <= -0.04) & (r.high >= -0.04)).mean()
    # 600 pairs, 3 standard errors of the simulation are 2.7 points.
    assert 0.95 - 0.027 <= covered <= 0.95 + 0.027


def test_net_change_by_hand():
    own, other = change([42], [700], [14], [500]), change([36], [900], [30], [800])
    net = net_change(own=own, other=other)
    assert net.difference == pytest.approx((0.028 - 0.06) - (30 / 800 - 36 / 900), abs=1e-14)

    def pooled(b, n0, a, n1):
        p = (a + b) / (n0 + n1)
        # N / (N - 1): the variance of a hypergeometric draw.
        return p * (1 - p) * (1 / n0 + 1 / n1) * (n0 + n1) / (n0 + n1 - 1)

    se = np.sqrt(pooled(42, 700, 14, 500) + pooled(36, 900, 30, 800))
    assert net.z == pytest.approx(float(net.difference) / se, rel=1e-12)
    assert net.p_value == pytest.approx(2 * stats.norm.cdf(-abs(float(net.z))), rel=1e-12)


def test_both_must_point_one_way():
    assert beyond_both([-3.0, 2.0, -3.0, 0.0], [-2.0, 2.5, 1.0, 4.0]).tolist() == [-2.0, 2.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        (([5], [4], [0], [3]), "returned_before must not be above before"),
        (([1], [4], [0, 0], [3, 3]), "of one shape"),
        ((1, 4, 0, 3), "of one shape"),
        (([1.5], [4], [0], [3]), "whole numbers"),
    ],
)
def test_bad_counts(numbers, said):
    with pytest.raises(ValueError, match=said):
        change(*numbers)


def test_levels_must_agree():
    with pytest.raises(ValueError, match="one level"):
        net_change(own=change([1], [9], [1], [9]), other=change([1], [9], [1], [9], level=0.9))
