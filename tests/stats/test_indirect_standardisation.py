"""Expected events from the mix, and the exact test on it: published data, loops, other tests, calibration."""

import tomllib
from itertools import product
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact, norm
from statsmodels.stats.contingency_tables import StratifiedTable

from rqa.stats import expected_from_mix, stratified, stratified_exact_test
from tests.examples import examples

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))
DEATHS = PUBLISHED["indirect_standardisation"]


@st.composite
def depots(draw, most=12, groups=4, strata=3):
    shape = draw(st.integers(1, groups)), draw(st.integers(1, strata))
    trials = [[draw(st.integers(0, most)) for _ in range(shape[1])] for _ in range(shape[0])]
    return [[draw(st.integers(0, n)) for n in row] for row in trials], trials


def test_deaths_by_the_rates_of_another_year():
    """Two groups, one left out: the other is the standard, as in plain indirect standardisation (data seen)."""
    r = expected_from_mix(
        events=[DEATHS["deaths_1940"], DEATHS["deaths_1960"]],
        trials=[DEATHS["people_1940"], DEATHS["people_1960"]],
        leave_one_out=True,
    )
    assert r.observed[0] == DEATHS["observed"]
    assert abs(r.expected[0] - DEATHS["expected"]) <= 0.5 * 10.0 ** -DEATHS["expected_decimals"]
    assert abs(r.observed[0] / r.expected[0] - DEATHS["ratio"]) <= 0.5 * 10.0 ** -DEATHS["ratio_decimals"]


@given(depots(), st.booleans())
def test_equals_a_loop_over_strata(counts, leave_one_out):
    events, trials = counts
    r = expected_from_mix(events=events, trials=trials, leave_one_out=leave_one_out)
    strata = range(len(trials[0]))
    for g in range(len(trials)):
        observed = comparable = alone = expected = variance = 0.0
        for s in strata:
            n, total, hits = trials[g][s], sum(row[s] for row in trials), sum(row[s] for row in events)
            if n == 0:
                continue
            if n == total:
                alone += n
                continue
            observed, comparable = observed + events[g][s], comparable + n
            own = n * (total - n) * hits * (total - hits) / (total**2 * (total - 1))
            if leave_one_out:
                expected += n * (hits - events[g][s]) / (total - n)
                variance += own * (total / (total - n)) ** 2
            else:
                expected += n * hits / total
                variance += own
        assert (r.observed[g], r.comparable[g], r.no_comparator[g]) == (observed, comparable, alone)
        assert (r.expected[g], r.variance[g]) == pytest.approx((expected, variance), rel=1e-12, abs=1e-12)


@given(depots())
def test_expected_adds_up_to_observed(counts):
    r = expected_from_mix(events=counts[0], trials=counts[1])
    assert r.expected.sum() == pytest.approx(r.observed.sum(), abs=1e-9)
    assert (r.comparable + r.no_comparator).sum() == np.sum(counts[1])


@pytest.mark.slow
@pytest.mark.parametrize("leave_one_out", [False, True])
def test_variance_is_that_of_luck(leave_one_out):
    """4,000 seeded deals of each stratum's events over its trials: mean 0 and the stated variance."""
    rng = np.random.default_rng(8)
    trials, hits = np.array([[30, 5], [10, 40], [20, 15]]), [12, 9]
    gaps = []
    deals = [rng.multivariate_hypergeometric(trials[:, s], hits[s], size=4_000) for s in (0, 1)]
    for a, b in zip(*deals, strict=True):
        r = expected_from_mix(events=np.stack([a, b], axis=1), trials=trials, leave_one_out=leave_one_out)
        gaps.append(r.observed - r.expected)
    # Four standard errors of 4,000 deals: of a mean 0.063 deviations, of a variance 9 %.
    assert np.mean(gaps, axis=0) == pytest.approx(np.zeros(3), abs=0.07 * np.sqrt(r.variance.max()))
    assert np.var(gaps, axis=0) == pytest.approx(r.variance, rel=0.09)


def by_enumeration(events, trials, group):
    """Chances of the group's total when each stratum deals its events at random: every outcome, one by one."""
    strata = []
    for s in range(len(trials[0])):
        n, total, hits = trials[group][s], sum(row[s] for row in trials), sum(row[s] for row in events)
        if n == 0 or n == total:
            continue
        strata.append([(k, comb(hits, k) * comb(total - hits, n - k) / comb(total, n)) for k in range(n + 1)])
    chances = {}
    for outcome in product(*strata):
        total = sum(k for k, _ in outcome)
        chances[total] = chances.get(total, 0.0) + np.prod([c for _, c in outcome])
    return chances


