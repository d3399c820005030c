"""From an answer to its picture, by the kind of answer."""

from typing import Any

from altair.utils.schemapi import debug_mode

from rqa.answers.core.needs import said_of, untold
from rqa.answers.core.result import EMPTY, Answer
from rqa.errors import RequestError
from rqa.plots.pictures import pictures
from rqa.plots.theme import WIDTH, nothing
from rqa.renamed import earlier_arguments
from rqa.words import counted

MOST_ROWS = 2000
"""Beyond this a picture cannot be read and a saved notebook grows heavy."""


@earlier_arguments
def plot(
    result: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """Draw an answer of the depot as an Altair chart.

    Shares by group become a dot and an interval on each row; by month, a line with intervals where months that have
    not matured are hollow and framed; a control chart gets its limits as a band and its signals a shape and a word; so
    does a sum that watches job by job. A comparison becomes a funnel, failures a staircase, practice curves. Margins
    within limits and times to detect are a dot and a line on each row. Come-backs by day are a step line in its band
    with the numbers still followed below it; months not yet mature are projected in a frame of their own; cohorts and
    findings are shaded cells with their number. Limits are a curve of faulty jobs caught against sound ones held back,
    measured values histograms, stations a course each, agreement bars and kappas. An empty answer becomes a chart that
    says so.

    `headed`: whether the chart carries its own title. `width`: pixels, or "container" on a page. `selection`:
    whether it answers to clicks and hovering beyond tooltips. `limit`: how many rows of shares by group are drawn, in
    the order the chart states.

    Raises `RequestError` for an answer of more than 2,000 rows, for one with too many panels by month, and for
    something that is no answer with a picture.
    """
    picture = pictures().get(type(result))
    if picture is None:
        kinds = ", ".join(sorted(kind.__name__ for kind in pictures()))
        raise RequestError(f"there is no picture of {type(result).__name__}; there is one of {kinds}.")
    rows = result.table.height
    if rows > MOST_ROWS and not picture.many_rows(result):
        raise RequestError(
            f"{counted(rows, 'row is', 'rows are')} more than a picture can show ({MOST_ROWS:,}); ask for fewer "
            "groupings in by=, or narrow the question with where= or months=."
        )
    # What is drawn is checked as a whole when it is written down; each part of it at its making takes longer than all.
    with debug_mode(False):
        if rows == 0 or untold(result):
            return nothing(title=picture.title(result), why=said_of(result, EMPTY), headed=headed, width=width)
        rows_at_most = {"limit": limit} if picture.limited else {}
        return picture.draw(result, headed=headed, width=width, selection=selection, **rows_at_most)
