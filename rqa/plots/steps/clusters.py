"""Failures alike as rows: the marks that tell each cluster, its jobs, and the share of them that came back."""

from typing import Any

from rqa.answers.core.needs import said_of
from rqa.answers.steps.clusters import Clusters
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, nothing
from rqa.words import count, counted, interval, percent

MOST = 24
TITLE = "Failures alike"


@draws(Clusters)
def plot_clusters(answer: Clusters, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row for each cluster, the largest first: its telling marks, its jobs, its come-backs with their interval."""
    table = answer.table
    if not table.height:
        return nothing(title=TITLE, why=said_of(answer, answer.notes[-1]), headed=headed, width=width)
    rows = [
        {
            "label": _label(r), "beside": f"{counted(r['jobs'], 'job')}  ·  {percent(r['rate'])}",
            "value": r["rate"], "low": r["low"], "high": r["high"], "why": "",
            "interval": f"{count(r['returned'])} of {count(r['jobs'])} came back, {interval(r['low'], r['high'])}; "
            f"{r['firmness']}",
        }
        for r in table.head(MOST).iter_rows(named=True)
    ]
    level = float(str(answer.settings["level"])) * 100
    subtitle = ["a row = jobs that failed alike, by the marks that tell them (share with it)",
                f"dot = share of them that came back within {counted(answer.settings['window'], 'day')}, line = "
                f"{level:g} % interval"]
    if table.height > MOST:
        subtitle.append(f"{table.height - MOST:,} smaller ones are in the table")
    top = max(max(r["high"] for r in rows), 0.05)
    return figure_rows(
        rows, title=TITLE, subtitle=[*subtitle, *limits(answer)], axis={"format": "%"},
        domain=(0.0, min(top * 1.02, 1.0)), headed=headed, width=width,
    )


def _label(row: dict[str, Any]) -> str:
    marks = "; ".join(m.rsplit(" (", 1)[0] for m in row["marks"].split("; "))
    shaky = " (shaky)" if row["firmness"] == "shaky" else ""
    return f"{marks}{shaky}" + (f" — too often at {row['too_often']}" if row["too_often"] else "")
