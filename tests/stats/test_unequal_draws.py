"""Draws with chances of their own and what they say of all: a textbook's small population, exact chances, coverage."""

from itertools import permutations

import numpy as np
import pytest

from rqa import stats

AREA, SALES = np.array([100.0, 200.0, 300.0, 1000.0]), np.array([11.0, 20.0, 24.0, 245.0])
"""Four supermarkets: S. L. Lohr, Sampling: Design and Analysis, chapter 6 (from memory). Sales are 300 in all."""
PRINTED = {"inclusion": (0.1900, 0.3705, 0.5393, 0.9002), "variance": 4383.6}
"""Chances to be among two drawn one by one in proportion to area, and the variance of the estimate (memory)."""


def two_drawn() -> dict[tuple[int, int], float]:
    """The chance of each pair, drawn one by one without replacement in proportion to area."""
    share = AREA / AREA.sum()
    pairs: dict[tuple[int, int], float] = {}
    for a, b in permutations(range(4), 2):
        key = (min(a, b), max(a, b))
        pairs[key] = pairs.get(key, 0.0) + share[a] * share[b] / (1.0 - share[a])
    return pairs


def test_the_estimate_of_a_textbooks_population() -> None:
    pairs = two_drawn()
    chance = np.array([sum(p for pair, p in pairs.items() if i in pair) for i in range(4)])
    assert chance == pytest.approx(PRINTED["inclusion"], abs=5e-5)
    told = {
        pair: stats.horvitz_thompson(
            found=SALES[list(pair)], chance=chance[list(pair)], least_chance=float(chance.min())
        ).estimate
        for pair in pairs
    }
    mean = sum(p * told[pair] for pair, p in pairs.items())
    assert mean == pytest.approx(SALES.sum())
    variance = sum(p * (told[pair] - mean) ** 2 for pair, p in pairs.items())
    assert variance == pytest.approx(PRINTED["variance"], abs=0.06)


def test_chances_add_up_follow_the_sizes_and_leave_none_out() -> None:
    chance = stats.draw_chances(size=[1.0, 1.0, 2.0, 4.0], draws=2, uniform=0.25)
    assert chance.sum() == pytest.approx(2.0)
    share = 0.25 / 4 + 0.75 * np.array([1, 1, 2, 4]) / 8
    assert chance == pytest.approx(2 * share)
    assert stats.draw_chances(size=[3.0, 1.0], draws=5).tolist() == [1.0, 1.0]
    sure = stats.draw_chances(size=[100.0, 1.0, 1.0, 1.0], draws=2, uniform=0.1)
    assert sure[0] == 1.0
    assert sure[1:] == pytest.approx([1 / 3] * 3)


def test_each_case_is_drawn_as_often_as_its_chance() -> None:
    chance = np.array([0.9, 0.5, 0.3, 0.2, 0.1])
    drawn = [stats.systematic_draw(chance=chance, seed=seed) for seed in range(4000)]
    assert {len(d) for d in drawn} == {2}
    seen = np.bincount(np.concatenate(drawn), minlength=5) / 4000
    # Four standard errors of a share of 4,000 draws.
    assert np.abs(seen - chance).max() < 4 * 0.5 / 4000**0.5


def test_the_limits_at_the_landmarks() -> None:
    equal = stats.horvitz_thompson(found=[1, 0, 0, 1], chance=[0.1] * 4, least_chance=0.1)
    assert equal.estimate == pytest.approx(40 * 2 / 4)
    assert equal.se == pytest.approx((2 * 0.9 * 100) ** 0.5)
    every = stats.horvitz_thompson(found=[1, 0, 1], chance=[1.0] * 3, least_chance=1.0)
    assert (every.low, every.estimate, every.high) == (2.0, 2.0, 2.0)
    none = stats.horvitz_thompson(found=[0] * 30, chance=[0.01] * 30, least_chance=0.01)
    # With weights of 100 and hardly any case drawn, the exact Poisson limit of none seen: 3.69 (-log 0.025).
    assert none.high == pytest.approx(100 * -np.log(0.025), rel=0.02)
    assert (none.low, none.estimate) == (0.0, 0.0)


def held(rng: np.random.Generator, days: int = 20, per_day: int = 5) -> bool:
    """Whether the limits hold the number of faulty jobs of some weeks, drawn day by day by an unlike predicted risk."""
    found, chance, faulty, jobs, least = [], [], 0, 0, 1.0
    for _ in range(days):
        n = int(rng.integers(8, 30))
        risk = rng.beta(1.0, 15.0, n) + 0.005
        bad = rng.random(n) < risk * rng.uniform(0.5, 1.5, n)
        p = stats.draw_chances(size=risk, draws=per_day, uniform=0.25)
        taken = stats.systematic_draw(chance=p, seed=int(rng.integers(2**31)))
        found += bad[taken].tolist()
        chance += p[taken].tolist()
        faulty, jobs, least = faulty + int(bad.sum()), jobs + n, min(least, float(p.min()))
    most = jobs - len(found) + sum(found)
    r = stats.horvitz_thompson(found=np.array(found, float), chance=chance, least_chance=least, most=most)
    return r.low <= faulty <= r.high


@pytest.mark.parametrize("times", [60, pytest.param(2000, marks=pytest.mark.slow)])
def test_limits_hold_the_number_of_faulty_jobs(times: int) -> None:
    rng = np.random.default_rng(4)
    share = np.mean([held(rng) for _ in range(times)])
    # At least 95 %, less four standard errors of so many trials.
    assert share >= 0.95 - 4 * (0.95 * 0.05 / times) ** 0.5


def test_slopes_are_those_of_another_library() -> None:
    """Unheld, against statsmodels' binomial regression on the same counts."""
    import statsmodels.api as sm

    rng = np.random.default_rng(2)
    marks = rng.integers(0, 2, (12, 3))
    cases = rng.integers(40, 90, 12)
    events = rng.binomial(cases, 1 / (1 + np.exp(2 - marks @ [0.5, -0.4, 1.0])))
    ours = stats.ridge_logit(marks=marks, events=events, cases=cases, penalty=1e-9)
    family = sm.families.Binomial()
    other = sm.GLM(np.column_stack([events, cases - events]), sm.add_constant(marks.astype(float)), family=family).fit()
    assert ours == pytest.approx(other.params, abs=1e-6)


def test_held_slopes_make_the_penalised_likelihood_smallest() -> None:
    from scipy import optimize

    marks, events, cases = np.eye(4), np.array([3, 5, 9, 0]), np.array([50, 40, 30, 60])

    def loss(b: np.ndarray) -> float:
        eta = b[0] + marks @ b[1:]
        return float((cases * np.logaddexp(0, eta) - events * eta).sum() + 0.5 * 3.0 * (b[1:] ** 2).sum())

    found = optimize.minimize(loss, np.zeros(5), method="BFGS", options={"gtol": 1e-9}).x
    ours = stats.ridge_logit(marks=marks, events=events, cases=cases, penalty=3.0)
    assert ours == pytest.approx(found, abs=1e-4)
    fitted = cases / (1 + np.exp(-(ours[0] + marks @ ours[1:])))
    assert fitted.sum() == pytest.approx(events.sum())
