"""Many sums over days at once, each held at its limit: the CUSUMs of a watch that goes on after a signal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.spc.patterns import TIE

ENDS = 0.5
"""The part of its limit under which a sum ends its signal (common practice, no source)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class HeldSums:
    """Sums of many series over the same days; every array has a row a series and a column a day.

    `value` is the sum at the day's end, between 0 and the limit; `signals` whether a signal stands; `since` the day on
    which the sum, last at 0 before, began to grow (-1 where it is 0); `begun` the day on which the standing signal was
    raised (-1 without one).
    """

    value: Numbers
    signals: NDArray[np.bool_]
    since: Counts
    begun: Counts


def held_sums(weights: ArrayLike, *, limit: ArrayLike) -> HeldSums:
    """Sum up what the jobs of each day say for a change, in many series at once, until each reaches its limit.

    Parameters
    ----------
    weights
        A row a series, a column a day: the sum of its jobs' log-likelihood ratios (see `risk_adjusted_cusum`), 0 on a
        day without jobs.
    limit
        One limit above 0 for each series.

    Returns
    -------
    HeldSums
        The sums, signals and their beginnings.

    Notes
    -----
    sum = min(limit, max(0, sum before + weight). A signal stands from the day on which the sum reaches its limit until
    it is under half of that; the sum then begins anew at 0. Held at its limit, a sum falls as soon as the work is well
    again, however long it was not.

    Raises
    ------
    ValueError
        Weights that are not finite or not in two dimensions; a limit that is not above 0, or another number of them.

    References
    ----------
    1. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452 (the weights).

    Examples
    --------
    >>> held_sums([[1.0, -0.5, 2.0, 2.0, -1.0, -1.0]], limit=[3.0]).value.tolist()
    [[1.0, 0.5, 2.5, 3.0, 2.0, 0.0]]

    On the last day the sum came under half of its limit, so the signal of the fourth day ended.
    """
    w = arguments.measurements("weights", weights)
    h = arguments.above_zero("limit", limit)
    if w.ndim != 2 or np.isnan(w).any():
        raise ValueError(f"weights must be finite, with a row a series and a column a day: shape {w.shape}")
    if h.shape != (w.shape[0],):
        raise ValueError(f"limit must be one number above 0 for each of the {w.shape[0]} series")
    value, signals = np.zeros(w.shape), np.zeros(w.shape, dtype=np.bool_)
    since, begun = np.full(w.shape, -1), np.full(w.shape, -1)
    now, is_out = np.zeros(w.shape[0]), np.zeros(w.shape[0], dtype=np.bool_)
    grew, raised = np.full(w.shape[0], -1), np.full(w.shape[0], -1)
    for day in range(w.shape[1]):
        now = np.clip(now + w[:, day], 0.0, h)
        reaches = now >= h - TIE
        raised = np.where(reaches & ~is_out, day, raised)
        is_out = is_out | reaches
        over = is_out & (now < ENDS * h)
        now = np.where(over, 0.0, now)
        is_out = is_out & ~over
        raised = np.where(is_out, raised, -1)
        grew = np.where(now > 0.0, np.where(grew < 0, day, grew), -1)
        value[:, day], signals[:, day], since[:, day], begun[:, day] = now, is_out, grew, raised
    for array in (value, signals, since, begun):
        array.setflags(write=False)
    return HeldSums(value=value, signals=signals, since=since, begun=begun)
