"""A change of level on a chart by month: a dashed upright line where it is dated, and the mean of each level."""

from typing import Any

import altair as alt

from rqa.answers.charts.chart_marks import LevelChange
from rqa.answers.core.result import Answer
from rqa.plots.period_axes import PeriodAxes
from rqa.plots.theme import Data
from rqa.words import MONTHS, month_key, percent

__all__ = ["LINE", "SETTING", "LevelChange", "change_of", "level_layers"]

SETTING = "level_change"
"""The setting of an answer that holds the change to be drawn."""
LINE = "dashed upright line = the level changed; each level has its mean"
LATE, EARLY = 0.66, 0.38
"""A change that lies later on the axis has its words before its line; one between them has its value over its line."""


def change_of(answer: Answer) -> LevelChange | None:
    """The change of level that an answer is to be drawn with: what its settings say of it, else its own."""
    found = answer.settings.get(SETTING) if SETTING in answer.settings else getattr(answer, "change", None)
    return found if isinstance(found, LevelChange) else None


def level_layers(
    change: LevelChange, under: PeriodAxes, x: Any, y: Any, *, words: bool = True, size: float = 11
) -> list[Any]:
    """The line, the two means, and at the top their values; `x(field, edge)` and `y(field)` are the chart's own axes.

    With `words` the month is said, too; without, only the values, over the chart.
    """
    periods, since = under.periods, month_key(change.since)
    if since not in periods:
        return []
    at = periods.index(since)
    first = max(month_key(change.before_from), periods[0])
    late = at > LATE * len(periods)
    dated = f"from {MONTHS[change.since.month - 1][:3]} {change.since.year}: mean {percent(change.after)}"
    rows = [{"first": since, "last": min(month_key(change.until), periods[-1]), "mean": change.after,
             "words": (f"{dated} →" if late else dated) if words else percent(change.after), "now": True}]
    if at > 0 and first < since:
        before = f"mean {percent(change.before)}" if words else percent(change.before)
        rows.append({"first": first, "last": periods[at - 1], "mean": change.before, "words": before, "now": False})
    base = alt.Chart(Data(values=rows))
    now, text = base.transform_filter("datum.now"), alt.Text("words:N")
    place: dict[str, Any] = {"baseline": "top", "dy": 1} if words else {"baseline": "bottom", "dy": -2}
    how: dict[str, Any] = {"style": "rqa-stage-word", "fontSize": size, **place}
    side: dict[str, Any] = {"align": "left", "dx": 5 if words else 1}
    if late and words:
        side = {"align": "right", "dx": -5}
    over = {"x": x("first", 0), "y": alt.YValue(0)}
    if not words and (late or at < EARLY * len(periods)):
        side, over = {"align": "right", "dx": 0}, {"x": alt.XValue("width"), "y": alt.YValue(0)}
    return [
        base.mark_rule(style="rqa-centre", aria=False).encode(
            x=x("first", 0), x2=alt.X2("last:O", bandPosition=1), y=y("mean")
        ),
        now.mark_rule(style="rqa-stage", aria=False).encode(
            x=x("first", 0), y=alt.YValue(0), y2=alt.Y2Value("height")
        ),
        now.mark_text(**how, **side).encode(text=text, **over),
        base.transform_filter("!datum.now")
        .mark_text(**{**how, "dy": 14 if words and late else how["dy"]}, align="left", dx=5 if words else 0)
        .encode(text=text, x=alt.XValue(0), y=alt.YValue(0)),
    ]
