"""Many sums held at their limits, and limits for a family of them."""

import numpy as np
import pytest

from rqa import spc
from rqa.spc.watch_limits import mean_jobs


@pytest.mark.parametrize(("limit", "chance", "true", "short"), [
    (4.0, 0.08, 1.0, 0.05), (6.0, 0.08, 1.0, 0.06), (8.0, 0.3, 1.0, 0.05), (6.0, 0.02, 1.0, 0.2), (3.0, 0.2, 1.0, 0.05),
])
def test_run_lengths_are_those_of_the_finer_chain_or_shorter(
    limit: float, chance: float, true: float, short: float
) -> None:
    """The finer chain of `run_length` has 800 steps, and its own tests against published values."""
    fine = spc.run_length(spc.RiskAdjustedDesign(expected=(chance,), odds_ratio=2.0, h=limit)).mean
    coarse = float(mean_jobs(chance, np.array([true]), limit, 2.0)[0])
    assert (1.0 - short) * fine <= coarse <= 1.001 * fine


def test_a_family_raises_as_many_false_alarms_as_it_is_allowed() -> None:
    """A year of jobs at the expected chance, simulated: alarms a year, against what was allowed.

    The limit errs upwards (coarse chain, a start at 0), so the share may be lower; it may not be higher than three
    standard errors above.
    """
    rng, years, jobs, chance, allowed = np.random.default_rng(4), 4000, 1000, 0.08, 0.1
    limit = float(spc.family_limits(events=jobs * chance, chance=chance, variance=0.0, alarms=allowed)[0])
    weights = np.where(rng.random((years, jobs)) < chance, np.log(2.0), 0.0) - np.log1p(chance)
    raised = float(spc.held_sums(weights, limit=np.full(years, limit)).signals.any(axis=1).mean())
    assert 0.6 * allowed <= raised <= allowed + 3 * (allowed * (1 - allowed) / years) ** 0.5


def test_a_level_that_is_not_known_exactly_is_allowed_for() -> None:
    rng, years, jobs, chance, allowed, variance = np.random.default_rng(5), 4000, 1000, 0.08, 0.1, 0.03
    limit = float(spc.family_limits(events=jobs * chance, chance=chance, variance=variance, alarms=allowed)[0])
    level = rng.gamma(1 / variance, variance, (years, 1))
    weights = np.where(rng.random((years, jobs)) < chance * level, np.log(2.0), 0.0) - np.log1p(chance)
    raised = float(spc.held_sums(weights, limit=np.full(years, limit)).signals.any(axis=1).mean())
    assert 0.6 * allowed <= raised <= allowed + 3 * (allowed * (1 - allowed) / years) ** 0.5


def test_sums_are_held_and_end() -> None:
    r = spc.held_sums([[2.0, 2.0, 2.0, -1.0, -1.0, 2.0], [0.0, -1.0, 0.5, 0.0, 0.0, 0.0]], limit=[3.0, 3.0])
    assert r.value.tolist() == [[2.0, 3.0, 3.0, 2.0, 0.0, 2.0], [0.0, 0.0, 0.5, 0.5, 0.5, 0.5]]
    assert r.signals[0].tolist() == [False, True, True, True, False, False]
    assert r.since.tolist() == [[0, 0, 0, 0, -1, 5], [-1, -1, 2, 2, 2, 2]]
    assert r.begun[0].tolist() == [-1, 1, 1, 1, -1, -1]
    assert spc.held_sums(np.zeros((2, 0)), limit=[1.0, 1.0]).value.shape == (2, 0)


def test_how_far_an_onset_is_off() -> None:
    """400 courses of 10 events a month that become three times as many: half of the onsets lie within ten days.

    A sum that was not at 0 when the change began says that it grew since it last was, so onsets err to the early side.
    """
    rng, days, bad_from, a_day, chance = np.random.default_rng(6), 300, 200, 4, 0.08
    events = rng.binomial(a_day, np.where(np.arange(days) >= bad_from, 3.0 * chance, chance), (400, days))
    found = spc.held_sums(events * np.log(2.0) - a_day * np.log1p(chance), limit=np.full(400, 6.0))
    off = [
        int(found.since[i, raised[0]]) - bad_from
        for i in range(400)
        if (raised := np.flatnonzero(found.signals[i] & (found.begun[i] >= bad_from))).size
    ]
    assert len(off) > 390
    early, first, half, last = np.quantile(off, [0.05, 0.25, 0.5, 0.95])
    assert -10 <= first <= half <= 1
    assert (early, last) == pytest.approx((-38, 3), abs=2)  # as the docstring of depot.charts.watch says


@pytest.mark.parametrize("amiss", [
    {"weights": [1.0], "limit": [1.0]}, {"weights": [[np.nan]], "limit": [1.0]}, {"weights": [[1.0]], "limit": [0.0]},
    {"weights": [[1.0]], "limit": [1.0, 2.0]},
])
def test_sums_refuse_what_they_cannot_sum(amiss: dict[str, list[float]]) -> None:
    with pytest.raises(ValueError, match="must be"):
        spc.held_sums(**amiss)


@pytest.mark.parametrize("amiss", [
    {"events": 0.0}, {"chance": 1.0}, {"variance": -0.1}, {"alarms": 0.0}, {"odds_ratio": 0.5}, {"events": np.nan},
])
def test_limits_refuse_what_is_out_of_range(amiss: dict[str, float]) -> None:
    given = {"events": 40.0, "chance": 0.08, "variance": 0.0, "alarms": 0.1} | amiss
    with pytest.raises(ValueError, match=r"must (not )?be"):
        spc.family_limits(**given)
