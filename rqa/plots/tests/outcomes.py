"""How tests end, and whether their word can be believed: a test a row."""

from typing import Any

from rqa.answers.tests.outcomes import DiagnosticOutcomes
from rqa.answers.tests.predictive_values import PredictiveValues
from rqa.plots.pictures import draws
from rqa.plots.tests.share_rows import drawn, ordered, row_of
from rqa.plots.theme import WIDTH
from rqa.words import count, counted, percent


@draws(DiagnosticOutcomes)
def plot_outcomes(
    answer: DiagnosticOutcomes, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The share of first runs that passed, on each row, with the share in the end in words; the lowest first."""
    rows = []
    for r in answer.table.iter_rows(named=True):
        end = percent(r["final_pass_share"])
        rows.append(
            row_of(answer, r, share="first_pass_share", why="every first run was aborted", of="at the first run",
                   beside=f"{percent(r['first_pass_share'])} first  ·  {end} in the end  ·  {count(r['tests'])}")
        )
    order = ordered(answer, rows, "lowest first")
    low = min([row["low"] for row in rows if row["value"] is not None], default=0.0)
    subtitle = [f"dot = share of first runs that passed, line = {{level}} interval{order}",
                "beside it: the share whose last run passed, and the number of tests"]
    return drawn(answer, rows, "Tests passed at the first run and in the end", subtitle, headed, width,
                 domain=(max(0.0, int(low * 20) / 20), 1.0))


@draws(PredictiveValues)
def plot_worth(
    answer: PredictiveValues, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The share of fails after which nothing was found, with what a pass is worth in words; the highest first."""
    rows = [
        row_of(answer, r, share="overkill", why="no fail that can be judged", of="nothing found after",
               beside=f"{count(r['nothing_found'])} of {counted(r['nothing_found'] + r['confirmed'], 'fail')}  ·  "
                      f"pass holds in {percent(r['pass_value'])}")
        for r in answer.table.iter_rows(named=True)
    ]
    order, window = ordered(answer, rows, "highest first"), answer.settings["window"]
    subtitle = ["dot = share of fails after which nothing was found",
                f"line = {{level}} interval{order}",
                f"pass holds = not back within {counted(window, 'day')} for what the test covers"]
    return drawn(answer, rows, "Fails after which nothing was found", subtitle, headed, width)
