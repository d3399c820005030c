"""Tables of shares as shaded cells with a number in each: cohorts by age, what was named against what was found."""

from typing import Any

import altair as alt

from rqa.answers.comebacks.cohorts import Cohorts
from rqa.answers.comebacks.return_matrix import FindingMatrix
from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import INK, PAPER, QUIET, WIDTH, Data, finish
from rqa.words import MONTHS, count, counted, month_key, month_name, percent, spoken

CELL = 24
PANELS = 6
SHADES = (PAPER, "#9fb0bd")
"""From none to the highest share; the number in each cell is what is read, the shade only guides the eye."""
SAID = 12


@draws(Cohorts, many_rows=True)
def plot_cohorts(answer: Cohorts, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Closing months by months since closing, one panel for each group; cells that will still change are framed."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "line": month_key(r["month"]), "cell": str(r["age"]),
            "value": r["share"], "said": "" if r["share"] is None else _short(r["share"]), "mature": r["mature"],
            "counts": f"{count(r['returned'])} of {count(r['jobs'])}", "name": month_name(r["month"]),
            "state": "final" if r["mature"] else "month not over", "beside": f"{_axis(r['month'])}, {count(r['jobs'])}",
        })
    ages = [str(a) for a in range(int(answer.table["age"].max()) + 1)]  # type: ignore[arg-type]
    title = "Come-backs by closing month and months since closing"
    title += f", by {' and '.join(b.replace('_', ' ') for b in by)}" if by else ""
    subtitle = ["number = percent of the month's jobs back by the end of that month; beside each month its jobs"]
    if not answer.table["mature"].all():
        subtitle.append("dashed frame, slanting number = that month is not over, the share will still change")
    return shaded_cells(
        answer, rows, ages, title, subtitle, "months since closing", headed, width,
        said=[f"{r['panel'] + ' ' if r['panel'] else ''}{r['name']}, {counted(int(r['cell']), 'month')} on: "
              f"{percent(r['value'])} ({r['counts']}, {r['state']})" for r in rows if _last_mature(rows, r)],
    )


def _axis(month: Any) -> str:
    return f"{MONTHS[month.month - 1][:3]} {month.year}"


def _short(share: float) -> str:
    return f"{share * 100:.0f}" if share >= 0.0995 or share == 0 else f"{share * 100:.1f}"


def _last_mature(rows: list[dict[str, Any]], row: dict[str, Any]) -> bool:
    return bool(row["mature"]) and not any(
        r["panel"] == row["panel"] and r["line"] == row["line"] and r["mature"] and int(r["cell"]) > int(row["cell"])
        for r in rows
    )


@draws(FindingMatrix)
def plot_matrix(answer: FindingMatrix, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """What was named (or repaired) by row against what was found by column, one panel for each group."""
    by, named = by_of(answer), str(answer.settings["named"])
    table = answer.table
    totals: dict[Any, int] = {}
    for r in table.iter_rows(named=True):
        key = (tuple(r[b] for b in by), r[named])
        totals[key] = totals.get(key, 0) + r["returned"]
    rows = []
    for r in table.iter_rows(named=True):
        total = totals[tuple(r[b] for b in by), r[named]]
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "line": spoken(r[named]), "cell": spoken(r["found"]),
            "value": r["of_row"], "said": count(r["returned"]), "mature": True, "counts": f"{r['returned']} of {total}",
            "name": spoken(r[named]), "state": "", "beside": f"{spoken(r[named])}, {count(total)}",
        })
    cells = sorted({r["cell"] for r in rows}, key=lambda c: (c in ("nothing", "unknown"), c))
    word = "complained of this time" if named == "complaint" else "repaired before"
    title = f"Come-backs within {counted(answer.settings['window'], 'day')}: what was {word}, and what was found"
    title += f", by {' and '.join(b.replace('_', ' ') for b in by)}" if by else ""
    subtitle = [f"rows: {word}, with their come-backs; columns: found on return",
                "number = come-backs; the darker, the larger its part of the row"]
    said = [f"{r['panel'] + ' ' if r['panel'] else ''}{r['line']}: {r['cell']} found in {r['counts']}"
            for r in sorted(rows, key=lambda r: -int(r["said"].replace(",", "")))]
    return shaded_cells(answer, rows, cells, title, subtitle, "found on return", headed, width, said=said)


def shaded_cells(
    answer: Answer, rows: list[dict[str, Any]], cells: list[str], title: str, subtitle: list[str], axis: str,
    headed: bool, width: int | str, *, said: list[str],
) -> Any:
    """Rows of panel, line (their order), beside (their name), cell, value, said, counts, as shaded cells in panels."""
    panels = list(dict.fromkeys(r["panel"] for r in rows))
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} tables holds; narrow "
            "the question with where=."
        )
    top = max([r["value"] for r in rows if r["value"] is not None] + [0.01])
    made = []
    for panel in panels:
        own = [r for r in rows if r["panel"] == panel]
        made.append(_panel(own, cells, top, axis, panel, width))
    chart = made[0] if len(made) == 1 else alt.vconcat(*made).properties(spacing=14)
    more = f" And {len(said) - SAID} more." if len(said) > SAID else ""
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)],
        description=f"{title}. {'; '.join(said[-SAID:] if isinstance(answer, Cohorts) else said[:SAID])}.{more}",
        headed=headed, width=width if len(made) == 1 else None,
    )


def _panel(own: list[dict[str, Any]], cells: list[str], top: float, axis: str, panel: str, width: int | str) -> Any:
    base = alt.Chart(Data(values=own))
    lines = list(dict.fromkeys(r["beside"] for r in sorted(own, key=lambda r: r["line"])))
    turned = any(len(c) > 2 for c in cells)
    x = alt.X("cell:O", title=axis, scale=alt.Scale(domain=cells),
              axis=alt.Axis(orient="top", labelAngle=-35 if turned else 0, domain=False, ticks=False))
    y = alt.Y("beside:O", title=None, scale=alt.Scale(domain=lines),
              axis=alt.Axis(domain=False, ticks=False, labelLimit=170))
    tips = [alt.Tooltip("name:N", title="row"), alt.Tooltip("cell:N", title=axis),
            alt.Tooltip("counts:N", title="come-backs"), alt.Tooltip("value:Q", title="share", format=".1%"),
            *([alt.Tooltip("state:N", title="state")] * bool(own[0]["state"]))]
    shade = alt.Color("value:Q", legend=None, scale=alt.Scale(domain=[0, top], range=list(SHADES), interpolate="rgb"))
    layers = [base.mark_rect(stroke=PAPER, strokeWidth=1).encode(x=x, y=y, color=shade, tooltip=tips)]
    if any(not r["mature"] for r in own):
        young = base.transform_filter("!datum.mature")
        layers.append(young.mark_rect(fillOpacity=0, stroke=QUIET, strokeDash=[2, 2], strokeWidth=1).encode(x=x, y=y))
    for test, slant in (("datum.mature", "normal"), ("!datum.mature", "italic")):
        words = base.transform_filter(test)
        layers.append(
            words.mark_text(color=INK, fontStyle=slant, fontSize=10.5).encode(x=x, y=y, text=alt.Text("said:N"))
        )
    chart = alt.layer(*layers, height=alt.Step(CELL))
    if panel:
        chart = chart.properties(
            title=alt.TitleParams(text=panel, fontSize=12, offset=6), width=width if isinstance(width, int) else WIDTH
        )
    return chart
