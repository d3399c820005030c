"""The shape of measured values, from counts by value: quantiles, step of writing, bins, bands beside a limit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Counts = NDArray[np.int64]
DECIMALS = 6
"""Finest step looked for."""
BINS = 60
"""Most bins of a histogram."""
REACH = 6.0
"""Quartile distances beyond the quartiles from which on values share the outermost bin."""
IN_SIGMA = 1.349
"""Quartile distance of a normal distribution, in standard deviations."""


@dataclass(frozen=True, eq=False)
class Values:
    """Distinct values in order and how often each was read."""

    value: Numbers
    count: Counts

    @property
    def readings(self) -> int:
        """All of them."""
        return int(self.count.sum())

    def quantile(self, share: float) -> float:
        """The least value that at least this share of readings does not exceed; NaN without any."""
        if not self.readings:
            return float("nan")
        upto = np.cumsum(self.count)
        return float(self.value[np.searchsorted(upto, share * upto[-1] * (1.0 - 1e-12))])

    @property
    def mean(self) -> float:
        """NaN without readings."""
        return float(self.value @ self.count) / self.readings if self.readings else float("nan")

    @property
    def sigma(self) -> float:
        """Standard deviation; NaN below two readings."""
        if self.readings < 2:
            return float("nan")
        return float(np.sqrt((self.value - self.mean) ** 2 @ self.count / (self.readings - 1)))

    def outside(self, lower: float | None, upper: float | None) -> int:
        """Readings below the lower limit or above the upper one."""
        out = np.zeros(len(self.value), dtype=bool)
        if lower is not None:
            out |= self.value < lower
        if upper is not None:
            out |= self.value > upper
        return int(self.count[out].sum())


@dataclass(frozen=True, eq=False)
class GroupReadings:
    """The readings of one group under one pair of limits: of first runs, and of all; runs without a value."""

    group: tuple[object, ...]
    unit: str | None
    lower: float | None
    upper: float | None
    first: Values
    every: Values
    missing: int


@dataclass(frozen=True)
class LimitBands:
    """Readings in three bands of one width inside a limit, from the limit inwards."""

    limit: float
    width: float
    nearest: int
    second: int
    third: int


def step_of(value: Numbers) -> float:
    """The step in which values are written: the largest that all of them, to six decimals, are multiples of."""
    for decimals in range(DECIMALS + 1):
        grid = np.round(value * 10.0**decimals)
        if decimals == DECIMALS or np.allclose(grid, value * 10.0**decimals, rtol=0.0, atol=1e-6):
            break
    apart = np.diff(np.unique(grid.astype(np.int64)))
    return float(np.gcd.reduce(apart)) / 10.0**decimals if len(apart) else 10.0**-decimals


def bands(v: Values, limit: float, side: str) -> LimitBands:
    """Bands half a standard deviation wide (by the quartiles), in whole steps, one at least."""
    step = step_of(v.value)
    spread = (v.quantile(0.75) - v.quantile(0.25)) / IN_SIGMA
    if not spread > 0:
        spread = v.sigma
    steps = max(1, round(spread / 2.0 / step)) if np.isfinite(spread) else 1
    inside = limit - v.value if side == "upper" else v.value - limit
    place = np.floor(inside / step + 1e-6) // steps
    near = [int(v.count[(place == k) & (inside > -1e-9 * max(1.0, abs(limit)))].sum()) for k in range(3)]
    return LimitBands(limit, steps * step, *near)


def histogram(v: Values, lower: float | None, upper: float | None) -> tuple[Numbers, Numbers, Counts]:
    """Starts and ends of bins, in whole steps, and readings; limits lie within, values far out share the last bin."""
    if not v.readings:
        return np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64)
    step = step_of(v.value)
    low, high = v.quantile(0.25), v.quantile(0.75)
    far = REACH * (high - low)
    ends = [float(v.value[0]), float(v.value[-1])]
    if far > 0:
        ends = [max(ends[0], low - far), min(ends[1], high + far)]
    known = [edge for edge in (lower, upper) if edge is not None]
    first, last = min([ends[0], *known]), max([ends[1], *known])
    steps = max(1, int(np.ceil((last - first) / step / (BINS - 1))))
    origin = np.floor(first / step + 1e-6) - 0.5
    bins = max(1, int(np.ceil((np.floor(last / step + 1e-6) + 1.0 - 0.5 - origin) / steps)))
    place = np.clip(np.floor((v.value / step - origin + 1e-9) / steps), 0, bins - 1).astype(np.int64)
    start = (origin + steps * np.arange(bins)) * step
    return start, start + steps * step, np.bincount(place, weights=v.count, minlength=bins).astype(np.int64)
