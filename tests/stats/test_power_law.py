"""Return rate by age: published fits, defining equations, simulation, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from rqa.stats import laplace_test, mil_hdbk_189_test, power_law_fit

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))
HOURS, HANDBOOK = PUBLISHED["growth_hours"], PUBLISHED["handbook_growth"]

AGES = st.lists(st.floats(0.01, 99), min_size=3, max_size=40)


def units(rng, ends, rates, shape):
    """Returns of units with mean rate x age^shape, each watched to its end."""
    many = rng.poisson(rates * ends**shape)
    unit = np.repeat(np.arange(ends.size), many)
    return {
        "unit": unit,
        "time": ends[unit] * rng.random(unit.size) ** (1 / shape),
        "end": (np.arange(ends.size), ends),
    }


def test_ten_failures():
    """NIST/SEMATECH e-Handbook 8.4.5.2 (seen: the modified estimates; the ordinary shape recomputed)."""
    r = power_law_fit(time=HOURS["failures"], end=HOURS["end"])
    assert abs(r.unbiased_shape - HOURS["unbiased_shape"]) <= 0.5e-6
    assert abs(1 - r.unbiased_shape - HOURS["growth_slope"]) <= 0.5e-6
    assert abs(r.unbiased_scale - HOURS["unbiased_scale"]) <= 0.5e-7
    assert abs(r.unbiased_mtbf - HOURS["mtbf_at_end"]) <= 0.5e-3
    assert abs(r.shape - HOURS["shape"]) <= 0.5e-6
    assert r.expected(HOURS["end"]) == pytest.approx(10)


def test_handbook_example():
    """MIL-HDBK-189 (1981) appendix C (seen, 7 decimals)."""
    r = power_law_fit(time=HANDBOOK["failures"], end=HANDBOOK["end"])
    half = 0.5 * 10.0 ** -HANDBOOK["decimals"]
    assert abs(r.shape - HANDBOOK["shape"]) <= half
    assert abs(r.unbiased_shape - HANDBOOK["unbiased_shape"]) <= half
    assert abs(r.scale - HANDBOOK["scale"]) <= half
    assert abs(r.intensity - HANDBOOK["intensity_at_end"]) <= half
    assert abs(r.mtbf - HANDBOOK["mtbf_at_end"]) <= 0.5 * 10.0 ** -HANDBOOK["mtbf_decimals"]
    assert abs(r.cramer_von_mises - HANDBOOK["cramer_von_mises"]) <= half


def test_trend_of_ten_failures():
    """Handbook test: 37.23 from memory; Laplace worked by hand: sum 5683, so (5683 - 7500) / (1500 sqrt(10/12))."""
    r = mil_hdbk_189_test(time=HOURS["failures"], end=HOURS["end"])
    assert abs(r.statistic - PUBLISHED["trend_hours"]["mil_hdbk_189"]) <= 0.005
    assert r.p_value == pytest.approx(2 * stats.chi2.sf(r.statistic, 20), abs=1e-12)
    laplace = laplace_test(time=HOURS["failures"], end=HOURS["end"])
    assert laplace.statistic == pytest.approx((5683 - 7500) / (1500 * np.sqrt(10 / 12)), abs=1e-12)
    assert laplace.p_value == pytest.approx(2 * stats.norm.sf(-laplace.statistic), abs=1e-12)
    assert r.trend == laplace.trend == "less"


@given(AGES, st.floats(0.5, 0.999))
def test_one_unit_by_its_definition(ages, level):
    r = power_law_fit(time=ages, end=100, level=level)
    logs = np.log(100 / np.array(ages)).sum()
    n = len(ages)
    assert r.shape == pytest.approx(n / logs)
    assert r.unbiased_shape == pytest.approx((n - 1) / logs)
    # Each end gives the pivot 2 n shape / estimate the tail it should have.
    tails = stats.chi2.cdf(2 * logs * np.array([r.shape_low, r.shape_high]), 2 * n)
    assert tails == pytest.approx([(1 - level) / 2, (1 + level) / 2], abs=1e-10)
    assert r.scale * 100**r.shape == pytest.approx(n)
    # With all ends alike the variance of the logarithm of the rate at the end is 2 / n.
    assert np.log(r.intensity_high / r.intensity) == pytest.approx(stats.norm.ppf((1 + level) / 2) * np.sqrt(2 / n))
    assert r.mtbf_low == pytest.approx(1 / r.intensity_high)


@given(st.lists(st.tuples(st.integers(0, 3), st.floats(0.01, 0.99)), min_size=3, max_size=30))
def test_several_ends_maximise_the_likelihood(rows):
    """A second way: the likelihood of scale and shape itself, climbed by a general optimiser from the answer."""
    ends = np.array([50.0, 80.0, 100.0, 20.0, 70.0])  # the last unit never returned
    unit, part = (np.array(a) for a in zip(*rows, strict=True))
    time = part * ends[unit]
    r = power_law_fit(unit=unit, time=time, end=dict(enumerate(ends)))

    def minus_log_likelihood(at):
        mean, shape = np.exp(at)  # mean returns of a unit up to 100 days
        return mean * ((ends / 100) ** shape).sum() - (np.log(mean * shape) + (shape - 1) * np.log(time / 100)).sum()

    def best_mean(shape):
        return time.size / ((ends / 100) ** shape).sum()

    answer = np.log([best_mean(r.shape), r.shape])
    best = minus_log_likelihood(answer)
    found = optimize.minimize(minus_log_likelihood, answer, method="Nelder-Mead").fun
    assert best <= found + 1e-6
    assert r.expected(100) == pytest.approx(best_mean(r.shape))
    # At either end of the interval the best likelihood has dropped by half the chi-square quantile.
    for shape in (r.shape_low, r.shape_high):
        drop = minus_log_likelihood(np.log([best_mean(shape), shape])) - best
        assert drop == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, rel=1e-6)


def test_own_scales():
    """Units of very unlike rates: the shape is that of all ages taken as parts of their ends."""
    unit, time, ends = [1, 1, 1, 2], [10, 30, 90, 40], {1: 100, 2: 50, 3: 80}
    r = power_law_fit(unit=unit, time=time, end=ends, scales="own")
    logs = np.log(100 / np.array([10, 30, 90])).sum() + np.log(50 / 40)
    assert r.shape == pytest.approx(4 / logs)
    assert r.units == 3
    assert r.scale == pytest.approx(4 / (100**r.shape + 50**r.shape + 80**r.shape))


def test_failure_truncation():
    """The last return is the end and says nothing: n - 1 degrees of freedom, (n - 2) / n of the shape unbiased."""
    times = HANDBOOK["failures"]
    r = power_law_fit(time=times, truncation="failure")
    logs = np.log(times[-1] / np.array(times)).sum()
    assert r.shape == pytest.approx(27 / logs)
    assert r.unbiased_shape == pytest.approx(25 / logs)
    assert stats.chi2.cdf(2 * logs * r.shape_high, 52) == pytest.approx(0.975)
    assert mil_hdbk_189_test(time=times, truncation="failure").statistic == pytest.approx(2 * logs)
    rest = np.array(times[:-1])
    expected = (rest.sum() - 26 * times[-1] / 2) / (times[-1] * np.sqrt(26 / 12))
    assert laplace_test(time=times, truncation="failure").statistic == pytest.approx(expected)


@pytest.mark.slow
@pytest.mark.parametrize("scales", ["common", "own"])
def test_limits_cover_the_truth(scales):
    """500 invented groups of 60 units seen for 50 to 200 days, shape 1.4; "own" with rates that differ tenfold.

    Binomial error of a coverage of 0.95 over 500 is 0.0097: 0.92 to 0.98 leaves three of them.
    """
    rng = np.random.default_rng(78)
    shape_held, rate_held, fits = [], [], []
    for _ in range(500):
        ends = rng.uniform(50, 200, 60)
        rates = 0.0005 * (rng.uniform(0.2, 1.8, 60) if scales == "own" else np.ones(60))
        r = power_law_fit(**units(rng, ends, rates, 1.4), scales=scales)
        shape_held.append(r.shape_low <= 1.4 <= r.shape_high)
        truth = 0.0005 * 1.4 * ends.max() ** 0.4
        rate_held.append(r.intensity_low <= truth <= r.intensity_high)
        fits.append(r.goodness_p)
    assert 0.92 <= np.mean(shape_held) <= 0.98
    if scales == "common":
        assert 0.92 <= np.mean(rate_held) <= 0.98
        # Where the model holds, p is below 0.1 in about a tenth of the groups (three standard errors are 0.04).
        assert abs(np.mean(np.array(fits) < 0.1) - 0.1) <= 0.04


@pytest.mark.parametrize("test", [laplace_test, mil_hdbk_189_test])
def test_level_is_kept_and_trends_are_seen(test):
    """1,000 groups of 20 units of unlike rates without a trend, and with one either way."""
    rng = np.random.default_rng(90)
    p = {}
    for shape in (1.0, 0.5, 2.0):
        found = []
        for _ in range(1000 if shape == 1 else 100):
            ends = rng.uniform(50, 200, 20)
            found.append(test(**units(rng, ends, rng.uniform(0.2, 1.8, 20) * ends**-shape, shape)))
        p[shape] = np.array([r.p_value for r in found])
        if shape != 1:
            trends = {r.trend for r in found if r.p_value < 0.05}
            assert trends == {"more" if shape > 1 else "less"}
    # Three binomial standard errors of 0.05 over 1,000 are 0.021.
    assert abs((p[1.0] < 0.05).mean() - 0.05) <= 0.021
    assert (p[0.5] < 0.05).mean() > 0.5
    assert (p[2.0] < 0.05).mean() > 0.5


def test_a_bad_fit_is_seen():
    """Returns that crowd at both ends of the watch follow no power law."""
    ages = [*np.linspace(0.5, 8, 30), *np.linspace(92, 99.9, 30)]
    assert power_law_fit(time=ages, end=100).goodness_p < 0.01


def test_no_data():
    none = power_law_fit(time=[], end=100)
    assert none.returns == 0
    assert np.isnan([none.shape, none.scale, none.mtbf, none.goodness_p]).all()
    for test in (laplace_test, mil_hdbk_189_test):
        r = test(time=[], end=100)
        assert np.isnan([r.statistic, r.p_value]).all()
        assert r.trend == "none"
        assert np.isnan(test(time=[5], truncation="failure").p_value)
    assert np.isnan(power_law_fit(time=[5], truncation="failure").shape)
    assert np.isnan(power_law_fit(time=[100], end=100).shape)
    one = power_law_fit(time=[60], end=100)
    assert one.shape_low < one.shape < one.shape_high
    assert np.isnan(one.unbiased_shape)


def test_returns_close_to_the_end_overflow_nothing():
    several = power_law_fit(unit=[1, 1], time=[100, 100 - 1e-13], end={1: 100, 2: 50})
    assert several.shape_low < several.shape < several.shape_high
    r = power_law_fit(time=[999.999], end=1000)
    assert r.scale == 0
    assert r.mtbf == pytest.approx(0.001, rel=1e-3)


@pytest.mark.parametrize("ask", [power_law_fit, laplace_test, mil_hdbk_189_test])
@pytest.mark.parametrize(
    ("given_", "message"),
    [
        (
            {"time": [3, 0], "end": 9},
            r"time must be above 0 \(to whole days, counted from 0, add a half\): time\[1\] = 0",
        ),
        ({"time": [3, 10], "end": 9}, r"time must not be after the unit's end: time\[1\] = 10"),
        ({"time": [3]}, "end must be given when truncation is 'time'"),
        ({"time": [3], "end": 9, "truncation": "failure"}, "end must be left out when truncation is 'failure'"),
        ({"time": [3], "end": [9, 8]}, "end must be one number when unit is left out"),
        ({"time": [3], "end": 9, "unit": ["A"]}, "end must name each unit when unit is given"),
        ({"time": [3], "end": {"B": 9}, "unit": ["A"]}, r"unit must have an end: unit\[0\] = 'A'"),
        ({"time": [3, 4], "unit": ["A"], "truncation": "failure"}, "one axis of one length"),
        ({"time": [3], "end": 9, "truncation": "none"}, "truncation must be one of time, failure"),
    ],
)
def test_refuses(ask, given_, message):
    with pytest.raises(ValueError, match=message):
        ask(**given_)
