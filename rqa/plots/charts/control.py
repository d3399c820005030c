"""Control charts: values by period against limits that step with the period's size; signals by shape and a word."""

from dataclasses import replace
from typing import Any

import altair as alt

from rqa.answers.charts.control_chart import ControlChart
from rqa.errors import RequestError
from rqa.plots.charts.control_rows import chart_rows, describe, headings, measure_title
from rqa.plots.charts.control_words import (
    aside_layers,
    centre_words,
    no_limits_layers,
    place_words,
    signal_words,
    stage_layers,
)
from rqa.plots.level_change import LevelChange, change_of, level_layers
from rqa.plots.months import HEIGHT, PANELS
from rqa.plots.period_axes import (
    PANEL_HEIGHT,
    PeriodAxes,
    early_word,
    early_zone,
    ground,
    in_panels,
    month_under_pointer,
)
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import PAPER, WIDTH, Data, finish
from rqa.words import counted

__all__ = ["chart_title", "plot_control"]

HEADROOM = 0.12
"""Free height above the values where words about stages stand."""
SMALL = 0.4
"""A period of less than this part of the median size does not stretch the scale by its limits."""
EVENTS = 1_000
"""So many come-backs of a chart of gaps are drawn at most, the latest."""
DOTS = ((40, 56), (90, 26), (10_000, 12))
"""Up to so many points, dots of this size."""


def chart_title(chart: ControlChart) -> str:
    """The title of a control chart: its measure in words."""
    return measure_title(chart)


def gaps(chart: ControlChart) -> bool:
    """Whether each point is a come-back: of these there may be thousands."""
    return "_between_" in str(chart.settings.get("measure", ""))


@draws(ControlChart, title=chart_title, many_rows=gaps)
def plot_control(chart: ControlChart, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A control chart, one panel for each group; panels of shares have one scale, those of other figures their own."""
    earlier = chart.table.height - EVENTS if gaps(chart) else 0
    if earlier > 0:
        chart = replace(chart, table=chart.table.tail(EVENTS))
    rows = chart_rows(chart)
    panels = sorted({r["panel"] for r in rows})
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow "
            "the question with where=."
        )
    unit, title = rows[0]["unit"], chart_title(chart)
    early = early_word("comeback" in str(chart.settings.get("measure", "comeback")), str(rows[0]["every"]))
    if len(panels) == 1 or unit == "share":
        under = _ground(chart, rows)
        place_words(rows, under, width if isinstance(width, int) and len(panels) == 1 else WIDTH)
        picture = _picture(rows, under, panels, early, selection, change_of(chart), chart.goal)
    else:
        picture = _stacked(chart, rows, panels, early)
    return finish(
        picture if len(panels) > 1 else picture.properties(height=HEIGHT),
        title=title,
        subtitle=[
            *headings(chart, rows, early),
            *[f"drawn are the last {EVENTS:,} come-backs; {counted(earlier, 'earlier one')} not"] * (earlier > 0),
            *limits(chart),
        ],
        description=describe(chart, rows, title, early),
        headed=headed,
        width=None if len(panels) > 1 else width,
    )


def _ground(chart: ControlChart, rows: list[dict[str, Any]]) -> PeriodAxes:
    """The ground of these rows, with the size bars' heights written into them."""
    drawn = [*_drawn(rows), *([] if chart.goal is None else [chart.goal])]
    measure, share = str(chart.settings.get("measure", "comeback")), rows[0]["unit"] == "share"
    events = rows[0]["every"] == "come-back"
    under = ground(
        [r["month"] for r in rows] if not events else sorted({r["month"] for r in rows}),
        drawn or [0.0],
        drawn or [1.0],
        from_zero="comeback" in measure or measure == "failed_checks",
        share=share,
        labels=_numbers(rows) if events else None,
        headroom=HEADROOM if change_of(chart) or any(r["stage"] > 1 or r["aside"] for r in rows) else 0.0,
        bars=not events,
    )
    most = max([r["size"] for r in rows] + [1])
    for r in rows:
        if r["lower"] is not None:
            r["from"], r["to"] = max(r["lower"], under.floor), min(r["upper"], under.top)
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["size"] / most, 6)
    return under


def _drawn(rows: list[dict[str, Any]]) -> list[float]:
    """What the scale must hold: the values, and the limits of periods that are not far smaller than the others.

    The limits of a tiny period are so far out that they would press all the rest together; their band is cut.
    """
    sizes = sorted(r["size"] for r in rows if r["size"])
    least = SMALL * sizes[len(sizes) // 2] if sizes else 0.0
    values = [r["value"] for r in rows if r["value"] is not None]
    return values + [v for r in rows if r["size"] >= least for v in (r["lower"], r["upper"]) if v is not None]


def _numbers(rows: list[dict[str, Any]]) -> dict[str, list[str]]:
    """Events are numbered on the axis, some ten of them, with the month under every second number."""
    first = [r for r in rows if r["panel"] == rows[0]["panel"]]
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 10_000) if len(first) / s <= 8)
    shown = [r for r in first if r["number"] % step == 0 or r["number"] == 1]
    alone = len({r["panel"] for r in rows}) == 1
    return {r["month"]: [str(r["number"]), *([r["on"]] * (alone and i % 2 == 0))] for i, r in enumerate(shown)}


