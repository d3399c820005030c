"""Shares by group: a dot and its interval on each row, name and counts written on the row itself."""

from typing import Any

import altair as alt

from rqa.answers.core.result import Answer
from rqa.answers.yields.rolled import RolledYield
from rqa.plots.reading import ShareReading, heading, limits, read, row_of, said
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import NAMES, counted, percent

IN_ORDER = {"shift_hour", "days_since_training"}
"""Groupings whose rows have an order of their own."""
ROW = 38
SHOWN_FROM = "shown_from"
"""The setting of an answer whose smaller groups were taken out: how many cases a group shown has at least."""
SAID = 12
"""Rows spelled out in the text alternative; the table beside the chart holds all."""


def ordered(rows: list[dict[str, Any]], reading: ShareReading) -> list[dict[str, Any]]:
    """Rows in a total order: worst first, then the larger, then by name; rows without data last."""
    if IN_ORDER & set(reading.by):
        return sorted(rows, key=lambda r: r["label"])
    sign = -1 if reading.high_first else 1
    return sorted(rows, key=lambda r: (r["value"] is None, sign * (r["value"] or 0.0), -r["size"], r["label"]))


def order_text(reading: ShareReading) -> str:
    """The order of the rows, in words."""
    if IN_ORDER & set(reading.by):
        return "in their own order"
    end = "highest" if reading.high_first else "lowest"
    return f"{end} first; equal shares: larger first, then by name"


def overall(rows: list[dict[str, Any]], answer: Answer, reading: ShareReading) -> float | None:
    """The share over all rows, where rows may be added up."""
    if not reading.adds_up or not reading.events or len(rows) < 2:
        return None
    size = int(answer.table[reading.size].sum())
    return int(answer.table[reading.events].sum()) / size if size else None


def whole_word(answer: Answer) -> str:
    """What the share over all rows is of: of all there is, or of those that an answer was cut down to."""
    return "all shown" if answer.settings.get(SHOWN_FROM) else "all"


