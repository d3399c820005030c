"""Defects per million opportunities by row, with the limits of chance and the sigma level in words."""

from typing import Any

from rqa.answers.yields.defects import Defects
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH
from rqa.words import NAMES, known, spoken


@draws(Defects)
def plot_defects(answer: Defects, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """DPMO on each row, the highest first; the sigma level is said with its convention."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        have = known(r["dpmo"])
        sigma = f"  ·  sigma {r['sigma']:.1f}" if known(r["sigma"]) else ""
        rows.append({
            "label": " · ".join(spoken(r[b]) for b in by) or "all", "value": r["dpmo"] if have else None,
            "low": r["dpmo_low"], "high": r["dpmo_high"], "why": "" if have else "no data",
            "beside": f"{r['failed']:,} in {r['opportunities']:,}{sigma}",
            "interval": f"{r['dpmo_low']:,.0f} to {r['dpmo_high']:,.0f} in a million" if have else "no data",
        })
    rows.sort(key=lambda row: (row["value"] is None, -(row["value"] or 0.0), row["label"]))
    names = " and ".join(NAMES.get(b, b) for b in by)
    level = float(str(answer.settings["level"])) * 100
    top = max([min(r["high"], 1.6 * max(r["value"], 1.0) + 20_000) for r in rows if r["value"] is not None] + [1000.0])
    subtitle = [f"dot = defects in a million opportunities, line = {level:g} % interval; highest first",
                "sigma without the customary shift of 1.5, which is in the table"]
    return figure_rows(
        rows, title="Defects per million opportunities" + (f", by {names}" if names else ""),
        subtitle=[*subtitle, *limits(answer)], axis={"format": "~s"}, domain=(0.0, top), headed=headed, width=width,
    )
