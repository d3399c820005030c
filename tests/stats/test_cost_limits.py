"""Limits for sums and means of skewed amounts: special cases with exact answers, and coverage by simulation."""

import numpy as np
import pytest
from scipy import stats

from rqa.stats import mean_interval, total_interval


def sums(x: np.ndarray) -> dict[str, np.ndarray]:
    return {"total": x.sum(-1), "squares": (x**2).sum(-1), "cubes": (x**3).sum(-1)}


@pytest.mark.parametrize("amount", [1.0, 250.0])
@pytest.mark.parametrize("events", [1, 4, 37])
def test_amounts_all_alike_give_the_exact_poisson_limits(events: int, amount: float) -> None:
    """Garwood's (1936) limits by chi-squared quantiles, as scipy has them, times the amount."""
    r = total_interval(total=events * amount, squares=events * amount**2, largest=amount)
    assert float(r.low) == pytest.approx(amount * stats.chi2.ppf(0.025, 2 * events) / 2, rel=1e-10)
    assert float(r.high) == pytest.approx(amount * stats.chi2.ppf(0.975, 2 * events + 2) / 2, rel=1e-10)


def test_no_events_leave_an_upper_limit() -> None:
    """The rule of three with 3.689 for two-sided 95 %: −ln(0.025) events of the largest amount."""
    r = total_interval(total=0, squares=0, largest=100.0)
    assert (float(r.estimate), float(r.low)) == (0.0, 0.0)
    assert float(r.high) == pytest.approx(-100 * np.log(0.025), rel=1e-12)


def test_limits_follow_the_formula_of_the_source() -> None:
    """Fay and Feuer (1997) write both limits as chi-squared quantiles with fractional degrees of freedom."""
    x = np.array([12.0, 30.0, 55.0, 210.0, 18.5])
    y, v, w = x.sum(), (x**2).sum(), x.max()
    r = total_interval(total=y, squares=v, largest=w, level=0.9)
    assert float(r.low) == pytest.approx(v / (2 * y) * stats.chi2.ppf(0.05, 2 * y**2 / v), rel=1e-10)
    above = (v + w**2) / (2 * (y + w)) * stats.chi2.ppf(0.95, 2 * (y + w) ** 2 / (v + w**2))
    assert float(r.high) == pytest.approx(above, rel=1e-10)


def test_total_covers_as_often_as_promised() -> None:
    """Compound Poisson totals with log-normal amounts; 3,000 draws: two standard errors are 0.8 points."""
    rng, draws = np.random.default_rng(20), 3000
    number = rng.poisson(40, draws)
    amounts = rng.lognormal(0, 0.8, (draws, number.max())) * (np.arange(number.max()) < number[:, None])
    r = total_interval(total=amounts.sum(1), squares=(amounts**2).sum(1), largest=amounts.max(1))
    truth = 40 * np.exp(0.8**2 / 2)
    assert np.mean((r.low <= truth) & (truth <= r.high)) >= 0.95 - 0.008


@pytest.mark.parametrize(("size", "least"), [(10, 0.93), (50, 0.938)])
def test_mean_covers_more_often_than_students_limits(size: int, least: float) -> None:
    """Exponential amounts, skewness 2. `least`: what is promised less what the docstring admits for few amounts."""
    x = np.random.default_rng(21).exponential(1, (4000, size))
    r = mean_interval(number=size, **sums(x))
    half = stats.t.ppf(0.975, size - 1) * x.std(1, ddof=1) / size**0.5
    ours = np.mean((r.low <= 1) & (r.high >= 1))
    assert ours >= least
    assert ours > np.mean(np.abs(x.mean(1) - 1) <= half)


def test_without_skewness_the_limits_are_students() -> None:
    x = np.array([8.0, 9.0, 10.0, 11.0, 12.0])
    r = mean_interval(number=5, **sums(x))
    assert (float(r.low), float(r.high)) == pytest.approx(stats.t.interval(0.95, 4, 10, stats.sem(x)), rel=1e-9)


def test_hall_s_transformation_takes_the_limits_back_to_the_quantiles() -> None:
    """Put into the transformation as Hall (1992) writes it, each limit gives Student's quantile."""
    x = np.array([20.0, 25.0, 30.0, 35.0, 40.0, 60.0, 90.0, 180.0])
    n, deviation, skew = len(x), x.std(), stats.skew(x)
    r = mean_interval(number=n, **sums(x))
    for limit, chance in ((r.low, 0.975), (r.high, 0.025)):
        t = (x.mean() - float(limit)) / deviation
        transformed = t + skew * t**2 / 3 + skew**2 * t**3 / 27 + skew / (6 * n)
        assert transformed * np.sqrt(n - 1) == pytest.approx(stats.t.ppf(chance, n - 1), rel=1e-9)


def test_none_one_and_all_alike() -> None:
    r = mean_interval(number=[0, 1, 4], total=[0, 30, 40], squares=[0, 900, 400], cubes=[0, 27000, 4000])
    assert np.isnan(r.estimate[0])
    assert np.isnan([r.low[0], r.high[0], r.low[1], r.high[1]]).all()
    assert (r.estimate[1], r.estimate[2], r.low[2], r.high[2]) == (30, 10, 10, 10)


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match="largest must be above 0"):
        total_interval(total=5, squares=25, largest=0)
    with pytest.raises(ValueError, match="total must be at least 0"):
        mean_interval(number=1, total=-1, squares=1, cubes=1)
