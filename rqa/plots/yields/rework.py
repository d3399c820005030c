"""Where failed checks sent the job, by row: what was logged next, and how often."""

from typing import Any

from rqa.answers.yields.rework import ReworkRoutes
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH
from rqa.words import NAMES, counted, percent, spoken

WAYS = {
    "again": "same step again", "back": "back to {to}", "on": "on to {to}", "ended": "nothing more was logged",
    "unknown": "not known: no time",
}
TITLE = "What came next after a failed check"


@draws(ReworkRoutes)
def plot_routes(answer: ReworkRoutes, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Each way on a row, groups in the order of names and the commonest way first."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        way = WAYS[r["way"]].format(to=spoken(r["to_step"]))
        rows.append({
            "label": " · ".join([*(spoken(r[b]) for b in by), way]), "value": r["share"], "low": r["low"],
            "high": r["high"], "why": "", "beside": f"{r['failures']:,}  ·  {percent(r['share'])}",
            "interval": f"{percent(r['low'])} to {percent(r['high'])}", "key": tuple(str(r[b]) for b in by),
        })
    rows.sort(key=lambda row: (row["key"], -(row["value"] or 0.0), row["label"]))
    for row in rows:
        del row["key"]
    names = " and ".join(NAMES.get(b, b) for b in by)
    level = float(str(answer.settings["level"])) * 100
    of = "the group's" if by else "all"
    subtitle = [f"dot = share of {counted(of, 'failed attempt')}, line = {level:g} % interval"]
    return figure_rows(
        rows, title=TITLE + (f", by {names}" if names else ""), subtitle=[*subtitle, *limits(answer)],
        axis={"format": "%"}, domain=(0.0, 1.0), headed=headed, width=width,
    )
