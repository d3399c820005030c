"""How far limits reach: each formula as its docstring has it, with SciPy's quantiles, at more than one level.

A simulation sees a wrong quantile only with thousands of sets; the formula sees it in the ninth digit.
"""

import numpy as np
import pytest
from scipy import stats

from rqa.stats import (
    chain_ladder,
    cohen_kappa,
    cumulative_incidence,
    fleiss_kappa,
    incidence_contrast,
    interrupted_series,
    kaplan_meier,
    mean_cumulative_function,
    rate_change,
    smoothed_hazard,
)

LEVELS = [0.5, 0.8, 0.95, 0.99]


@pytest.fixture(params=LEVELS)
def level(request):
    return request.param


@pytest.fixture
def z(level):
    return stats.norm.ppf((1 + level) / 2)


def log_log(share, se, z):
    """1 - exp(-c exp(-/+ z se / ((1 - share) c))), c = -log(1 - share)."""
    c = -np.log(1 - share)
    reach = z * se / ((1 - share) * c)
    return 1 - np.exp(-c * np.exp(-reach)), 1 - np.exp(-c * np.exp(reach))


def test_shares_that_grow_from_day_to_day(level, z):
    r = kaplan_meier(day=[5, 20, 30], returned=[40, 30, 0], censored=[20, 50, 860], level=level)
    low, high = log_log(r.share, r.se, z)
    assert r.low == pytest.approx(low, rel=1e-9)
    assert r.high == pytest.approx(high, rel=1e-9)
    mean = r.mean_days(30)
    assert float(mean.low) == pytest.approx(float(mean.days - z * mean.se), rel=1e-9)
    causes = cumulative_incidence(
        day=[5, 20, 30], returned=[[14, 6], [9, 12], [3, 1]], censored=[20, 50, 860], level=level
    )
    low, high = log_log(causes.share, causes.se, z)
    assert causes.low == pytest.approx(low, rel=1e-9)
    assert causes.high == pytest.approx(high, rel=1e-9)


def test_a_contrast_of_two_curves(level):
    one = kaplan_meier(day=[5, 30], returned=[40, 20], censored=[0, 540], level=level)
    two = kaplan_meier(day=[5, 30], returned=[10, 8], censored=[50, 332], level=level)
    r = incidence_contrast(one=one, two=two, day=30)
    (s1, l1, u1), (s2, l2, u2) = ((c.share[-1], c.low[-1], c.high[-1]) for c in (one, two))
    assert float(r.difference_low) == pytest.approx(s1 - s2 - np.hypot(s1 - l1, u2 - s2), rel=1e-9)
    assert float(r.difference_high) == pytest.approx(s1 - s2 + np.hypot(u1 - s1, s2 - l2), rel=1e-9)


def test_the_chance_by_day(level, z):
    r = smoothed_hazard(day=range(5), returned=[9, 6, 3, 2, 2], censored=[0, 0, 0, 0, 976], bandwidth=3, level=level)
    reach = np.exp(z * r.se / r.hazard)
    assert r.low == pytest.approx(r.hazard / reach, rel=1e-9)
    assert r.high == pytest.approx(r.hazard * reach, rel=1e-9)


@pytest.mark.parametrize("units", [19, 20, 60])
def test_mean_returns_of_few_and_many_units(units, level, z):
    """Student's t with units - 1 degrees below 20 units, else the normal law."""
    end = dict.fromkeys(range(units), 20)
    r = mean_cumulative_function(unit=[0, 0, 1, 2], time=[3, 9, 5, 9], end=end, level=level)
    times = stats.t.ppf((1 + level) / 2, units - 1) if units < 20 else z
    assert r.low == pytest.approx(r.mcf / np.exp(times * r.se / r.mcf), rel=1e-9)
    assert r.high == pytest.approx(r.mcf * np.exp(times * r.se / r.mcf), rel=1e-9)


def test_a_change_of_a_rate(level, z):
    r = rate_change(
        returned_before=[30, 12], before=[400, 300], returned_after=[9, 5], after=[260, 240], level=level
    )
    assert (float(r.low), float(r.high)) == pytest.approx(
        (float(r.difference - z * r.se), float(r.difference + z * r.se)), rel=1e-9
    )


def test_agreement(level, z):
    two = cohen_kappa([[45, 3], [5, 17]], level=level)
    assert (two.low, two.high) == pytest.approx(
        (two.kappa - z * two.standard_error, min(1, two.kappa + z * two.standard_error)), rel=1e-9
    )
    many = fleiss_kappa([[3, 0], [2, 1], [0, 3], [1, 2], [3, 0], [0, 3], [3, 0]], level=level)
    t = stats.t.ppf((1 + level) / 2, 6)
    assert many.low == pytest.approx(max(-1, many.kappa - t * many.standard_error), rel=1e-9)


def test_what_is_still_to_come(level, z):
    """Log-normal limits of the same mean and standard error."""
    r = chain_ladder(cumulative=[[10, 18, 20], [12, 20, np.nan], [8, np.nan, np.nan]], level=level)
    spread = np.sqrt(np.log1p((r.se[2] / r.to_come[2]) ** 2))
    middle = np.log(r.to_come[2]) - spread**2 / 2
    expected = stats.lognorm.ppf([(1 - level) / 2, (1 + level) / 2], spread, scale=np.exp(middle))
    assert (float(r.low[2]), float(r.high[2])) == pytest.approx(tuple(expected), rel=1e-9)


def test_terms_of_an_interrupted_series(level, z):
    count = [8, 9, 7, 10, 8, 9, 8, 7, 9, 8, 3, 4, 3, 5, 3, 4]
    r = interrupted_series(count=count, size=[100] * 16, first_after=10, level=level)
    assert r.dispersion == 1.0
    assert r.low == pytest.approx(r.estimate - z * r.se, rel=1e-9)
    assert r.high == pytest.approx(r.estimate + z * r.se, rel=1e-9)
