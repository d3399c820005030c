"""Figures with limits by row: name and numbers written on the row itself, a mark to hold them against."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import altair as alt

from rqa.plots.groups import ROW
from rqa.plots.theme import Data, finish
from rqa.words import counted

SAID = 12
"""Rows spelled out in the text alternative; the table beside the chart holds all."""


def figure_rows(
    rows: Sequence[dict[str, Any]],
    *,
    title: str,
    subtitle: Sequence[str],
    axis: Mapping[str, Any],
    domain: tuple[float, float],
    headed: bool,
    width: int | str,
    mark: float | None = None,
    kind: Literal["linear", "log"] = "linear",
) -> Any:
    """Draw rows of label, beside, value, low, high (None without), interval and why (said where there is no value).

    Ends beyond the domain are cut and shown as such by a triangle. Rows may have from and to: a soft band behind.
    """
    for place, row in enumerate(rows):
        row["row"] = place
        row |= _cut(row, domain)
    scale = alt.Scale(domain=list(domain), nice=False, zero=False, type=kind)

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=alt.Axis(tickCount=6, domain=False, **axis))

    y = alt.Y("row:O", axis=None, sort="ascending")
    base = alt.Chart()
    have = base.transform_filter("isValid(datum.value)")
    tips = [
        alt.Tooltip(f"{k}:N", title=t) for k, t in (("label", "row"), ("beside", "figures"), ("interval", "limits"))
    ]
    across = {"x": alt.XValue(0), "y": y}
    layers = []
    if mark is not None:
        layers.append(
            have.transform_calculate(mark=str(mark))
            .mark_tick(style="rqa-tick", orient="vertical", size=15, yOffset=9)
            .encode(x=x("mark"), y=y)
        )
    if any("from" in row for row in rows):
        layers.insert(
            0,
            base.transform_filter("isValid(datum.from)")
            .mark_bar(style="rqa-band", height=9, yOffset=9)
            .encode(x=x("from"), x2=alt.X2("to:Q"), y=y),
        )
    layers += [
        have.mark_rule(style="rqa-interval", yOffset=9).encode(x=x("left"), x2=alt.X2("right:Q"), y=y),
        have.transform_filter("datum.shown")
        .mark_point(style="rqa-dot", yOffset=9, filled=True)
        .encode(x=x("value"), y=y, tooltip=tips),
        have.transform_filter("datum.cut_right")
        .mark_point(style="rqa-cut", yOffset=9, filled=True, angle=90)
        .encode(x=x("right"), y=y),
        have.transform_filter("datum.cut_left")
        .mark_point(style="rqa-cut", yOffset=9, filled=True, angle=270)
        .encode(x=x("left"), y=y),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 165)")).encode(
            text=alt.Text("label:N"), tooltip=tips, **across
        ),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
        base.transform_filter("datum.why != ''")
        .mark_text(style="rqa-note", yOffset=9, align="left", limit=alt.ExprRef("width"))
        .encode(text=alt.Text("why:N"), **across),
    ]
    return finish(
        alt.layer(*layers, data=Data(values=list(rows)), height=alt.Step(ROW)),
        title=title,
        subtitle=subtitle,
        description=_description(rows, title),
        headed=headed,
        width=width,
    )


def _cut(row: dict[str, Any], domain: tuple[float, float]) -> dict[str, Any]:
    value, low, high = row["value"], row["low"], row["high"]
    if value is None:
        return {"left": None, "right": None, "shown": False, "cut_left": False, "cut_right": False}
    low, high = value if low is None else low, value if high is None else high
    left, right = (min(max(end, domain[0]), domain[1]) for end in (low, high))
    return {
        "left": left, "right": right, "shown": domain[0] <= value <= domain[1],
        "cut_left": low < domain[0], "cut_right": high > domain[1],
    }


def _description(rows: Sequence[dict[str, Any]], title: str) -> str:
    said = [
        f"{r['label']}: {r['beside'] or r['why']}" + (f" ({r['interval']})" if r["value"] is not None else "")
        for r in rows
    ]
    more = f" And {counted(len(said) - SAID, 'more row')}." if len(said) > SAID else ""
    return f"{title}. {'; '.join(said[:SAID])}.{more}"
