"""The mean cumulative function from three count tables, so that returns need not leave the engine row by row."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts
from rqa.stats.mean_cumulative import MeanCumulative, curve, result, robust_growth


def mean_cumulative_from_counts(
    *, day: ArrayLike, ended: ArrayLike, returned: ArrayLike, pairs: ArrayLike, level: float = 0.95
) -> MeanCumulative:
    """Say how many returns a unit has had on average by each age, from counts that hold all the limits need.

    Parameters
    ----------
    day
        Ages in days that occur in the tables, rising, one axis (k days). A table may name days without any event.
    ended
        How many units were last seen at each age, units that never returned too: whole numbers, the last axis k, axes
        before it over groups.
    returned
        How many returns there were, by age at the return (rows) and age at which that unit was last seen (columns): the
        last two axes k x k.
    pairs
        How many pairs of returns of one unit there are, by age at the earlier one (rows) and at the later one
        (columns), each pair once: the last two axes k x k. A unit with m returns makes m (m - 1) / 2 pairs.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    MeanCumulative
        As of `mean_cumulative_function` with the robust variance, on every day of the table; groups come first.

    Notes
    -----
    The variance needs each unit's own sum of 1 / at risk over its returns: squared, and times what all units' mean has
    grown by until its end. The square of a sum is a sum over pairs, so `pairs` gives the first, and `returned` by end
    the second. Landmarks, limits and assumptions are those of `mean_cumulative_function`.

    Raises
    ------
    ValueError
        Days that do not rise; counts that are missing, negative or not whole; shapes that do not fit; a return after
        its unit's end, or a pair whose earlier return is the later one; a level outside (0, 1).

    References
    ----------
    1. J. F. Lawless and C. Nadeau, Technometrics 37, 1995, 158-168.

    Examples
    --------
    >>> r = mean_cumulative_from_counts(
    ...     day=[8, 30, 40],
    ...     ended=[0, 0, 4],
    ...     returned=[[0, 0, 2], [0, 0, 1], [0, 0, 0]],
    ...     pairs=[[0, 1, 0], [0, 0, 0], [0, 0, 0]],
    ... )
    >>> r.mcf.tolist(), r.se.round(3).tolist()
    ([0.5, 0.75, 0.75], [0.25, 0.415, 0.415])

    Four units seen for 40 days came back 0.75 times on average; one of them came back twice, which widens the limits.
    """
    level = arguments.share("level", level)
    days = arguments.amounts("day", day)
    last, back, twice = (
        arguments.counts(name, given) for name, given in (("ended", ended), ("returned", returned), ("pairs", pairs))
    )
    _check(days.shape, last, back, twice)
    if not (np.diff(days) > 0).all():
        raise ValueError("day must rise from entry to entry")
    at_risk = last[..., ::-1].cumsum(axis=-1)[..., ::-1]
    n = np.maximum(at_risk, 1).astype(np.float64)
    on_day = back.sum(axis=-1)
    weight = 1.0 / n
    squares = on_day * weight**2 + 2.0 * weight * (twice * weight[..., :, np.newaxis]).sum(axis=-2)
    ending = (back * weight[..., :, np.newaxis]).sum(axis=-2)
    growth = robust_growth(returned=on_day, at_risk=at_risk, squares=squares, gone=ending.cumsum(axis=-1) - ending)
    mcf, se = curve(growth, returned=on_day, at_risk=at_risk, units=last.sum(axis=-1), variance="robust")
    return result(
        day=days,
        at_risk=at_risk,
        returned=on_day,
        mcf=mcf,
        se=se,
        end_day=days,
        ended=last,
        variance="robust",
        level=level,
    )


def _check(days: tuple[int, ...], last: Counts, back: Counts, twice: Counts) -> None:
    found = f"day {days}, ended {last.shape}, returned {back.shape}, pairs {twice.shape}"
    if len(days) != 1 or last.shape[-1:] != days or back.shape != (*last.shape, *days) or twice.shape != back.shape:
        raise ValueError(f"ended must be of shape (groups, k), returned and pairs (groups, k, k) for k days: {found}")
    for name, table, rule in (
        ("returned", back, "a return after its unit's end"),
        ("pairs", twice, "a pair whose first return is the later one"),
    ):
        below = np.tril(table, -1)
        if below.any():
            place = tuple(int(i) for i in np.argwhere(below)[0])
            raise ValueError(f"{name} must not hold {rule}: {name}{list(place)} = {table[place]}")
