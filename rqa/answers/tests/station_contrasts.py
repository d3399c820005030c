"""Each station beside the others, period by period, on comparable work; a level apart, a slope over the periods."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Numbers = NDArray[np.float64]
SURE = 0.01
"""A station further out than this is no longer held against the others: else its drift would show in theirs."""
LEAST_FOR_LEVEL, LEAST_FOR_SLOPE = 2, 4
"""Periods below which their scatter does not tell how sure a level, or a slope, is."""


@dataclass(frozen=True, eq=False)
class StationReadings:
    """The readings of one test: a row a station, period and kind of work, with their number, sum and sum of squares.

    `station`, `period` and `kind` are places in lists; values are distances from the test's middle.
    """

    periods: int
    station: NDArray[np.int64]
    period: NDArray[np.int64]
    kind: NDArray[np.int64]
    readings: NDArray[np.int64]
    total: Numbers
    squares: Numbers

    @property
    def variance(self) -> float:
        """Variance of readings within a station, period and kind; NaN where no such cell has two."""
        within = float(np.maximum(self.squares - self.total**2 / self.readings, 0.0).sum())
        free = int((self.readings - 1).sum())
        return within / free if free > 0 else float("nan")


@dataclass(frozen=True, eq=False)
class StationDifferences:
    """How far a station lay from the others in each period, with its variance; `weight` is the comparable readings."""

    value: Numbers
    variance: Numbers
    weight: Numbers


@dataclass(frozen=True)
class StationEstimate:
    """A level or a slope with its limits and two-sided p; NaN where it cannot be told."""

    value: float
    low: float
    high: float
    p_value: float


NOTHING = StationEstimate(float("nan"), float("nan"), float("nan"), float("nan"))


def apart(work: StationReadings, station: int, others: Sequence[int]) -> StationDifferences:
    """The station's mean less that of the others, weighted over the kinds of work that both did in the period.

    Weights are harmonic, n m / (n + m), which makes the variance the least one. Without others it is the station's own
    mean about its mean over all periods, kind by kind.
    """
    shape = (work.periods, int(work.kind.max(initial=0)) + 1)
    n, total = _cells(work, [station], shape)
    if others:
        m, beside = _cells(work, [s for s in others if s != station], shape)
    else:
        m = np.broadcast_to(n.sum(axis=0), shape)
        beside = np.broadcast_to(total.sum(axis=0), shape)
    both = (n > 0) & (m > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        difference = np.where(both, total / n - beside / m, 0.0)
        weight = np.where(both, n * m / (n + m) if others else n, 0.0)
        every = weight.sum(axis=1)
        value = np.where(every > 0, (weight * difference).sum(axis=1) / every, np.nan)
        variance = np.where(every > 0, work.variance / every, np.nan)
    return StationDifferences(value, variance, every)


def level(seen: StationDifferences, confidence: float) -> StationEstimate:
    """The mean distance over all periods; its error from the readings' scatter or the periods', whichever is more."""
    x, variance = _there(seen)
    if len(x) < LEAST_FOR_LEVEL or not variance.all():
        return NOTHING
    weight = 1.0 / variance
    mean = float(weight @ x / weight.sum())
    free = len(x) - 1
    over = max(1.0, float(weight @ (x - mean) ** 2) / free)
    return _figure(mean, float(np.sqrt(over / weight.sum())), free, confidence)


def slope(seen: StationDifferences, confidence: float) -> StationEstimate:
    """The change a period, by weighted least squares; its error from the readings' scatter or that about the line."""
    there = np.flatnonzero(np.isfinite(seen.value))
    x, variance = _there(seen)
    if len(x) < LEAST_FOR_SLOPE or not variance.all():
        return NOTHING
    weight = 1.0 / variance
    at = there - weight @ there / weight.sum()
    reach = float(weight @ at**2)
    change = float(weight @ (at * x)) / reach
    left = x - weight @ x / weight.sum() - change * at
    free = len(x) - 2
    over = max(1.0, float(weight @ left**2) / free)
    return _figure(change, float(np.sqrt(over / reach)), free, confidence)


def held_apart(work: StationReadings, stations: Sequence[int], confidence: float) -> int | None:
    """The station without which the others agree best, if some station is plainly out; None if not, or if two are left.

    The one furthest out need not be it: of three, a station that moves makes the one on the other side look as far out.
    """
    if len(stations) < 3 or _least_p(work, stations, confidence) >= SURE:
        return None
    left = {s: _least_p(work, [o for o in stations if o != s], confidence) for s in stations}
    return max(left, key=lambda s: left[s])


def _least_p(work: StationReadings, stations: Sequence[int], confidence: float) -> float:
    """The least p of a level or slope of these stations, each against the others; 1 where none can be told."""
    seen = [apart(work, s, stations) for s in stations]
    p = [made.p_value for x in seen for made in (level(x, confidence), slope(x, confidence))]
    return min((one for one in p if np.isfinite(one)), default=1.0)


def _there(seen: StationDifferences) -> tuple[Numbers, Numbers]:
    there = np.isfinite(seen.value) & np.isfinite(seen.variance)
    return seen.value[there], seen.variance[there]


def _cells(work: StationReadings, stations: Sequence[int], shape: tuple[int, int]) -> tuple[Numbers, Numbers]:
    rows = np.isin(work.station, stations)
    n, total = np.zeros(shape), np.zeros(shape)
    np.add.at(n, (work.period[rows], work.kind[rows]), work.readings[rows])
    np.add.at(total, (work.period[rows], work.kind[rows]), work.total[rows])
    return n, total


def _figure(value: float, error: float, free: int, confidence: float) -> StationEstimate:
    reach = float(special.stdtrit(free, (1.0 + confidence) / 2.0)) * error
    p = float(2.0 * special.stdtr(free, -abs(value) / error)) if error > 0 else float("nan")
    return StationEstimate(value, value - reach, value + reach, p)
