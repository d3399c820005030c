"""The look of every chart: ink on paper, limits as a soft band, meaning carried by shape and words before colour."""

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

import altair as alt

from rqa.answers.core.grounds import Sentence

FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
"""Ends in a generic family, so that text is drawn on any machine; the first comes with the renderer."""
INK = "#1b2a38"
QUIET = "#55626e"
HAIR = "#d3dae0"
BAND = "#e1e8ec"
PAPER = "#ffffff"
SIGNAL = "#8a3d00"
WIDTH = 640
"""Width in pixels in a notebook; a page gives "container" and lets the window decide."""

LINE = 90
"""Letters on a line of a chart that holds words alone."""

CONFIG: dict[str, Any] = {
    "font": FONT,
    "background": PAPER,
    "padding": 6,
    "view": {"stroke": None},
    "axis": {
        "labelColor": QUIET, "titleColor": QUIET, "labelFontSize": 11, "titleFontSize": 11, "titleFontWeight": "normal",
        "domainColor": INK, "tickColor": HAIR, "gridColor": HAIR, "gridDash": [1, 3], "labelPadding": 5,
    },
    "header": {"labelColor": INK, "labelFontSize": 12, "labelFontWeight": "bold", "labelAnchor": "start"},
    "title": {
        "anchor": "start", "frame": "group", "offset": 14, "color": INK, "fontSize": 14, "fontWeight": "bold",
        "subtitleColor": QUIET, "subtitleFontSize": 11.5, "subtitlePadding": 5,
    },
    "mark": {"color": INK},
    "style": {
        "rqa-interval": {"color": INK, "strokeWidth": 1.6, "strokeCap": "round"},
        "rqa-cut": {"color": INK, "opacity": 1, "shape": "triangle-up", "size": 40},
        "rqa-dot": {"color": INK, "opacity": 1, "size": 56},
        "rqa-hollow": {"color": INK, "opacity": 1, "strokeWidth": 1.6, "size": 52},
        "rqa-line": {"color": INK, "strokeWidth": 1.2},
        "rqa-centre": {"color": INK, "strokeWidth": 0.9},
        "rqa-tick": {"color": QUIET, "thickness": 1.6, "opacity": 1},
        "rqa-band": {"color": BAND, "stroke": BAND, "strokeWidth": 0.6},
        "rqa-early": {"color": PAPER, "fillOpacity": 0.001, "stroke": QUIET, "strokeDash": [2, 3], "strokeWidth": 1},
        "rqa-size": {"color": QUIET, "opacity": 0.75},
        "rqa-signal": {"color": SIGNAL, "opacity": 1, "shape": "diamond", "size": 150},
        "rqa-aside": {"color": QUIET, "opacity": 1, "shape": "cross", "size": 70, "strokeWidth": 1.4},
        "rqa-stage": {"color": INK, "strokeWidth": 1, "strokeDash": [5, 3]},
        "rqa-stage-word": {"color": INK, "fontSize": 11, "fontWeight": "bold"},
        "rqa-limit": {"color": INK, "strokeWidth": 1.2, "strokeDash": [7, 3]},
        "rqa-word": {"color": SIGNAL, "fontWeight": "bold", "fontSize": 11.5},
        "rqa-label": {"color": INK, "fontSize": 12, "align": "left"},
        "rqa-number": {"color": QUIET, "fontSize": 11.5, "align": "right"},
        "rqa-note": {"color": QUIET, "fontSize": 11},
        "rqa-nothing": {"color": QUIET, "fontSize": 15, "fontWeight": "bold"},
    },
}


class Data(alt.Data):
    """The rows of a picture. Its layers share them: each of them is copied several times while it is put together."""

    def __init__(self, *, values: Sequence[Mapping[str, Any]]) -> None:
        super().__init__(values=values)  # type: ignore[no-untyped-call]

    def __deepcopy__(self, memo: object = None) -> "Data":
        return self


def finish(
    chart: Any, *, title: str, subtitle: Sequence[str], description: str, headed: bool, width: int | str | None = None
) -> Any:
    """Give a fresh chart its heading (when it carries its own), its text alternative and the theme."""
    if headed:
        chart["title"] = alt.TitleParams(text=title, subtitle=list(subtitle))
    if width is not None:
        chart["width"] = width
    # Set rather than asked for by `properties` and `configure`, each of which puts all layers together anew.
    chart["description"] = description
    chart["config"] = alt.Config(**CONFIG)
    return chart


def nothing(*, title: str, why: Sentence, headed: bool, width: int | str, said: str = "no data") -> Any:
    """A chart that says in words that there is nothing to draw; `said` where data there is, and nothing amiss."""
    said = said if why.told else "cannot be told"
    lines = wrap(why.short, LINE)
    base = alt.Chart(Data(values=[{"text": said, "why": "\n".join(lines)}]))
    chart = alt.layer(
        base.mark_text(style="rqa-nothing", dy=-8).encode(text=alt.Text("text:N")),
        base.mark_text(style="rqa-note", dy=12, lineBreak="\n", baseline="top", lineHeight=15).encode(
            text=alt.Text("why:N")
        ),
    ).properties(height=75 + 15 * len(lines))
    return finish(
        chart,
        title=title,
        subtitle=(),
        description=f"{title}: {said}. {why}" if why.told else f"{title}. {why.short}",
        headed=headed,
        width=width,
    )
