"""Figures by day since closing, or by age of the unit: a step line in its band, and below it how many were at risk."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from rqa.answers.comebacks.curves import ComebackCurve
from rqa.answers.comebacks.hazard import ComebackHazard
from rqa.answers.comebacks.recurrences import RecurrenceDifference, Recurrences
from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.plots.months import HEIGHT, PANELS
from rqa.plots.period_axes import PANEL_HEIGHT, PeriodAxes, ground
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import QUIET, WIDTH, Data, finish
from rqa.words import NAMES, count, counted, known, listed, percent, spoken

GHOSTS = 6
"""Up to so many groups, each panel shows the other groups' lines behind its own."""
TICKS = (1, 2, 5, 7, 10, 14, 15, 30, 60, 90, 120, 180, 365, 730, 1825)
POINTS = 120
"""Days of a line that are drawn, half as many of the lines behind it: more cannot be told apart."""
ROOM = 1.6
"""The scale holds the highest value so many times; an interval that leaves it is cut there."""


@dataclass(frozen=True)
class ByDay:
    """How to read an answer by day: which column, times what, in which words."""

    title: str
    value: str
    times: float
    dot: str
    axis: str
    at_zero: bool = True
    step: bool = True

    def said(self, value: float | None) -> str:
        """A value in words."""
        if value is None:
            return "no data"
        return percent(value) if self.times == 1 else f"{value * self.times:.3g}"


