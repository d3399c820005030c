"""Two ways to set limits to a group's true share once a beta-binomial distribution is fitted to all groups."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers
from rqa.stats.beta_binomial import LEAST_STRENGTH, BetaBinomialFit, Groups, grouped, log_likelihood
from rqa.stats.proportion import lower_limit, upper_limit

MEANS = 9
"""Nodes for the mean at each spread; they stand at quantiles near its posterior, so few are needed."""
SPREADS = 17
"""Nodes for the spread, over the range where the likelihood is not negligible."""
NARROWINGS = 3
DROP = 12.0
"""Where the log-likelihood lies this far below its best, the weight is below 1e-5."""
UNHEARD = 1e-6
"""Nodes below this weight are left out of the quantiles."""
NEARER = 60
MOST_SPREAD = 1.0 / np.sqrt(LEAST_STRENGTH + 1.0)


def plug_in_limits(successes: Counts, trials: Counts, fitted: BetaBinomialFit, level: float) -> tuple[Numbers, Numbers]:
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
    Its prior is flat, the mean's is Jeffreys'. At each spread the posterior over the means is taken as the beta of its
    mean and variance; the quantiles are those of the mixture of these betas over the spreads.
    """
    groups = grouped(successes, trials)
    pooled = (float(successes.sum()) + 0.5) / (float(trials.sum()) + 1.0)
    spreads = _spreads(groups, pooled)
    nodes = [_means(groups, pooled, r) for r in spreads]
    log_weights = np.array([w for _, w in nodes])
    log_weights[[0, -1]] += np.log(0.5)
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    heard = np.flatnonzero(weights.sum(axis=1) > UNHEARD)
    x, n, tail = groups.successes, groups.trials, (1.0 - level) / 2.0
    betas = [_matched(x, n, float(_strength(spreads[i])), nodes[i][0], weights[i]) for i in heard]
    a, b = (np.array(ends) for ends in zip(*betas, strict=True))
    share = weights[heard].sum(axis=1)[:, np.newaxis]
    low, high = _mixed_quantile(a, b, share, tail), 1.0 - _mixed_quantile(b, a, share, tail)
    place = {pair: i for i, pair in enumerate(zip(x, n, strict=True))}
    back = [place[pair] for pair in zip(successes, trials, strict=True)]
    return low[back], high[back]


def _matched(x: Numbers, n: Numbers, strength: float, means: Numbers, weights: Numbers) -> tuple[Numbers, Numbers]:
    """The beta of the same mean and variance as the mixture over the means at one strength."""
    share = (x[:, np.newaxis] + means * strength) / (n[:, np.newaxis] + strength)
    weights = weights / weights.sum()
    first = (share * weights).sum(axis=1)
    apart = ((share - first[:, np.newaxis]) ** 2 * weights).sum(axis=1)
    variance = apart + (share * (1.0 - share) * weights).sum(axis=1) / (n + strength + 1.0)
    size = first * (1.0 - first) / variance - 1.0
    return first * size, (1.0 - first) * size


def _mixed_quantile(a: Numbers, b: Numbers, weights: Numbers, tail: float) -> Numbers:
    """Where the mixture of betas over the first axis has `tail` below: Newton's method between closing brackets."""
    ends = special.betaincinv(a, b, tail)
    near, far = ends.min(axis=0), ends.max(axis=0)
    at = (ends * weights).sum(axis=0) / weights.sum()
    log_scale = special.betaln(a, b)
    # Not `roots`: the density is known here, and without it twice to twenty times as long is taken.
    for _ in range(NEARER):
        below = (weights * special.betainc(a, b, at)).sum(axis=0)
        near, far = np.where(below < tail, at, near), np.where(below < tail, far, at)
        log_density = special.xlogy(a - 1.0, at) + special.xlog1py(b - 1.0, -at) - log_scale
        density = (weights * np.exp(log_density)).sum(axis=0)
        step = at - (below - tail) / np.where(density > 0, density, np.inf)
        inside = (step > near) & (step < far) & (density > 0)
        reached = np.abs(below - tail) <= 1e-9
        at = np.where(reached, at, np.where(inside, step, (near + far) / 2.0))
        if reached.all():
            break
    return at


def _quantiles(a: Numbers, b: Numbers, tail: float) -> tuple[Numbers, Numbers]:
    return np.asarray(special.betaincinv(a, b, tail)), np.asarray(special.betainccinv(a, b, tail))


def _strength(r: Numbers | float) -> Numbers:
    # 1e-8 stands for no spread: a strength of 1e16, with which each beta is a point.
    return np.asarray(1.0 / np.maximum(r, 1e-8) ** 2 - 1.0)


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
    return m, log_likelihood(groups, m, float(_strength(r))) - density


def _pooled(successes: Counts, trials: Counts, level: float) -> tuple[float, float]:
    x, n = successes.sum(keepdims=True), trials.sum(keepdims=True)
    return float(lower_limit(x, n, "wilson", level)[0]), float(upper_limit(x, n, "wilson", level)[0])