def plot_groups(
    answer: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """Shares by group with intervals; in a notebook a click carries one row's interval through the others."""
    reading = read(answer)
    rows = ordered([row_of(r, reading) for r in answer.table.iter_rows(named=True)], reading)
    centre, whole = overall(rows, answer, reading), len(rows)
    word = whole_word(answer)
    rows = rows[:limit]
    for place, row in enumerate(rows):
        row["row"] = place
    pick = _pick(rows, reading, selection)
    chart = alt.layer(*_layers(rows, reading, centre, pick, word), data=Data(values=rows))
    if pick is not None:
        chart = chart.add_params(pick)
    subtitle = [f"dot = share, line = {reading.level_text} interval; {order_text(reading)}"]
    if centre is not None and (pick is None or len(reading.by) == 1):
        subtitle[0] = subtitle[0].replace("; ", f", tick = {word} together; ", 1)
    if isinstance(answer, RolledYield):
        subtitle = [f"dot = product of the steps' yields, line = {reading.level_text} interval; {order_text(reading)}"]
    subtitle += limits(answer)
    if len(rows) < whole:
        subtitle.append(f"the first {len(rows)} of {counted(whole, 'row')}")
    if pick is not None:
        filtered = len(reading.by) > 1
        subtitle.append(
            f"choose a {NAMES.get(reading.by[0], reading.by[0])} below the chart"
            if filtered
            else "click a row to carry its interval through the others, click beside it to clear"
        )
    return finish(
        chart.properties(height=alt.Step(ROW)),
        title=heading(reading),
        subtitle=subtitle,
        description=_description(rows, reading, centre, word),
        headed=headed,
        width=width,
    )


def _pick(rows: list[dict[str, Any]], reading: ShareReading, selection: bool) -> Any:
    """A drop-down over the first of several groupings, or a click on a row when there is one."""
    if not selection or len(rows) < 2:
        return None
    if len(reading.by) > 1:
        field = f"by_{reading.by[0]}"
        options = sorted({r[field] for r in rows})
        return alt.selection_point(
            name="pick",
            fields=[field],
            bind=alt.binding_select(
                options=[None, *options], labels=["all", *options], name=f"{NAMES.get(reading.by[0], reading.by[0])} "
            ),
        )
    return alt.selection_point(name="pick", fields=["row"], empty=False)


def _layers(
    rows: list[dict[str, Any]], reading: ShareReading, centre: float | None, pick: Any, word: str
) -> list[Any]:
    base = alt.Chart()
    choosing = pick is not None and len(reading.by) > 1
    if choosing:
        base = base.transform_filter(pick)
    top = max([r["high"] for r in rows if r["high"] is not None] or [1.0])
    bottom = 0.0 if reading.high_first else min([r["low"] for r in rows if r["low"] is not None] or [0.0])
    margin = (top - bottom) * 0.04
    domain = [max(0.0, round(bottom - margin, 4)), min(1.0, round(top + margin, 4))]
    scale = alt.Scale(domain=domain, nice=False, zero=False)
    axis = alt.Axis(format="%" if domain[1] - domain[0] > 0.06 else ".1%", tickCount=6, domain=False)
    x = alt.X("value:Q", title=None, scale=scale, axis=axis)
    y = alt.Y("row:O", axis=None, sort="ascending")
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in _tips(rows, reading)]
    have = base.transform_filter("isValid(datum.value)")
    layers = []
    if pick is not None and not choosing:
        layers.append(
            base.transform_filter(pick)
            .mark_rect(style="rqa-band")
            .encode(x=alt.X("low:Q", scale=alt.Scale(domain=domain)), x2=alt.X2("high:Q"))
        )
    across = {"x": alt.XValue(0), "y": y}
    layers += [
        have.mark_rule(style="rqa-interval", yOffset=9).encode(
            x=alt.X("low:Q", title=None, scale=scale, axis=axis), x2=alt.X2("high:Q"), y=y
        ),
        have.mark_point(style="rqa-dot", yOffset=9, filled=True).encode(x=x, y=y, tooltip=tips),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 128)"), tooltip=None).encode(
            text=alt.Text("label:N"), tooltip=tips, **across
        ),
        base.transform_calculate(beside="isValid(datum.value) ? datum.counts + '  ·  ' + datum.share : 'no data'")
        .mark_text(style="rqa-number", yOffset=-7)
        .encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
    ]
    if centre is not None and not choosing:
        layers += _overall(centre, base, scale, y, word)
    return layers


def _overall(centre: float, base: Any, scale: Any, y: Any, said: str) -> list[Any]:
    """The share over all rows: a tick on each row, so that no line runs through the words, and its value on top."""
    word = alt.Chart(Data(values=[{"all": round(centre, 6), "word": f"{said} {percent(centre)}"}]))
    x = alt.X("all:Q", title=None, scale=scale)
    return [
        base.transform_calculate(all=str(round(centre, 6)))
        .mark_tick(style="rqa-tick", orient="vertical", size=15, yOffset=9)
        .encode(x=x, y=y),
        word.mark_text(style="rqa-note", baseline="bottom", dy=-3).encode(
            x=x, y=alt.YValue(0), text=alt.Text("word:N")
        ),
    ]


def _tips(rows: list[dict[str, Any]], reading: ShareReading) -> list[tuple[str, str]]:
    tips = [("label", " · ".join(NAMES.get(b, b) for b in reading.by) or "group"), ("share", reading.title.lower())]
    tips += [("interval", f"{reading.level_text} interval"), ("counts", reading.did or "size")]
    if rows and "jobs" in rows[0]:
        tips.append(("jobs", "jobs, matured or not"))
    if rows and "unchecked" in rows[0]:
        tips.append(("unchecked", "done or skipped without a check"))
    if rows and "a step" in rows[0]:
        tips.append(("a step", "yield of an average step"))
    return tips


def _description(rows: list[dict[str, Any]], reading: ShareReading, centre: float | None, word: str) -> str:
    text = [f"{heading(reading)}."]
    if centre is not None:
        text.append(f"{word.capitalize()} together: {percent(centre)}.")
    text.append("; ".join(said(r, reading) for r in rows[:SAID]) + ".")
    if len(rows) > SAID:
        text.append(f"And {counted(len(rows) - SAID, 'more row')}.")
    return " ".join(text)
