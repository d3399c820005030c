"""A count against a known expectation: SciPy's distributions, sums of unlike chances, calibration, landmarks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, nbinom, norm, poisson

from rqa.stats import expectation_test


@given(st.integers(0, 200), st.integers(1, 200), st.floats(0.01, 0.99))
def test_binomial(x, n, p):
    """Mean n p and variance n p (1 - p) are just the binomial of n and p."""
    r = expectation_test(observed=min(x, n), expected=n * p, variance=n * p * (1 - p))
    x = min(x, n)
    at_most, at_least = binom.cdf(x, n, p), binom.sf(x - 1, n, p)
    # 1e-6: the size is got back as a quotient of differences of the moments.
    assert float(r.p_value) == pytest.approx(min(1, 2 * min(at_most, at_least)), rel=1e-6, abs=1e-290)
    if 1e-6 < at_most < 1 - 1e-6:
        assert norm.cdf(float(r.z)) == pytest.approx(at_most - binom.pmf(x, n, p) / 2, rel=1e-5)


@given(st.integers(0, 300), st.floats(0.1, 150))
def test_poisson(x, mean):
    r = expectation_test(observed=x, expected=mean)
    at_most, at_least = poisson.cdf(x, mean), poisson.sf(x - 1, mean)
    assert float(r.p_value) == pytest.approx(min(1, 2 * min(at_most, at_least)), rel=1e-9, abs=1e-290)


@given(st.integers(0, 300), st.floats(0.5, 100), st.floats(1.1, 20))
def test_negative_binomial(x, mean, phi):
    r = expectation_test(observed=x, expected=mean, variance=phi * mean)
    size, chance = mean / (phi - 1), 1 / phi
    at_most, at_least = nbinom.cdf(x, size, chance), nbinom.sf(x - 1, size, chance)
    assert float(r.p_value) == pytest.approx(min(1, 2 * min(at_most, at_least)), rel=1e-6, abs=1e-290)


@pytest.mark.parametrize(("jobs", "above_hundredth", "above_thousandth"), [(40, 0.05, 0.16), (300, 0.02, 0.05)])
def test_sums_of_unlike_chances(jobs, above_hundredth, above_thousandth):
    """As near to the exact tail, added up job by job, as the docstring says."""
    rng = np.random.default_rng(61)
    chance = rng.uniform(0.01, 0.4, jobs) ** rng.choice([1, 2], jobs)
    exact = np.ones(1)
    for p in chance:
        exact = np.convolve(exact, [1 - p, p])
    tails = np.minimum(2 * np.minimum(np.cumsum(exact), np.cumsum(exact[::-1])[::-1]), 1)
    r = expectation_test(observed=np.arange(jobs + 1), expected=chance.sum(), variance=(chance * (1 - chance)).sum())
    for least, off in ((0.01, above_hundredth), (0.001, above_thousandth)):
        assert r.p_value[tails > least] == pytest.approx(tails[tails > least], rel=off)


def test_p_values_are_as_promised():
    """20,000 seeded counts of unlike chances; the error of a share is 0.0015."""
    rng = np.random.default_rng(62)
    chance = rng.uniform(0.01, 0.4, 60)
    x = rng.binomial(1, chance, size=(20_000, 60)).sum(axis=1)
    r = expectation_test(observed=x, expected=chance.sum(), variance=(chance * (1 - chance)).sum())
    assert np.mean(r.p_value <= 0.05) <= 0.05 + 0.0045
    assert np.mean(r.p_mid <= 0.05) == pytest.approx(0.05, abs=0.012)


def test_landmarks():
    r = expectation_test(observed=[0, 3, 0, 8], expected=[0, 2, 5, 5], variance=[0, 0, 5, 4])
    assert np.isnan([r.p_value[:2], r.p_mid[:2], r.z[:2]]).all()
    assert float(r.p_value[2]) == pytest.approx(2 * np.exp(-5), rel=1e-12)
    assert r.z[2] < 0 < r.z[3]
    beyond = expectation_test(observed=12, expected=9.0, variance=0.5)
    assert 0 < beyond.p_value < 1


def test_refusals():
    with pytest.raises(ValueError, match="variance must be at least 0"):
        expectation_test(observed=1, expected=1, variance=-1)
    with pytest.raises(ValueError, match="expected must not be missing"):
        expectation_test(observed=1, expected=np.nan)
