"""The interval of a rolled yield beside the delta method's and the bootstrap's, on the same counts."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from rqa.stats import product_interval

YIELD = tomllib.loads((Path(__file__).parents[2] / "shared" / "published.toml").read_text("utf-8"))["first_pass_yield"]


def delta(successes, trials):
    """log of the product -/+ z sqrt(sum (1 - p) / (n p)): no limits of any width where every step always passed."""
    p = successes / trials
    total, error = np.log(p).sum(axis=-1), np.sqrt(((1 - p) / (trials * p)).sum(axis=-1))
    return np.exp(total - 1.959964 * error), np.exp(total + 1.959964 * error)


def bootstrap(successes, trials, rng, draws=4_000):
    """Percentiles of the product over steps drawn anew from their own shares."""
    again = rng.binomial(trials, successes / trials, size=(draws, len(trials))) / trials
    return np.quantile(again.prod(axis=1), [0.025, 0.975])


def test_all_agree_where_counts_are_ample():
    """Four steps of 1,000: the three intervals differ by less than a tenth of their width."""
    trials = np.array([1_000, 900, 800, 750])
    successes = np.array([900, 800, 750, 700])
    widths = delta(successes, trials)[1] - delta(successes, trials)[0]
    boot = bootstrap(successes, trials, np.random.default_rng(31))
    for method in ("mover", "score"):
        r = product_interval(successes=successes, trials=trials, method=method)
        assert (float(r.low), float(r.high)) == pytest.approx(delta(successes, trials), abs=0.1 * widths)
        assert (float(r.low), float(r.high)) == pytest.approx(tuple(boot), abs=0.1 * widths)


def test_the_worked_example_has_all_three_near_each_other():
    trials = np.array(YIELD["in"])
    successes = np.array(YIELD["good_out"]) - np.array(YIELD["reworked"])
    r = product_interval(successes=successes, trials=trials, method="score")
    for other in (delta(successes, trials), bootstrap(successes, trials, np.random.default_rng(32))):
        assert (float(r.low), float(r.high)) == pytest.approx(tuple(other), abs=0.02)


def test_coverage_where_failures_are_few():
    """Four steps of 99 %, 40 jobs each: score keeps its promise, the delta method cannot where nothing failed."""
    rng = np.random.default_rng(33)
    passed = rng.binomial(40, 0.99, size=(4_000, 4))
    truth = 0.99**4
    r = product_interval(successes=passed, trials=40, method="score")
    low, high = delta(passed, np.full(4, 40))
    held = {"score": np.mean((r.low <= truth) & (r.high >= truth)), "delta": np.mean((low <= truth) & (high >= truth))}
    # Nothing fails in 0.99^160 = 20 % of the draws. Three standard errors of 4,000 draws are 0.01 and 0.019.
    assert held["score"] >= 0.95 - 0.01
    assert held["delta"] <= 1 - 0.99**160 + 0.019


def test_only_ours_has_limits_where_everything_passed():
    n = np.array([40, 40, 40])
    r = product_interval(successes=n, trials=n, method="score")
    assert delta(n, n) == (1.0, 1.0)
    assert bootstrap(n, n, np.random.default_rng(34)).tolist() == [1.0, 1.0]
    assert 0.8 < r.low < 0.95
    assert r.high == 1.0
