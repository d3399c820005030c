"""Which of many comparisons to believe: p-values adjusted for how many were made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Numbers


@dataclass(frozen=True, eq=False)
class Discoveries:
    """p-values, the same adjusted for their number, and which of them count as discoveries."""

    p_values: Numbers
    allowed: float
    compared: int
    p_adjusted: Numbers
    found: NDArray[np.bool_]


def benjamini_hochberg(*, p_values: ArrayLike, allowed: float = 0.05) -> Discoveries:
    """Say which of many comparisons stand out so that at most a stated share of those named is due to chance.

    Parameters
    ----------
    p_values
        One p-value for each comparison, from 0 to 1, any shape; NaN for what could not be compared (no data).
    allowed
        Share of false ones allowed among those found, on average, strictly between 0 and 1.

    Returns
    -------
    Discoveries
        `p_adjusted` in the shape of the p-values (NaN stays NaN and does not count), `found` = p_adjusted <= allowed,
        `compared` = how many p-values there were.

    Notes
    -----
    Landmarks: a single p-value is its own adjusted one; when nothing differs at all, the chance that anything is found
    is at most `allowed`.

    With m p-values in order, p_adjusted of the i-th is the smallest of p_j m / j over j >= i, at most 1. The promise
    holds for independent comparisons, and for those that lean the same way. All that were looked at belong in: leaving
    out the dull ones first breaks it.

    Raises
    ------
    ValueError
        A p-value outside 0 to 1; allowed outside (0, 1).

    References
    ----------
    1. Y. Benjamini and Y. Hochberg, Journal of the Royal Statistical Society B 57, 1995, 289-300.

    Examples
    --------
    >>> r = benjamini_hochberg(p_values=[0.001, 0.02, 0.04, 0.6])
    >>> r.p_adjusted.round(3).tolist(), r.found.tolist()
    ([0.004, 0.04, 0.053, 0.6], [True, True, False, False])

    The third would pass for a discovery alone, but not as one of four.
    """
    p = arguments.shares("p_values", p_values, missing=True)
    allowed = arguments.share("allowed", allowed)
    known = ~np.isnan(p)
    adjusted = np.full_like(p, np.nan)
    adjusted[known] = _adjusted(p[known])
    found = adjusted <= allowed
    found.setflags(write=False)
    return Discoveries(
        p_values=arguments.frozen(p),
        allowed=allowed,
        compared=int(known.sum()),
        p_adjusted=arguments.frozen(adjusted),
        found=found,
    )


def _adjusted(p: Numbers) -> Numbers:
    """As of `scipy.stats.false_discovery_control`, which takes a second of processor to import."""
    order = np.argsort(p)
    rank = np.arange(1, len(p) + 1, dtype=np.float64)
    smallest = np.minimum.accumulate((p[order] * (len(p) / rank))[::-1])[::-1]
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(smallest, 1.0)
    return adjusted
