"""Parts of answers that no other test looks at: each from its definition, or from SciPy."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from rqa.spc import ShewhartDesign, constants, cusum_chart, laney_p_chart, p_chart, run_length, xbar_r_chart
from rqa.spc.dispersion import dispersion
from rqa.spc.rules import beyond_limits
from rqa.spc.run_lengths.points import SharePoints
from rqa.stats import capability, expectation_test, gauge_rr, knox_test, overdispersion, smoothed_hazard
from rqa.stats.beta_binomial_limits import _matched
from rqa.stats.capability_index import _percentile
from rqa.stats.projection import _some


def test_knox_ratio_is_both_over_expected():
    r = knox_test(pairs=[4560, 100], close_in_time=[152, 20], close_in_kind=[25, 10], both=[5, 1])
    assert r.ratio == pytest.approx([5 * 4560 / (152 * 25), 1 * 100 / (20 * 10)], rel=1e-12)


def test_percentiles_lie_at_rank_p_times_one_more_than_there_are():
    """The values 1 to 7,399 in a seeded order: rank p (n + 1) is the value itself."""
    n = 7_399
    x = np.random.default_rng(3).permutation(np.arange(1.0, n + 1.0))
    r = capability(x, lower_limit=-2_000, upper_limit=9_000, method="percentile")
    low, middle, high = 0.00135 * (n + 1), 0.5 * (n + 1), 0.99865 * (n + 1)
    assert r.pp.estimate == pytest.approx(11_000 / (high - low), rel=1e-10)
    assert r.upper.estimate == pytest.approx((9_000 - middle) / (high - middle), rel=1e-10)
    assert r.lower.estimate == pytest.approx((middle + 2_000) / (middle - low), rel=1e-10)


def test_the_ranks_that_hold_a_median():
    """Of a hundred values the 40th and the 61st hold the median with 95 % or more (binomial, by SciPy)."""
    r = _percentile(np.arange(1.0, 101.0), 0.5, 0.05)
    least = int(stats.binom.ppf(0.025, 100, 0.5))
    assert (r.low, r.high) == (float(least), float(101 - least)) == (40.0, 61.0)


def test_returns_to_come_after_months_without_any():
    """Twenty jobs out, none of 1,000 back: mean and variance of the beta-binomial, which it is near."""
    mean, variance = _some(np.array([0.0]), np.array([0.0]), np.array([20]), SimpleNamespace(at_risk=1_000))
    exact = stats.betabinom(20, 0.5, 1_000.5)
    assert float(mean[0]) == pytest.approx(exact.mean(), rel=1e-3)
    assert float(variance[0]) == pytest.approx(exact.var(), rel=0.005)


def test_a_sum_does_not_know_its_unit():
    """Values in metres and in micrometres give the same signals, on both sides, also where a sum is on its limit."""
    x = np.array([0, 0, 3, 3, 3, 0, -9, 0, -3, -3, -3, 0, 0.5, 1.0])
    plain = cusum_chart(x, target=0.0, sigma=1.0, k=0.5, h=5.0)
    for unit in (1e-6, 1e6):
        other = cusum_chart(x * unit, target=0.0, sigma=unit, k=0.5, h=5.0)
        assert [(s.index, s.side) for s in other.signals] == [(s.index, s.side) for s in plain.signals]
    assert {s.side for s in plain.signals} == {"above", "below"}


def test_jobs_are_at_risk_on_the_last_day_they_were_followed():
    """Two groups, one followed to day 3 and one to day 5: known to the last day, and no further."""
    r = smoothed_hazard(
        day=[0, 1, 3, 5], returned=[[1, 0, 1, 0], [2, 1, 0, 1]], censored=[[0, 2, 6, 0], [0, 0, 1, 5]], bandwidth=1
    )
    assert r.day.tolist() == [0, 1, 2, 3, 4, 5]
    assert r.at_risk.tolist() == [[10, 9, 7, 7, 0, 0], [10, 8, 7, 7, 6, 6]]
    assert np.isnan(r.hazard[0]).tolist() == [False] * 4 + [True] * 2
    assert r.hazard[1] == pytest.approx([2 / 10, 1 / 8, 0, 0, 0, 1 / 6])


@pytest.mark.parametrize("x", [0, 2, 5, 6, 9, 15])
def test_mid_p_takes_half_of_the_count_s_own_chance(x):
    r = expectation_test(observed=x, expected=5.5)
    here = stats.poisson.pmf(x, 5.5)
    at_most, at_least = stats.poisson.cdf(x, 5.5), stats.poisson.sf(x - 1, 5.5)
    assert float(r.p_mid) == pytest.approx(2 * min(at_most - here / 2, at_least - here / 2), rel=1e-10)
    assert float(r.p_mid) <= float(r.p_value)


def test_groups_without_expectation_or_variance_do_not_count():
    expected, variance = [4.0, 2.0, 0.0, 20.0], [4.0, 0.0, 3.0, 16.0]
    r = overdispersion(observed=[9, 5, 4, 30], expected=expected, variance=variance, winsorise=0)
    assert r.groups == 2
    assert np.isnan(r.z).tolist() == [False, True, True, False]
    assert r.phi == pytest.approx((2.5**2 + 2.5**2) / 2)
    assert r.z_multiplicative[[0, 3]] == pytest.approx([1.0, 1.0])
    # One in five of ten is cut at each end: the two highest become the third highest.
    ten = overdispersion(observed=[4, 5, 6, 7, 8, 9, 10, 11, 30, 40], expected=9.0, winsorise=0.2)
    z = np.array([6, 6, 6, 7, 8, 9, 10, 11, 11, 11]) - 9.0
    assert ten.phi == pytest.approx(max(1.0, float((z**2).sum()) / 9.0 / 10))
    with pytest.raises(ValueError, match=r"from 0 to below 0\.5"):
        overdispersion(observed=[1], expected=[1.0], winsorise=0.5)


def test_neighbours_are_those_without_a_gap_between():
    """Correlation over the pairs that are there, against the spread of all points."""
    z = np.array([0.4, -1.2, np.nan, 2.0, -0.6, 0.1])
    centred = z - np.nanmean(z)
    pairs = centred[0] * centred[1] + centred[3] * centred[4] + centred[4] * centred[5]
    assert dispersion(z).correlation == pytest.approx(pairs / np.nansum(centred**2), rel=1e-12)
    assert np.isnan(dispersion(np.full(6, 2.0)).correlation)


@pytest.mark.parametrize(("share", "mean"), [(1.0, 1.0), (0.0, np.inf)])
def test_shares_of_all_or_none(share, mean):
    """Fifty jobs that all fail are out at once; of a chart with no lower limit, none is ever out."""
    points = SharePoints(size=50, centre=0.1, share=share)
    assert run_length(ShewhartDesign(rules=(beyond_limits,)), points=points).mean == mean
    zones = list(points.zones((-np.inf, -0.0, 0.0, 3.0, np.inf), trends=False))
    assert [float(zone.chance.sum()) for zone in zones] == ([1, 0, 0, 0] if share == 0.0 else [0, 0, 0, 1])


def test_zones_of_shares_hold_the_binomial():
    """Ten jobs at one in five: the count of two is on the centre line, those of three to five within 3 sigma."""
    points = SharePoints(size=10, centre=0.2, share=0.3)
    found = [float(zone.chance.sum()) for zone in points.zones((-np.inf, -0.0, 0.0, 3.0, np.inf), trends=False)]
    chance = stats.binom.pmf(np.arange(11), 10, 0.3)
    assert found == pytest.approx([chance[:2].sum(), chance[2], chance[3:6].sum(), chance[6:].sum()], rel=1e-12)


@pytest.mark.parametrize(("count", "told"), [([0, 0, 0], "No event in"), ([9, 9, 9], "Every job had"), ([2, 3, 4], "")])
def test_what_a_chart_of_shares_says_of_none_and_all(count, told):
    warnings = p_chart(count=count, size=9).warnings
    for text in ("No event in", "Every job had"):
        assert any(text in warning for warning in warnings) == (text == told)


def test_the_spread_of_a_range_chart():
    """Sigma of a mean is the mean range over d2 root n; that of a range d3 times sigma."""
    rows = [[1.0, 2.0, 1.5], [2.0, 2.5, 1.0], [1.5, 1.0, 3.0], [2.0, 1.0, 1.5]]
    chart, factors = xbar_r_chart(rows), constants(3)
    sigma = np.mean([1.0, 1.5, 2.0, 1.0]) / factors.d2
    assert chart.sigma == pytest.approx(np.full(4, sigma / np.sqrt(3)), rel=1e-12)
    assert chart.spread.sigma == pytest.approx(np.full(4, factors.d3 * sigma), rel=1e-12)
    assert chart.spread.centre == pytest.approx(np.full(4, 1.375), rel=1e-12)
    # A subgroup without values sets nothing and has no limits.
    gap = xbar_r_chart([*rows, [np.nan] * 3])
    assert gap.centre == pytest.approx([chart.centre[0]] * 5, rel=1e-12)
    assert np.isnan([gap.sigma[4], gap.upper[4], gap.spread.sigma[4]]).all()


def test_what_is_told_of_a_spread_below_chance():
    """A spread of 1, as of a chart without any, is not below chance; a stage below it is told by its own figure."""
    flat = laney_p_chart(count=[0] * 24, size=20)
    assert flat.sigma_z.tolist() == [1.0] * 24
    assert not any("less than chance" in told for told in flat.warnings)
    wide, narrow = [30, 80, 20, 90, 40, 70], [50, 51, 50, 49, 50, 50]
    both = laney_p_chart(count=wide + narrow, size=500, stages=[6])
    (told,) = (warning for warning in both.warnings if "less than chance" in warning)
    assert f"sigma_z = {both.sigma_z[6]:.2f}" in told
    assert not any("less than chance" in told for told in laney_p_chart(count=wide, size=500).warnings)


def test_an_interaction_beside_repeats_that_never_differ():
    """Repeats alike to the last digit leave nothing to set it against: F is endless, and p is not 0."""
    r = gauge_rr([[[1.0, 1.0], [2.0, 2.0]], [[4.0, 4.0], [3.0, 3.0]], [[5.0, 5.0], [7.0, 7.0]]])
    assert r.f_interaction == np.inf
    assert r.p_interaction == np.finfo(float).tiny


def test_a_mixture_of_betas_is_matched_in_mean_and_variance():
    """Posteriors of one strength over three means: the mean and variance of the mixture, by SciPy's distributions."""
    x, n = np.array([3.0, 0.0]), np.array([20.0, 7.0])
    means, weights = np.array([0.05, 0.1, 0.4]), np.array([2.0, 5.0, 1.0])
    a, b = _matched(x, n, 30.0, means, weights)
    w = weights / weights.sum()
    for i in range(2):
        parts = [stats.beta(x[i] + m * 30, n[i] - x[i] + (1 - m) * 30) for m in means]
        mean = sum(wi * p.mean() for wi, p in zip(w, parts, strict=True))
        square = sum(wi * (p.var() + p.mean() ** 2) for wi, p in zip(w, parts, strict=True))
        made = stats.beta(a[i], b[i])
        assert made.mean() == pytest.approx(mean, rel=1e-12)
        assert made.var() == pytest.approx(square - mean**2, rel=1e-9)
