"""Which points are signals: the rules that a chart is put to. Each takes a chart and returns its signals.

The more rules, the sooner a change is seen and the more often chance alone raises a signal. A steady process of
independent normal points is first called out after 370 points on average by the limits alone, after 153 with the run
of eight. With all four zone rules it is 92, with all eight of Nelson's 73; `rqa.spc.run_length` gives it for any set.

The rules take points as independent of each other. They say nothing about a chart whose points carry the past along,
such as EWMA and CUSUM, which have limits of their own.
"""

from collections.abc import Sequence

from rqa import arguments
from rqa.spc.chart import Chart, Signal, stage_by_stage
from rqa.spc.patterns import LimitRule, Masks, PointRule, TrendRule, ZoneRule, check_rules

BEYOND_LIMITS = "beyond the limits"

beyond_limits = LimitRule(name=BEYOND_LIMITS)
"""Points above the upper or below the lower limit; a point exactly on a limit, or without data, is not out."""

TWO_OF_THREE = ZoneRule(name="two of three beyond two sigma, same side", need=2, out_of=3, beyond=2.0)
FOUR_OF_FIVE = ZoneRule(name="four of five beyond one sigma, same side", need=4, out_of=5, beyond=1.0)
EIGHT_IN_A_ROW = ZoneRule(name="eight in a row, same side", need=8, out_of=8)
NINE_IN_A_ROW = ZoneRule(name="nine in a row, same side", need=9, out_of=9)
SIX_IN_A_TREND = TrendRule(name="six in a row, steadily up or down", length=6)
FOURTEEN_BY_TURNS = TrendRule(name="fourteen in a row, up and down by turns", length=14, alternating=True)
FIFTEEN_INSIDE = ZoneRule(name="fifteen in a row within one sigma", need=15, out_of=15, within=1.0, sides="either")
EIGHT_OUTSIDE = ZoneRule(
    name="eight in a row beyond one sigma, either side", need=8, out_of=8, beyond=1.0, sides="either"
)

WESTERN_ELECTRIC: tuple[PointRule, ...] = (beyond_limits, TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_IN_A_ROW)
"""The four zone rules, in the order of the handbook."""

NELSON: tuple[PointRule, ...] = (
    beyond_limits, NINE_IN_A_ROW, SIX_IN_A_TREND, FOURTEEN_BY_TURNS, TWO_OF_THREE, FOUR_OF_FIVE, FIFTEEN_INSIDE,
    EIGHT_OUTSIDE,
)
"""Nelson's eight, in his order."""

MONTHLY: tuple[PointRule, ...] = (beyond_limits, EIGHT_IN_A_ROW)
"""Few rules, for pages that people read every month: a jump, and a lasting small shift."""


def western_electric(chart: Chart) -> tuple[Signal, ...]:
    """Signals of the four zone rules, by point, then in the order of the rules.

    1. a point beyond the chart's limits; 2. two of three points in a row beyond two sigma on one side; 3. four of five
    beyond one sigma on one side; 4. eight in a row on one side of the centre.

    A pattern that goes on is called out again at each point that continues it, so the first signal of a run is the
    one to act on. Rule 1 uses the limits the chart draws (3 sigma, or probability limits); the others standardised
    distances. In rules 2 and 3 the latest point must be in the zone itself, and two points (four) are enough at the
    very start of a chart. A point without data breaks every pattern. `rqa.spc.chart.judge(chart, western_electric)`
    returns the chart with these signals.

    References
    ----------
    1. Western Electric Company, Statistical Quality Control Handbook, 1956, pages 25-27.

    Examples
    --------
    >>> from rqa.spc import p_chart, western_electric
    >>> chart = p_chart(count=[9, 12, 10, 9, 17, 9, 17], size=100, baseline=slice(0, 4))
    >>> [(signal.rule, signal.points, signal.side) for signal in western_electric(chart)]
    [('two of three beyond two sigma, same side', (4, 6), 'above')]

    No month is beyond the limits, but two of three were far up: look for a cause.
    """
    return _judged(chart, WESTERN_ELECTRIC)


def nelson(chart: Chart) -> tuple[Signal, ...]:
    """Signals of Nelson's eight rules, by point, then in the order of the rules.

    1. a point beyond the chart's limits; 2. nine in a row on one side; 3. six in a row steadily up or down; 4. fourteen
    in a row, up and down by turns; 5. two of three beyond two sigma on one side; 6. four of five beyond one sigma on
    one side; 7. fifteen in a row within one sigma; 8. eight in a row, none within one sigma, on either side.

    Rules 7 and 8 speak of the spread and rule 4 of the order, not of the level: their signals have the side "both". In
    rule 3 a rise is "above", a fall "below"; equal points end a trend. Rule 7 often means limits that are too wide, or
    points mixed from several streams; rule 8 two streams far apart. The rest is as in `western_electric`.

    All eight together are seldom a good idea on many charts: chance alone raises a first signal after 73 points.

    References
    ----------
    1. L. S. Nelson, Journal of Quality Technology 16, 1984, 237-239.
    """
    return _judged(chart, NELSON)


def signal_masks(chart: Chart, rules: Sequence[PointRule] = MONTHLY) -> dict[str, Masks]:
    """Judge any number of charts in one call: for each rule's name and side, true where its pattern ends.

    The arrays of `chart` may be of any shape (..., points), for instance charts x months; the masks have it too.
    """
    arguments.instance("chart", chart, Chart)
    return {rule.name: rule.masks(chart) for rule in check_rules(rules)}


def _judged(chart: Chart, rules: Sequence[PointRule]) -> tuple[Signal, ...]:
    arguments.instance("chart", chart, Chart)
    found = (signal for rule in rules for signal in stage_by_stage(rule)(chart))
    return tuple(sorted(found, key=lambda signal: signal.index))
