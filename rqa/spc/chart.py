"""What a control chart is: values, a centre, limits, and the points that fall out of the pattern of chance."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

from rqa.arguments import Numbers

Side = Literal["above", "below"]


@dataclass(frozen=True)
class Signal:
    """One point that a rule calls out: its place in the chart's arrays, the rule's name, and the side.

    `points` are the places of the whole pattern, the last of them `index`; by default the point alone.
    """

    index: int
    rule: str
    side: Side
    points: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if not self.points:
            object.__setattr__(self, "points", (self.index,))


@dataclass(frozen=True, eq=False, kw_only=True)
class Chart:
    """A control chart as numbers; every array has one entry a point, in the order given.

    `sigma` is the standard deviation of a point if nothing but chance were at work. A point without data is NaN in
    `values` and has no limits; it keeps its place, so that the arrays stay aligned with the periods.
    """

    values: Numbers
    centre: Numbers
    lower: Numbers
    upper: Numbers
    sigma: Numbers
    signals: tuple[Signal, ...] = ()


Rule = Callable[[Chart], tuple[Signal, ...]]
AnyChart = TypeVar("AnyChart", bound=Chart)


def judge(chart: AnyChart, *rules: Rule) -> AnyChart:
    """Put the chart to the rules: the same chart with their signals, by point, then in the rules' order."""
    found = (signal for rule in rules for signal in rule(chart))
    return replace(chart, signals=tuple(sorted(found, key=lambda signal: signal.index)))
