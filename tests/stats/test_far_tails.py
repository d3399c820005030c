"""Very clear differences and very large counts: p-values that are never 0, scores that are finite, by whole numbers."""

from fractions import Fraction
from math import comb, exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, poisson

from rqa.stats import (
    exact_common_odds,
    expectation_test,
    hypergeometric,
    proportion_test,
    rate_change,
    stratified_exact_test,
)
from rqa.stats.far_tails import SMALLEST, log_beta_below, log_gamma_above, log_gamma_below


def log_of(ratio: Fraction) -> float:
    """Python's logarithm takes whole numbers of any length."""
    return log(ratio.numerator) - log(ratio.denominator)


def chances(drawn, marked, total):
    """Whole numbers in proportion to the chances of each count, from the least on, and their sum."""
    least, most = max(0, drawn + marked - total), min(drawn, marked)
    ways = [comb(marked, k) * comb(total - marked, drawn - k) for k in range(least, most + 1)]
    return least, ways, comb(total, drawn)


def tails_of_sum(seen, strata):
    """At most and at least `seen`, in fractions, the strata joined count by count."""
    first, joined, whole = 0, [1], 1
    for drawn, marked, total in strata:
        least, ways, all_ways = chances(drawn, marked, total)
        made = [0] * (len(joined) + len(ways) - 1)
        for i, a in enumerate(joined):
            for j, b in enumerate(ways):
                made[i + j] += a * b
        first, joined, whole = first + least, made, whole * all_ways
    return Fraction(sum(joined[: seen - first + 1]), whole), Fraction(sum(joined[seen - first :]), whole)


def draws(most=400):
    return st.integers(2, most).flatmap(
        lambda total: st.tuples(st.integers(1, total), st.integers(0, total), st.just(total))
    )


@given(draws(), st.floats(0, 1))
def test_one_draw(draw, where):
    """The chance of a count and both its tails; 1e-12 of a logarithm is what the sums of its terms lose."""
    least, ways, whole = chances(*draw)
    place = min(int(where * len(ways)), len(ways) - 1)
    k = least + place
    assert float(hypergeometric.log_chance(k, *draw)) == pytest.approx(log_of(Fraction(ways[place], whole)), abs=1e-12)
    for upper, tail in ((True, sum(ways[place:])), (False, sum(ways[: place + 1]))):
        assert hypergeometric.log_tail(k, *draw, upper=upper) == pytest.approx(log_of(Fraction(tail, whole)), abs=1e-12)


@pytest.mark.parametrize("tilted_up_to", [2_000.0, 0.0])
@pytest.mark.parametrize("seen", [30, 60, 100, 130, 160, 195, 199, 200])
def test_a_sum_of_draws_by_whole_numbers(seen, tilted_up_to, monkeypatch):
    """Tails down to 1e-80, by tilting to rounding and by the saddlepoint to the part in a thousand it is good for."""
    monkeypatch.setattr(hypergeometric, "TILTED_UP_TO", tilted_up_to)
    strata = [(200, 40, 600), (300, 100, 500), (150, 60, 400)]
    at_most, at_least = tails_of_sum(seen, strata)
    drawn, marked, total = (np.array(column) for column in zip(*strata, strict=True))
    upper = at_least < at_most
    found, here = hypergeometric.log_tails_of_sum(seen, drawn, marked, total, upper=upper)
    nearest = 1e-11 if tilted_up_to else 1e-3 if 60 <= seen <= 190 else 0.03
    assert found == pytest.approx(log_of(min(at_most, at_least)), abs=nearest)
    assert here <= found


@given(st.lists(draws(40), min_size=1, max_size=3), st.floats(0, 1))
def test_the_stratified_test_by_whole_numbers(strata, where):
    """Every count that the totals allow, near and far: the p-value to 1e-9 of itself."""
    strata = [(n, m, t) for n, m, t in strata if n < t] or [(1, 1, 2)]
    least = sum(max(0, n + m - t) for n, m, t in strata)
    most = sum(min(n, m) for n, m, t in strata)
    seen = least + int(where * (most - least))
    left, events = seen - least, []
    for n, m, t in strata:
        low, high = max(0, n + m - t), min(n, m)
        taken = min(left, high - low)
        events.append(low + taken)
        left -= taken
    r = stratified_exact_test(
        events=[events, [m - x for x, (_, m, _) in zip(events, strata, strict=True)]],
        trials=[[n for n, _, _ in strata], [t - n for n, _, t in strata]],
    )
    expected = min(1.0, 2.0 * float(min(tails_of_sum(seen, strata))))
    assert r.p_value.tolist() == pytest.approx([expected, expected], rel=1e-9)


