"""Run lengths job by job: closed forms, exact fractions as a second way, simulated jobs."""

from fractions import Fraction

import numpy as np
import pytest

from rqa.spc import (
    BernoulliDesign,
    RiskAdjustedDesign,
    SharePoints,
    bernoulli_cusum,
    bernoulli_weights,
    risk_adjusted_cusum,
    run_length,
)
from rqa.spc.run_lengths.hazards import mean_of
from tests.simulated import departures


def mean_in_fractions(step_up, step_down, places, start, share):
    """Mean run length on a lattice of whole steps, by elimination in exact fractions."""
    rows = []
    for i in range(places):
        row = [Fraction(0)] * places + [Fraction(1)]
        row[i] += 1
        for chance, target in ((share, i + step_up), (1 - share, max(0, i - step_down))):
            if target < places:
                row[target] -= chance
        rows.append(row)
    for i in range(places):
        pivot = next(j for j in range(i, places) if rows[j][i] != 0)
        rows[i], rows[pivot] = rows[pivot], rows[i]
        rows[i] = [value / rows[i][i] for value in rows[i]]
        for j in range(places):
            if j != i and rows[j][i] != 0:
                rows[j] = [a - rows[j][i] * b for a, b in zip(rows[j], rows[i], strict=True)]
    return float(rows[start][-1])


@pytest.mark.parametrize("share", [0.02, 0.3, 1.0])
def test_the_first_event_is_a_signal(share):
    """With a limit that one event reaches, the run is the wait for the first event."""
    design = BernoulliDesign(p0=0.02, p1=0.04, h=0.9, reference=1 / 35)
    assert run_length(design, share=share).mean == pytest.approx(1 / share, rel=1e-9)