@settings(max_examples=examples(60))
@given(depots(most=8))
def test_exact_test_by_enumeration(counts):
    r = stratified_exact_test(events=counts[0], trials=counts[1])
    for g in range(len(counts[1])):
        if r.comparable[g] == 0:
            assert np.isnan([r.p_value[g], r.p_mid[g], r.z[g]]).all()
            continue
        chances = by_enumeration(*counts, g)
        at_most = sum(c for k, c in chances.items() if k <= r.observed[g])
        at_least = sum(c for k, c in chances.items() if k >= r.observed[g])
        here = chances.get(int(r.observed[g]), 0.0)
        assert r.p_value[g] == pytest.approx(min(1, 2 * min(at_most, at_least)), rel=1e-9)
        assert r.p_mid[g] == pytest.approx(min(1, 2 * (min(at_most, at_least) - here / 2)), rel=1e-9)
        assert norm.cdf(r.z[g]) == pytest.approx(at_most - here / 2, abs=1e-9)


def test_one_stratum_of_two_groups_is_fishers_test():
    r = stratified_exact_test(events=[[9], [2]], trials=[[30], [40]])
    one_sided = fisher_exact([[9, 21], [2, 38]], alternative="greater").pvalue
    assert r.p_value == pytest.approx([2 * one_sided] * 2, rel=1e-9)
    assert r.z[0] == pytest.approx(-r.z[1], rel=1e-9)


def test_much_work_agrees_with_mantel_haenszel():
    """Four groups of 4,000 jobs in two strata: each group against the others, z squared near the chi-square."""
    trials = np.array([[3_000, 1_000], [1_500, 2_500], [800, 3_200], [2_000, 2_000]])
    events = np.random.default_rng(7).binomial(trials, [[0.04, 0.2]] * 3 + [[0.05, 0.23]])
    r = stratified_exact_test(events=events, trials=trials)
    for g in range(4):
        others = trials.sum(axis=0) - trials[g], events.sum(axis=0) - events[g]
        tables = [
            [[events[g, s], trials[g, s] - events[g, s]], [others[1][s], others[0][s] - others[1][s]]] for s in (0, 1)
        ]
        chi2 = StratifiedTable(np.moveaxis(np.array(tables, dtype=float), 0, 2)).test_null_odds().statistic
        # The exact tail leans with the counts' skewness, below 1 / sqrt(400): z moves by that times (z^2 - 1) / 6.
        assert abs(r.z[g]) == pytest.approx(chi2**0.5, abs=0.02 + 0.05 * max(chi2 - 1, 0) / 6)
    assert r.p_value[3] < 1e-3


def test_gamma_tail_agrees_with_adding_up(monkeypatch):
    """The same depots both ways, at variances from 400 up, where the module changes over."""
    trials = np.random.default_rng(13).poisson(600, (12, 20))
    events = np.random.default_rng(14).binomial(trials, np.linspace(0.01, 0.12, 20))
    events[0] += 4
    r = stratified_exact_test(events=events, trials=trials)
    assert r.variance.min() > stratified.EXACT_UP_TO
    monkeypatch.setattr(stratified, "EXACT_UP_TO", np.inf)
    exact = stratified_exact_test(events=events, trials=trials)
    assert r.z == pytest.approx(exact.z, abs=0.005)
    assert r.p_value == pytest.approx(exact.p_value, rel=0.02)
    assert exact.p_value[0] < 0.01


@pytest.mark.slow
def test_p_values_are_as_promised_without_a_difference():
    """4,000 seeded groups with no true difference, 20 events expected of each, in small strata."""
    rng = np.random.default_rng(21)
    trials = rng.poisson(20, (4_000, 10))
    chance = rng.uniform(0.02, 0.2, 10)
    r = stratified_exact_test(events=rng.binomial(trials, chance), trials=trials)
    # 0.011: three standard errors of 4,000 groups.
    assert np.mean(r.p_value <= 0.05) <= 0.05 + 0.011
    assert np.mean(r.p_mid <= 0.05) == pytest.approx(0.05, abs=0.011)
    assert np.std(r.z) == pytest.approx(1.0, abs=0.035)


def test_landmarks():
    """One technician only; a stratum with one technician; strata that say nothing."""
    one = stratified_exact_test(events=[[3, 4]], trials=[[10, 10]])
    assert (one.comparable[0], one.expected[0]) == (0, 0.0)
    assert np.isnan(one.p_value[0])
    lone = expected_from_mix(events=[[3, 4], [2, 0]], trials=[[10, 10], [10, 0]])
    assert lone.no_comparator.tolist() == [10, 0]
    assert lone.observed.tolist() == [3, 2]
    flat = stratified_exact_test(events=[[0, 5], [0, 7]], trials=[[9, 5], [3, 7]])
    assert flat.p_value.tolist() == flat.p_mid.tolist() == [1.0, 1.0]
    assert flat.z.tolist() == [0.0, 0.0]
    assert expected_from_mix(events=np.zeros((0, 3)), trials=np.zeros((0, 3))).expected.size == 0


def test_refusals():
    with pytest.raises(ValueError, match=r"events must have two axes, groups and strata: shape \(2,\)"):
        expected_from_mix(events=[1, 2], trials=[3, 4])
    with pytest.raises(ValueError, match=r"events must not be above trials: events\[0, 1\] = 5"):
        stratified_exact_test(events=[[1, 5]], trials=[[3, 4]])
