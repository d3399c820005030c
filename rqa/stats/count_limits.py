"""Limits of a count that is still to come, of which the mean and the variance are known."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers

NEAR_POISSON = 1e-9
"""Variance over mean this near to 1 is Poisson: the other two would divide by next to nothing."""


def count_limits(mean: Numbers, variance: Numbers, highest: Counts, level: float) -> tuple[Counts, Counts]:
    """The counts between which one of this mean and variance lies with at least the level, tails alike.

    It is negative binomial where the variance is above the mean, binomial where it is below, Poisson between; it is cut
    off at `highest`. A mean that is not known gives limits that mean nothing.
    """
    mean, variance = np.nan_to_num(mean), np.nan_to_num(variance)
    tail = (1.0 - level) / 2.0
    return _quantile(mean, variance, highest, tail), _quantile(mean, variance, highest, 1.0 - tail)


def _quantile(mean: Numbers, variance: Numbers, highest: Counts, at: float) -> Counts:
    """The smallest count up to which the chance is at least `at`, by halving."""
    # SciPy's own quantiles take whole numbers of trials alone, and these are what mean and variance make them.
    low, high = np.full(np.shape(mean), -1, dtype=np.int64), np.array(highest, dtype=np.int64)
    while (high - low > 1).any():
        middle = (low + high) // 2
        enough = _up_to(middle, mean, variance) >= at
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return high


def _up_to(count: Counts, mean: Numbers, variance: Numbers) -> Numbers:
    k = np.maximum(count, 0).astype(np.float64)
    m = np.where(mean > 0, mean, 1.0)
    ratio = np.where(mean > 0, variance / m, 1.0)
    wide, narrow = ratio > 1 + NEAR_POISSON, ratio < 1 - NEAR_POISSON
    size = m / np.where(wide, ratio - 1.0, 1.0)
    chance = np.where(narrow, 1.0 - ratio, 0.5)
    trials = m / chance
    binomial = np.where(k < trials, special.betainc(np.maximum(trials - k, 1e-12), k + 1, 1.0 - chance), 1.0)
    answer = np.where(
        wide,
        special.betainc(size, k + 1, 1.0 / np.where(wide, ratio, 2.0)),
        np.where(narrow, binomial, special.gammaincc(k + 1, m)),
    )
    return np.where(count < 0, 0.0, np.where(mean > 0, answer, 1.0))
