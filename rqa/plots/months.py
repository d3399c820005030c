"""Shares by month: a line with intervals; months whose follow-up is not over are hollow and said to be so."""

from datetime import date, timedelta
from typing import Any

import altair as alt

from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.plots.period_axes import PeriodAxes, early_word, early_zone, ground, in_panels, month_under_pointer
from rqa.plots.reading import ShareReading, heading, limits, read, row_of, said
from rqa.plots.theme import PAPER, WIDTH, Data, finish
from rqa.words import counted, month_key, month_name, week_of

HEIGHT = 250
PANELS = 12
"""Panels a reader can compare; more groups are asked for one by one."""
ENOUGH = 20
"""A month with fewer cases does not stretch the scale; an interval that leaves it is cut and marked by an arrow."""


def plot_months(answer: Answer, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Shares by month, one panel for each combination of the other groupings."""
    reading = read(answer)
    rows = _rows(answer, reading)
    panels = sorted({r["panel"] for r in rows})
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group by month is', 'groups by month are')} more than a picture of {PANELS} "
            "panels holds; narrow the question with where=, or leave out the month."
        )
    fair = [r for r in rows if r["value"] is not None and r["size"] >= ENOUGH] or [
        r for r in rows if r["value"] is not None
    ]
    under = ground(
        [r["month"] for r in rows],
        [r["low"] for r in fair],
        [r["high"] for r in fair],
        from_zero=reading.high_first,
    )
    _place(rows, under)
    chart = _picture(rows, reading, under, panels, selection)
    return finish(
        chart if len(panels) > 1 else chart.properties(height=HEIGHT),
        title=heading(reading),
        subtitle=[*_words(rows, reading, selection), *limits(answer)],
        description=_description(rows, reading),
        headed=headed,
        width=None if len(panels) > 1 else width,
    )


def _rows(answer: Answer, reading: ShareReading) -> list[dict[str, Any]]:
    rows = []
    period = period_in(reading.by)
    others = [b for b in reading.by if b != period]
    for r in answer.table.iter_rows(named=True):
        row = row_of(r, reading)
        row["month"] = week_of(r["week"]) if period == "week" else month_key(r["month"])
        row["name"] = month_name(row["month"])
        row["panel"] = " · ".join(row[f"by_{b}"].replace("_", " ") for b in others)
        row["state"] = "mature"
        if isinstance(answer, Comebacks):
            if row["size"] < row["jobs"]:
                row["state"] = "partly matured" if row["size"] else "not matured"
        elif not_over(r[period], answer, period):
            row["state"] = f"{period} not over"
        rows.append(row)
    return sorted(rows, key=lambda row: (row["panel"], row["month"]))


def period_in(by: tuple[str, ...]) -> str:
    """The period that an answer runs by."""
    return "week" if "week" in by else "month"


def not_over(first: date, answer: Answer, period: str) -> bool:
    """Whether the as-of day falls into the period that begins with `first`, before its last day."""
    as_of = answer.settings.get("as_of")
    if not isinstance(as_of, date):
        return False
    if period == "week":
        return first <= as_of < first + timedelta(days=6)
    return month_key(as_of) == month_key(first) == month_key(as_of + timedelta(days=1))


def _place(rows: list[dict[str, Any]], under: PeriodAxes) -> None:
    """Heights of the size bars, and intervals cut at the scale's end."""
    most = max([r["size"] for r in rows] + [1])
    for r in rows:
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["size"] / most, 6)
        if r["value"] is not None:
            r["from"], r["to"] = max(r["low"], under.floor), min(r["high"], under.top)
            r["dot"] = min(max(r["value"], under.floor), under.top)
            r["cut"] = r["high"] > under.top + 1e-9


