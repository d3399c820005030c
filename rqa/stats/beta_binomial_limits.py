"""Two ways to set limits to a group's true share once a beta-binomial distribution is fitted to all groups."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers
from rqa.stats.beta_binomial import LEAST_STRENGTH, Fit, Groups, grouped, log_likelihood
from rqa.stats.proportion import lower_limit

MEANS = 9
"""Nodes for the mean at each spread; they stand at quantiles near its posterior, so few are needed."""
SPREADS = 25
"""Nodes for the spread, over the range where the likelihood is not negligible."""
NARROWINGS = 3
DROP = 12.0
"""Where the log-likelihood lies this far below its best, the weight is below 1e-5."""
MOST_SPREAD = 1.0 / np.sqrt(LEAST_STRENGTH + 1.0)


def plug_in_limits(successes: Counts, trials: Counts, fitted: Fit, level: float) -> tuple[Numbers, Numbers]:
    """Quantiles of each group's beta posterior with the fit taken as known; Wilson's of the pooled counts if alike."""
    x, n = successes.astype(np.float64), trials.astype(np.float64)
    if np.isinf(fitted.strength):
        low, high = _pooled(successes, trials, level)
        return np.full(x.shape, low), np.full(x.shape, high)
    a = x + fitted.mean * fitted.strength
    b = n - x + (1.0 - fitted.mean) * fitted.strength
    return _quantiles(a, b, (1.0 - level) / 2.0)


def integrated_limits(successes: Counts, trials: Counts, level: float) -> tuple[Numbers, Numbers]:
    """Quantiles of each group's posterior with the fit's own uncertainty in it.

    The spread r = 1 / sqrt(strength + 1) is the standard deviation of the true shares over the largest it could be.
    Its prior is flat, the mean's is Jeffreys'. The posterior is a mixture of betas over nodes of both, and is taken as
    the beta of the same mean and variance.
    """
    groups = grouped(successes, trials)
    total = float(trials.sum())
    pooled = (float(successes.sum()) + 0.5) / (total + 1.0)
    spreads = _spreads(groups, pooled)
    x, n = successes.astype(np.float64), trials.astype(np.float64)
    nodes = [_means(groups, pooled, r) for r in spreads]
    log_weights = np.array([w for _, w in nodes])
    log_weights[[0, -1]] += np.log(0.5)
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    first, second = np.zeros_like(x), np.zeros_like(x)
    for r, (means, _), by_mean in zip(spreads, nodes, weights, strict=True):
        strength = _strength(r)
        for m, weight in zip(means, by_mean, strict=True):
            share = (x + m * strength) / (n + strength)
            first += weight * share
            second += weight * (share**2 + share * (1.0 - share) / (n + strength + 1.0))
    size = first * (1.0 - first) / (second - first**2) - 1.0
    a, b = first * size, (1.0 - first) * size
    return _quantiles(a, b, (1.0 - level) / 2.0)


def _quantiles(a: Numbers, b: Numbers, tail: float) -> tuple[Numbers, Numbers]:
    return np.asarray(special.betaincinv(a, b, tail)), np.asarray(special.betainccinv(a, b, tail))


def _strength(r: Numbers) -> Numbers:
    # 1e-8 stands for no spread: a strength of 1e16, with which each beta is a point.
    return 1.0 / np.maximum(r, 1e-8) ** 2 - 1.0


def _spreads(groups: Groups, mean: float) -> Numbers:
    """Evenly spaced nodes over the spreads whose likelihood at this mean is not negligible."""
    r = np.concatenate([[0.0], np.geomspace(1e-5, MOST_SPREAD, 60)])
    for _ in range(NARROWINGS):
        height = log_likelihood(groups, np.full_like(r, mean), _strength(r))
        near = np.flatnonzero(height > height.max() - DROP)
        r = np.linspace(r[max(near[0] - 1, 0)], r[min(near[-1] + 1, r.size - 1)], SPREADS)
    return r


def _means(groups: Groups, pooled: float, r: float) -> tuple[Numbers, Numbers]:
    """Means to try at this spread, and the log of the posterior over the density they stand at."""
    n = groups.trials
    worth = float((groups.times * n / (1.0 + (n - 1.0) * r * r)).sum())
    a, b = 0.5 + pooled * worth, 0.5 + (1.0 - pooled) * worth
    m = np.asarray(special.betaincinv(a, b, (np.arange(MEANS) + 0.5) / MEANS))
    m = np.clip(m, 1e-12, 1.0 - 1e-12)
    density = (a - 0.5) * np.log(m) + (b - 0.5) * np.log1p(-m) - special.betaln(a, b)
    return m, log_likelihood(groups, m, np.full_like(m, _strength(np.asarray(r)))) - density


def _pooled(successes: Counts, trials: Counts, level: float) -> tuple[float, float]:
    x, n = successes.sum(keepdims=True), trials.sum(keepdims=True)
    return float(lower_limit(x, n, "wilson", level)[0]), 1.0 - float(lower_limit(n - x, n, "wilson", level)[0])
