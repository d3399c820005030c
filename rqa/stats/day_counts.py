"""The table that follow-up estimates are made from: on each day since closing, how many returned or were last seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class DayCounts:
    """Counts by day, days rising; `at_risk` counts those still out and followed as the day begins."""

    day: Numbers
    returned: Counts
    censored: Counts
    at_risk: Counts


def day_counts(*, day: ArrayLike, returned: ArrayLike, censored: ArrayLike, causes: bool = False) -> DayCounts:
    """Check a day-count table, put its days in order and count those at risk.

    Parameters
    ----------
    day
        Days since closing, from 0 up: one axis. A day named twice is summed, so that plain rows (one day a job) are
        taken too; days on which nothing happened may be left out.
    returned
        How many returned on each day: the last axis runs over the days, axes before it over groups. With `causes`,
        one more axis at the end runs over the causes.
    censored
        How many were last seen on each day without a return, of the same shape (without the axis of causes). Of a
        day's returns and censorings the returns are taken to come first.
    """
    days = arguments.amounts("day", day)
    back, last_seen = arguments.counts("returned", returned), arguments.counts("censored", censored)
    if days.ndim != 1:
        raise ValueError(f"day must have one axis: shape {days.shape}")
    wanted = f"(groups, {days.size}, causes)" if causes else f"(groups, {days.size})"
    found = f"day {days.shape}, returned {back.shape}, censored {last_seen.shape}"
    shape = back.shape[:-1] if causes else back.shape
    if not shape or shape[-1] != days.size or last_seen.shape != shape:
        raise ValueError(
            f"returned must be of shape {wanted}, groups left out or not, and censored of the same"
            f"{' without causes' if causes else ''}: {found}"
        )
    if days.size > 1 and not (np.diff(days) > 0).all():
        order = np.argsort(days, kind="stable")
        days = days[order]
        first = np.flatnonzero(np.diff(days, prepend=-1.0) > 0)
        days = days[first]
        axis = -2 if causes else -1
        back = np.add.reduceat(np.take(back, order, axis=axis), first, axis=axis)
        last_seen = np.add.reduceat(np.take(last_seen, order, axis=-1), first, axis=-1)
    leaving = (back.sum(axis=-1) if causes else back) + last_seen
    at_risk = leaving[..., ::-1].cumsum(axis=-1)[..., ::-1]
    return DayCounts(
        day=arguments.frozen(days),
        returned=arguments.frozen_counts(back),
        censored=arguments.frozen_counts(last_seen),
        at_risk=arguments.frozen_counts(at_risk),
    )


def with_days(table: DayCounts, wanted: Numbers, *, causes: bool = False) -> DayCounts:
    """The table with the wanted days in it, on which nothing happened unless they were there before."""
    groups, extra = table.censored.shape[:-1], wanted.size
    nobody = np.zeros((*groups, extra), dtype=np.int64)
    none = np.zeros((*groups, extra, table.returned.shape[-1]), dtype=np.int64) if causes else nobody
    return day_counts(
        day=np.concatenate((table.day, wanted)),
        returned=np.concatenate((table.returned, none), axis=-2 if causes else -1),
        censored=np.concatenate((table.censored, nobody), axis=-1),
        causes=causes,
    )
