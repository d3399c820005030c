"""Return rates by time in service, as the open telecom measurement standard defines them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class ReturnRates:
    """Returns per 100 units and year with their limits: the last axis is early, one-year, long-term; NaN without units.

    `early`, `one_year` and `long_term` give each of the three rates alone.
    """

    returns: Counts
    units: Counts
    months: float
    level: float
    rate: Numbers
    low: Numbers
    high: Numbers

    @property
    def early(self) -> Numbers:
        """Early return index: units 0 to 6 months in service."""
        return self.rate[..., 0]

    @property
    def one_year(self) -> Numbers:
        """One-year return rate: units 7 to 18 months in service."""
        return self.rate[..., 1]

    @property
    def long_term(self) -> Numbers:
        """Long-term return rate: units more than 18 months in service."""
        return self.rate[..., 2]


def return_rates(*, returns: ArrayLike, units: ArrayLike, months: float = 1, level: float = 0.95) -> ReturnRates:
    """Say how many of 100 units come back in a year: early, after the first half-year, and in the long term.

    Parameters
    ----------
    returns
        Returns in the period of units that had been in service (since shipment; here: since closing) for 0 to 6, 7 to
        18 and more than 18 months: whole numbers, the last axis of length 3, axes before it over periods or groups.
    units
        How many units had been in service so long in the period, of the same shape.
    months
        Length of the period in months, above 0.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    ReturnRates
        `rate`, `low`, `high` per 100 units and year; `early`, `one_year`, `long_term` read the rate off.

    Notes
    -----
    Landmarks: no returns have rate 0, low 0 and a finite high; no units is no data, NaN.

    rate = 100 x (12 / months) x returns / units. Limits are the exact Poisson ones of the returns.

    The rates are read off one period across all ages, so they need no waiting; they are no shares: a unit that returns
    twice counts twice, and with short service lives rates above 100 are possible. The window rate of come-backs is
    another figure, and is not to be compared with these.

    Raises
    ------
    ValueError
        A last axis that is not of length 3; a count that is missing, negative or not whole; returns without units;
        months not above 0; a level outside (0, 1).

    References
    ----------
    1. TL 9000 Quality Management System Measurements Handbook, field return measurements (early return index, one-year
       return rate, long-term return rate), with its example 7.1-1.
    2. F. Garwood, Biometrika 28, 1936, 437-442 (limits).

    Examples
    --------
    >>> r = return_rates(returns=[153, 163, 39], units=[57288, 99626, 30000])
    >>> r.rate.round(2).tolist(), r.low.round(2).tolist(), r.high.round(2).tolist()
    ([3.2, 1.96, 1.56], [2.72, 1.67, 1.11], [3.75, 2.29, 2.13])

    Of 100 new units about three a year come back, of 100 old ones half as many.
    """
    x, n = arguments.same_shape(
        {"returns": arguments.counts("returns", returns), "units": arguments.counts("units", units)}
    )
    if x.shape[-1:] != (3,):
        raise ValueError(f"returns must have a last axis of 3 (0 to 6, 7 to 18, over 18 months): shape {x.shape}")
    length = arguments.amount("months", months)
    if length == 0:
        raise ValueError("months must be above 0")
    level = arguments.share("level", level)
    if ((n == 0) & (x > 0)).any():
        raise ValueError("returns must be 0 where there are no units")
    factor = np.where(n == 0, np.nan, 1200.0 / (length * np.maximum(n, 1)))
    tail = (1.0 - level) / 2.0
    low = np.where(x == 0, 0.0, special.gammaincinv(np.maximum(x, 1), tail))
    return ReturnRates(
        returns=arguments.frozen_counts(x),
        units=arguments.frozen_counts(n),
        months=length,
        level=level,
        rate=arguments.frozen(factor * x),
        low=arguments.frozen(factor * low),
        high=arguments.frozen(factor * special.gammainccinv(x + 1.0, tail)),
    )
