"""Patterns of points that chance seldom makes: so many of so many in a zone, trends, alternation.

A pattern is data as well as a rule. Called with a chart it returns signals; `masks` judges any number of charts at
once; the run-length module builds its Markov chain from the same description.

Distances are standardised, z = (value - centre) / sigma of the point, so that limits which vary from point to point are
handled. A point without data (z is NaN) breaks every pattern: points before it are forgotten, as if the chart started
anew after it. A point exactly on a zone's edge is not beyond it, and one on the centre line is on neither side.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.chart import Chart, Side, Signal

Mask = NDArray[np.bool_]
Masks = dict[Side, Mask]

TIE = 1e-9
"""Two distances closer than this, in sigma, are taken as equal: they are equal on paper."""


def standardised(chart: Chart) -> Numbers:
    """Distance of every point from its centre in its own sigma, of the chart's shape; NaN without data.

    Distances that are a whole or half number of sigma on paper are made exactly that, so that zones have clean edges.
    Where sigma is 0, a point on the centre line is at 0 and any other infinitely far.
    """
    return _distances(chart.values, chart.centre, chart.sigma)


def _distances(values: Numbers, centre: Numbers, sigma: Numbers) -> Numbers:
    """`standardised` of these points."""
    off = values - centre
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where((off == 0) & (sigma == 0), 0.0, off / sigma)
        slack = TIE + 1e-12 * np.abs(centre) / sigma
        edge = np.rint(2.0 * z) / 2.0
        return np.where(np.abs(z - edge) <= slack, edge, z)


class PointRule(ABC):
    """A rule that looks at the points up to each one and says whether a pattern ends there."""

    name: str

    @abstractmethod
    def masks(self, chart: Chart) -> Masks:
        """Where the pattern ends, by side; the chart's arrays may be of any shape (..., points)."""

    @abstractmethod
    def pattern(self, chart: Chart, index: int, side: Side) -> tuple[int, ...]:
        """The points of the pattern that ends at `index` of a chart in one dimension."""

    def patterns(self, chart: Chart, ends: NDArray[np.intp], side: Side) -> list[tuple[int, ...]]:
        """The points of each of the patterns that end at some points."""
        return [self.pattern(chart, index, side) for index in ends.tolist()]

    def __call__(self, chart: Chart) -> tuple[Signal, ...]:
        """Every point at which the pattern is complete, in order."""
        signals = []
        for side, mask in self.masks(chart).items():
            ends = np.flatnonzero(mask)
            for index, points in zip(ends.tolist(), self.patterns(chart, ends, side), strict=True):
                signals.append(Signal(index=index, rule=self.name, side=side, points=points))
        return tuple(sorted(signals, key=lambda signal: signal.index))


@dataclass(frozen=True, kw_only=True)
class LimitRule(PointRule):
    """One point above the chart's upper or below its lower limit, whatever these limits are made of."""

    name: str

    def masks(self, chart: Chart) -> Masks:
        """Above and below; a point exactly on a limit, or without data, is not out."""
        arguments.instance("chart", chart, Chart)
        # A value and a limit that are equal on paper may differ in their last bits, in the scale of either.
        slack = TIE * chart.sigma
        return {
            "above": chart.values > chart.upper + slack + 1e-12 * np.abs(chart.upper),
            "below": chart.values < chart.lower - slack - 1e-12 * np.abs(chart.lower),
        }

    def pattern(self, chart: Chart, index: int, side: Side) -> tuple[int, ...]:
        """The point alone."""
        return (index,)


