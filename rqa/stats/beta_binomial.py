"""The beta-binomial distribution fitted to groups by maximum likelihood: mean and strength."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers

LEAST_STRENGTH = 1.0
"""Below this the true shares would pile up at 0 and 1, and each group be believed to the letter."""
MOST_STRENGTH = 1e9
"""Above this the spread of the true shares is below a 60,000th, which no depot's counts can tell from none."""
STIRLING_FROM = 16.0
"""From here on the series of the log gamma function below is exact to the last digits of a double."""
GRID = 25
STEPS = 100
HALVINGS = 40
LONGEST = 2.0
"""No step moves the logarithm of mean or strength further than this."""
SETTLED = 1e-10
NEGLIGIBLE = 1e-6
"""A gain in log-likelihood below this is rounding, not spread."""


@dataclass(frozen=True)
class BetaBinomialFit:
    """Mean and strength at the highest likelihood; an infinite strength is all groups alike, NaN no data."""

    mean: float
    strength: float
    log_likelihood: float
    log_likelihood_alike: float


@dataclass(frozen=True, eq=False)
class Groups:
    """Groups with their counts, equal ones taken together: a depot of thousands with little work each costs little."""

    successes: Numbers
    trials: Numbers
    times: Numbers


def grouped(successes: Counts, trials: Counts) -> Groups:
    """The distinct pairs of counts and how often each is met."""
    pairs, times = np.unique(np.stack([successes, trials], axis=1), axis=0, return_counts=True)
    return Groups(*(a.astype(np.float64) for a in (pairs[:, 0], pairs[:, 1], times)))


def fit(successes: Counts, trials: Counts) -> BetaBinomialFit:
    """The maximum-likelihood mean and strength of one row of groups, each with trials."""
    total, events = int(trials.sum()), int(successes.sum())
    if total == 0:
        return BetaBinomialFit(np.nan, np.nan, 0.0, 0.0)
    pooled = events / total
    alike = float(special.xlogy(events, pooled) + special.xlogy(total - events, 1.0 - pooled))
    if events in (0, total) or trials.max() == 1 or trials.size == 1:
        return BetaBinomialFit(pooled, np.inf, alike, alike)
    mean, strength, best = _highest(grouped(successes, trials), pooled)
    if best <= alike + NEGLIGIBLE:
        return BetaBinomialFit(pooled, np.inf, alike, alike)
    return BetaBinomialFit(mean, strength, best, alike)


def log_likelihood(groups: Groups, mean: Numbers | float, strength: Numbers | float) -> Numbers:
    """Sum over groups of log B(x + a, n - x + b) / B(a, b), for each pair of a mean and a strength."""
    m, s = np.atleast_1d(mean)[:, np.newaxis], np.atleast_1d(strength)[:, np.newaxis]
    x, n = groups.successes, groups.trials
    terms = _log_rising(m * s, x) + _log_rising((1.0 - m) * s, n - x) - _log_rising(s, n)
    return (groups.times * terms).sum(axis=1)


def _log_rising(start: Numbers, steps: Numbers) -> Numbers:
    """The log of start (start + 1) ... (start + steps - 1), which keeps its digits where start is huge."""
    small, large = np.minimum(start, STIRLING_FROM), np.maximum(start, STIRLING_FROM)
    plain = special.gammaln(small + steps) - special.gammaln(small)
    grown = large + steps
    series = (large - 0.5) * np.log1p(steps / large) + steps * (np.log(grown) - 1.0) + _series(grown) - _series(large)
    return np.where(start < STIRLING_FROM, plain, series)


def _rise(start: float, steps: Numbers) -> Numbers:
    """The derivative of `_log_rising` by its start: 1/start + ... + 1/(start + steps - 1)."""
    if start < STIRLING_FROM:
        return special.digamma(start + steps) - special.digamma(start)
    grown = start + steps
    return np.log1p(steps / start) + _digamma_series(grown) - _digamma_series(np.asarray(start))


def _series(a: Numbers) -> Numbers:
    """What the log gamma function is above (a - 1/2) log a - a + log(2 pi) / 2 (Stirling)."""
    r = 1.0 / a
    r2 = r * r
    return r * (1 / 12 - r2 * (1 / 360 - r2 * (1 / 1260 - r2 * (1 / 1680 - r2 / 1188))))


