"""Tests that failed and then passed with nothing done between: a test a row."""

from typing import Any

from rqa.answers.tests.retests import RetestPasses
from rqa.plots.pictures import draws
from rqa.plots.tests.share_rows import drawn, ordered, row_of
from rqa.plots.theme import WIDTH
from rqa.words import count, percent


@draws(RetestPasses)
def plot_retests(answer: RetestPasses, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The share of fails that passed again with nothing done, on each row; the highest first."""
    rows = [
        row_of(answer, r, share="share", why="no fail" if not r["fails"] else "no step log with times",
               beside=f"{count(r['retest_passes'])} of {count(r['judged'])}  ·  {percent(r['share'])}")
        for r in answer.table.iter_rows(named=True)
    ]
    order = ordered(answer, rows, "highest first")
    subtitle = ["dot = share of failed runs that passed again with nothing done", f"line = {{level}} interval{order}"]
    return drawn(answer, rows, "Failed, then passed with nothing done", subtitle, headed, width)
