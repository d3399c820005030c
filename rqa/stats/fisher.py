"""Is a difference statistically clear: the exact test of two independent proportions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import p_value
from rqa.stats.hypergeometric import log_two_sided
from rqa.stats.proportion import estimate


@dataclass(frozen=True, eq=False)
class ProportionTest:
    """Share 1 minus share 2 and the exact two-sided p-value; NaN where either group has no data."""

    successes1: Counts
    trials1: Counts
    successes2: Counts
    trials2: Counts
    difference: Numbers
    p_value: Numbers


def proportion_test(
    *, successes1: ArrayLike, trials1: ArrayLike, successes2: ArrayLike, trials2: ArrayLike
) -> ProportionTest:
    """Say how often chance alone would set two groups of jobs as far apart as these, if they were alike.

    Parameters
    ----------
    successes1, trials1
        Counts of the first group (such as this month): whole numbers, successes from 0 to trials, any shape.
    successes2, trials2
        Counts of the second group (such as the months before), of the same shape or one number for all.

    Returns
    -------
    ProportionTest
        `difference` = share 1 - share 2, `p_value` between 0 and 1, with the inputs as they were taken.

    Notes
    -----
    Landmarks: a p-value of 1 when neither or every job had the event; no data (NaN) when either group has 0 trials. It
    is never 0: one below the least double, 2.2e-308, is given as that.

    Fisher's exact test, two-sided: with the total of events held fixed, the chance of all tables no likelier than
    the one seen. It was taken because it claims a difference no more often than promised at any size, months of
    twenty jobs included; the price is that it claims one rather less often than promised. It can therefore say "within
    chance variation" where the limits of `difference_interval` just leave 0 out.

    The groups must be independent, and no allowance is made for a different mix of work. One test a month is meant:
    among many comparisons some small p-values are due to chance.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; successes above trials; shapes that do not fit.

    References
    ----------
    1. R. A. Fisher, The Design of Experiments, 1935, chapter II.

    Examples
    --------
    >>> r = proportion_test(successes1=3, trials1=4, successes2=1, trials2=4)
    >>> f"{r.difference:.2f}, p = {r.p_value:.4f}"
    '0.50, p = 0.4857'

    3 of 4 against 1 of 4: two groups that are alike would lie that far apart about every second time.
    """
    x1, n1 = arguments.part_and_whole("successes1", successes1, "trials1", trials1)
    x2, n2 = arguments.part_and_whole("successes2", successes2, "trials2", trials2)
    x1, n1, x2, n2 = arguments.same_shape({"successes1": x1, "trials1": n1, "successes2": x2, "trials2": n2})
    columns = (a.ravel().tolist() for a in (x1, n1, x2, n2))
    p = np.array([_fisher(*row) for row in zip(*columns, strict=True)], dtype=np.float64)
    return ProportionTest(
        successes1=arguments.frozen_counts(x1),
        trials1=arguments.frozen_counts(n1),
        successes2=arguments.frozen_counts(x2),
        trials2=arguments.frozen_counts(n2),
        difference=arguments.frozen(estimate(x1, n1) - estimate(x2, n2)),
        p_value=arguments.frozen(p.reshape(x1.shape)),
    )


def _fisher(x1: int, n1: int, x2: int, n2: int) -> float:
    if n1 == 0 or n2 == 0:
        return float("nan")
    if x1 + x2 in (0, n1 + n2):
        return 1.0
    return float(p_value(log_two_sided(x1, n1, x1 + x2, n1 + n2), sides=1.0))