def _picture(
    rows: list[dict[str, Any]], reading: ShareReading, under: PeriodAxes, panels: list[str], selection: bool
) -> Any:
    values = Data(values=rows)
    base = alt.Chart() if len(panels) > 1 else alt.Chart(values)
    x, y = under.x(), under.y("dot")
    have = base.transform_filter("isValid(datum.value)")
    done = "datum.state == 'mature'"
    tips = [alt.Tooltip("name:N", title="closed in" if reading.size == "matured" else period_in(reading.by))]
    tips += [alt.Tooltip("panel:N", title="group")] * (len(panels) > 1)
    tips += [
        alt.Tooltip("share:N", title=reading.title.lower()),
        alt.Tooltip("interval:N", title=f"{reading.level_text} interval"),
        alt.Tooltip("counts:N", title=reading.did or "size"),
    ]
    tips += [
        alt.Tooltip("jobs:Q", title="jobs, matured or not", format=","), alt.Tooltip("state:N", title="follow-up"),
    ] * (reading.size == "matured")
    layers = [
        base.mark_bar(style="rqa-size", width=alt.RelativeBandSize(0.7)).encode(
            x=x, y=under.y("foot"), y2=alt.Y2("bar:Q"), tooltip=tips
        ),
        have.transform_filter(done).mark_line(style="rqa-line").encode(x=x, y=y),
        have.mark_rule(style="rqa-interval").encode(x=x, y=under.y("from"), y2=alt.Y2("to:Q")),
        have.transform_filter(done).mark_point(style="rqa-dot", filled=True).encode(x=x, y=y, tooltip=tips),
        have.transform_filter("datum.state != 'mature'")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x, y=y, tooltip=tips),
        have.transform_filter("datum.cut").mark_point(style="rqa-cut", filled=True).encode(x=x, y=under.y("to")),
    ]
    early = [r["month"] for r in rows if r["state"] != "mature"]
    if early:
        layers = [
            *early_zone(
                min(early),
                max(early),
                under,
                base=base,
                word=early_word(reading.size == "matured", period_in(reading.by)),
            ),
            *layers,
        ]
    if selection:
        over = month_under_pointer()
        layers += [
            base.transform_filter(over)
            .mark_text(style="rqa-label", fontWeight="bold", align="center", dy=-9)
            .encode(x=x, y=under.y("to"), text=alt.Text("share:N")),
            have.mark_point(opacity=0, size=300).encode(x=x, y=y, tooltip=tips).add_params(over),
        ]
    return in_panels(layers, values, len(panels))


def _words(rows: list[dict[str, Any]], reading: ShareReading, selection: bool) -> list[str]:
    most, every = max([r["size"] for r in rows] + [0]), period_in(reading.by)
    words = [
        f"dot = share, line = {reading.level_text} interval; bars at the foot = {reading.of} (up to {most:,} a {every})"
    ]
    if any(r["state"] != "mature" for r in rows):
        words.append(
            f"hollow, in the dashed frame: {early_word(reading.size == 'matured', every)}, the share will still change"
        )
    if selection:
        words.append(
            f"point at a {period_in(reading.by)} to read its share"
            + (" in every panel" if len({r["panel"] for r in rows}) > 1 else "")
        )
    return words


def _description(rows: list[dict[str, Any]], reading: ShareReading) -> str:
    text = [f"{heading(reading)}, {month_name(min(r['month'] for r in rows))} to "
            f"{month_name(max(r['month'] for r in rows))}."]
    have = [r for r in rows if r["state"] == "mature" and r["value"] is not None]
    if have:
        high, low = max(have, key=lambda r: r["value"]), min(have, key=lambda r: r["value"])
        text.append(f"Highest: {said(high, reading)}. Lowest: {said(low, reading)}. Last: {said(have[-1], reading)}.")
    early = dict.fromkeys(r["name"] for r in sorted(rows, key=lambda r: str(r["month"])) if r["state"] != "mature")
    if early:
        text.append(f"{early_word(reading.size == 'matured', period_in(reading.by)).capitalize()}: {', '.join(early)}.")
    return " ".join(text)
