"""Control charts: values by month against limits that step with the month's size; signals by shape and a word."""

from itertools import groupby
from typing import Any

import altair as alt

from rqa.answers.result import ControlChart
from rqa.errors import RequestError
from rqa.plots.ground import Ground, early_word, early_zone, ground, in_panels, month_under_pointer
from rqa.plots.months import HEIGHT, PANELS
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import PAPER, WIDTH, finish
from rqa.plots.words import known, listed, month_key, month_name, percent

MEASURES = {
    "comebacks": "Come-backs within {window} days, by closing month",
    "first_pass_yield": "First-pass yield by month",
    "clean_jobs": "Clean-job share by month",
}
SIDES = {"above the upper limit": "above", "below the lower limit": "below"}


def chart_title(chart: ControlChart) -> str:
    """The title of a control chart: its measure in words."""
    measure = str(chart.settings.get("measure", "share"))
    pattern = MEASURES.get(measure, measure.replace("_", " ").capitalize() + " by month")
    return pattern.format(window=chart.settings.get("window", 30))


def plot_control(chart: ControlChart, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A p chart by month, one panel for each group."""
    rows = _rows(chart)
    panels = sorted({r["panel"] for r in rows})
    if len(panels) > PANELS:
        raise RequestError(
            f"{len(panels)} groups are more than a picture of {PANELS} panels holds; narrow the question with where=."
        )
    drawn = [v for r in rows for v in (r["value"], r["lower"], r["upper"]) if v is not None]
    from_zero = "comeback" in str(chart.settings.get("measure", "comeback"))
    under = ground([r["month"] for r in rows], drawn or [0.0], drawn or [1.0], from_zero=from_zero)
    most = max([r["size"] for r in rows] + [1])
    for r in rows:
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["size"] / most, 6)
    _say_signals(rows)
    title, early = chart_title(chart), early_word(from_zero)
    subtitle = [f"band = limits of chance for the month's size; bars at the foot = size (up to {most:,} a month)"]
    subtitle.append("diamond with a word = outside the limits, look for a cause" if any(r["signal"] for r in rows)
                    else "no month is outside the limits")  # fmt: skip
    if any(not r["mature"] for r in rows):
        subtitle.append(f"hollow, in the dashed frame: {early}, not judged")
    picture = _picture(rows, under, panels, early, selection)
    return finish(
        picture if len(panels) > 1 else picture.properties(height=HEIGHT),
        title=title,
        subtitle=[*subtitle, *limits(chart)],
        description=_description(rows, title, early),
        headed=headed,
        width=None if len(panels) > 1 else width,
    )


def _rows(chart: ControlChart) -> list[dict[str, Any]]:
    by = [b for b in by_of(chart) if b not in ("month", "period")]
    rows = []
    for r in chart.table.iter_rows(named=True):
        row: dict[str, Any] = {c: r[c] if known(r[c]) else None for c in ("value", "centre", "lower", "upper")}
        row |= {"month": month_key(r["period"]), "name": month_name(r["period"]), "size": int(r["size"])}
        row |= {"signal": r["signal"] or "", "mature": bool(r.get("mature", True)), "share": percent(row["value"])}
        row["panel"] = " · ".join(str(r[b]).replace("_", " ") for b in by)
        row["limits"] = f"{percent(row['lower'])} to {percent(row['upper'])}" if row["lower"] is not None else "no data"
        rows.append(row)
    return sorted(rows, key=lambda row: (row["panel"], row["month"]))


def _say_signals(rows: list[dict[str, Any]]) -> None:
    """Put the word beside the outermost month of a run of signals on one side, with the length of the run."""
    for row in rows:
        row["word"] = ""
    for (_, signal), group in groupby(rows, key=lambda r: (r["panel"], r["signal"])):
        run = list(group)
        if signal:
            furthest = max(run, key=lambda r: abs(r["value"] - r["centre"]))
            side = SIDES.get(signal, signal)
            furthest["word"] = side if len(run) == 1 else f"{side}, {len(run)} months"


def _picture(rows: list[dict[str, Any]], under: Ground, panels: list[str], early: str, selection: bool) -> Any:
    values = alt.Data(values=rows)
    base = alt.Chart() if len(panels) > 1 else alt.Chart(values)
    x, whole = under.x(), under.x(edge=0)
    end = alt.X2("month:O", bandPosition=1)
    tips = [
        alt.Tooltip("name:N", title="month"),
        alt.Tooltip("share:N", title="share"),
        alt.Tooltip("limits:N", title="limits"),
        alt.Tooltip("size:Q", title="size"),
        alt.Tooltip("signal:N", title="signal"),
    ]
    have = base.transform_filter("isValid(datum.value)")
    limited = base.transform_filter("isValid(datum.lower)")
    quiet, loud = "datum.signal == '' && datum.mature", "datum.signal != ''"
    up, down = "indexof(datum.signal, 'below') < 0", "indexof(datum.signal, 'below') >= 0"
    late = [m for i, m in enumerate(under.months) if i >= len(under.months) * 0.7]
    layers = [
        limited.mark_rect(style="rqa-band").encode(x=whole, x2=end, y=under.y("lower"), y2="upper:Q"),
        limited.mark_rule(style="rqa-centre").encode(x=whole, x2=end, y=under.y("centre")),
        base.mark_bar(style="rqa-size", width=alt.RelativeBandSize(0.7)).encode(
            x=x, y=under.y("foot"), y2="bar:Q", tooltip=tips
        ),
        have.transform_filter("datum.mature").mark_line(style="rqa-line").encode(x=x, y=under.y("value")),
        have.transform_filter(quiet)
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=x, y=under.y("value"), tooltip=tips),
        have.transform_filter("!datum.mature")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x, y=under.y("value"), tooltip=tips),
        have.transform_filter(loud)
        .mark_point(style="rqa-signal", filled=True)
        .encode(x=x, y=under.y("value"), tooltip=tips),
    ]
    for side, shift in ((up, -13), (down, 15)):
        for edge, test in ((True, "datum.edge == 'r'"), (False, "datum.edge == 'l'")):
            words = have.transform_calculate(edge=f"indexof({late!r}, datum.month) >= 0 ? 'r' : 'l'")
            words = words.transform_filter(f"datum.word != '' && {side} && {test}")
            layers.append(
                words.mark_text(style="rqa-word", dy=shift, align=("left", "right")[edge], dx=6 if edge else -6).encode(
                    x=x, y=under.y("value"), text="word:N"
                )
            )
    young = [r["month"] for r in rows if not r["mature"]]
    if young:
        layers = [*early_zone(min(young), max(young), under, base=base, word=early), *layers]
    layers += _centre_word(rows, under, base, alone=len(panels) == 1)
    if selection:
        over = month_under_pointer()
        layers += [
            have.transform_filter(over)
            .mark_text(style="rqa-label", fontWeight="bold", align="center", dy=18)
            .encode(x=x, y=under.y("value"), text="share:N"),
            have.mark_point(opacity=0, size=300).encode(x=x, y=under.y("value"), tooltip=tips).add_params(over),
        ]
    return in_panels(layers, values, len(panels))


WORD_MONTHS = 5
"""Months that the centre's value takes on the narrowest window, at two years of months."""


def _centre_word(rows: list[dict[str, Any]], under: Ground, base: Any, *, alone: bool) -> list[Any]:
    """The centre line's value, beside the line where the values leave it room, else over the chart.

    Over a panel stands its name, so there the value goes in at the top.
    """
    limited = [r for r in rows if r["centre"] is not None]
    if not limited:
        return []
    months = list(dict.fromkeys(r["month"] for r in limited))
    room, back, up = max(
        (round(_room(limited, months[start : start + WORD_MONTHS], side), 6), -start, side)
        for start in range(max(1, len(months) - WORD_MONTHS + 1))
        for side in (True, False)
    )
    here = base.transform_filter(f"datum.month == '{months[-back]}' && isValid(datum.centre)")
    if room <= 0:
        words, place = "'line: mean '", {"x": alt.value(0), "y": alt.value(0)}
        how = {"baseline": "bottom", "dx": 0, "dy": -3} if alone else {"baseline": "top", "dx": 3, "dy": 3}
    else:
        words, place = "'mean '", {"x": under.x(edge=0), "y": under.y("centre")}
        how = {"baseline": "bottom", "dx": 3, "dy": -2} if up else {"baseline": "top", "dx": 3, "dy": 3}
    here = here.transform_calculate(centre_word=f"{words} + format(datum.centre, '.1%')")
    return [here.mark_text(style="rqa-note", align="left", **how).encode(text="centre_word:N", **place)]


def _room(rows: list[dict[str, Any]], months: list[str], above: bool) -> float:
    """How much room the values of these months leave on one side of the centre: none where their line crosses it.

    A side without any value has more room than one whose values are far.
    """
    values = [(r["month"], r["value"] - r["centre"]) for r in rows if r["value"] is not None]
    gaps = [gap if above else -gap for month, gap in values if month in months]
    if all(gap < 0 for gap in gaps):
        return max((2 * abs(gap) for _, gap in values), default=1.0)
    return max(min(gaps), 0.0)


def _description(rows: list[dict[str, Any]], title: str, early_is: str) -> str:
    text = [f"{title}, {month_name(min(r['month'] for r in rows))} to {month_name(max(r['month'] for r in rows))}."]
    centre = next((r["centre"] for r in rows if r["centre"] is not None), None)
    if centre is not None:
        text.append(f"Mean {percent(centre)}.")
    loud = [
        f"{r['panel'] + ' ' if r['panel'] else ''}{r['name']} {r['share']}, {r['signal']}" for r in rows if r["signal"]
    ]
    text.append(f"Outside the limits: {listed(loud)}." if loud else "No month is outside the limits.")
    have = [r for r in rows if r["mature"] and r["value"] is not None]
    if have:
        text.append(f"Last matured month: {have[-1]['name']}, {have[-1]['share']} of {have[-1]['size']:,}.")
    early = list(dict.fromkeys(r["name"] for r in rows if not r["mature"]))
    if early:
        text.append(f"{early_is.capitalize()}: {', '.join(early)}.")
    return " ".join(text)