def test_a_very_clear_success():
    """150 of 300 before, none of 300 after: 2 C(450, 300) / C(600, 300); the score by the normal tail beside it."""
    r = rate_change(returned_before=[150], before=[300], returned_after=[0], after=[300])
    tail = log_of(Fraction(comb(450, 300), comb(600, 300)))
    assert float(r.p_value) == pytest.approx(2 * exp(tail), rel=1e-9)
    assert norm.logsf(-float(r.z)) == pytest.approx(tail, rel=1e-9)
    assert r.z < 0 < r.p_value
    worse = rate_change(returned_before=[0], before=[300], returned_after=[150], after=[300])
    assert float(worse.z) == pytest.approx(-float(r.z), rel=1e-12)


def test_a_very_clear_success_of_much_work():
    """10 % of 30,000 to 5 % of 30,000, and a hundred times as much, where the p-value has no double: z goes on.

    The tail is the sum of the draw's chances, and the saddlepoint is good to a part in ten thousand of it.
    """
    r = rate_change(returned_before=[3_000], before=[30_000], returned_after=[1_500], after=[30_000])
    tail = hypergeometric.log_tail(1_500, 30_000, 4_500, 60_000, upper=False)
    assert float(r.p_value) == pytest.approx(2 * exp(tail), rel=1e-4)
    most = rate_change(returned_before=[300_000], before=[3_000_000], returned_after=[150_000], after=[3_000_000])
    assert float(most.p_value) == SMALLEST
    # Ten times the standard errors, from counts a hundred times as many.
    assert float(most.z) == pytest.approx(10 * float(r.z), rel=2e-3)


def test_fishers_test_of_very_clear_and_very_many():
    apart = proportion_test(successes1=0, trials1=300, successes2=150, trials2=300)
    assert float(apart.p_value) == pytest.approx(2 * exp(log_of(Fraction(comb(450, 300), comb(600, 300)))), rel=1e-9)
    assert float(proportion_test(successes1=0, trials1=10**6, successes2=10**6, trials2=10**6).p_value) == SMALLEST
    many = proportion_test(successes1=5 * 10**9, trials1=10**10, successes2=5 * 10**9 + 2 * 10**5, trials2=10**10)
    # At a million times the spread of one, the normal law with the half count taken off is right to 1e-9 of z.
    z = (2 * 10**5 - 1) / np.sqrt(10**10 / 2)
    assert float(many.p_value) == pytest.approx(2 * norm.sf(z), rel=1e-6)


def test_long_tails_are_integrals_equal_to_their_sums(monkeypatch):
    """A draw whose deviation is 1,090: added up, and by integral; also the other side of Fisher's test."""
    args = (5_000_000, 50_000_000, 100_000_000)
    places = (2_500_000, 2_500_500, 2_503_000, 2_485_000)
    summed = [hypergeometric.log_tail(k, *args, upper=k > 2_500_000) for k in places]
    both = [hypergeometric.log_two_sided(k, *args) for k in places]
    monkeypatch.setattr(hypergeometric, "TERMS", 10)
    integrals = [hypergeometric.log_tail(k, *args, upper=k > 2_500_000) for k in places]
    # The third term that is left out of the sum's expansion is about variance^-2 = 1e-12, more at 14 deviations.
    assert integrals == pytest.approx(summed, abs=1e-10)
    assert [hypergeometric.log_two_sided(k, *args) for k in places] == pytest.approx(both, abs=1e-10)
    monkeypatch.setattr(hypergeometric, "TERMS", 10**9)
    places = [(k, 3_000, 5_000, 10_000) for k in (1_400, 1_450, 1_499, 1_500, 1_501, 1_530, 1_600)]
    every = [hypergeometric.log_two_sided(*case) for case in places]
    monkeypatch.setattr(hypergeometric, "TERMS", 10)
    # Here the deviation is 23.
    assert [hypergeometric.log_two_sided(*case) for case in places] == pytest.approx(every, abs=1e-4)


