"""Do the units of one group come back more often than those of another: the difference of two mean functions."""

from dataclasses import dataclass

import numpy as np

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.mean_cumulative import MeanCumulative


@dataclass(frozen=True, eq=False)
class MeanCumulativeDifference:
    """Mean returns per unit of group 1 less those of group 2 by each day; NaN where either was not seen."""

    day: Numbers
    level: float
    difference: Numbers
    se: Numbers
    low: Numbers
    high: Numbers


def mean_cumulative_difference(*, one: MeanCumulative, two: MeanCumulative) -> MeanCumulativeDifference:
    """Say by how many returns per unit one group is ahead of another by each age, with limits.

    Parameters
    ----------
    one, two
        Mean cumulative functions of groups that share no unit, at one level.

    Returns
    -------
    MeanCumulativeDifference
        On every day on which either has a return: `difference` = mcf 1 - mcf 2, `se`, `low`, `high`.

    Notes
    -----
    Landmarks: 0 before the first return of either, with limits on both sides; NaN once the last unit of either group
    was seen.

    se^2 is the sum of both. The limits are recovered from those of the two (l1, u1 and l2, u2), so that they lean as
    those do: low = d - sqrt((m1 - l1)^2 + (u2 - m2)^2), high = d + sqrt((u1 - m1)^2 + (m2 - l2)^2). They hold for one
    day chosen beforehand, not for the whole curve at once.

    Raises
    ------
    ValueError
        Functions of different levels.

    References
    ----------
    1. W. Nelson, Recurrent Events Data Analysis, 2003, chapter 6 (the difference and its variance).
    2. G. Y. Zou and A. Donner, Statistics in Medicine 27, 2008, 1693-1702 (recovered limits).

    Examples
    --------
    >>> from rqa.stats import mean_cumulative_function
    >>> one = mean_cumulative_function(unit=[1, 1, 2, 3], time=[3, 9, 5, 9], end=dict.fromkeys(range(1, 9), 20))
    >>> two = mean_cumulative_function(unit=[1], time=[7], end=dict.fromkeys(range(1, 11), 20))
    >>> r = mean_cumulative_difference(one=one, two=two)
    >>> r.day.tolist(), r.difference.round(3).tolist(), r.low.round(2).tolist()
    ([3.0, 5.0, 7.0, 9.0], [0.125, 0.25, 0.15, 0.4], [-0.26, -0.17, -0.63, -0.43])

    By day 9 the first group is 0.4 returns a unit ahead, but with so few units it could also be behind.
    """
    arguments.instance("one", one, MeanCumulative)
    arguments.instance("two", two, MeanCumulative)
    if one.level != two.level:
        raise ValueError(f"one and two must have limits of one level: {one.level} and {two.level}")
    day = np.union1d(one.day, two.day)
    first, second = one.on_days(day), two.on_days(day)
    difference = first.mcf - second.mcf
    return MeanCumulativeDifference(
        day=arguments.frozen(day),
        level=one.level,
        difference=arguments.frozen(difference),
        se=arguments.frozen(np.hypot(first.se, second.se)),
        low=arguments.frozen(difference - np.hypot(first.mcf - first.low, second.high - second.mcf)),
        high=arguments.frozen(difference + np.hypot(first.high - first.mcf, second.mcf - second.low)),
    )
