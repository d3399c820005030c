"""From an answer to its picture, by the kind of answer."""

from typing import Any

from rqa.answers.result import Answer, CleanJobs, Comebacks, ControlChart, FirstPassYield, RolledYield
from rqa.errors import RequestError
from rqa.plots.control import chart_title, plot_control
from rqa.plots.groups import plot_groups
from rqa.plots.months import plot_months
from rqa.plots.reading import by_of, heading, read
from rqa.plots.theme import WIDTH, nothing

MOST_ROWS = 2000
"""Beyond this a picture cannot be read and a saved notebook grows heavy."""
SHARES = (Comebacks, FirstPassYield, RolledYield, CleanJobs)


def plot(
    result: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    most: int | None = None,
) -> Any:
    """Draw an answer of the depot as an Altair chart.

    Shares by group become a dot and an interval on each row; by month, a line with intervals where months that have
    not matured are hollow and framed; a control chart gets its limits as a band and its signals a shape and a word.
    An empty answer becomes a chart that says so.

    `headed`: whether the chart carries its own title. `width`: pixels, or "container" on a page. `selection`:
    whether it answers to clicks and hovering beyond tooltips. `most`: how many rows of shares by group are drawn, in
    the order the chart states.

    Raises `RequestError` for an answer of more than 2,000 rows, for one with too many panels by month, and for
    something that is no answer with a picture.
    """
    if not isinstance(result, (*SHARES, ControlChart)):
        kinds = ", ".join(k.__name__ for k in (*SHARES, ControlChart))
        raise RequestError(f"there is no picture of {type(result).__name__}; there is one of {kinds}.")
    rows = result.table.height
    if rows > MOST_ROWS:
        raise RequestError(
            f"{rows:,} rows are more than a picture can show ({MOST_ROWS:,}); ask for fewer groupings in by=, "
            "or narrow the question with where= or months=."
        )
    title = chart_title(result) if isinstance(result, ControlChart) else heading(read(result))
    if rows == 0:
        return nothing(title=title, why="Nothing in the store fits the question.", headed=headed, width=width)
    if isinstance(result, ControlChart):
        return plot_control(result, headed=headed, width=width, selection=selection)
    if {"month", "week"} & set(by_of(result)):
        return plot_months(result, headed=headed, width=width, selection=selection)
    return plot_groups(result, headed=headed, width=width, selection=selection, most=most)
