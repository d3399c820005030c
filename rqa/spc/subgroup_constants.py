"""The constants that turn the spread within small groups into limits, computed from their definitions."""

from dataclasses import dataclass
from functools import cache
from operator import index

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers

LARGEST_SUBGROUP = 1000

D2_OF_TWO = 2.0 / np.sqrt(np.pi)
"""Mean distance of two standard normal values, d2(2), in closed form: what a moving range is divided by."""


@dataclass(frozen=True, kw_only=True)
class Constants:
    """Factors for subgroups of `n` measurements; names as in the tables of the trade."""

    n: int
    d2: float
    d3: float
    c4: float
    c5: float
    A: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float
    E2: float


def constants(n: int) -> Constants:
    """Say which factors turn the range or standard deviation of subgroups of `n` into a sigma and into limits.

    Parameters
    ----------
    n
        Measurements in a subgroup: a whole number from 2 to 1,000.

    Returns
    -------
    Constants
        `d2`, `d3`: mean and standard deviation of the range of n standard normal values. `c4`, `c5`: the same of
        their standard deviation. Limits of means: `A` (from sigma), `A2` (from the mean range), `A3` (from the mean
        standard deviation); of standard deviations `B3`, `B4` (from their mean), `B5`, `B6` (from sigma); of ranges
        `D1`, `D2` (from sigma), `D3`, `D4` (from their mean); of single values `E2` (from the mean range).

    Notes
    -----
    With Phi the normal distribution: d2 = E W and d3 = sd W for the range W, whose distribution is P(W <= w) =
    n integral phi(x) (Phi(x + w) - Phi(x))^(n - 1) dx, so E W = integral P(W > w) dw, E W^2 = integral 2w P(W > w) dw.
    c4 = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2), c5 = sqrt(1 - c4^2). A = 3 / sqrt(n), A2 = A / d2,
    A3 = A / c4, B3, B4 = 1 -/+ 3 c5 / c4, B5, B6 = c4 -/+ 3 c5, D1, D2 = d2 -/+ 3 d3, D3, D4 = 1 -/+ 3 d3 / d2,
    E2 = 3 / d2; a lower limit is never below 0.

    Tables printed before computers were made from constants that had been rounded, so some of their last digits
    are off by one. All take the measurements as normal and independent.

    Raises
    ------
    ValueError
        n is not a whole number from 2 to 1,000.

    References
    ----------
    1. ASTM E2587, Standard Practice for Use of Control Charts in Statistical Process Control.
    2. L. H. C. Tippett, Biometrika 17, 1925, 364-387 (the mean and spread of the range).

    Examples
    --------
    >>> c = constants(5)
    >>> f"{c.d2:.3f} {c.A2:.3f} {c.D4:.3f} {c.c4:.4f}"
    '2.326 0.577 2.114 0.9400'

    The range of five measurements is on average 2.326 standard deviations wide.
    """
    try:
        size = index(n)
    except TypeError as cause:
        raise ValueError(f"n must be a whole number from 2 to {LARGEST_SUBGROUP}: {n!r}") from cause
    if isinstance(n, bool) or not 2 <= size <= LARGEST_SUBGROUP:
        raise ValueError(f"n must be a whole number from 2 to {LARGEST_SUBGROUP}: {n!r}")
    return _constants(size)


def mean_deviation(n: NDArray[np.int64]) -> Numbers:
    """Mean standard deviation of n standard normal values, c4, for an array of sizes of at least 2."""
    ratio = special.poch((n - 1) / 2.0, 0.5)
    return np.asarray(np.sqrt(2.0 / (n - 1)) * ratio, dtype=np.float64)


@cache
def _constants(n: int) -> Constants:
    d2, d3 = _range_moments(n)
    c4 = float(mean_deviation(np.array(n)))
    c5 = float(np.sqrt(1.0 - c4**2))
    a = 3.0 / float(np.sqrt(n))
    return Constants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4,
        c5=c5,
        A=a,
        A2=a / d2,
        A3=a / c4,
        B3=max(0.0, 1.0 - 3.0 * c5 / c4),
        B4=1.0 + 3.0 * c5 / c4,
        B5=max(0.0, c4 - 3.0 * c5),
        B6=c4 + 3.0 * c5,
        D1=max(0.0, d2 - 3.0 * d3),
        D2=d2 + 3.0 * d3,
        D3=max(0.0, 1.0 - 3.0 * d3 / d2),
        D4=1.0 + 3.0 * d3 / d2,
        E2=3.0 / d2,
    )


def _range_moments(n: int) -> tuple[float, float]:
    w, weight, x, density, within = _grid()
    below = n * (density * within ** (n - 1)).sum(axis=1) * (x[1] - x[0])
    beyond = (1.0 - below) * weight
    mean = float(beyond.sum())
    square = float((2.0 * w * beyond).sum())
    return mean, float(np.sqrt(square - mean**2))


@cache
def _grid() -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
    """Ranges w with their weights, lowest values x with their density, and the chance of one value in [x, x + w].

    A range beyond 18 has a chance below 1e-30. In x the integrand and all its derivatives vanish at both ends, so that
    equal steps (the trapezium rule) are as good as any finer rule. Twice as many points change no digit before the
    eleventh, for any n up to 1,000.
    """
    node, weight = np.polynomial.legendre.leggauss(120)
    w = 9.0 * (node + 1.0)
    x = np.linspace(-9.0, 9.0, 181)
    density = np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi)
    # By the tails below for low x and those above for high x, whichever keeps the digits of the difference.
    within = np.where(
        x > 0.0,
        special.ndtr(-x) - special.ndtr(-x - w[:, None]),
        special.ndtr(x + w[:, None]) - special.ndtr(x),
    )
    return w, 9.0 * weight, x, density, within