def _digamma_series(a: Numbers) -> Numbers:
    """What the digamma function is above log a."""
    r = 1.0 / a
    r2 = r * r
    return -r / 2 - r2 * (1 / 12 - r2 * (1 / 120 - r2 * (1 / 252 - r2 * (1 / 240 - r2 / 132))))


def _highest(groups: Groups, pooled: float) -> tuple[float, float, float]:
    """Mean and strength at the highest of the tops climbed to, and its log-likelihood.

    Two starts are made: groups count by their work where they are all alike, and each as one where they are far apart.
    """
    each_as_one = float((groups.times * groups.successes / groups.trials).sum() / groups.times.sum())
    strengths = np.geomspace(LEAST_STRENGTH, MOST_STRENGTH, GRID)
    tops = []
    for mean in (pooled, each_as_one):
        heights = log_likelihood(groups, np.full_like(strengths, mean), strengths)
        top = int(heights.argmax())
        tops.append(_climb(groups, float(special.logit(mean)), float(np.log(strengths[top])), float(heights[top])))
    u, v, best = max(tops, key=lambda top: top[2])
    return float(special.expit(u)), float(np.exp(v)), best


def _climb(groups: Groups, u: float, v: float, best: float) -> tuple[float, float, float]:
    """Newton's method in u = logit(mean) and v = log(strength), from a place of that log-likelihood."""
    low, high = float(np.log(LEAST_STRENGTH)), float(np.log(MOST_STRENGTH))
    for _ in range(STEPS):
        by_u, by_v, uu, uv, vv = _slopes(groups, u, v)
        if (v <= low and by_v < 0) or (v >= high and by_v > 0):
            # At a bound that it would leave, the strength stays and the mean alone moves.
            by_v, uv, vv = 0.0, 0.0, -1.0
        # Bent the wrong way, the surface is taken as bent enough for a step uphill.
        least = (uu + vv) / 2.0 + float(np.hypot((uu - vv) / 2.0, uv))
        lift = 0.0 if least < 0 else least + 0.1 * (abs(uu) + abs(vv)) + 1e-12
        uu, vv = uu - lift, vv - lift
        scale = uu * vv - uv * uv
        step_u, step_v = (uv * by_v - vv * by_u) / scale, (uv * by_u - uu * by_v) / scale
        size = min(1.0, LONGEST / max(abs(step_u), abs(step_v), 1e-300))
        for _ in range(HALVINGS):
            at = u + size * step_u, float(np.clip(v + size * step_v, low, high))
            reached = float(log_likelihood(groups, float(special.expit(at[0])), float(np.exp(at[1])))[0])
            if reached >= best:
                break
            size /= 2.0
        else:
            break
        moved = max(abs(at[0] - u), abs(at[1] - v))
        u, v, best = at[0], at[1], reached
        if moved < SETTLED:
            break
    return u, v, best


def _slopes(groups: Groups, u: float, v: float) -> tuple[float, float, float, float, float]:
    """First and second derivatives of the log-likelihood by u = logit(mean) and v = log(strength)."""
    m, s = float(special.expit(u)), float(np.exp(v))
    a, b, k = m * s, (1.0 - m) * s, m * (1.0 - m) * s
    x, n = groups.successes, groups.trials
    by_a, by_b, by_s = (float((groups.times * _rise(*of)).sum()) for of in ((a, x), (b, n - x), (s, n)))
    aa, bb, ss = (float((groups.times * _bend(*of)).sum()) for of in ((a, x), (b, n - x), (s, n)))
    by_u, by_v = k * (by_a - by_b), a * by_a + b * by_b - s * by_s
    uu = (1.0 - 2.0 * m) * by_u + k * k * (aa + bb)
    uv = by_u + k * (a * aa - b * bb)
    vv = by_v + a * a * aa + b * b * bb - s * s * ss
    return by_u, by_v, uu, uv, vv


def _bend(start: float, steps: Numbers) -> Numbers:
    """The second derivative of `_log_rising` by its start: -1/start^2 - ... - 1/(start + steps - 1)^2."""
    return special.zeta(2.0, start + steps) - special.zeta(2.0, start)
