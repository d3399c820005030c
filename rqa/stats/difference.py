"""How far apart are two shares: the interval of a difference of two independent proportions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import proportion_interval


@dataclass(frozen=True, eq=False)
class DifferenceInterval:
    """Share 1 minus share 2 with its limits; NaN where either group has no data."""

    successes1: Counts
    trials1: Counts
    successes2: Counts
    trials2: Counts
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


def difference_interval(
    *, successes1: ArrayLike, trials1: ArrayLike, successes2: ArrayLike, trials2: ArrayLike, level: float = 0.95
) -> DifferenceInterval:
    """Say by how much the share of one group of jobs is above that of another, with limits.

    Parameters
    ----------
    successes1, trials1
        Counts of the first group (such as this month): whole numbers, successes from 0 to trials, any shape.
    successes2, trials2
        Counts of the second group (such as the months before), of the same shape or one number for all.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    DifferenceInterval
        `estimate` = share 1 - share 2, `low`, `high`, all between -1 and 1, with the inputs as they were taken.

    Notes
    -----
    Landmarks: limits are finite for all counts above 0 trials, also 0 of n against n of n; equal shares give an
    interval around 0 that is not of length 0; where either group has 0 trials there is no data, NaN.

    Newcombe's hybrid score interval (his method 10, without continuity correction): with d = p1 - p2 and Wilson's
    limits l, u of each share, low = d - sqrt((p1 - l1)^2 + (u2 - p2)^2), high = d + sqrt((u1 - p1)^2 + (p2 - l2)^2).

    The groups must be independent: no job in both. Not for the same units before and after (paired data), and no
    allowance is made for a different mix of work in the groups.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; successes above trials; shapes that do not fit; a level
        outside (0, 1).

    References
    ----------
    1. R. G. Newcombe, Statistics in Medicine 17, 1998, 873-890.

    Examples
    --------
    >>> r = difference_interval(successes1=56, trials1=70, successes2=48, trials2=80)
    >>> f"{r.estimate:.2f} ({r.low:.4f} to {r.high:.4f})"
    '0.20 (0.0524 to 0.3339)'

    The first share is 20 points higher, and at least 5 points of that are likely to be real.
    """
    x1, n1 = arguments.part_and_whole("successes1", successes1, "trials1", trials1)
    x2, n2 = arguments.part_and_whole("successes2", successes2, "trials2", trials2)
    x1, n1, x2, n2 = arguments.same_shape({"successes1": x1, "trials1": n1, "successes2": x2, "trials2": n2})
    one = proportion_interval(successes=x1, trials=n1, level=level)
    two = proportion_interval(successes=x2, trials=n2, level=level)
    difference = one.estimate - two.estimate
    below = np.hypot(one.estimate - one.low, two.high - two.estimate)
    above = np.hypot(one.high - one.estimate, two.estimate - two.low)
    return DifferenceInterval(
        successes1=one.successes,
        trials1=one.trials,
        successes2=two.successes,
        trials2=two.trials,
        level=one.level,
        estimate=arguments.frozen(difference),
        low=arguments.frozen(np.maximum(difference - below, -1.0)),
        high=arguments.frozen(np.minimum(difference + above, 1.0)),
    )
