"""Shares of clustered cases, and how strong an unseen cause must be: published values, definitions, coverage."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq

from rqa.stats import clustered_interval, e_value

# Rats that lived to 21 days of those alive at 4 days, by litter (Weil 1970, Food and Cosmetics Toxicology 8, as used by
# later papers on clustered shares; from memory: the sums, 142 of 158 and 112 of 145, and the design effects agree).
CONTROL = [(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (12, 13), (11, 12), (9, 10), (9, 10), (8, 9), (11, 13),
           (4, 5), (5, 7), (7, 10), (7, 10)]
TREATED = [(12, 12), (11, 11), (10, 10), (9, 9), (10, 11), (9, 10), (9, 10), (8, 9), (8, 9), (4, 5), (7, 9), (4, 7),
           (5, 10), (3, 6), (3, 10), (0, 7)]


@pytest.mark.parametrize(("litters", "sums", "effect"), [(CONTROL, (142, 158), 1.2325), (TREATED, (112, 145), 3.9529)])
def test_litters(litters, sums, effect):
    x, n = np.array(litters).T
    r = clustered_interval(successes=x, trials=n)
    assert (x.sum(), n.sum()) == sums
    assert float(r.design_effect) == pytest.approx(effect, abs=0.5e-4)
    # Effective counts, as the method has them: both over the design effect.
    assert float(r.effective_trials) == pytest.approx(n.sum() / float(r.design_effect), rel=1e-12)


@given(st.lists(st.integers(1, 12).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=9))
def test_limits_from_the_definition(clusters):
    """The variance cluster by cluster; limits as the roots of Wilson's equation with Student's quantile."""
    r = clustered_interval(successes=[x for x, _ in clusters], trials=[n for _, n in clusters])
    m, size, events = len(clusters), sum(n for _, n in clusters), sum(x for x, _ in clusters)
    p = events / size
    t, effective = stats.t.ppf(0.975, m - 1), float(m)
    if 0 < events < size:
        variance = m / (m - 1) * sum((x - n * p) ** 2 for x, n in clusters) / size**2
        effect = variance / (p * (1 - p) / size)
        assert float(r.design_effect) == pytest.approx(effect, rel=1e-9, abs=1e-12)
        effective = size / max(effect, 1.0)

    def apart(share):
        return (p - share) ** 2 - t**2 * share * (1 - share) / effective

    low = 0.0 if events == 0 else brentq(apart, 1e-12, p) if events < size else brentq(apart, 1e-12, 1 - 1e-12)
    assert float(r.low) == pytest.approx(low, abs=1e-7)
    high = 1.0 if events == size else brentq(apart, p, 1 - 1e-12) if events else brentq(apart, 1e-12, 1 - 1e-12)
    assert float(r.high) == pytest.approx(high, abs=1e-7)


def test_ends_of_clusters():
    r = clustered_interval(
        successes=[[0, 0, 0], [5, 4, 6], [1, 0, 0], [0, 0, 0]], trials=[[5, 4, 6], [5, 4, 6], [3, 0, 0], [0, 0, 0]]
    )
    assert r.clusters.tolist() == [3, 3, 1, 0]
    assert (float(r.low[0]), float(r.high[1])) == (0.0, 1.0)
    # Nothing of three clusters says hardly anything, however many cases they have.
    assert r.high[0] > 0.8
    assert r.low[1] < 0.2
    assert np.isnan(r.low[2:]).all()
    assert np.isnan(r.estimate[3])
    assert np.isnan(r.design_effect).all()
    single = clustered_interval(successes=[1, 0, 0, 1, 0], trials=[1] * 5)
    # Clusters of one case: the effect is m / (m - 1).
    assert float(single.design_effect) == pytest.approx(5 / 4)
    with pytest.raises(ValueError, match="one axis at least"):
        clustered_interval(successes=1, trials=2)


@pytest.mark.slow
@pytest.mark.parametrize(("clusters", "strength"), [(12, 2.0), (40, 6.0), (40, np.inf)])
def test_clustered_limits_cover(clusters, strength):
    """8,000 sets of clusters of 1 to 9 cases, each of a chance of its own about 0.2; three errors are 0.007.

    Plain limits hold the truth in 75 to 80 sets of 100 where chances differ as much as in the first.
    """
    rng = np.random.default_rng(6)
    n = rng.integers(1, 10, (8_000, clusters))
    p = np.full(n.shape, 0.2) if np.isinf(strength) else rng.beta(0.2 * strength, 0.8 * strength, n.shape)
    r = clustered_interval(successes=rng.binomial(n, p), trials=n)
    assert 0.935 <= np.mean((r.low <= 0.2) & (r.high >= 0.2)) <= 0.985


def test_e_values_of_the_paper():
    """VanderWeele and Ding 2017 (from memory): 3.9 (1.8 to 8.7) gives 7.26 and 3.0, 0.5 (0.3 to 0.8) 3.41 and 1.81."""
    r = e_value(estimate=[3.9, 0.5], low=[1.8, 0.3], high=[8.7, 0.8])
    assert r.of_estimate == pytest.approx([7.26, 3.41], abs=0.005)
    assert r.of_limit == pytest.approx([3.0, 1.81], abs=0.005)


@given(st.floats(1.0, 50.0))
def test_the_e_value_is_where_the_bias_just_reaches_the_ratio(ratio):
    """Two associations of strength E bend a ratio by E E / (E + E - 1) at most: E is where that is the ratio."""
    r = e_value(estimate=[ratio, 1 / ratio], low=[ratio, 1 / ratio], high=[ratio, 1 / ratio])
    e = float(r.of_estimate[0])
    assert e * e / (2 * e - 1) == pytest.approx(ratio, rel=1e-9)
    assert r.of_estimate[1] == pytest.approx(e, rel=1e-9)
    common = e_value(estimate=ratio**2, low=ratio**2, high=ratio**2, measure="odds", common=True)
    assert float(common.of_estimate) == pytest.approx(e, rel=1e-9)


def test_ends_of_e_values():
    nan, inf = np.nan, np.inf
    low, high = [0.5, 0.9, 0.5, 2, 0, nan], [2, 1.3, 1.2, inf, 0.5, nan]
    r = e_value(estimate=[1.0, 1.1, 0.9, inf, 0.0, nan], low=low, high=high)
    assert r.of_estimate[[0, 3, 4]].tolist() == [1.0, inf, inf]
    assert r.of_limit[:3].tolist() == [1.0, 1.0, 1.0]
    assert r.of_limit[3:5] == pytest.approx([2 + np.sqrt(2)] * 2)
    assert np.isnan([r.of_estimate[5], r.of_limit[5]]).all()
    for wrong, said in (
        ({"estimate": 3.0, "low": 4.0, "high": 5.0}, "low must not be above estimate"),
        ({"estimate": -1.0, "low": -2.0, "high": 0.0}, "estimate must be at least 0"),
        ({"estimate": 2.0, "low": 1.0, "high": 3.0, "common": True}, "common must be left out"),
    ):
        with pytest.raises(ValueError, match=said):
            e_value(**wrong)
