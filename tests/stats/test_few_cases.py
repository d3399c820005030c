"""An interval from few cases is wide, also where their counts do not vary; and it covers the truth as promised."""

import numpy as np
import pytest
from scipy import stats

from rqa.stats import (
    cohen_kappa,
    cumulative_incidence,
    difference_interval,
    fleiss_kappa,
    kaplan_meier,
    mean_cumulative_function,
    proportion_interval,
    rate_change,
    sampling_plan,
    smoothed_hazard,
)
from tests.cases import some_slow


def split(before, after):
    return rate_change(returned_before=[before], before=[5], returned_after=[after], after=[5])


FEW = {
    "all before, none after": lambda: split(5, 0),
    "none on either side": lambda: split(0, 0),
    "all on both sides": lambda: split(5, 5),
    "in two strata": lambda: rate_change(returned_before=[3, 2], before=[3, 2], returned_after=[0, 0], after=[4, 1]),
    "never agreed": lambda: cohen_kappa([[0, 5], [5, 0]]),
    "one always says the same": lambda: cohen_kappa([[0, 5], [0, 0]]),
    "always agreed": lambda: cohen_kappa([[3, 0], [0, 2]]),
    "half a step apart": lambda: cohen_kappa([[0, 4, 0], [0, 0, 0], [0, 0, 0]], weights="linear"),
    "each unit split": lambda: fleiss_kappa([[1, 1], [1, 1], [1, 1]]),
    "each unit agreed on": lambda: fleiss_kappa([[2, 0], [0, 2]]),
    "two units, a return each": lambda: mean_cumulative_function(unit=[1, 2], time=[5, 5], end={1: 9, 2: 9}),
    "two units, three returns": lambda: mean_cumulative_function(unit=[1, 1, 2], time=[5, 6, 6], end={1: 9, 2: 9}),
    "one job that came back": lambda: smoothed_hazard(day=[0], returned=[1], censored=[0], bandwidth=1),
    "two jobs on two days": lambda: smoothed_hazard(day=[0, 1], returned=[1, 1], censored=[0, 0], bandwidth=3),
    "one job followed": lambda: kaplan_meier(day=[1, 2], returned=[1, 0], censored=[0, 0]),
    "one job, two causes": lambda: cumulative_incidence(day=[1], returned=[[1, 0]], censored=[0]),
}


@pytest.mark.parametrize("case", FEW)
def test_few_cases_leave_much_open(case):
    """At most five cases a side: no interval of a share-like figure is narrower than a third of the way from 0 to 1."""
    r = FEW[case]()
    low, high = np.asarray(r.low, dtype=float).ravel()[-1], np.asarray(r.high, dtype=float).ravel()[-1]
    assert high - low > 0.33


def test_limits_of_all_and_none_are_newcombes():
    r, other = split(5, 0), difference_interval(successes1=0, trials1=5, successes2=5, trials2=5)
    assert (float(r.low), float(r.high)) == pytest.approx((float(other.low), float(other.high)), rel=1e-9)


@pytest.mark.parametrize(("jobs", "chance"), some_slow([(5, 0.05), (20, 0.02), (5, 0.95), (25, 0.01)], 1))
def test_limits_of_a_change_cover_where_hardly_any_came_back(jobs, chance):
    """Both sides of one chance: the share of all pairs of counts whose limits hold 0, added up exactly."""
    x = np.arange(jobs + 1)
    b, a = (grid.ravel()[:, None] for grid in np.meshgrid(x, x))
    n = np.full(b.shape, jobs)
    r = rate_change(returned_before=b, before=n, returned_after=a, after=n)
    likely = stats.binom.pmf(b, jobs, chance).ravel() * stats.binom.pmf(a, jobs, chance).ravel()
    assert likely[(r.low <= 0) & (r.high >= 0)].sum() > 0.95


def test_limits_with_no_come_back_hold_what_may_well_be():
    """3 % after against none before: of 60 jobs none comes back once in six times, so the limits must hold it."""
    r = rate_change(returned_before=[0], before=[60], returned_after=[0], after=[60])
    assert (1 - 0.03) ** 60 > 0.15
    assert r.high > 0.03
    assert r.low < -0.03


def test_units_that_returned_alike_have_poisson_limits():
    """Four units with two returns each: eight events, by the exact limits of a Poisson count."""
    r = mean_cumulative_function(unit=[1, 1, 2, 2, 3, 3, 4, 4], time=[1, 5] * 4, end=dict.fromkeys(range(1, 5), 9))
    exact = stats.chi2.ppf(0.025, 16) / 8, stats.chi2.ppf(0.975, 18) / 8
    assert (float(r.low[1]), float(r.high[1])) == pytest.approx(exact, rel=1e-9)


def test_few_units_take_students_t():
    """Limits by hand: 1.5 exp(-/+ t se / 1.5) with t of one degree, where two units are known."""
    r = mean_cumulative_function(unit=[1, 1, 2], time=[5, 6, 5], end={1: 9, 2: 9})
    reach = np.exp(stats.t.ppf(0.975, 1) * float(r.se[1]) / 1.5)
    assert (float(r.low[1]), float(r.high[1])) == pytest.approx((1.5 / reach, 1.5 * reach), rel=1e-9)


@pytest.mark.slow
def test_few_units_are_covered():
    """Six units with Poisson returns of a mean of 3, the mean of each drawn anew: 2,000 sets, 3 errors are 1.5 points.

    Normal limits hold the truth in 90 sets of 100, Student's in 95.
    """
    rng, held = np.random.default_rng(4), 0
    for _ in range(2_000):
        each = rng.poisson(rng.gamma(4.0, 0.75, 6))
        unit = np.repeat(np.arange(6), each)
        r = mean_cumulative_function(unit=unit, time=rng.uniform(0, 9, unit.size), end=dict.fromkeys(range(6), 9.0))
        held += bool(r.low.size and r.low[-1] <= 3.0 <= r.high[-1])
    assert 0.935 <= held / 2_000 <= 0.985


def test_a_job_that_came_back_says_little():
    r = smoothed_hazard(day=[3], returned=[1], censored=[0], bandwidth=1)
    wilson = proportion_interval(successes=1, trials=1)
    assert (r.hazard[3], r.low[3], r.high[3]) == pytest.approx((1.0, float(wilson.low), 1.0))


def test_plans_that_tell_nearly_equal_shares_apart():
    """The plan of 0.01 against 0.0105, by the definition; and one beyond ten million jobs is refused at once."""
    plan = sampling_plan(good=0.01, bad=0.0105)
    assert stats.binom.cdf(plan.c, plan.n, 0.01) >= 0.95
    assert stats.binom.cdf(plan.c, plan.n, 0.0105) <= 0.10
    assert stats.binom.cdf(plan.c, plan.n - 1, 0.0105) > 0.10
    fewer = plan.c - np.arange(1, 200)
    least = [next(n for n in range(int(c / 0.0105), 10**7) if stats.binom.cdf(c, n, 0.0105) <= 0.1) for c in fewer[:1]]
    assert stats.binom.cdf(fewer[0], least[0], 0.01) < 0.95
    with pytest.raises(ValueError, match="no plan of up to 10,000,000 jobs"):
        sampling_plan(good=0.01, bad=0.0100001)