def _picture(
    rows: list[dict[str, Any]], under: PeriodAxes, panels: list[str], early: str, selection: bool,
    change: LevelChange | None, goal: float | None,
) -> Any:
    values, alone = Data(values=rows), len(panels) == 1
    base = alt.Chart()
    layers = _layers(rows, under, base, early, selection, alone=alone, change=change if alone else None)
    if goal is not None and alone:
        line = alt.Chart(Data(values=[{"goal": goal}]))
        layers.append(line.mark_rule(style="rqa-limit", aria=False).encode(y=under.y("goal")))
    return in_panels(layers, values, len(panels))


def _stacked(chart: ControlChart, rows: list[dict[str, Any]], panels: list[str], early: str) -> Any:
    """Panels with a scale each, one under another."""
    made = []
    for panel in panels:
        own = [r for r in rows if r["panel"] == panel]
        under = _ground(chart, own)
        place_words(own, under, WIDTH)
        layers = _layers(own, under, alt.Chart(Data(values=own)), early, False, alone=False)
        name = f"{panel} ({own[0]['unit']})" if own[0]["unit"] else panel
        title = alt.TitleParams(text=name, fontSize=12, offset=6)
        made.append(alt.layer(*layers).properties(width=WIDTH, height=PANEL_HEIGHT, title=title))
    return alt.vconcat(*made).properties(spacing=14)


def _layers(
    rows: list[dict[str, Any]], under: PeriodAxes, base: Any, early: str, selection: bool, *, alone: bool,
    change: LevelChange | None = None,
) -> list[Any]:
    x, whole, end = under.x(), under.x(edge=0), alt.X2("month:O", bandPosition=1)
    dot = next(size for most, size in DOTS if len(under.periods) <= most)
    tips = _tips(rows)
    have = base.transform_filter("isValid(datum.value)")
    limited = base.transform_filter("isValid(datum.lower)")
    judged, quiet, loud = "datum.mature && datum.aside == ''", "datum.signal == ''", "datum.signal != ''"
    layers = [
        limited.mark_rect(style="rqa-band", aria=False).encode(x=whole, x2=end, y=under.y("from"), y2=alt.Y2("to:Q")),
        limited.mark_rule(style="rqa-centre", aria=False).encode(x=whole, x2=end, y=under.y("centre")),
        base.mark_bar(style="rqa-size", width=alt.RelativeBandSize(0.7), aria=False).encode(
            x=x, y=under.y("foot"), y2=alt.Y2("bar:Q"), tooltip=tips
        ),
        have.transform_filter(judged).mark_line(style="rqa-line").encode(x=x, y=under.y("value")),
        have.transform_filter(f"{quiet} && {judged}")
        .mark_point(style="rqa-dot", filled=True, size=dot)
        .encode(x=x, y=under.y("value"), tooltip=tips),
        have.transform_filter("!datum.mature && datum.aside == ''")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x, y=under.y("value"), tooltip=tips),
        have.transform_filter(loud)
        .mark_point(style="rqa-signal", filled=True)
        .encode(x=x, y=under.y("value"), tooltip=tips),
    ]
    if rows[0]["every"] == "come-back":
        layers.pop(2)
    level = [] if change is None else level_layers(change, under, lambda f, edge: under.x(f, edge=edge), under.y)
    if level:
        layers[1:2] = level
    layers += signal_words(under, have)
    young = [r["month"] for r in rows if not r["mature"]]
    if young:
        layers = [*early_zone(min(young), max(young), under, base=base, word=early), *layers]
    if any(r["aside"] for r in rows):
        layers += aside_layers(under, have, tips)
    staged = any(r["stage_word"] for r in rows)
    if staged:
        layers += stage_layers(rows, under, base)
    if any(r["no_limits"] for r in rows):
        layers += no_limits_layers(base)
    if not staged and not level:
        layers += centre_words(rows, under, base, alone=alone)
    if selection:
        over = month_under_pointer()
        layers += [
            have.transform_filter(over)
            .mark_text(style="rqa-label", fontWeight="bold", align="center", dy=18)
            .encode(x=x, y=under.y("value"), text=alt.Text("share:N")),
            have.mark_point(opacity=0, size=300, aria=False)
            .encode(x=x, y=under.y("value"), tooltip=tips)
            .add_params(over),
        ]
    return layers


def _tips(rows: list[dict[str, Any]]) -> list[Any]:
    every = rows[0]["every"]
    tips = [alt.Tooltip("name:N", title=every)]
    tips += [alt.Tooltip("panel:N", title="group")] * bool(rows[0]["panel"])
    tips += [
        alt.Tooltip("share:N", title="share" if rows[0]["unit"] == "share" else "value"),
        alt.Tooltip("limits:N", title="limits"),
        alt.Tooltip("centre_said:N", title="centre"),
        alt.Tooltip("size:Q", title="size", format=","),
        alt.Tooltip("signal:N", title="signal"),
    ]
    tips += [alt.Tooltip("aside:N", title="set aside")] * any(r["aside"] for r in rows)
    return tips
