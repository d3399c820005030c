"""What share of faults a test catches, with the bounds that outcomes not yet known leave open."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import Method, proportion_interval


@dataclass(frozen=True, eq=False)
class FaultSensitivity:
    """Share of faults caught: of those known, and the bounds that the unverified ones leave; no fault is NaN."""

    caught: Counts
    escaped: Counts
    caught_unverified: Counts
    escaped_unverified: Counts
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers
    lower_bound: Numbers
    upper_bound: Numbers
    lower_bound_low: Numbers
    upper_bound_high: Numbers


def fault_sensitivity(
    *,
    caught: ArrayLike,
    escaped: ArrayLike,
    caught_unverified: ArrayLike = 0,
    escaped_unverified: ArrayLike = 0,
    method: Method = "wilson",
    level: float = 0.95,
) -> FaultSensitivity:
    """Say what share of faulty units a test fails, whatever the units turn out to be that nobody has verified.

    Parameters
    ----------
    caught
        Faulty units that failed: whole numbers, any shape.
    escaped
        Faulty units that passed and came back for it; of the same shape or one number, as all others.
    caught_unverified
        Units that failed and may have been faulty, as nothing was found in them.
    escaped_unverified
        Units that passed and may have been faulty: come-backs in which nothing was found, and as many units not yet
        followed up for long enough as may at most still come back.
    method, level
        Of the limits, as in `proportion_interval`.

    Returns
    -------
    FaultSensitivity
        `estimate`, `low`, `high` with the unverified left out; `lower_bound` with every unverified pass an escape and
        no unverified fail a fault, `upper_bound` the other way; `lower_bound_low` and `upper_bound_high`, their outer
        limits.

    Notes
    -----
    caught / (caught + escaped). The truth lies between `lower_bound` and `upper_bound` but for chance, and between the
    outer limits at the level. Landmarks: no fault known is no data, NaN; a test with no escape has high 1 and a low
    below it. A fault that is never noticed by anybody is in none of these counts, so sensitivity as seen is too high.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; shapes that do not fit; an unknown method; a level outside
        (0, 1).

    References
    ----------
    1. C. F. Manski, Partial Identification of Probability Distributions, 2003, chapter 1 (bounds).

    Examples
    --------
    >>> r = fault_sensitivity(caught=45, escaped=5, escaped_unverified=10)
    >>> f"{r.estimate:.2f}, at least {r.lower_bound:.2f} ({r.lower_bound_low:.2f} with chance)"
    '0.90, at least 0.75 (0.63 with chance)'

    Nine faults of ten are caught as far as is known; if all ten open cases are escapes, three of four.
    """
    x, missed, unsure_x, unsure = arguments.same_shape(
        {
            "caught": arguments.counts("caught", caught),
            "escaped": arguments.counts("escaped", escaped),
            "caught_unverified": arguments.counts("caught_unverified", caught_unverified),
            "escaped_unverified": arguments.counts("escaped_unverified", escaped_unverified),
        }
    )
    arguments.countable(x + missed + unsure_x + unsure, "caught", "escaped", "caught_unverified", "escaped_unverified")
    known = proportion_interval(successes=x, trials=x + missed, method=method, level=level)
    worst = proportion_interval(successes=x, trials=x + missed + unsure, method=method, level=level)
    best = proportion_interval(successes=x + unsure_x, trials=x + unsure_x + missed, method=method, level=level)
    return FaultSensitivity(
        caught=arguments.frozen_counts(x),
        escaped=arguments.frozen_counts(missed),
        caught_unverified=arguments.frozen_counts(unsure_x),
        escaped_unverified=arguments.frozen_counts(unsure),
        method=method,
        level=known.level,
        estimate=known.estimate,
        low=known.low,
        high=known.high,
        lower_bound=worst.estimate,
        upper_bound=best.estimate,
        lower_bound_low=worst.low,
        upper_bound_high=best.high,
    )
