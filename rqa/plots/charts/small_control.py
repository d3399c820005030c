"""A control chart as a small picture beside a number: the course, the band of chance, the goal, and nothing else."""

from typing import Any

import altair as alt

from rqa.answers.charts.control_chart import ControlChart
from rqa.answers.core.needs import said_of, untold
from rqa.answers.core.result import EMPTY
from rqa.plots.charts.control_rows import GOAL, chart_rows, describe, measure_title
from rqa.plots.level_change import LevelChange, change_of, level_layers
from rqa.plots.period_axes import PeriodAxes, early_word, ground
from rqa.plots.theme import INK, Data, finish, nothing
from rqa.words import MONTHS, percent

WIDTH, HEIGHT = 110, 60
"""Of the plot itself, in pixels: with its labels a quarter of the text width of a sheet of paper at full size."""
SMALL = 0.4
"""A month of less than this part of the median size does not stretch the scale by its limits."""
LETTERS = 11
"""Size of the labels in pixels: 8.25 points in print."""


def small_control(chart: ControlChart, goal: float | None = None) -> Any:
    """The chart of one measure by month, small. Months that are not final keep their place and have no dot: the first
    of their jobs to be final say little.

    `goal` is drawn as a dashed line, and a change of level that the chart's settings hold where it is dated. The
    picture has no tooltips and no heading of its own.
    """
    title, change = measure_title(chart), change_of(chart)
    if chart.table.is_empty() or untold(chart) or not chart.table["value"].is_not_nan().any():
        return nothing(title=title, why=said_of(chart, EMPTY), headed=False, width=WIDTH)
    rows = chart_rows(chart)
    under = _ground(chart, rows, goal)
    made = alt.layer(*_layers(rows, under, goal, change)).properties(height=HEIGHT)
    early = early_word("comeback" in str(chart.settings.get("measure", "")))
    said = describe(chart, rows, title, early, goal=False)
    said += f" {GOAL.format(goal=percent(goal))}" if goal is not None else ""
    return finish(made, title=title, subtitle=(), description=said, headed=False, width=WIDTH)


def _ground(chart: ControlChart, rows: list[dict[str, Any]], goal: float | None) -> PeriodAxes:
    sizes = sorted(r["size"] for r in rows if r["size"])
    least = SMALL * sizes[len(sizes) // 2] if sizes else 0.0
    seen = [r["value"] for r in rows if r["mature"] and r["value"] is not None]
    seen += [v for r in rows if r["size"] >= least for v in (r["lower"], r["upper"]) if v is not None]
    seen += [goal] if goal is not None else []
    at_zero = "comeback" in str(chart.settings.get("measure", ""))
    under = ground([r["month"] for r in rows], seen or [0.0], seen or [1.0], from_zero=at_zero, bars=False)
    for r in rows:
        if r["lower"] is not None:
            r["from"], r["to"] = max(r["lower"], under.floor), min(r["upper"], under.top)
    return under


def _layers(
    rows: list[dict[str, Any]], under: PeriodAxes, goal: float | None, change: LevelChange | None
) -> list[Any]:
    base = alt.Chart(Data(values=rows))
    have, limited = base.transform_filter("isValid(datum.value)"), base.transform_filter("isValid(datum.lower)")
    x, whole, end = _x(under), _x(under, 0), alt.X2("month:O", bandPosition=1)
    judged, quiet, loud = "datum.mature", "datum.signal == ''", "datum.signal != ''"
    layers = [
        limited.mark_rect(style="rqa-band", aria=False).encode(x=whole, x2=end, y=_y(under, "from"), y2=alt.Y2("to:Q")),
        limited.mark_rule(style="rqa-centre", aria=False).encode(x=whole, x2=end, y=_y(under, "centre")),
        have.transform_filter(judged).mark_line(style="rqa-line", aria=False).encode(x=x, y=_y(under, "value")),
        have.transform_filter(f"{quiet} && {judged}")
        .mark_point(style="rqa-dot", filled=True, size=9, aria=False)
        .encode(x=x, y=_y(under, "value")),
        have.transform_filter(f"{loud} && {judged}")
        .mark_point(style="rqa-signal", filled=True, size=42, aria=False)
        .encode(x=x, y=_y(under, "value")),
    ]
    if change is not None and (level := level_layers(change, under, lambda f, edge: _x(under, edge, f),
                                                     lambda f: _y(under, f), words=False, size=LETTERS)):
        layers[1:2] = level
    if goal is not None:
        layers.append(
            alt.Chart(Data(values=[{"goal": goal}]))
            .mark_rule(style="rqa-limit", strokeWidth=1, strokeDash=[4, 3], aria=False)
            .encode(y=_y(under, "goal"))
        )
    return layers


def _x(under: PeriodAxes, edge: int | None = None, field: str = "month") -> Any:
    """Months in order, of which the first and the last are named."""
    first, last = under.periods[0], under.periods[-1]
    ends = f"datum.value == '{first}' ? '{_month(first)}' : '{_month(last)}'"
    return alt.X(
        f"{field}:O",
        title=None,
        bandPosition=alt.Undefined if edge is None else edge,
        scale=alt.Scale(domain=list(under.periods), paddingInner=0, paddingOuter=0),
        axis=alt.Axis(
            values=[first] if first == last else [first, last],
            labelExpr=ends,
            labelAngle=0,
            labelOverlap=False,
            labelFontSize=LETTERS,
            labelAlign=alt.ExprRef(f"datum.value == '{first}' ? 'left' : 'right'"),
            labelOffset=alt.ExprRef(f"datum.value == '{first}' ? -2 : 2"),
            ticks=False,
            labelPadding=3,
            domainColor=INK,
        ),
    )


def _y(under: PeriodAxes, field: str) -> Any:
    """The scale, of which the lowest and the highest per cent are named; with a digit more where there is but one."""
    whole = [tick for tick in under.ticks if abs(tick * 100 - round(tick * 100)) < 1e-9]
    named, form = (whole, ".0%") if len(whole) > 1 else (under.ticks, ".1%")
    return alt.Y(
        f"{field}:Q",
        title=None,
        scale=alt.Scale(domain=[under.bottom, under.top], nice=False, zero=False),
        axis=alt.Axis(
            values=[named[0], named[-1]], format=form, domain=False, ticks=False, grid=False,
            labelFontSize=LETTERS, labelPadding=3,
        ),
    )


def _month(key: str) -> str:
    return f"{MONTHS[int(key[5:]) - 1][:3]} {key[2:4]}"
