"""One technician's own work: own events over those that the same work brings, a row a measure and step."""

from typing import Any

from rqa.answers.compare.own_work_sheet import OwnWork
from rqa.answers.compare.own_work_words import CASES, EVENTS, in_brackets
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH
from rqa.words import counted, counted_of

RANGE = (0.25, 4.0)
MOST = 16
"""Rows drawn: the measures, then the steps with the most work."""
TITLE = "Own work beside the same work in the depot"


@draws(OwnWork, title=lambda answer: TITLE, limited=True)
def plot_own_work(
    answer: OwnWork, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True, limit: int | None = None
) -> Any:
    """A dot and an interval on each row for own events over expected ones; the tick is 1."""
    drawn = answer.table.head(limit or MOST)
    rows = []
    for r in drawn.iter_rows(named=True):
        have = r["ratio"] is not None
        rows.append({
            "label": r["step"] or f"all: {EVENTS[r['measure']]}",
            "value": r["ratio"], "low": r["low"], "high": r["high"],
            "beside": f"{r['events']:,} of {counted_of(r['cases'], CASES[r['measure']])}",
            "why": "" if have else "nothing to compare with",
            "interval": f"own over expected {in_brackets(r)}; {r['verdict']}" if have else "",
        })
    level = float(str(answer.settings["level"])) * 100
    subtitle = [f"dot = own over expected; line = {level:g} % interval; tick = 1, just what the same work brings"]
    if answer.table.height > drawn.height:
        subtitle.append(f"the first {drawn.height} of {counted(answer.table.height, 'row')}")
    return figure_rows(
        rows, title=TITLE, subtitle=[*subtitle, *limits(answer)],
        axis={"format": "~g", "values": [0.25, 0.5, 1, 2, 4]}, domain=RANGE, headed=headed, width=width, mark=1.0,
        kind="log",
    )
