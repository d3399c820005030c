"""The CUSUMs job by job: published weights, a plain loop from the definition, landmarks, what is refused."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import bernoulli_cusum, bernoulli_weights, beyond_limits, risk_adjusted_cusum
from tests.published_runs import RUNS, half

CHANCE = st.floats(0.001, 0.999)


@pytest.mark.parametrize("row", RUNS["risk_adjusted_weights"]["rows"], ids=lambda row: f"score {row['score']}")
def test_risk_adjusted_weights(row):
    """Steiner et al. 2000, from memory: the model, and what a job with and without the event adds."""
    model, digits = RUNS["risk_adjusted_weights"], half(RUNS["risk_adjusted_weights"]["decimals"])
    expected = 1 / (1 + np.exp(-model["intercept"] - model["slope"] * row["score"]))
    assert abs(expected - row["expected"]) <= digits
    chart = risk_adjusted_cusum(outcome=[1, 0], expected=expected, odds_ratio=model["odds_ratio"], h=4.5)
    assert np.abs(chart.weights - [row["event"], row["no_event"]]).max() <= digits
    assert chart.centre.tolist() == [expected, expected]


@pytest.mark.parametrize("row", RUNS["bernoulli_weights"]["rows"], ids=lambda row: f"{row['p0']} to {row['p1']}")
def test_bernoulli_weights(row):
    """Reynolds and Stoumbos 1999, from memory."""
    found = bernoulli_weights(p0=row["p0"], p1=row["p1"])
    assert abs(found.r1 - row["r1"]) <= half(RUNS["bernoulli_weights"]["decimals"])
    assert abs(found.r2 - row["r2"]) <= half(RUNS["bernoulli_weights"]["decimals"])
    assert abs(1 / found.reference - row["one_over_reference"]) <= half(2)


@given(st.lists(st.integers(0, 1), max_size=80), CHANCE, CHANCE, st.booleans())
def test_the_sum_is_the_likelihood_ratio(events, p0, p1, restart):
    """From the definition: the log-likelihood ratio of p1 against p0, summed up from job to job and never under 0."""
    if abs(p0 - p1) < 1e-3:
        return
    r2 = abs(bernoulli_weights(p0=p0, p1=p1).r2)
    chart = bernoulli_cusum(events, p0=p0, p1=p1, h=2.0, restart=restart)
    arm, other = (chart.high, chart.low) if p1 > p0 else (chart.low, chart.high)
    level, out, beyond = 0.0, [], False
    for i, event in enumerate(events):
        ratio = np.log(p1 / p0) if event else np.log((1 - p1) / (1 - p0))
        level = max(0.0, level + ratio)
        assert arm[i] * r2 == pytest.approx(level, abs=1e-9)
        reached = level >= 2.0 * r2 - 1e-9 * r2
        if reached and not beyond:
            out.append(i)
        beyond = reached and not restart
        level = 0.0 if reached and restart else level
    assert [s.index for s in chart.signals] == out
    assert {s.side for s in chart.signals} <= {"above" if p1 > p0 else "below"}
    assert np.isnan(other).all()


@given(st.lists(st.tuples(st.integers(0, 1), CHANCE), max_size=80), st.sampled_from([0.25, 0.5, 1.5, 2.0, 4.0]))
def test_risk_adjusted_definition(jobs, odds_ratio):
    """Each weight as the log-likelihood ratio of a job whose odds are multiplied."""
    outcome, expected = [y for y, _ in jobs], [p for _, p in jobs]
    chart = risk_adjusted_cusum(outcome=outcome, expected=expected, odds_ratio=odds_ratio, h=1.5, headstart=0.5)
    arm = chart.high if odds_ratio > 1 else chart.low
    level = 0.5
    for i, (y, p) in enumerate(jobs):
        odds = odds_ratio * p / (1 - p)
        changed = odds / (1 + odds)
        weight = np.log(changed / p) if y else np.log((1 - changed) / (1 - p))
        assert chart.weights[i] == pytest.approx(weight, rel=1e-9, abs=1e-12)
        level = max(0.0, level + weight)
        assert arm[i] == pytest.approx(level, abs=1e-9)


def test_equal_chances_are_a_bernoulli_cusum():
    """With one expected chance for all, the risk-adjusted sum is r2 times the Bernoulli one."""
    events = np.random.default_rng(2).random(500) < 0.09
    p0, odds_ratio = 0.05, 2.0
    p1 = odds_ratio * p0 / (1 - p0 + odds_ratio * p0)
    r2 = bernoulli_weights(p0=p0, p1=p1).r2
    plain = bernoulli_cusum(events, p0=p0, p1=p1, h=3.0)
    adjusted = risk_adjusted_cusum(outcome=events, expected=p0, odds_ratio=odds_ratio, h=3.0 * r2)
    np.testing.assert_allclose(adjusted.high, r2 * plain.high, atol=1e-12)
    assert adjusted.signals == plain.signals
    assert len(plain.signals) > 0
    np.testing.assert_allclose(adjusted.upper, plain.upper, atol=1e-10)


def test_limits_on_the_outcome():
    """A job's outcome is at or above `upper` exactly where the sum has reached its limit."""
    events = np.random.default_rng(4).random(400) < 0.15
    chart = bernoulli_cusum(events, p0=0.05, p1=0.1, h=3.0)
    reached = chart.high >= 3.0 - 1e-9
    assert (reached == (chart.values >= chart.upper - 1e-9)).all()
    assert 0 < reached.sum() < 400
    assert {s.index for s in beyond_limits(chart)} <= set(np.flatnonzero(reached))


