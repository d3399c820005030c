"""Steps by the subsystems they touch, with the come-backs attributed to them: the touch matrix."""

from typing import Any

from rqa.answers.steps.attribution import Attribution
from rqa.plots.heat import shaded_cells
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of
from rqa.plots.theme import WIDTH
from rqa.words import count, counted, spoken

PER = 10_000
MOST = 40
"""Rows drawn; the table holds all."""
FITS = 27
"""Letters of a name beside its row."""


@draws(Attribution)
def plot_touch_matrix(
    answer: Attribution, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """A row a step, or a group that cannot be told apart, one panel for each group of jobs; shaded by their rate."""
    by = by_of(answer)
    cause = next(name for name in ("step", "hazard") if name in answer.table.columns)
    extra = [name for name in ("bench", "tool") if name in answer.table.columns and name not in by]
    rows: list[dict[str, Any]] = []
    for r in answer.table.iter_rows(named=True):
        names = r[cause].split(" + ")
        # The bench or tool first: of a long name only the end is cut.
        label = " · ".join([*(r[name] for name in extra), _short(names)])
        told = r["per_10000"] is not None
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "line": "", "cell": spoken(r["subsystem"]),
            "value": r["per_10000"] / PER if told else None, "said": f"{r['attributed']:.0f}" if told else "?",
            "mature": True, "name": " · ".join([spoken(r[cause]), *(r[name] for name in extra)]), "state": "",
            "counts": f"{r['attributed']:.1f} of {count(r['candidate_in'])} possible" if told else "not to be told",
            "beside": label, "order": r["per_10000"] or 0.0,
        })
    worst: dict[str, float] = {}
    for row in rows:
        worst[row["beside"]] = max(worst.get(row["beside"], 0.0), row.pop("order"))
    order = sorted(worst, key=lambda w: (-worst[w], w))
    places = {label: f"{i:05d}" for i, label in enumerate(order[:MOST])}
    rows = [row | {"line": places[row["beside"]]} for row in rows if row["beside"] in places]
    rows.sort(key=lambda row: (row["panel"], row["line"], row["cell"]))
    title = f"Come-backs within {counted(answer.settings['window'], 'day')} attributed to {cause}s"
    title += f", by {' and '.join(spoken(b) for b in by)}" if by else ""
    said = [
        f"{row['panel'] + ' ' if row['panel'] else ''}{row['name']}, {row['cell']}: {row['counts']}"
        for row in sorted(rows, key=lambda row: (-(row["value"] or 0.0), row["name"]))
    ]
    return shaded_cells(
        answer, rows, sorted({row["cell"] for row in rows}), title,
        [f"rows: {cause}s, the riskiest first; columns: what was found at fault",
         "number = come-backs attributed to it; the darker, the more per job that did it",
         "+ joins what the logs cannot tell apart",
         *([f"the first {MOST} of {counted(len(order), 'cause')}"] if len(order) > MOST else [])],
        "found at fault on return", headed, width, said=said,
    )


def _short(names: list[str]) -> str:
    names = [spoken(name) for name in names]
    whole = " + ".join(names)
    return whole if len(whole) <= FITS or len(names) == 1 else f"{names[0]} + {len(names) - 1} more"