@pytest.mark.parametrize(("x", "y"), [(2, 5), (3, 9), (0, 7)])
@pytest.mark.parametrize("jobs", [10**12, 10**15, 2**52])
def test_few_events_among_very_many_jobs(x, y, jobs):
    """Of two groups alike in size an event is in either with chance 1/2: twice the binomial tail, as 2 x 29 / 128."""
    p = min(1.0, 2 * sum(comb(x + y, k) for k in range(min(x, y) + 1)) / 2 ** (x + y))
    r = stratified_exact_test(events=[[x], [y]], trials=[[jobs], [jobs]])
    assert r.p_value.tolist() == pytest.approx([p, p], rel=1e-9)
    odds = exact_common_odds([[[x, jobs - x], [y, jobs - y]]])
    assert odds.p_value == pytest.approx(p, rel=1e-9)
    assert float(proportion_test(successes1=x, trials1=jobs, successes2=y, trials2=jobs).p_value) == pytest.approx(p)


def test_exact_odds_of_a_very_clear_exposure():
    """1,000 of 1,000 against none of 1,000: 2 / C(2,000, 1,000) has no ordinary way to be 0."""
    r = exact_common_odds([[[1_000, 0], [0, 1_000]]])
    assert r.p_value == SMALLEST
    assert 0 < exact_common_odds([[[400, 0], [0, 400]]]).p_value == pytest.approx(
        exp(log(2) - log(comb(800, 400))), rel=1e-9
    )


@given(st.floats(0.01, 3_000), st.floats(1.3, 50))
def test_far_gamma_tails(mean, times):
    """SciPy's Poisson tails as logarithms, where these are finite."""
    k = float(np.ceil(mean * times)) + 3
    expected = poisson.logsf(k - 1, mean)
    if np.isfinite(expected):
        assert float(log_gamma_below(np.array([k]), np.array([mean]))[0]) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    few = float(np.floor(mean / times)) / 2
    expected = poisson.logcdf(np.floor(few), mean)
    if np.isfinite(expected) and np.floor(few) + 1 < mean:
        found = float(log_gamma_above(np.array([np.floor(few) + 1]), np.array([mean]))[0])
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(st.integers(1, 120), st.integers(1, 120), st.fractions(Fraction(1, 50), Fraction(1, 2), max_denominator=50))
def test_far_beta_tails(a, b, x):
    """The binomial sum of which the incomplete beta function is the tail, in fractions."""
    if a * (1 - x) <= (b - 1) * x:
        return
    n = a + b - 1
    tail = sum(comb(n, k) * x**k * (1 - x) ** (n - k) for k in range(a, n + 1))
    found = log_beta_below(np.array([float(a)]), np.array([float(b)]), np.array([float(x)]))[0]
    assert float(found) == pytest.approx(log_of(tail), rel=1e-10, abs=1e-10)


@pytest.mark.parametrize("variance", [None, 8.0, 12.5, 40.0])
def test_scores_of_an_expectation_go_on(variance):
    """No count from 0 to 400 where 10 or 200 are expected has a p-value of 0, and z rises with each."""
    for expected in (10.0, 200.0):
        spread = variance if variance is None else variance / 10.0 * expected
        inside = 10**9 if spread is None or spread >= expected else expected**2 / (expected - spread)
        x = np.arange(0, min(400, int(inside)) + 1)
        r = expectation_test(observed=x, expected=expected, variance=spread)
        assert np.isfinite(r.z).all()
        assert (np.diff(r.z) > 0).all()
        assert (r.p_value >= SMALLEST).all()
        assert (r.p_mid >= SMALLEST).all()
        assert (r.p_mid <= r.p_value).all()


def test_an_expectation_far_out():
    """1,000 where 100 were expected, by SciPy's logarithm of the tail less half the count's own chance."""
    r = expectation_test(observed=[1_000, 300], expected=100.0)
    above = [poisson.logsf(k, 100) for k in (300, 299)]
    mid = np.logaddexp(*above) - log(2)
    assert float(r.p_mid[1]) == pytest.approx(2 * exp(mid), rel=1e-9)
    assert norm.logsf(float(r.z[1])) == pytest.approx(mid, rel=1e-9)
    assert r.z[0] > r.z[1]
    assert float(r.p_value[0]) == SMALLEST