def test_reaching_the_limit_is_a_signal_once_for_each_stay():
    chart = bernoulli_cusum([1, 1, 1, 0, 0], p0=0.2, p1=0.5, h=2 * (1 - bernoulli_weights(p0=0.2, p1=0.5).reference))
    assert [(s.index, s.points) for s in chart.signals] == [(1, (0, 1))]
    again = bernoulli_cusum([1, 1, 1, 1, 0], p0=0.2, p1=0.5, h=chart.limit, restart=True)
    assert [(s.index, s.points) for s in again.signals] == [(1, (0, 1)), (3, (2, 3))]


def test_an_improvement_is_seen_by_the_lower_arm():
    chart = bernoulli_cusum([0] * 200, p0=0.05, p1=0.02, h=2)
    assert [s.side for s in chart.signals] == ["below"]
    assert np.isnan(chart.high).all()
    assert np.diff(chart.low).min() > 0


def test_landmarks():
    for empty in (
        bernoulli_cusum([], p0=0.1, p1=0.2, h=2),
        risk_adjusted_cusum(outcome=[], expected=[], odds_ratio=2, h=2),
    ):
        assert empty.high.tolist() == []
        assert empty.signals == ()
    never = bernoulli_cusum([0] * 50, p0=0.1, p1=0.2, h=2)
    assert never.high.tolist() == [0.0] * 50
    assert never.sigma.tolist() == pytest.approx([0.3] * 50)
    assert bernoulli_cusum(pl.Series([True, False]), p0=0.1, p1=0.2, h=2).values.tolist() == [1.0, 0.0]


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"p1": 0.1}, "p1 must differ from p0: both are 0.1"),
        ({"p0": 0}, "p0 must be one number between 0 and 1"),
        ({"p1": 1.0}, "p1 must be one number between 0 and 1"),
        ({"h": -1}, "h must be above 0 and finite: -1"),
        ({"headstart": 2}, "headstart must be at least 0 and below h = 2: 2"),
        ({"event": [0, 2]}, r"event must be 0 or 1 for each job: event\[1\] = 2"),
        ({"event": [0, None]}, "event must not be missing"),
        ({"event": [[0]]}, r"event must be one entry a job, in one dimension: shape \(1, 1\)"),
    ],
)
def test_bernoulli_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        bernoulli_cusum(**{"event": [0, 1], "p0": 0.1, "p1": 0.2, "h": 2, **asked})


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"odds_ratio": 1}, "odds_ratio must be above 0, finite and not 1: 1"),
        ({"odds_ratio": 0}, "odds_ratio must be above 0, finite and not 1: 0"),
        ({"expected": [0.1]}, r"outcome and expected must be of one length: outcome \(2,\), expected \(1,\)"),
        ({"expected": [0.1, 0.0]}, r"expected must be strictly between 0 and 1: expected\[1\] = 0"),
        ({"expected": [0.1, np.nan]}, r"expected must not be missing"),
        ({"outcome": [0, 3]}, r"outcome must be 0 or 1 for each job: outcome\[1\] = 3"),
    ],
)
def test_risk_adjusted_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        risk_adjusted_cusum(**{"outcome": [0, 1], "expected": [0.1, 0.2], "odds_ratio": 2, "h": 2, **asked})