@pytest.mark.parametrize(
    ("reference", "h", "headstart"), [("1/7", "2", "0"), ("1/7", "12/7", "1"), ("2/9", "5/2", "0")]
)
def test_exact_fractions(reference, h, headstart):
    """The same chain solved without rounding; limits on and between the places of the lattice."""
    ref, limit, head = Fraction(reference), Fraction(h), Fraction(headstart)
    unit, allowed = ref.denominator, ref.numerator
    places = -(-limit.numerator * unit // limit.denominator)
    for share in (Fraction(1, 10), Fraction(1, 4)):
        exact = mean_in_fractions(unit - allowed, allowed, places, int(head * unit), share)
        design = BernoulliDesign(p0=0.1, p1=0.25, h=float(limit), headstart=float(head), reference=float(ref))
        assert run_length(design, share=float(share)).mean == pytest.approx(exact, rel=1e-10)
        assert mean_of(design, float(share)) == pytest.approx(exact, rel=1e-10)
    # An improvement: jobs without the event climb, events fall.
    improving = BernoulliDesign(p0=0.25, p1=0.1, h=float(limit), reference=float(ref))
    exact = mean_in_fractions(allowed, unit - allowed, places, 0, Fraction(3, 4))
    assert run_length(improving).mean == pytest.approx(exact, rel=1e-10)


@pytest.mark.parametrize(
    ("design", "process"),
    [
        *((BernoulliDesign(p0=0.05, p1=p1, h=h), share)
          for p1, h, share in ((0.075, 0.5, 0.05), (0.075, 4.0, 0.05), (0.075, 4.0, 0.9), (0.02, 3.3, 0.05))),
        (BernoulliDesign(p0=0.3, p1=0.31, h=2.0, headstart=1.0), 0.3),
        *((RiskAdjustedDesign(expected=(0.02, 0.1, 0.4), odds_ratio=ratio, h=h, headstart=head), odds)
          for ratio, h, head, odds in ((2.0, 3.0, 0.0, 1.0), (2.0, 0.5, 0.0, 1.0), (0.5, 2.0, 1.0, 3.0))),
    ],
)
def test_the_equations_give_the_mean_of_all_chances(design, process):
    """Two ways to one number: the chain solved for its means, and the chance of a signal at each job added up."""
    asked = {"share": process} if isinstance(design, BernoulliDesign) else {"odds": process}
    assert mean_of(design, process) == pytest.approx(run_length(design, **asked).mean, rel=1e-9)


def test_a_mean_that_no_equation_can_tell_is_told_all_the_same():
    """Beyond 1e11 jobs the chances are walked through; a chain that is never left has no mean."""
    rare = BernoulliDesign(p0=0.01, p1=0.5, h=8.0)
    assert mean_of(rare, 0.01) == run_length(rare).mean > 1e11
    assert mean_of(BernoulliDesign(p0=0.1, p1=0.2, h=3.0), 0.0) == np.inf


def test_a_long_climb_is_not_taken_for_none():
    """Of jobs without an event some 200 are needed for a signal: until then its chance is 0, and not for good."""
    design = BernoulliDesign(p0=0.02, p1=0.01, h=3.0, reference=1 / 70)
    assert run_length(design, share=0.0).mean == pytest.approx(210.0)
    assert run_length(design).mean < 1e5
    # Each job without an event adds -log(1 - 0.02 / 2), about 0.01.
    adjusted = run_length(RiskAdjustedDesign(expected=[0.02], odds_ratio=0.5, h=4.5), odds=0.0)
    assert adjusted.mean == pytest.approx(4.5 / -np.log1p(-0.01), rel=2e-3)


@pytest.mark.parametrize(("p0", "p1", "share"), [(0.05, 0.10, 0.05), (0.05, 0.10, 0.12), (0.20, 0.10, 0.10)])
def test_bernoulli_simulated(p0, p1, share):
    """With the reference value as it is, not as a fraction."""
    runs, horizon, h = 3000, 600, 2.5
    reference = bernoulli_weights(p0=p0, p1=p1).reference
    random = np.random.default_rng(1999)
    level, first = np.zeros(runs), np.full(runs, horizon + 1)
    for i in range(horizon):
        step = (random.random(runs) < share) - reference
        level = np.maximum(0, level + (step if p1 > p0 else -step))
        first = np.where((first > horizon) & (level >= h - 1e-9), i + 1, first)
    assert not departures(first, run_length(BernoulliDesign(p0=p0, p1=p1, h=h), share=share), horizon)


MIX = np.random.default_rng(5).beta(1.2, 14.0, size=300)


@pytest.mark.parametrize(("odds_ratio", "odds"), [(2.0, 1.0), (2.0, 2.0), (0.5, 1.0), (0.5, 0.5)])
def test_risk_adjusted_simulated(odds_ratio, odds):
    runs, horizon, h, headstart = 3000, 600, 2.0, 0.5
    random = np.random.default_rng(2000)
    level, first = np.full(runs, headstart), np.full(runs, horizon + 1)
    for i in range(horizon):
        p = random.choice(MIX, runs)
        event = random.random(runs) < odds * p / (1 - p + odds * p)
        level = np.maximum(0, level + event * np.log(odds_ratio) - np.log(1 - p + odds_ratio * p))
        first = np.where((first > horizon) & (level >= h), i + 1, first)
    design = RiskAdjustedDesign(expected=MIX, odds_ratio=odds_ratio, h=h, headstart=headstart)
    assert not departures(first, run_length(design, odds=odds), horizon)


def test_risk_adjusted_steps_are_enough():
    """Half as many steps change the mean run length by less than one in a thousand."""
    from rqa.spc.run_lengths import risk_adjusted

    design = RiskAdjustedDesign(expected=MIX, odds_ratio=2, h=3)
    usual = run_length(design).mean
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(risk_adjusted, "STEPS", risk_adjusted.STEPS // 2)
        assert run_length(design).mean == pytest.approx(usual, rel=1e-3)


def test_the_charts_themselves_signal_as_often():
    random = np.random.default_rng(7)
    runs, horizon = 400, 200
    plain, adjusted = [], []
    for _ in range(runs):
        p = random.choice(MIX, horizon)
        event = random.random(horizon) < 2 * p / (1 + p)
        chart = risk_adjusted_cusum(outcome=event, expected=p, odds_ratio=2, h=2)
        adjusted.append(chart.signals[0].index + 1 if chart.signals else horizon + 1)
        chart = bernoulli_cusum(random.random(horizon) < 0.15, p0=0.05, p1=0.1, h=2.5)
        plain.append(chart.signals[0].index + 1 if chart.signals else horizon + 1)
    assert not departures(
        np.array(adjusted), run_length(RiskAdjustedDesign(expected=MIX, odds_ratio=2, h=2), odds=2), horizon
    )
    assert not departures(np.array(plain), run_length(BernoulliDesign(p0=0.05, p1=0.1, h=2.5), share=0.15), horizon)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (lambda: BernoulliDesign(p0=0.1, p1=0.1), "p1 must differ from p0: both are 0.1"),
        (lambda: BernoulliDesign(p0=0.1, p1=0.2, h=0), "h must be above 0 and finite: 0"),
        (lambda: BernoulliDesign(p0=0.1, p1=0.2, reference=1), "reference must be one number between 0 and 1"),
        (lambda: run_length(BernoulliDesign(p0=0.1, p1=0.2), shift=1), "shift does not belong to BernoulliDesign"),
        (lambda: run_length(BernoulliDesign(p0=0.1, p1=0.2), share=2), "share must be between 0 and 1"),
        (lambda: RiskAdjustedDesign(expected=[]), "expected must be a list of chances strictly between 0 and 1"),
        (lambda: RiskAdjustedDesign(expected=[0.1, 1.0]), "expected must be a list of chances strictly between"),
        (lambda: RiskAdjustedDesign(expected=[0.1], odds_ratio=1), "odds_ratio must be above 0, finite and not 1: 1"),
        (lambda: run_length(RiskAdjustedDesign(expected=[0.1]), odds=-1), "odds must be at least 0 and finite: -1"),
        (lambda: run_length(RiskAdjustedDesign(expected=[0.1]), points=SharePoints(size=9, centre=0.1)),
         "points does not belong to RiskAdjustedDesign, which takes odds"),
    ],
)
def test_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        asked()
