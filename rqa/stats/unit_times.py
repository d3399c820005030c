"""Returns of units, each seen until its own end: checked, and units put by number."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Numbers
from rqa.words import counted

Ends = Mapping[Hashable, float] | tuple[ArrayLike, ArrayLike]


@dataclass(frozen=True, eq=False)
class UnitTimes:
    """`time` of each return, the number of the unit it is `of`, and the `end` of each unit, in order of number."""

    time: Numbers
    of: NDArray[np.int64]
    end: Numbers


def unit_times(*, unit: ArrayLike, time: ArrayLike, end: Ends) -> UnitTimes:
    """Check that every return is of a unit with an end, and not after it."""
    times = arguments.amounts("time", time)
    names = _ids("unit", unit)
    if times.ndim != 1 or len(names) != times.size:
        raise ValueError(f"unit and time must have one axis of one length: unit ({len(names)},), time {times.shape}")
    index, ends = _ends(end)
    of_unit = _places(names, index)
    late = times > ends[of_unit]
    if late.any():
        first = int(late.argmax())
        raise ValueError(
            f"time must not be after the unit's end: time[{first}] = {times[first]:g}, end of {names[first]!r} = "
            f"{ends[of_unit[first]]:g} ({int(late.sum())} in all)"
        )
    return UnitTimes(time=times, of=of_unit, end=ends)


def _ids(name: str, given: ArrayLike) -> list[Hashable]:
    arguments.unmasked(name, given)
    if isinstance(given, str) or not isinstance(given, Iterable):
        raise ValueError(f"{name} must be a row of ids: {given!r}")
    ids: list[Hashable] = given.tolist() if isinstance(given, np.ndarray) else list(cast(Iterable[Hashable], given))
    missing = [i for i, one in enumerate(ids) if one is None or one != one]
    if missing:
        raise ValueError(f"{name} must not be missing: {name}[{missing[0]}] ({len(missing)} in all)")
    return ids


def _ends(end: Ends) -> tuple[dict[Hashable, int], Numbers]:
    if isinstance(end, tuple):
        if len(end) != 2:
            raise ValueError(f"end must be a mapping from unit to end, or a pair of units and ends: {len(end)} parts")
        names, values = _ids("end", end[0]), arguments.amounts("end", end[1])
    else:
        if not hasattr(end, "items"):
            raise ValueError(f"end must be a mapping from unit to end, or a pair of units and ends: {end!r}")
        pairs = list(end.items())
        names, values = [name for name, _ in pairs], arguments.amounts("end", [value for _, value in pairs])
    if values.ndim != 1 or len(names) != values.size:
        raise ValueError(
            f"end must hold units and ends of one length: {counted(len(names), 'unit')}, ends {values.shape}"
        )
    index = {name: i for i, name in enumerate(names)}
    if len(index) < len(names):
        raise ValueError(f"end must name a unit once: {counted(len(names), 'end')} of {counted(len(index), 'unit')}")
    return index, values


def _places(names: list[Hashable], index: dict[Hashable, int]) -> NDArray[np.int64]:
    places = np.array([index.get(name, -1) for name in names], dtype=np.int64)
    unknown = places < 0
    if unknown.any():
        first = int(unknown.argmax())
        raise ValueError(
            f"unit must have an end: unit[{first}] = {names[first]!r} has none ({int(unknown.sum())} in all)"
        )
    return places
