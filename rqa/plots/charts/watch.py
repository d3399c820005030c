"""What a watch signals: the course of each sum that stands out, up to its limit, with the day on which it began."""

from typing import Any

import altair as alt

from rqa.answers.charts.watch import Watch
from rqa.errors import RequestError
from rqa.plots.charts.cusum import day_labels
from rqa.plots.months import HEIGHT, PANELS
from rqa.plots.period_axes import PeriodAxes, ground, in_panels
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import counted

TITLE = "Which work became worse, and since when?"


@draws(Watch, title=lambda _: TITLE)
def plot_watch(answer: Watch, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A panel a series that signals: its sum by day as a part of its limit; diamonds where the signal stands."""
    rows = _rows(answer)
    panels = len({r["panel"] for r in rows})
    if panels > PANELS:
        raise RequestError(
            f"{counted(panels, 'signal is', 'signals are')} more than a picture of {PANELS} panels holds: see .table."
        )
    days = sorted({r["month"] for r in rows})
    under = ground(days, [0.0], [1.0], from_zero=True, labels=day_labels(days), headroom=0.05, bars=False)
    values = Data(values=rows)
    base = alt.Chart() if panels > 1 else alt.Chart(values)
    picture = in_panels(_layers(under, base), values, panels)
    return finish(
        picture if panels > 1 else picture.properties(height=HEIGHT),
        title=TITLE,
        subtitle=[
            "line = what the jobs say for a change for the worse, as a part of the limit (dashed)",
            "diamonds = the signal stands; the work changed about when the line began to rise",
            *limits(answer),
        ],
        description=_description(answer),
        headed=headed,
        width=None if panels > 1 else width,
    )


def _rows(answer: Watch) -> list[dict[str, Any]]:
    if answer.days is None:
        return []
    said = {r["series"]: f"{r['series']}: {r['counted']}" for r in answer.table.iter_rows(named=True)}
    return [
        {
            "panel": said[r["series"]], "month": r["day"].isoformat(), "value": round(r["value"] / r["limit"], 6),
            "limit": 1.0, "stands": r["signals"], "sum": f"{r['value']:.2f}, limit {r['limit']:.2f}",
        }
        for r in answer.days.iter_rows(named=True) if r["series"] in said
    ]


def _layers(under: PeriodAxes, base: Any) -> list[Any]:
    x = under.x()
    tips = [alt.Tooltip("month:N", title="day"), alt.Tooltip("panel:N", title="series"),
            alt.Tooltip("sum:N", title="sum")]
    return [
        base.mark_line(style="rqa-limit").encode(x=x, y=under.y("limit")),
        base.mark_line(style="rqa-line", interpolate="step-after").encode(x=x, y=under.y("value")),
        base.mark_point(opacity=0, size=40, aria=False).encode(x=x, y=under.y("value"), tooltip=tips),
        base.transform_filter("datum.stands")
        .mark_point(style="rqa-signal", filled=True, size=36)
        .encode(x=x, y=under.y("value"), tooltip=tips),
    ]


def _description(answer: Watch) -> str:
    rows = answer.table.iter_rows(named=True)
    said = [f"{r['series']}: {r['counted']}, since {r['since']}, raised {r['raised_on']}." for r in rows]
    return " ".join([TITLE, *said])
