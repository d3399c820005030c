"""The whole comparison in simulated depots: no false alarms, found differences, and what the raw table would do.

Six kinds of work, of which 3 to 30 % fail, are dealt to twenty technicians in very unlike shares.
"""

import numpy as np
import pytest
from scipy.stats import norm

from rqa.stats import (
    benjamini_hochberg,
    beta_binomial_shrinkage,
    expected_from_mix,
    funnel_limits,
    overdispersion,
    standardised_ratio,
    stratified_exact_test,
)

CHANCE = np.array([0.03, 0.05, 0.08, 0.12, 0.2, 0.3])
DEPOTS = 400
TECHNICIANS = 20


def depots(odds=1.0, seed=51):
    """Trials and events of each depot; the first technician's odds of a failure are `odds` times the others'."""
    rng = np.random.default_rng(seed)
    for _ in range(DEPOTS):
        shares = rng.dirichlet(np.full(6, 0.7), TECHNICIANS)
        trials = rng.poisson(shares * rng.uniform(40, 400, (TECHNICIANS, 1)))
        trials[0] = rng.poisson(50, 6)
        chance = np.tile(CHANCE, (TECHNICIANS, 1))
        chance[0] = odds * CHANCE / (1 - CHANCE + odds * CHANCE)
        yield trials, rng.binomial(trials, chance)


def raw_p(trials, events):
    """Each technician's plain share against all, as a table without the mix would judge it."""
    n, x = trials.sum(axis=1), events.sum(axis=1)
    p = x.sum() / n.sum()
    return 2 * norm.sf(np.abs(x - n * p) / np.sqrt(n * p * (1 - p)))


@pytest.mark.slow
def test_no_true_difference_flags_a_depot_no_more_often_than_promised():
    """Error of 400 depots: 0.011. The raw table flags somebody in more than nine depots of ten."""
    fair, raw, each = [], [], []
    for trials, events in depots():
        test = stratified_exact_test(events=events, trials=trials)
        fair.append(benjamini_hochberg(p_values=test.p_value).found.any())
        raw.append(benjamini_hochberg(p_values=raw_p(trials, events)).found.any())
        each.append(np.nanmean(test.p_mid <= 0.05))
    assert np.mean(fair) <= 0.05 + 3 * 0.011
    assert np.mean(raw) >= 0.9
    # 8,000 technicians: error 0.0024.
    assert np.mean(each) == pytest.approx(0.05, abs=0.0075)


@pytest.mark.slow
@pytest.mark.parametrize(("odds", "least"), [(2.0, 0.6), (3.0, 0.95)])
def test_a_planted_difference_is_found_nearly_as_often_as_by_one_who_knows_the_work(odds, least):
    """Against a test that is told each kind's true failure share, at the same p-value of 0.05 / 20."""
    ours, knowing = [], []
    for trials, events in depots(odds, seed=52):
        test = stratified_exact_test(events=events, trials=trials)
        ours.append(test.p_mid[0] <= 0.05 / TECHNICIANS)
        gap = events[0].sum() - trials[0] @ CHANCE
        knowing.append(2 * norm.sf(abs(gap) / np.sqrt(trials[0] @ (CHANCE * (1 - CHANCE)))) <= 0.05 / TECHNICIANS)
    assert np.mean(knowing) >= least
    # 0.05: what is lost by learning the shares from nineteen others, and by the planted one among them.
    assert np.mean(ours) >= np.mean(knowing) - 0.05


def test_ratio_intervals_hold_the_true_ratio():
    """Without a difference the true ratio is 1: exact Poisson limits hold it more often than promised."""
    held = []
    for trials, events in depots(seed=53):
        mix = expected_from_mix(events=events, trials=trials)
        r = standardised_ratio(observed=mix.observed, expected=mix.expected)
        held.append(np.mean(((r.low <= 1) & (r.high >= 1))[mix.expected > 0]))
    assert np.mean(held) >= 0.95


def test_spread_between_technicians_is_seen_and_allowed_for():
    """True ratios with standard deviation 0.3: z-scores without it flag many, with it about one in twenty."""
    rng = np.random.default_rng(54)
    plain, allowed = [], []
    for trials, _ in depots(seed=55):
        ratio = rng.gamma(1 / 0.09, 0.09, TECHNICIANS)
        events = rng.binomial(trials, np.minimum(CHANCE * ratio[:, np.newaxis], 0.95))
        mix = expected_from_mix(events=events, trials=trials)
        r = overdispersion(observed=mix.observed, expected=mix.expected, variance=mix.variance, winsorise=0)
        plain.append(np.nanmean(np.abs(r.z) > 1.96))
        allowed.append(np.nanmean(np.abs(r.z_additive) > 1.96))
    assert np.mean(plain) > 0.15
    assert np.mean(allowed) == pytest.approx(0.05, abs=0.025)


@pytest.mark.slow
def test_five_thousand_technicians():
    """One depot far larger than any: every step of the comparison keeps its shape, and nobody is flagged by chance."""
    rng = np.random.default_rng(56)
    trials = rng.poisson(rng.dirichlet(np.full(6, 0.7), 5_000) * 120)
    events = rng.binomial(trials, CHANCE)
    test = stratified_exact_test(events=events, trials=trials)
    assert benjamini_hochberg(p_values=test.p_value).found.sum() <= 1
    total = trials.sum(axis=1)
    shrunk = beta_binomial_shrinkage(successes=events.sum(axis=1), trials=total)
    limits = funnel_limits(trials=total, centre=np.clip(test.expected / np.maximum(total, 1), 0, 1), level=0.998)
    assert shrunk.estimate.shape == limits.low.shape == test.z.shape == (5_000,)
    share = events.sum(axis=1) / np.maximum(total, 1)
    assert np.mean((share < limits.low) | (share > limits.high)) < 0.01