@draws(ComebackCurve, ComebackHazard, Recurrences, RecurrenceDifference, many_rows=True)
def plot_by_days(answer: Answer, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A curve, hazard, mean number of returns or difference by day, one panel for each group."""
    how = _how(answer)
    rows = _rows(answer, how)
    panels = list(dict.fromkeys(r["panel"] for r in rows))
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow "
            "the question with where=."
        )
    last = max(r["day"] for r in rows)
    under = _ground(rows, how)
    alone = len(panels) == 1
    ghosts = not alone and len(panels) <= GHOSTS
    days = _tick_days(last)
    drawn = _drawn(rows, panels, ghosts, days)
    values = Data(values=drawn)
    base = alt.Chart(values) if alone else alt.Chart()
    layers = _layers(base, rows, under, how, days, ghosts, selection)
    if alone:
        chart = alt.layer(*layers, height=HEIGHT)
    else:
        chart = (
            alt.layer(*layers, data=values)
            .properties(width=WIDTH if isinstance(width, str) else width - 60, height=PANEL_HEIGHT)
            .facet(row=alt.Row("panel:N", title=None, sort=panels, header=alt.Header(labelOrient="top")))
            .properties(spacing=8)
        )
    level = float(str(answer.settings.get("level", 0.95)))
    subtitle = [f"line = {how.dot}, band = {level * 100:g} % interval for one day at a time"]
    if ghosts:
        subtitle[0] += "; thin lines = the other groups"
    if any(r["at_risk"] is not None for r in rows):
        subtitle.append(f"numbers at the foot: {'units' if 'unit' in how.axis else 'jobs'} still followed on that day")
    by = (
        [NAMES.get(b, b.replace("_", " ")) for b in by_of(answer)]
        if not isinstance(answer, RecurrenceDifference)
        else []
    )
    title = f"{how.title}, by {' and '.join(by)}" if by else how.title
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)], description=_description(rows, panels, how, title),
        headed=headed, width=width if alone else None,
    )


def _how(answer: Answer) -> ByDay:
    settings: Mapping[str, Any] = answer.settings
    cause = settings.get("cause") or ()
    of = f" of class {listed([spoken(c) for c in cause], last='or')}" if cause else ""
    if isinstance(answer, ComebackCurve):
        title = f"Share that came back{of}, by day since closing"
        return ByDay(title, "share", 1, "share returned by the end of the day", "days since closing")
    if isinstance(answer, ComebackHazard):
        bandwidth = f"{settings['bandwidth']:g}"
        dot = f"smoothed over {counted(bandwidth, 'day')} to each side"
        title = f"Come-backs{of} a day, of 1,000 units still out"
        return ByDay(title, "hazard", 1000, dot, "days since closing", step=False)
    if isinstance(answer, RecurrenceDifference):
        one, two = settings["groups"]
        return ByDay(f"Returns of 100 units: {spoken(one)} less {spoken(two)}", "difference", 100, "difference",
                     "age of the unit in days since its first repair", at_zero=False)
    return ByDay("Returns of 100 units so far, by age", "mcf", 100, "mean number of returns, each return counted",
                 "age of the unit in days since its first repair")


def _rows(answer: Answer, how: ByDay) -> list[dict[str, Any]]:
    by = [] if isinstance(answer, RecurrenceDifference) else by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        value, low, high = (
            round(r[c] * how.times, 5) if known(r[c]) else None for c in (how.value, "low", "high")
        )
        if value is None:
            continue
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "day": r["day"], "value": value, "low": low, "high": high,
            "at_risk": r.get("at_risk"),
        })
    return rows


def _ground(rows: list[dict[str, Any]], how: ByDay) -> PeriodAxes:
    values = [r["value"] for r in rows]
    highs = [r["high"] for r in rows if r["high"] is not None] or values
    lows = [r["low"] for r in rows if r["low"] is not None] or values
    reach = max(max(map(abs, values)) * ROOM, 1e-3)
    top = min(max(highs), reach) if max(values) > 0 or not how.at_zero else max(highs)
    floor = 0.0 if how.at_zero else min(max(min(lows), -reach), 0.0)
    top = max(top, *values, 1e-3)
    under = ground(["0"], [floor], [top], from_zero=how.at_zero, share=how.times == 1, labels={"0": ["0"]})
    for r in rows:
        if r["low"] is not None:
            r["from"], r["to"] = max(r["low"], under.floor), min(r["high"], under.top)
    return under


def _tick_days(last: int) -> list[int]:
    step = next((t for t in TICKS if last / t <= 6), 3650)
    return list(range(0, last + 1, step))


def _drawn(
    rows: list[dict[str, Any]], panels: Sequence[str], ghosts: bool, days: Sequence[int]
) -> list[dict[str, Any]]:
    """The rows at which a line turns, and once more, fewer of them, as the lines behind the other panels."""
    ends = {i for i in range(len(rows)) if i in (0, len(rows) - 1) or rows[i - 1]["panel"] != rows[i]["panel"]}
    ends |= {i - 1 for i in ends if i}
    every = -(-max(r["day"] for r in rows) // POINTS)
    kept = [
        r for i, r in enumerate(rows)
        if i in ends or r["day"] in days or (r["day"] % every == 0 and _turns(r, rows[max(i - every, 0)]))
    ]
    rough = 2 * every if every > 1 else 1
    made = [{**r, "kind": "own", "line": r["panel"]} for r in kept]
    if ghosts:
        made += [
            {"panel": p, "day": r["day"], "value": r["value"], "kind": "other", "line": r["panel"]}
            for p in panels for r in kept if r["panel"] != p and (r["day"] % rough == 0 or r["day"] in days)
        ]
    return made


def _turns(r: dict[str, Any], before: dict[str, Any]) -> bool:
    return bool(r["value"] != before["value"] or (r["high"] or 0) > 1.05 * (before["high"] or 0))


def _layers(
    base: Any, rows: list[dict[str, Any]], under: PeriodAxes, how: ByDay, days: list[int], ghosts: bool, selection: bool
) -> list[Any]:
    last = max(r["day"] for r in rows)
    x = alt.X(
        "day:Q", title=how.axis,
        scale=alt.Scale(domain=[0, max(last, 1)], nice=False),
        axis=alt.Axis(values=days, grid=False, labelFlush=True),
    )
    line = "step-after" if how.step else "linear"
    own = base.transform_filter("datum.kind == 'own'")
    tips = [alt.Tooltip("panel:N", title="group")] * (rows[0]["panel"] != "")
    form = ".1%" if how.times == 1 else ".3~g"
    tips.append(alt.Tooltip("day:Q", title="day"))
    said = (("value", how.dot), ("low", "from"), ("high", "to"))
    tips += [alt.Tooltip(f"{field}:Q", title=title, format=form) for field, title in said]
    layers = []
    if any("from" in r for r in rows):
        band = own.transform_filter("isValid(datum.from)")
        layers.append(
            band.mark_area(style="rqa-band", interpolate=line).encode(x=x, y=under.y("from"), y2=alt.Y2("to:Q"))
        )
    if ghosts:
        other = base.transform_filter("datum.kind == 'other'")
        layers.append(
            other.mark_line(color=QUIET, strokeWidth=0.8, strokeDash=[3, 2], interpolate=line).encode(
                x=x, y=under.y("value"), detail=alt.Detail("line:N")
            )
        )
    if not how.at_zero:
        zero = base.transform_calculate(zero="0").transform_filter("datum.kind == 'own'")
        layers.append(zero.mark_line(style="rqa-limit").encode(x=x, y=under.y("zero")))
    layers.append(own.mark_line(style="rqa-line", strokeWidth=1.8, interpolate=line).encode(x=x, y=under.y("value")))
    layers += _at_risk(rows, days, last, base, x)
    if selection:
        under_pointer = own.transform_filter(f"datum.day % {max(1, last // 60)} == 0")
        layers.append(under_pointer.mark_point(opacity=0, size=160).encode(x=x, y=under.y("value"), tooltip=tips))
    return layers


def _at_risk(rows: list[dict[str, Any]], days: list[int], last: int, base: Any, x: Any) -> list[Any]:
    """How many were still followed, under the ticks; the first to the right of its tick, the last to the left."""
    if all(r["at_risk"] is None for r in rows):
        return []
    end = last - 0.06 * last
    layers = []
    shown = base.transform_filter(f"indexof({days!r}, datum.day) >= 0 && isValid(datum.at_risk)").transform_calculate(
        risk="format(datum.at_risk, ',')"
    )
    for test, align in (("datum.day == 0", "left"), (f"datum.day > {end}", "right"),
                        (f"datum.day > 0 && datum.day <= {end}", "center")):
        layers.append(
            shown.transform_filter(test)
            .mark_text(style="rqa-note", align=align, baseline="bottom", dy=-2)
            .encode(x=x, y=alt.YValue("height"), text=alt.Text("risk:N"))
        )
    return layers


def _description(rows: list[dict[str, Any]], panels: Sequence[str], how: ByDay, title: str) -> str:
    parts = []
    for panel in panels:
        own = [r for r in rows if r["panel"] == panel]
        wanted = sorted({own[0]["day"], own[len(own) // 2]["day"], own[-1]["day"]})
        said = [_said(r, how) for r in own if r["day"] in wanted]
        parts.append(f"{panel + ': ' if panel else ''}{'; '.join(said)}")
    return f"{title}. {'. '.join(parts)}."


def _said(r: dict[str, Any], how: ByDay) -> str:
    value, low, high = (None if r[c] is None else r[c] / how.times for c in ("value", "low", "high"))
    between = f" (from {how.said(low)} to {how.said(high)})" if low is not None else ""
    return f"day {count(r['day'])}, {how.said(value)}{between}"
