"""Power and sample size: printed values, a reference library, simulation with the exact test itself."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.proportion import power_proportions_2indep, proportion_effectsize

from rqa.stats import OtherWork, chance_to_see, jobs_to_see, known_after, plan_change, rate_change, spending_bounds
from tests.cases import some_slow

PRINTED = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text(encoding="utf-8"))


def test_as_printed():
    p = PRINTED["power_two_shares"]
    ratio = p["second"] / p["first"]
    chance = chance_to_see(rate=p["first"], ratio=ratio, before=p["each"], after=p["each"], corrected=False)
    assert round(float(chance), 3) == p["power"]
    assert round(jobs_to_see(rate=p["first"], ratio=ratio, power=p["wanted"]), 1) == p["needed"]


@pytest.mark.parametrize(
    ("rate", "ratio", "before", "after"), [(0.08, 0.5, 600, 400), (0.04, 0.6, 3000, 900), (0.1, 1.5, 500, 500)]
)
def test_statsmodels_agrees(rate, ratio, before, after):
    """`power_proportions_2indep` counts both sides; the wrong side adds less than 1e-5 here. Its variances are those of
    the null of equal shares and of the alternative, as here."""
    r = chance_to_see(rate=rate, ratio=ratio, before=before, after=after, corrected=False)
    theirs = power_proportions_2indep(
        rate * ratio - rate, rate, after, ratio=before / after, alpha=0.05, return_results=False
    )
    assert r == pytest.approx(theirs, abs=1e-4)


def test_the_arcsine_power_is_near():
    """Another approximation of the same (NormalIndPower on the arcsine scale): within two points of equal sizes."""
    r = chance_to_see(rate=0.08, ratio=0.5, before=550, after=550, corrected=False)
    theirs = NormalIndPower().power(proportion_effectsize(0.08, 0.04), 550, 0.05)
    assert r == pytest.approx(theirs, abs=0.02)


def test_size_and_power_are_inverse():
    for ratio, before_per_after in ((0.5, 1.0), (0.7, 3.0), (1.4, 0.5)):
        n = jobs_to_see(rate=0.08, ratio=ratio, before_per_after=before_per_after, power=0.9)
        chance = chance_to_see(rate=0.08, ratio=ratio, before=before_per_after * n, after=n, corrected=False)
        assert chance == pytest.approx(0.9, abs=1e-9)


@pytest.mark.parametrize(
    ("n0", "n1", "p0", "p1"),
    some_slow([(80, 60, 0.3, 0.1), (300, 200, 0.10, 0.04), (600, 300, 0.08, 0.04), (900, 900, 0.03, 0.015)], 1),
)
def test_the_true_power_of_the_exact_test_lies_between_corrected_and_not(n0, n1, p0, p1):
    """The second way: all outcomes added up with their binomial weights, each judged by the exact test."""
    b, a = np.arange(n0 + 1), np.arange(n1 + 1)
    weight = np.outer(stats.binom.pmf(b, n0, p0), stats.binom.pmf(a, n1, p1))
    low = stats.hypergeom.cdf(a, n0 + n1, b[:, np.newaxis] + a, n1)
    seen = float((weight * (2 * low <= 0.05)).sum())
    least, most = (
        float(chance_to_see(rate=p0, ratio=p1 / p0, before=n0, after=n1, corrected=c)) for c in (True, False)
    )
    assert least <= seen <= most


@pytest.mark.slow
def test_a_plan_holds_its_promise():
    """Halved depots read at every look, judged by the exact test and the bounds."""
    rate, before, each = 0.08, 600, 100
    plan = plan_change(rate=rate, ratio=0.5, before=before, jobs_per_look=each)
    looks = plan.looks
    assert looks is not None
    rng = np.random.default_rng(3)
    runs = 300
    b = np.repeat(rng.binomial(before, rate, (runs, 1)), looks, axis=1)
    n1 = each * np.arange(1, looks + 1)
    a = rng.binomial(each, rate / 2, (runs, looks)).cumsum(axis=1)
    r = rate_change(
        returned_before=b[..., np.newaxis],
        before=np.full((runs, looks, 1), before),
        returned_after=a[..., np.newaxis],
        after=np.broadcast_to(n1[:, np.newaxis], (runs, looks, 1)),
    )
    info = known_after(rate=rate, before=before, after=n1)
    bounds = spending_bounds(information=info, planned=info[-1]).bound
    seen = (r.z < -bounds).any(axis=1).mean()
    # 300 runs: 3 standard errors are 7 points.
    assert seen == pytest.approx(float(plan.chance[looks - 1]), abs=0.07)


def test_other_work_costs_power_and_little_when_it_is_well_known():
    alone = plan_change(rate=0.08, ratio=0.5, before=600, jobs_per_look=100)
    beside = plan_change(rate=0.08, ratio=0.5, before=600, jobs_per_look=100, other=OtherWork(0.08, 600, 1.0))
    quiet = plan_change(rate=0.08, ratio=0.5, before=600, jobs_per_look=100, other=OtherWork(0.004, 6000, 10.0))
    assert (beside.chance < alone.chance).all()
    # What its own uncertainty adds is 1 / 200 of the variance.
    assert quiet.chance == pytest.approx(alone.chance, abs=0.03)


def test_the_smallest_change_is_seen_with_the_chance_asked_for():
    plan = plan_change(rate=0.08, ratio=0.5, before=600, jobs_per_look=100, power=0.8)
    for k in (3, 7, 11):
        ratio = float(plan.smallest_ratio[k])
        chance = chance_to_see(rate=0.08, ratio=ratio, before=600, after=plan.after[k], bound=float(plan.bound[k]))
        # Thirty halvings of the range.
        assert chance == pytest.approx(0.8, abs=1e-6)
    assert np.isnan(plan_change(rate=0.01, ratio=0.5, before=50, jobs_per_look=5).smallest_ratio).all()


def test_nothing_cannot_fall():
    assert chance_to_see(rate=0.0, ratio=0.5, before=100, after=100) == 0.0


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"rate": 1.2}, "rate must be between 0 and 1"),
        ({"rate": 0.6, "ratio": 2.0}, "must not be above 1"),
        ({"before": 0}, "before must be above 0"),
        ({"ratio": -1}, "ratio must be at least 0"),
    ],
)
def test_bad_numbers(how, said):
    with pytest.raises(ValueError, match=said):
        chance_to_see(**{"rate": 0.1, "ratio": 0.5, "before": 9, "after": 9, **how})
    with pytest.raises(ValueError, match="ratio must change the rate"):
        jobs_to_see(rate=0.1, ratio=1.0)
