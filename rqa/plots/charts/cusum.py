"""Come-backs watched job by job: the sum by day against its limit, with the come-backs at the foot."""

from datetime import date
from itertools import groupby
from typing import Any

import altair as alt

from rqa.answers.charts.cusum import ComebackCusum
from rqa.answers.core.needs import said_of
from rqa.errors import RequestError
from rqa.plots.charts.control_words import place_words, signal_words
from rqa.plots.months import HEIGHT, PANELS
from rqa.plots.period_axes import PeriodAxes, ground, in_panels
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import MONTHS, counted, figure, listed, spoken

SAID = 8
ROOM = 0.25
"""Part of the axis that a word to the left of its point takes."""


def watched_title(answer: ComebackCusum) -> str:
    """The title of a come-back CUSUM, in words."""
    odds = float(str(answer.settings["odds"]))
    more = "more" if odds > 1 else "less"
    mix = "than the mix of work explains" if "risk" in str(answer.settings["chart"]) else "than in the baseline"
    return f"Do units come back within {counted(answer.settings['window'], 'day')} {more} often {mix}?"


@draws(ComebackCusum, title=watched_title)
def plot_watched(
    answer: ComebackCusum, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The sum by day as a line, its limit as a dashed one; a diamond with a word where the sum reaches it."""
    rows = _rows(answer)
    panels = sorted({r["panel"] for r in rows})
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow "
            "the question with where=."
        )
    days = sorted({r["month"] for r in rows})
    tops = [max(r["value"], r["limit"]) for r in rows]
    under = ground(days, [0.0], tops, from_zero=True, share=False, labels=day_labels(days), headroom=0.08)
    most = max(r["returned"] for r in rows) or 1
    for r in rows:
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["returned"] / most, 6)
    place_words(rows, under, width if isinstance(width, int) and len(panels) == 1 else WIDTH)
    for r in rows:
        # A sum that is at its limit came up from the left below: that is where the word has room.
        r["edge"] = "r" if days.index(r["month"]) > ROOM * len(days) else "l"
    values = Data(values=rows)
    base = alt.Chart() if len(panels) > 1 else alt.Chart(values)
    picture = in_panels(_layers(rows, under, base), values, len(panels))
    title, odds = watched_title(answer), counted(f"{answer.settings['odds']:g}", "time")
    return finish(
        picture if len(panels) > 1 else picture.properties(height=HEIGHT),
        title=title,
        subtitle=[
            f"line = sum of what each job says for {odds} the odds, dashed = its limit; bars at the foot = come-backs "
            f"(up to {most} a day)",
            "diamond with a word = the sum reached its limit: look for what began when it began to grow"
            if any(r["signal"] for r in rows)
            else said_of(answer, "the sum stays under its limit: chance alone would make as much"),
            *limits(answer),
        ],
        description=_description(rows, title),
        headed=headed,
        width=None if len(panels) > 1 else width,
    )


def _rows(answer: ComebackCusum) -> list[dict[str, Any]]:
    by, rows = by_of(answer), []
    for r in answer.table.iter_rows(named=True):
        day: date = r["period"]
        word = ""
        if r["signal"]:
            word = r["signal"].split(" ")[0] + " come-backs"
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "month": day.isoformat(), "name": day.isoformat(),
            "value": r["value"], "limit": r["limit"], "returned": int(r["returned"]), "size": int(r["size"]),
            "signal": r["signal"], "word": word, "aside": "", "stage_word": "", "up": True,
            "counts": f"{r['returned']} of {r['size']}, {figure(r['expected'], '')} expected",
            "sum": f"{r['value']:.2f}, limit {r['limit']:.2f}",
        })
    rows.sort(key=lambda row: (row["panel"], row["month"]))
    return rows


def day_labels(days: list[str]) -> dict[str, list[str]]:
    """The first day of each month, of each quarter where there is more than a year; a year is said once."""
    firsts = [next(group) for _, group in groupby(days, key=lambda d: d[:7])]
    shown = [d for d in firsts if len(firsts) <= 12 or d[5:7] in ("01", "04", "07", "10")]
    years = [d for i, d in enumerate(shown) if i == 0 or d[:4] != shown[i - 1][:4]]
    return {d: [MONTHS[int(d[5:7]) - 1][:3], *([d[:4]] * (d in years))] for d in shown}


def _layers(rows: list[dict[str, Any]], under: PeriodAxes, base: Any) -> list[Any]:
    x = under.x()
    tips = [alt.Tooltip("name:N", title="day"), *[alt.Tooltip("panel:N", title="group")] * bool(rows[0]["panel"]),
            alt.Tooltip("counts:N", title="came back"), alt.Tooltip("sum:N", title="sum"),
            alt.Tooltip("signal:N", title="signal")]
    last = max(r["month"] for r in rows)
    named = {"x": alt.XValue(3), "y": under.y("limit"), "text": alt.TextValue("limit")}
    return [
        base.mark_line(style="rqa-limit").encode(x=x, y=under.y("limit")),
        base.transform_filter(f"datum.month == '{last}'")
        .mark_text(style="rqa-note", align="left", baseline="bottom", dy=-2)
        .encode(**named),
        base.mark_bar(style="rqa-size", aria=False).encode(x=x, y=under.y("foot"), y2=alt.Y2("bar:Q"), tooltip=tips),
        base.mark_line(style="rqa-line", interpolate="step-after").encode(x=x, y=under.y("value")),
        base.mark_point(opacity=0, size=40, aria=False).encode(x=x, y=under.y("value"), tooltip=tips),
        base.transform_filter("datum.signal != ''")
        .mark_point(style="rqa-signal", filled=True)
        .encode(x=x, y=under.y("value"), tooltip=tips),
        *signal_words(under, base),
    ]


def _description(rows: list[dict[str, Any]], title: str) -> str:
    text = [f"{title} {min(r['month'] for r in rows)} to {max(r['month'] for r in rows)}."]
    loud = [f"{r['panel'] + ' ' if r['panel'] else ''}{r['name']}: {r['signal']}" for r in rows if r["signal"]]
    more = f" and {len(loud) - SAID} more" if len(loud) > SAID else ""
    text.append(f"Signals: {listed(loud[:SAID])}{more}." if loud else "The sum stays under its limit.")
    for panel, group in groupby(rows, key=lambda r: r["panel"]):
        end = list(group)[-1]
        text.append(f"{panel}: " * bool(panel) + f"last day {end['name']}, sum {end['sum']}.")
    return " ".join(text)
