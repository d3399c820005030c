"""Returns of units at their ages, as the power law and the trend tests take them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.unit_times import Ends, unit_times

Truncation = Literal["time", "failure"]


@dataclass(frozen=True, eq=False)
class Ageing:
    """Ages of returns as parts of their unit's end, and the ends; `free` marks the returns that could lie anywhere.

    With "failure" truncation the last return of each unit is its end, so that it says nothing of the trend.
    """

    time: Numbers
    part: Numbers
    free: NDArray[np.bool_]
    of: NDArray[np.int64]
    end: Numbers


def ageing(*, time: ArrayLike, end: float | Ends | None, unit: ArrayLike | None, truncation: str) -> Ageing:
    """Check ages and ends: one unit (`end` a number), or several (`unit` of each return, `end` of each unit)."""
    arguments.one_of("truncation", truncation, ("time", "failure"))
    times = arguments.amounts("time", time)
    if times.ndim != 1:
        raise ValueError(f"time must have one axis, an entry a return: shape {times.shape}")
    if (times == 0).any():
        first = int((times == 0).argmax())
        raise ValueError(f"time must be above 0 (to whole days, counted from 0, add a half): time[{first}] = 0")
    if truncation == "failure":
        if end is not None:
            raise ValueError("end must be left out when truncation is 'failure': it is the unit's last return")
        of = np.zeros(times.size, dtype=np.int64)
        if unit is not None:
            names = arguments.labels("unit", unit)
            if names.shape != times.shape:
                raise ValueError(f"unit and time must have one axis of one length: {names.shape}, {times.shape}")
            of = np.unique(names, return_inverse=True)[1]
        ends = np.zeros(int(of.max(initial=-1)) + 1)
        np.maximum.at(ends, of, times)
    else:
        if end is None:
            raise ValueError("end must be given when truncation is 'time': the age at which each unit was last seen")
        if unit is None:
            last = arguments.amounts("end", end)  # type: ignore[arg-type]
            if last.ndim:
                raise ValueError("end must be one number when unit is left out: all returns are then of one unit")
            seen = unit_times(unit=np.zeros(times.shape, dtype=np.int64), time=times, end=([0], last.reshape(1)))
        else:
            if isinstance(end, int | float):
                raise ValueError("end must name each unit when unit is given, also those that never returned")
            seen = unit_times(unit=unit, time=times, end=end)
        of, ends = seen.of, seen.end
    free = np.ones(times.size, dtype=np.bool_)
    if truncation == "failure":
        order = np.lexsort((times, of))
        free[order[np.flatnonzero(np.diff(of[order], append=-1))]] = False
    return Ageing(time=times, part=times / ends[of], free=free, of=of, end=ends)
