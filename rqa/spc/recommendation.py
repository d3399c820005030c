"""What is said of a chart that fits, or does not, while the data are looked through."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from rqa.spc.chart import Chart
from rqa.spc.dispersion import Dispersion
from rqa.words import counted, plural

Kind = Literal["share", "rate", "measurement", "jobs-between", "time-between"]

LEAST_COUNTED = 8
"""Periods of counts below which limits are refused: with 8 the next point of a steady process is out with a chance of
2 Phi(-3 / sqrt(1 + 1/8)) = 0.0047 instead of 0.0027, if its count is near normal."""

LEAST_MEASURED = 12
"""Points below which limits are refused whose sigma comes from the points themselves: with 12 the next point of a
steady normal process is out with a chance of 0.019, with 8 of 0.031, instead of 0.0027."""

UNLIKELY = 0.01
"""A p-value below which a test of the data decides or cautions."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Recommendation:
    """Which chart fits, by its name in `rqa.spc`, or None where limits are refused; why; and what to beware of.

    `more_points` says how many more points limits need, 0 when there are enough. `options` are the arguments the chart
    should be made with besides the data. `average` is that of events a period, of the values or of the gaps; `spread`
    tests how the points spread, in units of chance. `make()` gives the chart itself, of the same data, and takes
    baseline, stages and set_aside; it raises a ValueError where limits are refused or other data are needed.
    """

    kind: str
    chart: str | None
    options: Mapping[str, str]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    points: int
    more_points: int
    average: float
    spread: Dispersion
    make: Callable[..., Chart] = field(repr=False)


@dataclass(kw_only=True)
class Findings:
    """What has been found so far of one measure."""

    kind: Kind
    points: int
    average: float
    spread: Dispersion
    reasons: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    def look_at_neighbours(self, point: str) -> None:
        """Caution if each point tells something of the next."""
        spread = self.spread
        if spread.p_correlation < UNLIKELY:
            how = "alike, so that runs are long" if spread.correlation > 0 else "opposite, as if two streams took turns"
            self.cautions.append(
                f"Each {point} and the next are {how} (correlation {spread.correlation:.2f}): the rate of false alarms "
                "is not what the limits promise."
            )

    def too_few(self, minimum: int) -> Recommendation:
        """No chart: limits need more points."""
        have = f"{counted(self.points, 'point')} with data"
        more = minimum - self.points
        self.reasons.append(
            f"Limits need at least {counted(minimum, 'point')}; there {plural(self.points, 'is', 'are')} {have}, so "
            f"{more} more {plural(more, 'is', 'are')} needed. Until then, show the points without limits."
        )
        return self._told(None, {}, more, self._refuse)

    def elsewhere(self, chart: str, options: Mapping[str, str]) -> Recommendation:
        """A chart of other data than those given, as the last reason says."""
        return self._told(chart, options, 0, self._refuse)

    def fits(
        self, chart: Callable[..., Chart], *data: object, options: Mapping[str, str] | None = None, **named: object
    ) -> Recommendation:
        """A chart of the data given."""
        wanted = dict(options or {})

        def make(**how: Any) -> Chart:
            return chart(*data, **{**named, **wanted, **how})

        return self._told(chart.__name__, wanted, 0, make)

    def _refuse(self, **how: Any) -> Chart:
        raise ValueError(" ".join(self.reasons))

    def _told(
        self, chart: str | None, options: Mapping[str, str], more: int, make: Callable[..., Chart]
    ) -> Recommendation:
        return Recommendation(
            kind=self.kind,
            chart=chart,
            options=options,
            reasons=tuple(self.reasons),
            cautions=tuple(self.cautions),
            points=self.points,
            more_points=more,
            average=self.average,
            spread=self.spread,
            make=make,
        )
