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
NEGLIGIBLE = 1e-6
"""A gain in log-likelihood below this is rounding, not spread."""


@dataclass(frozen=True)
class Fit:
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


def fit(successes: Counts, trials: Counts) -> Fit:
    """The maximum-likelihood mean and strength of one row of groups, each with trials."""
    total, events = int(trials.sum()), int(successes.sum())
    if total == 0:
        return Fit(np.nan, np.nan, 0.0, 0.0)
    pooled = events / total
    alike = float(special.xlogy(events, pooled) + special.xlogy(total - events, 1.0 - pooled))
    if events in (0, total) or trials.max() == 1 or trials.size == 1:
        return Fit(pooled, np.inf, alike, alike)
    mean, strength, best = _climb(grouped(successes, trials), pooled)
    if best <= alike + NEGLIGIBLE:
        return Fit(pooled, np.inf, alike, alike)
    return Fit(mean, strength, best, alike)


def log_likelihood(groups: Groups, mean: Numbers, strength: Numbers) -> Numbers:
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


def _climb(groups: Groups, pooled: float) -> tuple[float, float, float]:
    """Bounded quasi-Newton in logit of the mean and log of the strength, from the best point of a coarse grid."""
    from scipy import optimize  # slow to import, so only when there is something to fit

    x, n, w = groups.successes, groups.trials, groups.times
    bounds = (float(np.log(LEAST_STRENGTH)), float(np.log(MOST_STRENGTH)))
    starts = np.linspace(*bounds, 25)
    heights = log_likelihood(groups, np.full_like(starts, pooled), np.exp(starts))
    top, count = float(heights.max()), float(w.sum())

    # Per group and from the best start on: the search stops at a gain that is small beside the function itself.
    def downhill(place: Numbers) -> float:
        return (top - float(log_likelihood(groups, special.expit(place[0]), np.exp(place[1]))[0])) / count

    def slope(place: Numbers) -> Numbers:
        m, s = float(special.expit(place[0])), float(np.exp(place[1]))
        by_a, by_b = float((w * _rise(m * s, x)).sum()), float((w * _rise((1.0 - m) * s, n - x)).sum())
        by_s = float((w * _rise(s, n)).sum())
        return -np.array([s * m * (1.0 - m) * (by_a - by_b), s * (m * by_a + (1.0 - m) * by_b - by_s)]) / count

    done = optimize.minimize(
        downhill,
        np.array([float(special.logit(pooled)), starts[int(heights.argmax())]]),
        jac=slope,
        method="L-BFGS-B",
        bounds=[(-40.0, 40.0), bounds],
        options={"ftol": 1e-15, "gtol": 1e-10, "maxiter": 500},
    )
    return float(special.expit(done.x[0])), float(np.exp(done.x[1])), top - count * float(done.fun)
