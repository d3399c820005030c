"""What a control chart is: values, a centre, limits, and the points that fall out of the pattern of chance."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from rqa.arguments import Numbers

Side = Literal["above", "below", "both"]
"""Where a signal is seen: on one side of the centre, or in a pattern that takes in both."""


@dataclass(frozen=True)
class Signal:
    """A pattern that a rule calls out: the point that completes it, the rule's name, the side, all its points.

    `index` and `points` are places in the chart's arrays. A rule about a single point may leave `points` out; it is
    then that point alone.
    """

    index: int
    rule: str
    side: Side
    points: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if not self.points:
            object.__setattr__(self, "points", (self.index,))

    def moved(self, by: int) -> "Signal":
        """The same signal when `by` points come before the chart's first."""
        return replace(self, index=self.index + by, points=tuple(i + by for i in self.points)) if by else self


@dataclass(frozen=True)
class SetAside:
    """A point that neither sets the limits nor is judged by them, and why."""

    index: int
    reason: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Chart:
    """A control chart as numbers; every array has one entry a point, in the order given.

    `sigma` is the standard deviation of a point if nothing but chance were at work. A point without data is NaN in
    `values` and has no limits; it keeps its place, so that the arrays stay aligned with the periods.

    `method` says in a sentence how the limits were made, `source` where that is written, and `warnings` what a
    careful reader must know of this one chart. `baseline` is true for the points that set the limits, `starts` holds
    the first point of each stage, and `set_aside` the points left out, each with its reason.
    """

    values: Numbers
    centre: Numbers
    lower: Numbers
    upper: Numbers
    sigma: Numbers
    signals: tuple[Signal, ...] = ()
    method: str = ""
    source: str = ""
    warnings: tuple[str, ...] = ()
    baseline: NDArray[np.bool_] = field(default_factory=lambda: np.ones(0, dtype=np.bool_))
    starts: tuple[int, ...] = (0,)
    set_aside: tuple[SetAside, ...] = ()

    def __post_init__(self) -> None:
        points = self.values.shape[-1]
        if self.baseline.shape[-1] != points:
            every = np.ones(points, dtype=np.bool_)
            every.setflags(write=False)
            object.__setattr__(self, "baseline", every)


Rule = Callable[[Chart], tuple[Signal, ...]]
AnyChart = TypeVar("AnyChart", bound=Chart)


def judge(chart: AnyChart, *rules: Rule) -> AnyChart:
    """Put the chart to the rules: the same chart with their signals, by point, then in the rules' order.

    Each stage is judged on its own, so that no pattern runs across a split, and a point set aside counts as a point
    without data.
    """
    found = (signal for rule in rules for signal in stage_by_stage(rule)(chart))
    return replace(chart, signals=tuple(sorted(found, key=lambda signal: signal.index)))


def stage_by_stage(rule: Rule) -> Rule:
    """The rule put to each stage alone, with the points set aside taken for points without data."""

    def judged(chart: Chart) -> tuple[Signal, ...]:
        return tuple(signal.moved(first) for first, stage in stages(chart) for signal in rule(stage))

    return judged


def stages(chart: Chart) -> Iterator[tuple[int, Chart]]:
    """Each stage as a chart of its own, without its points set aside, and the place of its first point."""
    if chart.starts == (0,) and not chart.set_aside:
        yield 0, chart
        return
    values = np.array(chart.values)
    values[[point.index for point in chart.set_aside]] = np.nan
    for first, end in pairwise((*chart.starts, len(values))):
        part = slice(first, end)
        yield (
            first,
            Chart(
                values=values[part],
                centre=chart.centre[part],
                lower=chart.lower[part],
                upper=chart.upper[part],
                sigma=chart.sigma[part],
                method=chart.method,
                source=chart.source,
                baseline=chart.baseline[part],
            ),
        )
