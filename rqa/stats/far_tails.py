"""Tails of a distribution as logarithms, so that a p-value is never 0 and the normal score of any tail is finite.

Chances are worked from the deviation of a count from its expectation (C. Loader, Fast and Accurate Computation of
Binomial Probabilities, 2000), so that they keep their digits with counts up to 2**53.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa.arguments import Numbers

SMALLEST = float(np.finfo(np.float64).tiny)
"""The least p-value that is given; a smaller one is that of a count that chance does not explain either."""


def p_value(log_tail: Numbers | float, sides: float = 2.0) -> Numbers:
    """So many times the tail whose logarithm this is, at most 1 and never 0."""
    return np.asarray(np.maximum(np.exp(np.minimum(log_tail + np.log(sides), 0.0)), SMALLEST), dtype=np.float64)


def never_zero(chance: ArrayLike) -> Numbers:
    """The p-values, none below the least that is given; NaN stays."""
    p = np.asarray(chance, dtype=np.float64)
    return np.asarray(np.where(p < SMALLEST, SMALLEST, p), dtype=np.float64)


def score(log_tail: Numbers) -> Numbers:
    """How far out the upper tail of a normal law begins whose logarithm this is: finite for any tail there is."""
    return np.asarray(-special.ndtri_exp(log_tail), dtype=np.float64)


def without_half(log_tail: Numbers | float, log_here: Numbers | float) -> Numbers:
    """The logarithm of a tail less half the chance of its first count."""
    return np.asarray(log_tail + np.log1p(-0.5 * np.exp(np.minimum(log_here - log_tail, 0.0))), dtype=np.float64)


NOTHING = 46.0
"""Where a density has fallen by this many logarithms, the rest of its tail is below 1e-20 of it."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
PIECES = 8


def log_beta_below(a: Numbers, b: Numbers, x: Numbers) -> Numbers:
    """The logarithm of the regularised incomplete beta function, for x below the mode of its density.

    With t = x exp(-v) the density falls at once and ever faster, and a few pieces of Gauss's rule take it to its end.
    """
    odds = x / (1.0 - x)
    fall = a - np.maximum(b - 1.0, 0.0) * odds
    # x^a (1 - x)^b / B(a, b) is a b / (a + b) times the binomial chance of a of a + b.
    total = a + b
    at_x = (
        np.log(a * b / total) + beyond_stirling(total) - beyond_stirling(a) - beyond_stirling(b)
        - deviance(a, total * x, a - total * x) - deviance(b, total * (1.0 - x), total * x - a)
    )

    def height(v: Numbers) -> Numbers:
        # (1 - x exp(-v)) / (1 - x) is 1 + odds (1 - exp(-v)).
        return np.asarray(
            -a[..., np.newaxis] * v + (b[..., np.newaxis] - 1.0) * np.log1p(-odds[..., np.newaxis] * np.expm1(-v))
        )

    return np.asarray(at_x - np.log1p(-x) + _log_integral(height, fall), dtype=np.float64)


def log_gamma_below(a: Numbers, x: Numbers) -> Numbers:
    """The logarithm of the regularised lower incomplete gamma function, for x below a."""
    def height(v: Numbers) -> Numbers:
        return np.asarray(-a[..., np.newaxis] * v - x[..., np.newaxis] * np.expm1(-v))

    return np.asarray(_poisson(a, x) + _log_integral(height, a - x), dtype=np.float64)


def log_gamma_above(a: Numbers, x: Numbers) -> Numbers:
    """The logarithm of the regularised upper incomplete gamma function, for x above a."""
    def height(v: Numbers) -> Numbers:
        return np.asarray(a[..., np.newaxis] * v - x[..., np.newaxis] * np.expm1(v))

    return np.asarray(_poisson(a, x) + _log_integral(height, x - a), dtype=np.float64)


def deviance(count: Numbers, expected: Numbers, off: Numbers) -> Numbers:
    """count log(count / expected) - off, where off = count - expected; by a series where the two are near."""
    both = count + expected
    near = np.abs(off) < 0.1 * both
    v = np.where(near, off / np.where(both > 0, both, 1.0), 0.0)
    series = off * v
    term = 2.0 * count * v
    for odd in range(3, 21, 2):
        term = term * v * v
        series = series + term / odd
    far = special.xlogy(count, np.where(count > 0, count, 1.0) / np.where(expected > 0, expected, 1.0)) - off
    return np.asarray(np.where(near, series, far), dtype=np.float64)


def beyond_stirling(count: Numbers) -> Numbers:
    """log(count!) - count log(count) + count."""
    small = np.minimum(count, 16.0)
    few = special.gammaln(small + 1.0) - special.xlogy(small, small) + small
    x = np.maximum(count, 16.0)
    many = 0.5 * np.log(2.0 * np.pi * x) + (1 / 12 - (1 / 360 - (1 / 1260 - 1 / 1680 / x**2) / x**2) / x**2) / x
    return np.asarray(np.where(count < 16.0, few, many), dtype=np.float64)


def _poisson(a: Numbers, x: Numbers) -> Numbers:
    """The logarithm of x^a exp(-x) / Gamma(a)."""
    return np.asarray(np.log(a) - deviance(a, x, a - x) - beyond_stirling(a), dtype=np.float64)


def _log_integral(height: Callable[[Numbers], Numbers], fall: Numbers) -> Numbers:
    """The logarithm of the integral from 0 on of the exponential of a height that falls at least by `fall` v."""
    low, high = np.zeros(np.shape(fall)), NOTHING / fall
    for _ in range(12):  # to the place where it has fallen so far, as the height may fall much faster
        middle = (low + high) / 2.0
        near = height(middle[..., np.newaxis])[..., 0] > -NOTHING
        low, high = np.where(near, middle, low), np.where(near, high, middle)
    length = high / PIECES
    sums = np.zeros(np.shape(fall))
    for piece in range(PIECES):
        v = length[..., np.newaxis] * (piece + (NODES + 1.0) / 2.0)
        sums = sums + (np.exp(height(v)) * WEIGHTS / 2.0).sum(axis=-1)
    return np.asarray(np.log(sums * length), dtype=np.float64)
