"""The score statistic of a ratio of two shares, added over strata, and the ratios that it would just not reject."""

import numpy as np
from scipy import special

from rqa.arguments import Numbers

FARTHEST = 60.0
"""Logarithm of the largest ratio looked at; counts up to 2^53 make none beyond it."""
HALVINGS = 70
"""Enough to bring that range down to neighbouring doubles."""


def score_limits(x1: Numbers, n1: Numbers, x2: Numbers, n2: Numbers, level: float) -> tuple[Numbers, Numbers]:
    """Koopman's limits of share 1 over share 2; over the last axis the ratio is taken as one (Gart's form).

    Strata without trials in either group must have been taken out (set to 0 throughout).
    """
    z = -float(special.ndtri((1.0 - level) / 2.0))
    first, second = x1.sum(axis=-1), x2.sum(axis=-1)
    rejected_below, rejected_above = _ratios_at(x1, n1, x2, n2, (z, -z))
    low = np.where(first == 0, 0.0, rejected_below)
    high = np.where(second == 0, np.inf, rejected_above)
    unknown = (first == 0) & (second == 0)
    return np.where(unknown, 0.0, low), np.where(unknown, np.inf, high)


def statistic(x1: Numbers, n1: Numbers, x2: Numbers, n2: Numbers, log_ratio: Numbers) -> Numbers:
    """The signed score statistic at a ratio: it falls as the ratio rises, and is 0 at the likeliest one.

    At a ratio f the likeliest shares are f p and p, with p the smaller root of (n1 + n2) f p^2 - (f (n1 + x2) + x1 +
    n2) p + x1 + x2 = 0. With A = n1 f p / (1 - f p) and B = n2 p / (1 - p) the variance of the score is 1 / (1/A +
    1/B). The score is (x1 - n1 f p) / (1 - f p), or (n2 p - x2) / (1 - p), which is the same. Where one of the shares
    is 1 only the other form holds, and it is then the only one that the data can speak against.
    """
    f = np.exp(log_ratio)[..., np.newaxis]
    a, b, c = (n1 + n2) * f, f * (n1 + x2) + x1 + n2, x1 + x2
    root = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    p2 = np.minimum(2.0 * c / np.where(b + root == 0, 1.0, b + root), 1.0)
    p1 = np.minimum(f * p2, 1.0)
    left1, left2 = 1.0 - p1, 1.0 - p2
    both = left1 * n2 * p2 + left2 * n1 * p1
    telling = (c > 0) & (n1 > 0) & (n2 > 0) & (both > 0)
    variance = np.where(telling, n1 * p1 * n2 * p2 / np.where(telling, both, 1.0), 0.0)
    by_first = (x1 - n1 * p1) / np.where(left1 > 0, left1, 1.0)
    by_second = (n2 * p2 - x2) / np.where(left2 > 0, left2, 1.0)
    score = np.where(telling, np.where(left1 > left2, by_first, by_second), 0.0)
    total = variance.sum(axis=-1)
    return np.where(total > 0, score.sum(axis=-1) / np.sqrt(np.where(total > 0, total, 1.0)), 0.0)


def _ratios_at(x1: Numbers, n1: Numbers, x2: Numbers, n2: Numbers, each: tuple[float, ...]) -> Numbers:
    """The ratios at which the statistic takes each of these values, along a first axis."""
    wanted = np.array(each).reshape(-1, *(1 for _ in x1.shape[:-1]))
    shape = (len(each), *x1.shape[:-1])
    near, far = np.full(shape, -FARTHEST), np.full(shape, FARTHEST)
    # Not `roots`: for the dozens of ratios of a table it takes more than twice as long.
    for _ in range(HALVINGS):
        middle = (near + far) / 2.0
        short = statistic(x1, n1, x2, n2, middle) > wanted
        near, far = np.where(short, middle, near), np.where(short, far, middle)
    return np.exp((near + far) / 2.0)
