"""Do units come back more and more often as they age, or less: two tests of a trend in the times between returns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa.stats.ageing import Truncation, ageing
from rqa.stats.far_tails import never_zero
from rqa.stats.unit_times import Ends


@dataclass(frozen=True, eq=False)
class TrendTest:
    """A test of no trend: `statistic`, its two-sided `p_value`, and the `trend` seen ("more", "less" or "none")."""

    returns: int
    units: int
    truncation: str
    statistic: float
    p_value: float
    trend: str


def laplace_test(
    *, time: ArrayLike, end: float | Ends | None = None, unit: ArrayLike | None = None, truncation: Truncation = "time"
) -> TrendTest:
    """Say how often chance alone would put the returns as early, or as late, in the time they were watched for.

    Parameters
    ----------
    time
        Age of the unit at each return (such as days since its first closing): numbers above 0, one axis. To whole days
        counted from 0 add a half.
    end
        Age at which the unit was last seen: one number, or with `unit` a mapping from unit to number (or two arrays:
        units and ends). Left out when truncation is "failure".
    unit
        The unit of each return, when they are of several; each may then have a rate of its own.
    truncation
        "time": watched until a time set beforehand. "failure": watched until the last return, which then says nothing.

    Returns
    -------
    TrendTest
        `statistic` is standard normal without a trend; above 0 the returns lie late: units come back "more" often with
        age.

    Notes
    -----
    Landmarks: no return, or with "failure" truncation no more than one in each unit, is no data: NaN.

    Without a trend the ages of a unit's returns, given their number, are spread evenly up to its end T. The statistic
    is the sum of ages less n T / 2, over sqrt(n T^2 / 12), both summed over the units. It answers to a rate that grows
    or falls steadily (exponentially); with fewer than four returns the normal curve is rough.

    A trend over ages is not one over the calendar. A unit watched just because it came back often shows a false trend.

    Raises
    ------
    ValueError
        A time that is missing, 0 or below, or after its unit's end; an end missing, or given where it must not be.

    References
    ----------
    1. D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events, 1966, section 3.3.

    Examples
    --------
    >>> r = laplace_test(time=[5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], end=1500)
    >>> f"{r.statistic:.2f}, p = {r.p_value:.2f}, {r.trend} often"
    '-1.33, p = 0.18, less often'

    The returns come a little early in the 1,500 hours, as chance does about once in five times.
    """
    data = ageing(time=time, end=end, unit=unit, truncation=truncation)
    free, ends = data.free, data.end[data.of[data.free]]
    statistic, p = float("nan"), float("nan")
    if free.any():
        statistic = float((data.time[free] - ends / 2).sum() / np.sqrt((ends**2).sum() / 12))
        p = float(never_zero(2 * special.ndtr(-abs(statistic))))
    return TrendTest(
        returns=data.time.size,
        units=data.end.size,
        truncation=truncation,
        statistic=statistic,
        p_value=p,
        trend=_trend(statistic),
    )


def mil_hdbk_189_test(
    *, time: ArrayLike, end: float | Ends | None = None, unit: ArrayLike | None = None, truncation: Truncation = "time"
) -> TrendTest:
    """Say how often chance alone would bend the returns as far from an even pace, towards a power law of age.

    Parameters
    ----------
    time, end, unit, truncation
        As of `laplace_test`.

    Returns
    -------
    TrendTest
        `statistic` is chi-square in twice the number of returns without a trend; below that the returns lie late:
        units come back "more" often with age.

    Notes
    -----
    Landmarks: no return, or with "failure" truncation no more than one in each unit, is no data: NaN. All returns at
    their units' ends give statistic 0 and p-value 0.

    The statistic is 2 sum log(T / t) over the returns, T the end of the unit. Without a trend it is exactly chi-square
    in 2 n degrees of freedom, n the number of returns (less one a unit with "failure" truncation), whatever the rate of
    each unit; the p-value doubles the smaller tail. It is the best test against a power law (`power_law_fit`), and
    very early returns weigh much in it.

    Raises
    ------
    ValueError
        As of `laplace_test`.

    References
    ----------
    1. MIL-HDBK-189, Reliability Growth Management, 1981, appendix C.
    2. L. J. Bain, M. Engelhardt and F. T. Wright, Technometrics 27, 1985, 131-138 (against other tests).

    Examples
    --------
    >>> r = mil_hdbk_189_test(time=[5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], end=1500)
    >>> f"{r.statistic:.2f}, p = {r.p_value:.3f}, {r.trend} often"
    '37.23, p = 0.022, less often'

    Returns thin out with age more than chance would have it.
    """
    data = ageing(time=time, end=end, unit=unit, truncation=truncation)
    parts = data.part[data.free]
    statistic, p, trend = float("nan"), float("nan"), "none"
    if parts.size:
        statistic = float(-2.0 * np.log(parts).sum())
        below, above = special.chdtr(2 * parts.size, statistic), special.chdtrc(2 * parts.size, statistic)
        p = float(never_zero(min(2.0 * min(below, above), 1.0)))
        trend = _trend(2 * parts.size - statistic)
    return TrendTest(
        returns=data.time.size,
        units=data.end.size,
        truncation=truncation,
        statistic=statistic,
        p_value=p,
        trend=trend,
    )


def _trend(upwards: float) -> str:
    return "more" if upwards > 0 else "less" if upwards < 0 else "none"
