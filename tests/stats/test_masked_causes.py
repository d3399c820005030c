"""Masked causes: closed forms, pooled tests, a general optimiser, limits by their definition, coverage, groups."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import chi2

from rqa.stats import best_pool_size, masked_cause_mle, pooled_share
from tests.examples import examples
from tests.printed import as_printed

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "risky_steps.toml").read_text("utf-8"))
POOLS, TWO = PUBLISHED["pooled_tests"], PUBLISHED["two_masked_causes"]


def log_likelihood(rate, exposures, jobs, pattern, candidates, comebacks):
    """Written from the definition, pattern by pattern, in chances of jobs."""
    total = 0.0
    left = np.array(jobs, dtype=float)
    for place, may, times in zip(pattern, candidates, comebacks, strict=True):
        mean = np.asarray(exposures[place]) * rate
        total += times * np.log((mean * may).sum() / mean.sum() * (1 - np.exp(-mean.sum())))
        left[place] -= times
    return total - sum(n * (np.asarray(e) * rate).sum() for n, e in zip(left, exposures, strict=True))


def test_pooled_tests_as_published():
    """One step done seven times a job is a pool of seven."""
    share = pooled_share(positive=POOLS["positive"], pools=POOLS["pools"], size=POOLS["size"])
    assert as_printed([share.low, share.high], POOLS["score"], POOLS["decimals"])
    exact = pooled_share(positive=3, pools=24, size=7, method="clopper-pearson")
    assert as_printed([exact.low, exact.high], POOLS["clopper_pearson"], POOLS["decimals"])
    masked = masked_cause_mle(exposures=[[7]], jobs=[24], pattern=[0], candidates=[[1]], comebacks=[3])
    for estimate in (share.estimate, exact.estimate, masked.estimate[0]):
        assert as_printed(estimate, POOLS["estimate"], POOLS["decimals"])


def test_pooled_ends():
    r = pooled_share(positive=[0, 5, 0], pools=[5, 5, 0], size=4)
    assert (r.estimate[0], r.low[0], r.estimate[1], r.high[1]) == (0, 0, 1, 1)
    assert 0 < r.high[0] < 1
    assert 0 < r.low[1] < 1
    assert np.isnan(r.estimate[2])
    with pytest.raises(ValueError, match="size must be at least 1"):
        pooled_share(positive=1, pools=2, size=0)


def test_dorfman():
    rows = PUBLISHED["dorfman"]["rows"]
    r = best_pool_size(prevalence=[row["prevalence"] for row in rows])
    assert r.size.tolist() == [row["size"] for row in rows]
    assert np.round(100 * r.cost).tolist() == [row["cost"] for row in rows]
    assert best_pool_size(prevalence=[0.306, 0.308]).size.tolist() == [3, 1]
    with pytest.raises(ValueError, match="prevalence"):
        best_pool_size(prevalence=0)


def test_two_masked_causes_in_closed_form():
    r = masked_cause_mle(
        exposures=[[TWO["time"] / 50, TWO["time"] / 50]],
        jobs=[50],
        pattern=[0, 0, 0],
        candidates=[[1, 0], [0, 1], [1, 1]],
        comebacks=[TWO["only_first"], TWO["only_second"], TWO["either"]],
        likelihood="count",
    )
    assert r.estimate == pytest.approx(TWO["rates"], rel=1e-8)
    assert r.attributed == pytest.approx([12, 6], rel=1e-8)
    assert r.identified.all()


def test_single_candidates_in_closed_form():
    """Each job does every step once and 60 of 400 come back: -log(340 / 400) shared out as the come-backs are."""
    r = masked_cause_mle(
        exposures=[[1, 1, 1]], jobs=[400], pattern=[0] * 3, candidates=np.eye(3), comebacks=[10, 20, 30]
    )
    rate = -np.log(340 / 400) * np.array([10, 20, 30]) / 60
    assert r.estimate == pytest.approx(1 - np.exp(-rate), rel=1e-8)
    assert r.attributed == pytest.approx([10, 20, 30], rel=1e-8)


def test_limits_of_counts_with_one_step_are_those_of_a_poisson_mean():
    """Profile of a single mean m with x seen: 2 (x log(x / m) - x + m) = chi-squared quantile."""
    r = masked_cause_mle(
        exposures=[[1.0]], jobs=[1000], pattern=[0], candidates=[[1]], comebacks=[12], likelihood="count"
    )
    for m in (1000 * r.low[0], 1000 * r.high[0]):
        assert 2 * (12 * np.log(12 / m) - 12 + m) == pytest.approx(chi2.ppf(0.95, 1), rel=1e-6)


@st.composite
def depots(draw):
    """Some patterns with every step single-candidate once, so that the maximum is unique; few jobs, so that g bends."""
    steps = draw(st.integers(2, 4))
    exposures = draw(st.lists(st.lists(st.integers(0, 2), min_size=steps, max_size=steps), min_size=1, max_size=4))
    exposures = [[1] * steps, *[e for e in exposures if any(e)]]
    rows = [(0, [int(i == s) for i in range(steps)], draw(st.integers(1, 6))) for s in range(steps)]
    for place, e in enumerate(exposures):
        may = [int(x > 0 and draw(st.booleans())) for x in e]
        if any(may):
            rows.append((place, may, draw(st.integers(0, 9))))
    jobs = [draw(st.integers(1, 200)) for _ in exposures]
    for place, _, times in rows:
        jobs[place] += times
    pattern, candidates, comebacks = zip(*rows, strict=True)
    return {"exposures": exposures, "jobs": jobs, "pattern": pattern, "candidates": candidates, "comebacks": comebacks}


@settings(max_examples=examples(40), deadline=None)
@given(depots())
def test_is_the_maximum_and_limits_lie_on_the_profile(depot):
    """A general optimiser from the fit finds nothing higher, and a fall of 1.92 at the limits, over the other steps."""
    r = masked_cause_mle(**depot)
    rate = -np.log1p(-r.estimate)
    highest = log_likelihood(rate, **depot)
    assert r.settled
    assert r.log_likelihood == pytest.approx(highest, abs=1e-6)
    assert r.attributed.sum() == pytest.approx(sum(depot["comebacks"]), rel=1e-6)

    def best(step, held):
        def lost(logs):
            return -log_likelihood(np.insert(np.exp(logs), step, held), **depot)

        found = minimize(lost, np.log(np.delete(rate, step) + 1e-4), method="BFGS", options={"gtol": 1e-6})
        return -found.fun

    for other in (0.5, 1.5):
        assert log_likelihood(rate * other, **depot) < highest
    assert best(0, rate[0]) <= highest + 1e-6
    for end in (r.low[0], r.high[0]):
        # The optimiser works in logarithms and stops a little short where a rate goes to 0.
        assert 2 * (highest - best(0, -np.log1p(-end))) == pytest.approx(chi2.ppf(0.95, 1), abs=2e-3)


def score(rate, exposures, jobs, pattern, candidates, comebacks, likelihood):
    """Derivatives of the log-likelihood by each rate, times the rate: what speaks for the rate, and what against it."""
    e, left, may = np.array(exposures, dtype=float), np.array(jobs, dtype=float), np.array(candidates, dtype=float)
    pro, contra = np.zeros(e.shape[1]), np.zeros(e.shape[1])
    for place, row, times in zip(pattern, may, comebacks, strict=True):
        own, mean = e[place] * row, e[place] @ rate
        pro += times * own / (own @ rate) if times else 0.0
        if times and likelihood == "job":
            left[place] -= times
            contra += times * e[place] * (1 / mean - np.exp(-mean) / -np.expm1(-mean))
    return rate * pro, rate * (contra + left @ e)


@st.composite
def any_depots(draw):
    """Steps never done, never candidates, cleared by others: many rates are 0."""
    steps = draw(st.integers(2, 6))
    exposures = draw(st.lists(st.lists(st.integers(0, 2), min_size=steps, max_size=steps), min_size=2, max_size=5))
    rows = []
    for place, e in enumerate(exposures):
        for _ in range(draw(st.integers(0, 4))):
            may = [int(x > 0 and draw(st.booleans())) for x in e]
            if any(may):
                rows.append((place, may, draw(st.integers(0, 40))))
    jobs = [draw(st.integers(1, 20_000)) for _ in exposures]
    for place, _, times in rows:
        jobs[place] += times
    pattern, candidates, comebacks = ([row[i] for row in rows] for i in range(3))
    return {"exposures": exposures, "jobs": jobs, "pattern": pattern, "candidates": candidates, "comebacks": comebacks}


@pytest.mark.parametrize("likelihood", ["job", "count"])
@given(depot=st.one_of(depots(), any_depots()))
def test_the_slope_at_the_fit_is_0_to_the_last_digits(likelihood, depot):
    """So the rates are the same whatever the order in which a processor adds up.

    A rise of the likelihood is hidden by its rounding when rates are 1e-8 off. 1e-12 leaves 1,000 roundings of sums.
    """
    r = masked_cause_mle(**depot, likelihood=likelihood)
    rate = np.where(r.exposure > 0, -np.log1p(-r.estimate) if likelihood == "job" else r.estimate, 0.0)
    # Certain to come back is the top; groups and steps mixed up have no slope of their own.
    assume(r.identified[r.exposure > 0].all() and (rate < 30).all())
    pro, contra = score(rate, **depot, likelihood=likelihood)
    assert pro == pytest.approx(contra, rel=1e-12, abs=1e-12 * max(sum(depot["comebacks"]), 1))


@pytest.mark.slow
def test_limits_hold_the_truth_as_often_as_promised():
    """120 simulated months, four steps, half of the come-backs masked; of 360 intervals 4 standard errors are 4.6 %."""
    rng = np.random.default_rng(6)
    truth = np.array([0.002, 0.006, 0.0, 0.01])
    exposures = np.array([[1, 1, 1, 1], [2, 1, 1, 0], [0, 1, 2, 1]])
    jobs = np.array([1500, 800, 900])
    candidates = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    held = np.zeros(4)
    for _ in range(120):
        mean = exposures * truth
        back = rng.binomial(jobs, 1 - np.exp(-mean.sum(axis=1)))
        by_step = np.array([rng.multinomial(b, m / m.sum()) for b, m in zip(back, mean, strict=True)])
        masked = rng.binomial(by_step, 0.5)
        sets = np.column_stack([masked[:, :2].sum(axis=1), masked[:, 2:].sum(axis=1), by_step - masked])
        r = masked_cause_mle(
            exposures=exposures,
            jobs=jobs,
            pattern=np.repeat(np.arange(3), 6),
            candidates=np.tile(candidates, (3, 1)) * (np.repeat(exposures, 6, axis=0) > 0),
            comebacks=sets.ravel(),
        )
        held += (r.low <= 1 - np.exp(-truth)) & (1 - np.exp(-truth) <= r.high)
    assert (held / 120)[truth > 0].mean() == pytest.approx(0.95, abs=0.046)
    assert held[2] / 120 >= 0.95


def test_steps_that_always_go_together_are_one_group():
    depot = {"jobs": [900, 100], "pattern": [0, 0, 1], "comebacks": [10, 4, 3]}
    r = masked_cause_mle(exposures=[[1, 2, 1], [1, 2, 0]], candidates=[[1, 1, 0], [0, 0, 1], [1, 1, 0]], **depot)
    assert r.groups == ((0, 1), (2,))
    assert r.group.tolist() == [0, 0, 1]
    assert r.identified.tolist() == [False, False, True]
    alone = masked_cause_mle(exposures=[[1, 1], [1, 0]], candidates=[[1, 0], [0, 1], [1, 0]], **depot)
    assert r.estimate == pytest.approx(alone.estimate[[0, 0, 1]], rel=1e-8)
    assert r.high == pytest.approx(alone.high[[0, 0, 1]], rel=1e-6)


def test_a_step_done_less_often_clears_the_other():
    """Come-backs always name both, but step 1 was also done a thousand times without step 0, and none came back."""
    r = masked_cause_mle(exposures=[[1, 1], [0, 1]], jobs=[1000, 1000], pattern=[0], candidates=[[1, 1]], comebacks=[9])
    assert r.estimate == pytest.approx([0.009, 0.0], abs=1e-9)
    assert r.identified.all()


def test_steps_mixed_up_in_a_ring_get_limits_but_no_estimate():
    ring = [[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0], [0, 1, 0, 1]]
    r = masked_cause_mle(exposures=[[1] * 4], jobs=[1000], pattern=[0] * 4, candidates=ring, comebacks=[9, 10, 11, 12])
    assert not r.identified.any()
    assert np.isnan(r.estimate).all()
    assert (r.low == 0).all()
    assert ((r.high > 0.02) & (r.high < 0.05)).all()


def test_shares_of_sets_undo_an_uneven_mask():
    """Step 0 shows up in either set, step 1 in the first alone. Expected counts give back the true rates."""
    jobs, rate = 100_000, np.array([0.004, 0.001])
    counts = np.round(jobs * np.array([rate[0] / 2 + rate[1], rate[0] / 2])).astype(int)
    depot = {"exposures": [[1, 1]], "jobs": [jobs], "pattern": [0, 0], "comebacks": counts, "likelihood": "count"}
    right = masked_cause_mle(candidates=[[0.5, 1], [0.5, 0]], **depot)
    assert right.estimate == pytest.approx(rate, rel=1e-6)
    assert masked_cause_mle(candidates=[[1, 1], [1, 0]], **depot).estimate[0] == pytest.approx(0.005, rel=1e-4)


def test_none_all_and_no_data():
    none = masked_cause_mle(exposures=[[1, 0]], jobs=[50], pattern=[], candidates=[], comebacks=[])
    assert (none.estimate[0], none.low[0]) == (0, 0)
    assert none.high[0] == pytest.approx(1 - np.exp(-chi2.ppf(0.95, 1) / 2 / 50), rel=1e-6)
    assert np.isnan([none.estimate[1], none.low[1], none.high[1]]).all()
    every = masked_cause_mle(exposures=[[1]], jobs=[10], pattern=[0], candidates=[[1]], comebacks=[10])
    assert (every.estimate[0], every.high[0]) == (pytest.approx(1), pytest.approx(1))
    assert every.low[0] == pytest.approx(np.exp(-chi2.ppf(0.95, 1) / 20), rel=1e-6)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"exposures": [1, 1]}, "patterns x steps"),
        ({"candidates": [[1, 1, 1]]}, "one column for each step|one column per step"),
        ({"exposures": [[1, 0]], "candidates": [[0, 1]]}, "must, by exposures, be steps that the pattern did: row 0"),
        ({"candidates": [[0, 0]]}, "at least one step: row 0"),
        ({"comebacks": [11]}, "must not be above jobs: pattern 0"),
        ({"pattern": [1]}, "pattern must be below 1"),
        ({"likelihood": "both"}, "likelihood must be one of"),
    ],
)
def test_refused(changed, message):
    given = {"exposures": [[1, 1]], "jobs": [10], "pattern": [0], "candidates": [[1, 1]], "comebacks": [2]}
    with pytest.raises(ValueError, match=message):
        masked_cause_mle(**given | changed)


@pytest.mark.parametrize("likelihood", ["job", "count"])
def test_any_small_depot_settles_with_limits_around_the_estimate(likelihood):
    """80 depots drawn blindly: steps never done, never candidates, always together, all jobs back."""
    rng = np.random.default_rng(12)
    for _ in range(80):
        steps, patterns, rows = rng.integers(1, 6), rng.integers(1, 5), rng.integers(0, 7)
        exposures, pattern = rng.integers(0, 3, (patterns, steps)), rng.integers(0, patterns, rows)
        candidates = (rng.random((rows, steps)) < 0.5) * (exposures[pattern] > 0)
        pattern, candidates = (a[candidates.any(axis=1)] for a in (pattern, candidates))
        comebacks = rng.integers(0, 6, len(pattern))
        back = np.bincount(pattern, weights=comebacks, minlength=patterns).astype(int)
        r = masked_cause_mle(
            exposures=exposures,
            jobs=rng.integers(0, 30, patterns) + back,
            pattern=pattern,
            candidates=candidates,
            comebacks=comebacks,
            likelihood=likelihood,
        )
        known, exposed = np.isfinite(r.estimate), r.exposure > 0
        assert r.settled
        assert (r.low[known] <= r.estimate[known] + 1e-9).all()
        assert (r.estimate[known] <= r.high[known] + 1e-9).all()
        assert np.isfinite(r.low[exposed]).all()
        assert (r.high[exposed] > 0).all()


FEW_RATES_ABOVE_NONE = [
    {
        "exposures": [[251, 1012, 709], [0, 1, 1], [1, 1, 1]], "jobs": [1, 8, 4], "pattern": [1, 2],
        "candidates": [[0, 1, 1], [1, 1, 1]], "comebacks": [8, 4],
    },
    {
        "exposures": [
            [4708, 816, 753, 454, 633, 1608, 1533, 1601], [1, 0, 0, 0, 0, 0, 0, 1], [1, 0, 0, 0, 0, 0, 1, 0],
            [1, 0, 0, 0, 1, 1, 0, 0], [1, 0, 1, 0, 0, 0, 0, 1], [1, 0, 1, 0, 0, 1, 0, 0], [1, 0, 0, 1, 0, 0, 1, 0],
            [1, 1, 0, 0, 0, 0, 0, 1],
        ],
        "jobs": [1, 3, 1, 3, 1, 2, 2, 1], "pattern": [1, 2, 3, 4, 5, 6, 7],
        "candidates": [
            [1, 0, 0, 0, 0, 0, 0, 1], [1, 0, 0, 0, 0, 0, 1, 0], [1, 0, 0, 0, 1, 1, 0, 0], [1, 0, 1, 0, 0, 0, 0, 1],
            [1, 0, 1, 0, 0, 1, 0, 0], [1, 0, 0, 1, 0, 0, 1, 0], [1, 1, 0, 0, 0, 0, 0, 1],
        ],
        "comebacks": [3, 1, 3, 1, 2, 2, 1],
    },
]


@pytest.mark.parametrize("rows", FEW_RATES_ABOVE_NONE)
def test_limits_where_most_rates_are_none(rows):
    """Rates are small, so "job" and "count" must agree nearly, though each finds its own way along the edges."""
    job, count = (masked_cause_mle(**rows, likelihood=kind) for kind in ("job", "count"))
    assert np.allclose(job.estimate, count.estimate, rtol=0.03, atol=1e-5)
    assert np.allclose(job.low, count.low, rtol=0.03, atol=1e-6)
    assert np.allclose(job.high, count.high, rtol=0.03)
    assert (job.high > 1e-3).all()