@dataclass(frozen=True, kw_only=True)
class ZoneRule(PointRule):
    """At least `need` of the last `out_of` points in a zone, the latest among them.

    The zone is: more than `beyond` and at most `within` sigma from the centre. With `sides` "same", points count only
    together with others on their side of the centre, and the centre line is on neither; with "either" the side does
    not matter, a zone that begins at the centre holds the centre line too, and signals have the side "both".
    """

    name: str
    need: int
    out_of: int
    beyond: float = 0.0
    within: float = np.inf
    sides: Literal["same", "either"] = "same"

    def __post_init__(self) -> None:
        arguments.whole("need", self.need, 0)
        arguments.whole("out_of", self.out_of, 0)
        arguments.number("beyond", self.beyond)
        if self.within != np.inf:
            arguments.number("within", self.within)
        arguments.one_of("sides", self.sides, ("same", "either"))
        if not 1 <= self.need <= self.out_of:
            raise ValueError(f"need must be from 1 to out_of: need {self.need}, out_of {self.out_of}")
        if not 0.0 <= self.beyond < self.within:
            raise ValueError(f"beyond must be at least 0 and below within: beyond {self.beyond}, within {self.within}")

    def in_zone(self, z: Numbers) -> Masks:
        """Which standardised distances are in the zone, by side."""
        if self.sides == "either":
            far = np.abs(z)
            return {"both": ((far > self.beyond) | (self.beyond == 0.0)) & (far <= self.within)}
        return {"above": (z > self.beyond) & (z <= self.within), "below": (z < -self.beyond) & (z >= -self.within)}

    def found(self, z: Numbers) -> Masks:
        """Where the pattern ends, from distances of shape (..., points)."""
        gap = np.isnan(z)
        return {side: _enough(hit, gap, self.need, self.out_of) for side, hit in self.in_zone(z).items()}

    def masks(self, chart: Chart) -> Masks:
        """Where the pattern ends, by side."""
        return self.found(standardised(chart))

    def pattern(self, chart: Chart, index: int, side: Side) -> tuple[int, ...]:
        """The points of the window that are in the zone."""
        return self.patterns(chart, np.array([index]), side)[0]

    def patterns(self, chart: Chart, ends: NDArray[np.intp], side: Side) -> list[tuple[int, ...]]:
        """Those of each window, all at once: a chart with many points has many signals."""
        z = standardised(chart)
        points = np.arange(len(z))
        begun = np.concatenate([[0], np.maximum.accumulate(np.where(np.isnan(z), points + 1, 0))])[ends]
        window = ends[:, None] + np.arange(1 - self.out_of, 1)
        there = (window >= begun[:, None]) & self.in_zone(z)[side][np.maximum(window, 0)]
        return [tuple(row[kept].tolist()) for row, kept in zip(window, there, strict=True)]


@dataclass(frozen=True, kw_only=True)
class TrendRule(PointRule):
    """`length` points in a row, each above the one before (or each below it), or up and down by turns.

    Points are compared by their standardised distances; two equal ones end the pattern. A rising trend has the side
    "above", a falling one "below", alternation "both".
    """

    name: str
    length: int
    alternating: bool = False

    def __post_init__(self) -> None:
        if arguments.whole("length", self.length, 0) < 3:
            raise ValueError(f"length must be at least 3 points: {self.length}")

    def found(self, z: Numbers) -> Masks:
        """Where the pattern ends, from distances of shape (..., points)."""
        with np.errstate(invalid="ignore"):
            rise = np.diff(z, axis=-1, prepend=np.nan)
        up, down = rise > TIE, rise < -TIE
        steps = self.length - 1
        if not self.alternating:
            return {"above": _all(up, steps), "below": _all(down, steps)}
        turn = np.zeros_like(up)
        turn[..., 1:] = (up[..., 1:] & down[..., :-1]) | (down[..., 1:] & up[..., :-1])
        return {"both": _all(turn, steps - 1)}

    def masks(self, chart: Chart) -> Masks:
        """Where the pattern ends, by side."""
        return self.found(standardised(chart))

    def pattern(self, chart: Chart, index: int, side: Side) -> tuple[int, ...]:
        """All points of the run."""
        return tuple(range(index - self.length + 1, index + 1))


def check_rules(rules: Sequence[PointRule]) -> tuple[PointRule, ...]:
    """The rules, at least one, each a rule about points."""
    if isinstance(rules, str) or not isinstance(rules, Iterable):
        raise ValueError(f"rules must be a sequence of rules: {rules!r}")
    taken = tuple(rules)
    if not taken:
        raise ValueError("rules must hold at least one rule")
    strange = [rule for rule in taken if not isinstance(rule, PointRule)]
    if strange:
        raise ValueError(f"rules must be made of limit, zone and trend rules: {strange[0]!r}")
    return taken


def _enough(hit: Mask, gap: Mask, need: int, out_of: int) -> Mask:
    """Hits that complete `need` among the last `out_of`, none of them before a gap."""
    count = np.zeros(hit.shape, dtype=np.int64)
    unbroken = np.ones(hit.shape, dtype=np.bool_)
    for back in range(min(out_of, hit.shape[-1])):
        upto = hit.shape[-1] - back
        unbroken[..., back:] &= ~gap[..., :upto]
        count[..., back:] += hit[..., :upto] & unbroken[..., back:]
    return hit & (count >= need)


def _all(hit: Mask, length: int) -> Mask:
    return _enough(hit, np.zeros_like(hit), length, length)
