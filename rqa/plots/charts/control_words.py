"""Words on a control chart: beside signals and points set aside, at new stages, and the centre's value."""

from typing import Any

import altair as alt

from rqa.plots.charts.control_rows import LONGEST_WORD
from rqa.plots.period_axes import PeriodAxes
from rqa.plots.theme import PAPER

WORD_PERIODS, WORD_SHARE = 5, 5 / 24
"""Periods that the centre's value takes on the narrowest window, at two years of months; their part where more are."""
TOO_LATE = 0.8
"""A stage that begins later has its name before its line."""
LATE = 0.7
"""From here on along the axis, words go to the left of their point."""
UP, DOWN = "datum.up", "!datum.up"
NEAR_FLOOR = 0.12
"""Part of the scale above its floor where a word below a point would run into the size bars."""
LETTER = 6.2
"""Width of a letter beside a mark, in pixels."""


def place_words(rows: list[dict[str, Any]], under: PeriodAxes, width: int) -> None:
    """Say on which side of its point each word stands, and leave out words for which an earlier one leaves no room.

    A word goes to the left of its point (`edge` r) late on the axis, or where a new stage begins too soon after it.
    """
    step, place = width / len(under.periods), {p: i for i, p in enumerate(under.periods)}
    starts = {(r["panel"], place[r["month"]]) for r in rows if r["stage_word"]}
    free: dict[tuple[str, bool], float] = {}
    for row in rows:
        at, text = place[row["month"]], row["aside"][:LONGEST_WORD] or row["word"]
        wide = len(text) * LETTER
        soon = any(panel == row["panel"] and at < start <= at + wide / step for panel, start in starts)
        row["edge"] = "r" if at >= LATE * len(under.periods) or (row["aside"] and soon) else "l"
        if row["word"]:
            low = row["value"] - under.floor < NEAR_FLOOR * (under.top - under.floor)
            row["up"] = "below" not in row["signal"] or low
            side = (row["panel"], row["up"])
            begin = at * step - (wide if row["edge"] == "r" else 0.0)
            if begin < free.get(side, -1e9):
                row["word"] = ""
            else:
                free[side] = begin + wide + LETTER


def signal_words(under: PeriodAxes, have: Any) -> list[Any]:
    """The word beside each signal: above the point or below it, on the side where there is room."""
    layers = []
    for side, shift in ((UP, -13), (DOWN, 15)):
        for right in (True, False):
            words = have.transform_filter(f"datum.word != '' && {side} && datum.edge == '{'r' if right else 'l'}'")
            layers.append(
                words.mark_text(
                    style="rqa-word", dy=shift, align="right" if right else "left", dx=6 if right else -6
                ).encode(x=under.x(), y=under.y("value"), text=alt.Text("word:N"))
            )
    return layers


def aside_layers(under: PeriodAxes, have: Any, tips: list[Any]) -> list[Any]:
    """Points set aside: a cross, with the reason beside it."""
    points = have.transform_filter("datum.aside != ''").transform_calculate(
        reason=f"truncate(datum.aside, {LONGEST_WORD})"
    )
    made = [
        points.mark_point(style="rqa-aside", fill=PAPER).encode(x=under.x(), y=under.y("value"), tooltip=tips),
    ]
    for right in (True, False):
        made.append(
            points.transform_filter(f"datum.edge == '{'r' if right else 'l'}'")
            .mark_text(style="rqa-note", align="right" if right else "left", dx=-9 if right else 9, dy=-9)
            .encode(x=under.x(), y=under.y("value"), text=alt.Text("reason:N"))
        )
    return made


