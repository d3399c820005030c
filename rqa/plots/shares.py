"""Shares with their intervals: by month a line, by group a row each."""

from typing import Any

from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.core.result import Answer
from rqa.answers.yields.clean import CleanJobs
from rqa.answers.yields.first_pass import FirstPassYield
from rqa.answers.yields.rework import Rework
from rqa.answers.yields.rolled import RolledYield
from rqa.plots.groups import plot_groups
from rqa.plots.months import plot_months
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, heading, read
from rqa.plots.theme import WIDTH


def shares_title(answer: Answer) -> str:
    """What the shares are of, by which groups and of which months."""
    return heading(read(answer))


@draws(Comebacks, FirstPassYield, RolledYield, CleanJobs, Rework, title=shares_title, limited=True)
def plot_shares(
    answer: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """Shares by month or week as a line, by other groups as rows; `limit` rows at most."""
    if {"month", "week"} & set(by_of(answer)):
        return plot_months(answer, headed=headed, width=width, selection=selection)
    return plot_groups(answer, headed=headed, width=width, selection=selection, limit=limit)
