"""Limits of a sum or difference of variances, each seen as a mean square: modified large-sample limits."""

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers


def combined_limits(weight: Numbers, square: Numbers, degrees: Numbers, level: float) -> tuple[float, float]:
    """Limits of sum weight x expected mean square, from independent mean squares; weights may be below 0.

    Graybill and Wang (1980) for sums, Ting, Burdick, Graybill, Jeyaratnam and Lu (1990) for differences. With one mean
    square they are the exact chi-squared limits.
    """
    weight, square, degrees = (a[weight != 0] for a in (weight, square, degrees))
    value = float(weight @ square)
    tail = (1.0 - level) / 2.0
    return value - _reach(weight, square, degrees, tail), value + _reach(-weight, square, degrees, tail)


def _reach(weight: Numbers, square: Numbers, degrees: Numbers, tail: float) -> float:
    """How far the lower limit lies below; with weights turned round, how far the upper one lies above."""
    plus, minus = weight > 0, weight < 0
    high = special.chdtri(degrees, tail) / degrees
    low = 2.0 * special.gammaincinv(degrees / 2.0, tail) / degrees
    g, h = 1.0 - 1.0 / high, 1.0 / low - 1.0
    part = np.abs(weight) * square
    variance = float(((g * part)[plus] ** 2).sum() + ((h * part)[minus] ** 2).sum())
    for q in np.flatnonzero(plus):
        for r in np.flatnonzero(minus):
            f = float(special.fdtri(degrees[q], degrees[r], 1.0 - tail))
            variance += ((f - 1.0) ** 2 - (g[q] * f) ** 2 - h[r] ** 2) / f * part[q] * part[r]
    if minus.any() and plus.sum() > 1:
        variance += _between(np.flatnonzero(plus), g, part, degrees, tail)
    return float(np.sqrt(max(variance, 0.0)))


def _between(places: NDArray[np.intp], g: Numbers, part: Numbers, degrees: Numbers, tail: float) -> float:
    total = 0.0
    for q in places:
        for t in places[places > q]:
            n, m = degrees[q], degrees[t]
            both = 1.0 - (n + m) / float(special.chdtri(n + m, tail))
            cross = both**2 * (n + m) ** 2 / (n * m) - g[q] ** 2 * n / m - g[t] ** 2 * m / n
            total += cross / (len(places) - 1.0) * part[q] * part[t]
    return total
