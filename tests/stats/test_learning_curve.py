"""Learning curves: another library's logistic fit, cliffs, limits by search, coverage, the smoothed share."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, logit
from scipy.stats import chi2

from rqa.stats import (
    experience_needed,
    learning_curve,
    proportion_interval,
    smoothed_yield,
    yield_on_curve,
)
from tests.examples import examples

DONE = [1, 2, 4, 8, 16, 32]
PASSED = [5, 6, 6, 8, 9, 9]


def glm(done, passed, checked):
    """The reference, iterated to the end: its usual stop leaves 3 in 100,000 of the covariance undone."""
    design = sm.add_constant(np.log(np.asarray(done, dtype=float)))
    model = sm.GLM(np.column_stack([passed, np.subtract(checked, passed)]), design, family=sm.families.Binomial())
    return model.fit(tol=1e-14)


@settings(max_examples=examples(40), deadline=None)
@given(st.lists(st.tuples(st.integers(1, 500), st.integers(1, 19)), min_size=3, max_size=12, unique_by=lambda r: r[0]))
def test_equals_a_generalised_linear_model(rows):
    """Rows of 20 checks with passes and failures in each, so that both settle; statsmodels as the reference."""
    done, passed = [d for d, _ in rows], [p for _, p in rows]
    r, other = learning_curve(experience=done, passed=passed, checked=20), glm(done, passed, [20] * len(rows))
    assert (r.intercept, r.slope) == pytest.approx(tuple(other.params), rel=1e-6, abs=1e-8)
    assert r.covariance == pytest.approx(other.cov_params(), rel=1e-6)
    assert (r.slope_low, r.slope_high) == pytest.approx(tuple(other.conf_int()[1]), rel=1e-6, abs=1e-8)
    assert r.p_value == pytest.approx(chi2.sf(other.null_deviance - other.deviance, 1), rel=1e-6, abs=1e-9)


def test_single_jobs_and_counts_give_the_same():
    counts = learning_curve(experience=DONE, passed=PASSED, checked=10)
    single = learning_curve(
        experience=np.repeat(DONE, 10),
        passed=np.concatenate([[1] * p + [0] * (10 - p) for p in PASSED]),
        checked=1,
    )
    assert (single.slope, single.intercept, single.p_value) == pytest.approx(
        (counts.slope, counts.intercept, counts.p_value), rel=1e-9
    )
    assert single.covariance == pytest.approx(counts.covariance, rel=1e-9)


@pytest.mark.parametrize(
    ("done", "passed", "checked"),
    [([1, 2, 5], [4, 5, 6], [4, 5, 6]), ([1, 2, 5], [0, 0, 0], [4, 5, 6]), ([3, 3], [1, 2], [4, 4])],
    ids=["all passed", "none passed", "one experience"],
)
def test_nothing_to_learn_from(done, passed, checked):
    r = learning_curve(experience=done, passed=passed, checked=checked)
    assert (r.settled, r.p_value) == (False, 1.0)
    assert np.isnan([r.slope, r.slope_low, r.slope_high, r.intercept]).all()
    assert np.isnan(yield_on_curve(r, experience=[1, 10]).low).all()
    assert np.isnan(experience_needed(r, target=0.9).estimate)


def test_no_data():
    for rows in ([], [0, 0]):
        r = learning_curve(experience=np.arange(1, 1 + len(rows)), passed=rows, checked=rows)
        assert np.isnan([r.p_value, r.slope]).all()


def test_a_cliff_is_told_by_its_p_value_alone():
    """First four failed, next six passed: the highest likelihood is 1, so p comes from that of the flat curve."""
    r = learning_curve(experience=np.arange(1, 11), passed=[0] * 4 + [1] * 6, checked=1)
    flat = 4 * np.log(0.4) + 6 * np.log(0.6)
    assert (r.settled, r.log_likelihood) == (False, 0.0)
    assert r.p_value == pytest.approx(chi2.sf(-2 * flat, 1), rel=1e-12)
    # With a pass and a failure at the edge itself, that place keeps its own share of a half.
    edge = learning_curve(experience=[1, 2, 3], passed=[0, 1, 4], checked=[3, 2, 4])
    assert edge.log_likelihood == pytest.approx(2 * np.log(0.5), rel=1e-12)
    falling = learning_curve(experience=[1, 2, 3], passed=[3, 1, 0], checked=[3, 2, 4])
    assert not falling.settled


def test_nearly_a_cliff_still_settles():
    passed = [0] * 40 + [1] + [0] + [1] * 60
    r = learning_curve(experience=np.arange(1, 103), passed=passed, checked=1)
    assert r.settled
    assert r.slope > 5
    assert np.isfinite([r.slope_low, r.slope_high]).all()


@given(st.floats(0.3, 0.99))
def test_points_of_the_curve_and_the_experience_they_need(target):
    curve = learning_curve(experience=DONE, passed=PASSED, checked=10)
    needed = experience_needed(curve, target=target)
    at = yield_on_curve(curve, experience=max(needed.estimate, 1e-9))
    assert float(at.estimate) == pytest.approx(target, rel=1e-9)
    assert needed.low <= needed.estimate <= needed.high
    # At Fieller's ends the curve's own limits just touch the target.
    for end in (needed.low, needed.high):
        if 1e-9 < end < 1e9:
            there = yield_on_curve(curve, experience=end)
            assert min(abs(float(there.low) - target), abs(float(there.high) - target)) < 1e-6


def test_needed_experience_landmarks():
    falling = learning_curve(experience=DONE, passed=PASSED[::-1], checked=10)
    assert experience_needed(falling, target=0.8).estimate == np.inf
    unclear = learning_curve(experience=DONE, passed=[6, 6, 5, 7, 6, 7], checked=10)
    r = experience_needed(unclear, target=0.9)
    assert unclear.slope_low < 0 < unclear.slope_high
    assert (r.high, np.isfinite(r.estimate)) == (np.inf, True)
    clear = learning_curve(experience=DONE, passed=np.multiply(PASSED, 100), checked=1_000)
    r = experience_needed(clear, target=0.8)
    assert 5 < r.low < r.estimate < r.high < 15


def test_coverage_and_false_alarms():
    """400 seeded technicians of 200 jobs; the share of slopes held has error 0.011, that of false alarms too."""
    rng = np.random.default_rng(41)
    done = np.arange(1, 201)
    for slope in (0.0, 0.4):
        chance = expit(1.0 + slope * (np.log(done) - np.log(60)))
        fits = [learning_curve(experience=done, passed=rng.binomial(1, chance), checked=1) for _ in range(400)]
        held = np.mean([f.slope_low <= slope <= f.slope_high for f in fits])
        assert held == pytest.approx(0.95, abs=0.035)
        if slope == 0.0:
            assert np.mean([f.p_value <= 0.05 for f in fits]) == pytest.approx(0.05, abs=0.035)
        else:
            assert np.mean([f.p_value <= 0.05 for f in fits]) > 0.5


def test_smoothed_share_by_loop():
    r = smoothed_yield(experience=DONE, passed=PASSED, checked=10, at=[1, 5, 30], width=0.7)
    for place, share, checks, low, high in zip(r.experience, r.estimate, r.checks, r.low, r.high, strict=True):
        weights = [np.exp(-(np.log(d / place) ** 2) / (2 * 0.7**2)) for d in DONE]
        heard = sum(10 * w for w in weights)
        assert share == pytest.approx(sum(w * p for w, p in zip(weights, PASSED, strict=True)) / heard, rel=1e-12)
        assert checks == pytest.approx(heard**2 / sum(10 * w * w for w in weights), rel=1e-12)
        z, p = 1.959963984540054, share
        middle, reach = p + z * z / (2 * checks), z * np.sqrt(p * (1 - p) / checks + z * z / (4 * checks**2))
        assert (low, high) == pytest.approx(
            ((middle - reach) / (1 + z * z / checks), (middle + reach) / (1 + z * z / checks)), rel=1e-9
        )


def test_smoothed_share_follows_a_curve_and_holds_it():
    """6,000 seeded checks on a known curve: near it everywhere, and inside the limits at most places."""
    rng = np.random.default_rng(43)
    done = np.arange(1, 301)
    truth = lambda d: expit(0.5 + 0.4 * np.log(d))  # noqa: E731
    places = np.array([10, 30, 100, 250])
    r = smoothed_yield(experience=done, passed=rng.binomial(20, truth(done)), checked=20, at=places, width=0.3)
    # 0.09: three standard errors of the 150 or so checks that speak at ten jobs, fewer than anywhere later.
    assert r.estimate == pytest.approx(truth(places), abs=0.09)
    assert ((r.low <= truth(places)) & (r.high >= truth(places))).sum() >= 3


def test_smoothed_landmarks():
    one = smoothed_yield(experience=[5], passed=[9], checked=[12], at=[5])
    wilson = proportion_interval(successes=9, trials=12)
    assert (float(one.estimate[0]), float(one.low[0]), float(one.high[0])) == pytest.approx(
        (0.75, float(wilson.low), float(wilson.high)), rel=1e-12
    )
    far = smoothed_yield(experience=[1, 1000], passed=[3, 3], checked=[3, 3], at=[1, 30], width=0.05)
    assert (far.estimate[0], far.high[0]) == (1.0, 1.0)
    assert 0 < far.low[0] < 1
    assert np.isnan([far.estimate[1], far.low[1], far.high[1]]).all()
    assert smoothed_yield(experience=[1], passed=[0], checked=[0], at=[]).estimate.size == 0


def test_log_odds_convention():
    """Each doubling of experience multiplies the odds by 2^slope."""
    curve = learning_curve(experience=DONE, passed=PASSED, checked=10)
    a, b = yield_on_curve(curve, experience=[10, 20]).estimate
    assert logit(b) - logit(a) == pytest.approx(curve.slope * np.log(2), rel=1e-12)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: learning_curve(experience=[0, 1], passed=[1, 1], checked=2), "experience must be above 0"),
        (lambda: learning_curve(experience=[1, 2], passed=[3, 1], checked=2), "passed must not be above checked"),
        (lambda: learning_curve(experience=[[1]], passed=[[1]], checked=2), "experience must be one row"),
        (lambda: smoothed_yield(experience=[1], passed=[1], checked=[1], at=[0]), "at must be above 0"),
        (lambda: smoothed_yield(experience=[1], passed=[1], checked=[1], at=[1], width=0), "width must be above 0"),
    ],
)
def test_refusals(ask, message):
    with pytest.raises(ValueError, match=message):
        ask()