def stage_layers(rows: list[dict[str, Any]], under: PeriodAxes, base: Any) -> list[Any]:
    """A dashed line where a new stage begins; at the top, where nothing else is drawn, its name and its centre."""
    begins = base.transform_filter("datum.stage_word != ''")
    made = [begins.mark_rule(style="rqa-stage").encode(x=under.x(edge=0), y=alt.YValue(0), y2=alt.Y2Value("height"))]
    named: set[tuple[str, int]] = set()
    lines = 2 if max(r["stage"] for r in rows) > 2 else 1
    for row in rows:
        key = (row["panel"], row["stage"])
        row["stage_said"] = ""
        if key not in named and row["centre"] is not None:
            named.add(key)
            begin = next((r["stage_word"] for r in rows if (r["panel"], r["stage"]) == key and r["stage_word"]), "")
            late = under.periods.index(row["month"]) >= TOO_LATE * len(under.periods)
            row["stage_said"] = f"{begin}: " * bool(begin) + f"{row['middle']} {row['centre_said']}" + " →" * late
            row["stage_edge"] = "r" if late else "l"
    for even in (False, True):
        for right in (True, False):
            words = base.transform_filter(
                f"datum.stage_said != '' && datum.stage_edge == '{'r' if right else 'l'}'"
                f" && datum.stage % 2 == {0 if even else 1}"
            )
            made.append(
                words.mark_text(
                    style="rqa-stage-word", baseline="top", dy=1 if even or lines == 1 else 13,
                    align="right" if right else "left", dx=-5 if right else 5,
                ).encode(x=under.x(edge=0), y=alt.YValue(0), text=alt.Text("stage_said:N"))
            )
    return made


def no_limits_layers(base: Any) -> list[Any]:
    """A note in panels without limits."""
    return [
        base.transform_filter("datum.no_limits != ''")
        .mark_text(style="rqa-note", align="left", baseline="top", dx=3, dy=3, fontStyle="italic")
        .encode(x=alt.XValue(0), y=alt.YValue(0), text=alt.Text("no_limits:N"))
    ]


def centre_words(rows: list[dict[str, Any]], under: PeriodAxes, base: Any, *, alone: bool) -> list[Any]:
    """The centre line's value, beside the line where the values leave it room, else over the chart.

    Over a panel stands its name, so there the value goes in at the top.
    """
    limited = [r for r in rows if r["centre"] is not None]
    if not limited:
        return []
    months = list(dict.fromkeys(r["month"] for r in limited))
    span = max(WORD_PERIODS, round(len(under.periods) * WORD_SHARE))
    room, back, up = max(
        (round(_room(limited, set(months[start : start + span]), side), 6), -start, side)
        for start in range(max(1, len(months) - span + 1))
        for side in (True, False)
    )
    here = base.transform_filter(f"datum.month == '{months[-back]}' && isValid(datum.centre)")
    if room <= 0:
        words, place = "'line: ' + datum.middle + ' '", {"x": alt.XValue(0), "y": alt.YValue(0)}
        how = {"baseline": "bottom", "dx": 0, "dy": -3} if alone else {"baseline": "top", "dx": 3, "dy": 3}
    else:
        words, place = "datum.middle + ' '", {"x": under.x(edge=0), "y": under.y("centre")}
        how = {"baseline": "bottom", "dx": 3, "dy": -2} if up else {"baseline": "top", "dx": 3, "dy": 3}
    here = here.transform_calculate(centre_word=f"{words} + datum.centre_said")
    return [here.mark_text(style="rqa-note", align="left", **how).encode(text=alt.Text("centre_word:N"), **place)]


def _room(rows: list[dict[str, Any]], months: set[str], above: bool) -> float:
    """How much room the values of these months leave on one side of the centre: none where their line crosses it.

    A side without any value has more room than one whose values are far.
    """
    values = [
        (r["month"], r["value"] - r["centre"]) for r in rows if r["value"] is not None and r["centre"] is not None
    ]
    gaps = [gap if above else -gap for month, gap in values if month in months]
    if all(gap < 0 for gap in gaps):
        return max((2 * abs(gap) for _, gap in values), default=1.0)
    return max(min(gaps), 0.0)
