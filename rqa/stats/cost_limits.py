"""What many single amounts come to, such as the costs of come-backs: limits for their sum and for their mean.

Amounts of money are skewed: many small, a few large. Both limits need only the sums of powers of the amounts, so the
amounts themselves can stay where they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers


@dataclass(frozen=True, eq=False)
class AmountInterval:
    """A sum or mean of amounts with its limits, in the unit of the amounts; NaN where there is no data."""

    estimate: Numbers
    low: Numbers
    high: Numbers
    level: float
    method: str


def total_interval(*, total: ArrayLike, squares: ArrayLike, largest: ArrayLike, level: float = 0.95) -> AmountInterval:
    """Say between what limits the sum of amounts lies that is expected of a period or place like this one.

    Parameters
    ----------
    total, squares
        Sum of the amounts and of their squares, in one shape, 0 or more.
    largest
        The largest single amount, above 0; for a place without any, the largest that is possible.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    AmountInterval
        `estimate` is the total. The limits say how far the total would differ had chance dealt other events.

    Notes
    -----
    Landmarks: amounts that are all alike give the exact Poisson limits of their number times the amount; a total of 0
    has low 0 and a finite high.

    The events are taken as a Poisson process, each with an amount of its own, so the total is a sum of Poisson counts
    weighted by the amounts. Its distribution is taken as a gamma one of the same mean and variance, the upper limit
    with one more event of the largest amount (Fay and Feuer 1997). With fewer than about ten events the largest one
    possible may not have been seen yet, and the upper limit lies somewhat too low.

    Raises
    ------
    ValueError
        A sum that is missing, infinite or negative; sums that no amounts have; a largest amount that is not above 0; a
        level outside (0, 1).

    References
    ----------
    1. M. P. Fay, E. J. Feuer, Confidence intervals for directly standardized rates: a method based on the gamma
       distribution, Statistics in Medicine 16, 1997, 791-801.

    Examples
    --------
    >>> r = total_interval(total=1000.0, squares=14000.0, largest=200.0)
    >>> round(float(r.low)), round(float(r.high))
    (782, 1696)

    Come-backs cost 1,000 in the month; months like it cost between 782 and 1,696 in the long run.
    """
    y, v, w = arguments.same_shape(
        {
            "total": arguments.amounts("total", total),
            "squares": arguments.amounts("squares", squares),
            "largest": arguments.above_zero("largest", largest),
        }
    )
    level = arguments.share("level", level)
    impossible = (v > y * w * SLACK) | ((y > 0) & (v == 0)) | (v > y * y * SLACK)
    _refuse_sums(impossible, "squares must be those of amounts that add up to total, none above largest", y, v)
    tail = (1.0 - level) / 2.0
    some = y > 0
    spread, mean = np.where(some, v, 1.0), np.where(some, y, 1.0)
    low = np.where(some, spread / mean * special.gammaincinv(mean**2 / spread, tail), 0.0)
    above, more = y + w, v + w**2
    high = more / above * special.gammainccinv(above**2 / more, tail)
    return AmountInterval(
        estimate=arguments.frozen(y),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        level=level,
        method="Fay-Feuer gamma",
    )


def mean_interval(
    *, number: ArrayLike, total: ArrayLike, squares: ArrayLike, cubes: ArrayLike, level: float = 0.95
) -> AmountInterval:
    """Say between what limits the mean of skewed amounts lies.

    Parameters
    ----------
    number
        How many amounts there are: whole numbers from 0 up.
    total, squares, cubes
        Sum of the amounts, of their squares and of their cubes, in one shape with `number`, 0 or more.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    AmountInterval
        `estimate` is the mean, NaN without amounts; the limits are NaN with fewer than two.

    Notes
    -----
    Landmarks: amounts that are all alike leave limits at the mean; without skewness the limits are Student's.

    Student's limits lie too low when a few amounts are large. Hall's (1992) cubic transformation of the mean takes the
    skewness out, its quantiles are taken from Student's distribution, and what they give is transformed back; a limit
    below 0 becomes 0. With few amounts the skewness itself is hardly known: expect limits somewhat too narrow below
    about ten.

    Raises
    ------
    ValueError
        A number that is not whole; a sum that is missing, infinite or negative; sums that no amounts have; a level
        outside (0, 1).

    References
    ----------
    1. P. Hall, On the removal of skewness by transformation, Journal of the Royal Statistical Society B 54, 1992,
       221-228.

    Examples
    --------
    >>> x = [20.0, 25.0, 30.0, 35.0, 40.0, 60.0, 90.0, 180.0]
    >>> r = mean_interval(number=8, total=sum(x), squares=sum(v**2 for v in x), cubes=sum(v**3 for v in x))
    >>> float(r.estimate), round(float(r.low), 1), round(float(r.high), 1)
    (60.0, 28.6, 228.0)

    Eight come-backs cost 60 each on average; the upper limit is far away, as one large cost makes others likely.
    """
    counted, s1, s2, s3 = arguments.same_shape(
        {
            "number": arguments.counts("number", number).astype(np.float64),
            "total": arguments.amounts("total", total),
            "squares": arguments.amounts("squares", squares),
            "cubes": arguments.amounts("cubes", cubes),
        }
    )
    level = arguments.share("level", level)
    none = (counted == 0) & ((s1 > 0) | (s2 > 0) | (s3 > 0))
    # Cauchy's inequality, twice, and amounts of 0 or more: no amounts have other sums.
    impossible = none | (s1 * s1 > counted * s2 * SLACK) | (s2 * s2 > s1 * s3 * SLACK) | (s2 > s1 * s1 * SLACK)
    _refuse_sums(impossible, "squares and cubes must be those of number amounts that add up to total", s1, s2)
    n = np.where(counted > 0, counted, np.nan)
    mean = s1 / n
    variance = np.maximum(s2 / n - mean**2, 0.0)
    # Sums of equal amounts leave a rest of rounding.
    variance = np.where(variance < 1e-12 * mean**2, 0.0, variance)
    deviation = np.sqrt(variance)
    skew = np.where(deviation > 0, s3 / n - 3 * mean * s2 / n + 2 * mean**3, 0.0) / np.where(
        deviation > 0, deviation**3, 1.0
    )
    enough = counted >= 2
    free = np.where(enough, counted - 1, np.nan)
    quantile = special.stdtrit(free, (1.0 + level) / 2.0) / np.sqrt(free)
    return AmountInterval(
        estimate=arguments.frozen(mean),
        low=arguments.frozen(np.maximum(mean - deviation * _untransformed(quantile, skew, n), 0.0)),
        high=arguments.frozen(mean - deviation * _untransformed(-quantile, skew, n)),
        level=level,
        method="Hall's transformation",
    )


SLACK = 1.0 + 1e-9
"""Sums may be off by their rounding."""


def _refuse_sums(impossible: NDArray[np.bool_], rule: str, total: Numbers, squares: Numbers) -> None:
    if impossible.any():
        place = tuple(int(i) for i in np.argwhere(impossible)[0])
        raise ValueError(f"{rule}: total = {total[place]:.17g}, squares = {squares[place]:.17g}")


def _untransformed(value: Numbers, skew: Numbers, number: Numbers) -> Numbers:
    """The inverse of Hall's cubic transformation, and its limit where there is no skewness."""
    flat = np.abs(skew) < 1e-9
    safe = np.where(flat, 1.0, skew)
    bent = 3.0 / safe * (np.cbrt(1.0 + safe * (value - safe / (6.0 * number))) - 1.0)
    return np.where(flat, value, bent)
