"""Where the raw shares say one thing and the shares on comparable work say the opposite (Simpson's reversal)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class OrderReversals:
    """Pairs of groups whose order turns round once the mix of work is allowed for, widest first."""

    raw: Numbers
    adjusted: Numbers
    level: float
    higher_raw: Counts
    higher_adjusted: Counts
    raw_gap: Numbers
    adjusted_gap: Numbers


def order_reversals(
    *,
    raw: ArrayLike,
    adjusted: ArrayLike,
    raw_error: ArrayLike = 0.0,
    adjusted_error: ArrayLike = 0.0,
    level: float = 0.95,
) -> OrderReversals:
    """Name the pairs of groups that a raw table puts in one order and a comparison on comparable work in the other.

    Parameters
    ----------
    raw
        Each group's raw share (of failures, say): one row of numbers; NaN for no data.
    adjusted
        The same once the mix is allowed for, on any scale where more is more (observed over expected, an adjusted
        share), of the same shape.
    raw_error, adjusted_error
        Standard errors of both, of the same shape or one number for all. Left at 0, every reversal is named, also those
        that chance alone makes, which are many when groups are many.
    level
        With standard errors: how sure both differences of a pair must be, strictly between 0 and 1.

    Returns
    -------
    OrderReversals
        One entry for each pair: `higher_raw` and `higher_adjusted`, the places of the two groups in the row; `raw_gap`
        and `adjusted_gap`, their differences on either scale, both above 0; the pairs with the most sure smaller
        difference first (with errors), or the widest raw gap first (without).

    Notes
    -----
    Landmarks: the same order both ways gives no pair; ties are no reversal; groups with NaN in either are left out.

    With errors both differences must be further from 0 than z times the root of the sum of their squared errors, each
    pair looked at by itself: of pairs that are equal on one scale, up to (1 - level) pass there by chance.

    Raises
    ------
    ValueError
        An infinite number; an error that is missing, infinite or below 0; shapes that do not fit or are no row of
        groups; a level outside (0, 1).

    References
    ----------
    1. E. H. Simpson, Journal of the Royal Statistical Society B 13, 1951, 238-241.

    Examples
    --------
    >>> r = order_reversals(raw=[0.27, 0.14], adjusted=[0.91, 1.13])
    >>> r.higher_raw.tolist(), r.higher_adjusted.tolist()
    ([0], [1])

    Technician 0 fails more often, yet on comparable work technician 1 does: technician 0 was given the hard work.
    """
    arrays = {
        "raw": arguments.measurements("raw", raw),
        "adjusted": arguments.measurements("adjusted", adjusted),
        "raw_error": arguments.amounts("raw_error", raw_error),
        "adjusted_error": arguments.amounts("adjusted_error", adjusted_error),
    }
    level = arguments.share("level", level)
    r, a, r_error, a_error = arguments.same_shape(arrays)
    if r.ndim != 1:
        raise ValueError(f"raw must be one row of groups: shape {r.shape}")
    z = -float(special.ndtri((1.0 - level) / 2.0))
    first, second, surest = [], [], []
    for i in range(r.size):
        with np.errstate(invalid="ignore", divide="ignore"):
            # Only the group above in the raw row asks, so that no pair comes twice.
            raw_gap, adjusted_gap = r[i] - r, a - a[i]
            raw_reach, adjusted_reach = np.hypot(r_error[i], r_error), np.hypot(a_error[i], a_error)
            sure = (raw_gap > z * raw_reach) & (adjusted_gap > z * adjusted_reach)
            how_sure = np.minimum(raw_gap / raw_reach, adjusted_gap / adjusted_reach)
        found = np.flatnonzero(sure & (raw_gap > 0) & (adjusted_gap > 0))
        first.append(np.full(found.size, i))
        second.append(found)
        surest.append(how_sure[found])
    one, other = (np.concatenate([np.empty(0, dtype=np.int64), *places]) for places in (first, second))
    order = np.lexsort((-(r[one] - r[other]), -np.concatenate([np.empty(0), *surest])))
    one, other = one[order], other[order]
    return OrderReversals(
        raw=arguments.frozen(r),
        adjusted=arguments.frozen(a),
        level=level,
        higher_raw=arguments.frozen_counts(one),
        higher_adjusted=arguments.frozen_counts(other),
        raw_gap=arguments.frozen(r[one] - r[other]),
        adjusted_gap=arguments.frozen(a[other] - a[one]),
    )
