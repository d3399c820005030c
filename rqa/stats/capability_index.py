"""One index of capability with its interval, by each of the ways there are."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from rqa.arguments import Numbers

TAIL = 0.00135
"""Share beyond three deviations of a normal process on one side, as the percentile method has it."""


@dataclass(frozen=True, kw_only=True)
class CapabilityIndex:
    """A capability index and its limits; NaN where it is not defined. As a plain number it is its estimate."""

    estimate: float
    low: float
    high: float

    def __float__(self) -> float:
        return self.estimate


@dataclass(frozen=True, kw_only=True)
class Spread:
    """An estimated deviation: `sigma` itself, and the `root` of a scaled chi-squared variance of so many `degrees`."""

    sigma: float
    root: float
    degrees: float


NOT_DEFINED = CapabilityIndex(estimate=float("nan"), low=float("nan"), high=float("nan"))


def width(low: float | None, high: float | None, spread: Spread, level: float) -> CapabilityIndex:
    """(upper - lower) / (6 sigma); exact limits, as degrees x root^2 / sigma^2 is chi-squared."""
    if low is None or high is None:
        return NOT_DEFINED
    tail = (1.0 - level) / 2.0
    ends = np.sqrt(special.chdtri(spread.degrees, np.array([1.0 - tail, tail])) / spread.degrees)
    known = (high - low) / 6.0
    return CapabilityIndex(
        estimate=known / spread.sigma,
        low=float(known / spread.root * ends[0]),
        high=float(known / spread.root * ends[1]),
    )


def one_side(distance: float | None, spread: Spread, n: int, level: float) -> CapabilityIndex:
    """Distance of the mean from a limit, positive within, / (3 sigma); exact limits.

    3 sqrt(n) times the index is a noncentral t variable, whose noncentrality is 3 sqrt(n) times the true index.
    """
    if distance is None:
        return NOT_DEFINED
    tail = (1.0 - level) / 2.0
    scale = 3.0 * np.sqrt(n)
    ends = special.nctdtrinc(spread.degrees, np.array([1.0 - tail, tail]), scale * distance / (3.0 * spread.root))
    return CapabilityIndex(
        estimate=distance / (3.0 * spread.sigma), low=float(ends[0] / scale), high=float(ends[1] / scale)
    )


def nearer_side(below: float | None, above: float | None, spread: Spread, n: int, level: float) -> CapabilityIndex:
    """Distance of the mean from the nearer limit / (3 sigma); with both limits by Bissell's approximate limits."""
    if below is None or above is None:
        return one_side(above if below is None else below, spread, n, level)
    estimate = min(below, above) / (3.0 * spread.sigma)
    reach = -special.ndtri((1.0 - level) / 2.0) * np.sqrt(1.0 / (9.0 * n) + estimate**2 / (2.0 * spread.degrees))
    return CapabilityIndex(estimate=estimate, low=float(estimate - reach), high=float(estimate + reach))


def by_percentiles(
    x: Numbers, low: float | None, high: float | None, level: float
) -> tuple[CapabilityIndex, CapabilityIndex, CapabilityIndex, CapabilityIndex]:
    """The whole, the nearer side, the lower and the upper side from the percentiles of the sample.

    Three percentiles are each held between two values by rank, with a chance of error of a third of that allowed; all
    that they can make of an index lies between the ends given, so these hold with at least `level`.
    """
    ordered = np.sort(x)
    error = (1.0 - level) / 3.0
    far_low, middle, far_high = (_percentile(ordered, p, error) for p in (TAIL, 0.5, 1.0 - TAIL))
    whole = lower = upper = NOT_DEFINED
    if high is not None:
        upper = _between(lambda q, m: (high - m) / (q - m), far_high, middle)
    if low is not None:
        lower = _between(lambda q, m: (m - low) / (m - q), far_low, middle)
    if low is None or high is None:
        return whole, upper if low is None else lower, lower, upper
    whole = _between(lambda top, bottom: (high - low) / (top - bottom), far_high, far_low)
    nearer = CapabilityIndex(
        estimate=min(lower.estimate, upper.estimate),
        low=min(lower.low, upper.low),
        high=min(lower.high, upper.high),
    )
    return whole, nearer, lower, upper


def _percentile(ordered: Numbers, p: float, error: float) -> CapabilityIndex:
    """The percentile at rank p (n + 1), and the values that hold the true one between them by their rank."""
    n = len(ordered)
    place = min(max(p * (n + 1.0), 1.0), float(n)) - 1.0
    padded = np.concatenate(([-np.inf], ordered, [np.inf]))
    # The value of rank r is below the percentile if at least r of n are, and above if at most r - 1 are. Ranks further
    # from the expected one than this have no chance worth counting.
    reach = 12.0 * np.sqrt(n * p * (1.0 - p)) + 12.0
    first = max(0, int(n * p - reach))
    chance = special.bdtr(np.arange(first, min(n, int(n * p + reach)) + 1, dtype=np.float64), n, p)
    below = first + int(np.searchsorted(chance, error / 2.0, side="right"))
    above = first + int(np.searchsorted(chance, 1.0 - error / 2.0, side="left")) + 1
    return CapabilityIndex(
        estimate=float(np.interp(place, np.arange(n), ordered)),
        low=float(padded[below]),
        high=float(padded[min(above, n + 1)]),
    )


def _between(of: Callable[[float, float], float], first: CapabilityIndex, second: CapabilityIndex) -> CapabilityIndex:
    """An index of two percentiles, in each of which it is monotone, so that its ends are at corners."""
    with np.errstate(invalid="ignore", divide="ignore"):
        corners = [of(np.float64(a), np.float64(b)) for a in (first.low, first.high) for b in (second.low, second.high)]
    estimate = of(first.estimate, second.estimate)
    return CapabilityIndex(estimate=float(estimate), low=float(min(corners)), high=float(max(corners)))
