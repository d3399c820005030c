"""Is the order of values more than chance: distribution-free tests of wandering and of a lasting shift."""

import numpy as np
from scipy import special

from rqa.arguments import Numbers


def wandering(values: Numbers) -> float:
    """Two-sided p-value of neighbours being alike, or opposite: von Neumann's ratio of ranks (Bartels 1982).

    With ranks R, sum (R_i - R_i+1)^2 / sum (R_i - mean)^2 has mean 2 and variance 4 (n - 2)(5 n^2 - 2 n - 9) / (5 n
    (n + 1)(n - 1)^2) in random order, and is taken as normal, which is fair from about 25 values. Tied values share
    their mean rank. NaN with fewer than three values or none that differ.
    """
    n = len(values)
    rank = _ranks(values)
    around = float(((rank - rank.mean()) ** 2).sum()) if n > 2 else 0.0
    if around == 0:
        return float("nan")
    ratio = float((np.diff(rank) ** 2).sum()) / around
    variance = 4.0 * (n - 2) * (5.0 * n**2 - 2.0 * n - 9.0) / (5.0 * n * (n + 1) * (n - 1.0) ** 2)
    return float(2.0 * special.ndtr(-abs(ratio - 2.0) / np.sqrt(variance)))


def shift(values: Numbers) -> float:
    """P-value of a lasting shift at some unknown point: the largest sum of ranks out of balance (Pettitt 1979).

    K = max over t of |2 sum_{i <= t} R_i - t (n + 1)|; p is about 2 exp(-6 K^2 / (n^3 + n^2)), a little too large, so
    that it claims no more than it should. NaN without two values.
    """
    n = len(values)
    if n < 2:
        return float("nan")
    balance = 2.0 * np.cumsum(_ranks(values)) - np.arange(1, n + 1) * (n + 1.0)
    largest = float(np.abs(balance).max())
    return float(min(1.0, 2.0 * np.exp(-6.0 * largest**2 / (float(n) ** 3 + float(n) ** 2))))


def _ranks(values: Numbers) -> Numbers:
    """Ranks from 1 on, of equal values their mean, as `scipy.stats.rankdata`, which takes a second to import."""
    _, place, met = np.unique(values, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(met) - (met - 1) / 2.0)[place], dtype=np.float64)
