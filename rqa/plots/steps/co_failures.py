"""Failures met together: how many times as often as each coming on its own, by row or in half a matrix."""

from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.steps.co_failures import CoFailures
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import INK, PAPER, QUIET, SIGNAL, WIDTH, Data, finish, nothing
from rqa.words import counted, spoken

MOST = 14
"""Failures on each side; beyond, those of the surest pairs are kept."""
CELL = 28
SHADES = ("#eef2f4", "#9fb0bd")
SAID = 10
FEW = 8
"""Pairs up to which each has a row of its own, with its limits."""
TITLE = "Failures met together"
WORDS = {"step": "step", "test": "test", "found": "found"}


@draws(CoFailures, many_rows=True)
def plot_co_failures(
    answer: CoFailures, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Pairs beyond chance: a few as rows with their limits; more as shaded cells, a dot where chance explains it."""
    met = answer.table.filter(answer.table["verdict"] == "together more often")
    if not met.height:
        why = said_of(
            answer,
            f"{counted(answer.table.height, 'pair was', 'pairs were')} compared; chance explains all of them.",
        )
        return nothing(title=TITLE, why=why, headed=headed, width=width, said="nothing beyond chance")
    if met.height <= FEW:
        return _rows(answer, list(met.iter_rows(named=True)), headed, width)
    marks: list[str] = []
    for r in met.iter_rows(named=True):
        new = [m for m in _pair(r) if m not in marks]
        if len(marks) + len(new) <= MOST:
            marks += new
    marks.sort()
    cells = []
    for r in answer.table.iter_rows(named=True):
        one, two = sorted(_pair(r))
        if one in marks and two in marks:
            sure = r["verdict"] == "together more often"
            cells.append({
                "line": two, "cell": one, "sure": sure, "value": min(r["lift"], 20.0) if sure else None,
                "said": (f"{r['lift']:.0f}×" if r["lift"] >= 9.95 else f"{r['lift']:.1f}×") if sure else "·",
                "counts": f"{counted(r['together'], 'job')}, {r['expected']:.1f} expected",
                "lift": f"{r['lift']:.1f} times as often as if each came on its own ({r['low']:.1f} to "
                f"{r['high']:.1f})",
                "verdict": r["verdict"],
            })
    said = [f"{c['cell']} with {c['line']}: {c['lift']}, {c['counts']}" for c in cells if c["sure"]]
    more = f" And {len(said) - SAID} more." if len(said) > SAID else ""
    subtitle = ["number = times as often as if each came on its own, beyond chance; · = chance explains it"]
    left = met.height - len(said)
    if left:
        subtitle.append(f"{counted(left, 'more such pair is', 'more such pairs are')} in the table")
    return finish(
        _half(cells, marks), title=TITLE, subtitle=[*subtitle, *limits(answer)],
        description=f"{TITLE}. {'; '.join(said[:SAID])}.{more}", headed=headed, width=width,
    )


def _rows(answer: CoFailures, met: list[dict[str, Any]], headed: bool, width: int | str) -> Any:
    rows = [
        {
            "label": " with ".join(_pair(r)), "value": r["lift"], "low": r["low"], "high": r["high"], "why": "",
            "beside": f"{r['lift']:.1f} times  ·  {counted(r['together'], 'job')}",
            "interval": f"{r['low']:.1f} to {r['high']:.1f} times, where {r['expected']:.1f} jobs were to be expected",
        }
        for r in met
    ]
    level = float(str(answer.settings["level"])) * 100
    subtitle = [f"dot = times as often as if each came on its own; line = {level:g} % interval; tick = 1, as often"]
    ends = (0.5, max(20.0, *(r["high"] for r in met)))
    ticks = [v for v in (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if v <= ends[1]]
    return figure_rows(
        rows, title=TITLE, subtitle=[*subtitle, *limits(answer)], axis={"format": "~g", "values": ticks}, domain=ends,
        headed=headed, width=width, mark=1.0, kind="log",
    )


def _pair(row: dict[str, Any]) -> tuple[str, str]:
    return tuple(f"{WORDS[row[f'{w}_kind']]}: {spoken(row[w])}" for w in ("first", "second"))  # type: ignore[return-value]


def _half(cells: list[dict[str, Any]], marks: list[str]) -> Any:
    base = alt.Chart(Data(values=cells))
    x = alt.X("cell:O", title=None, scale=alt.Scale(domain=marks[:-1]),
              axis=alt.Axis(orient="bottom", labelAngle=-35, labelLimit=150, domain=False, ticks=False))
    y = alt.Y("line:O", title=None, scale=alt.Scale(domain=marks[1:]),
              axis=alt.Axis(labelLimit=180, domain=False, ticks=False))
    told = {"cell": "one", "line": "other", "lift": "as often", "counts": "together", "verdict": "verdict"}
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in told.items()]
    sure = base.transform_filter("datum.sure")
    shade = alt.Color("value:Q", legend=None, scale=alt.Scale(domain=[1, 20], range=list(SHADES), type="log"))
    return alt.layer(
        sure.mark_rect(stroke=SIGNAL, strokeWidth=1.2).encode(x=x, y=y, color=shade, tooltip=tips),
        base.transform_filter("!datum.sure").mark_rect(color=PAPER, opacity=0.01).encode(x=x, y=y, tooltip=tips),
        sure.mark_text(color=INK, fontSize=11, fontWeight="bold").encode(x=x, y=y, text=alt.Text("said:N")),
        base.transform_filter("!datum.sure").mark_text(color=QUIET, fontSize=11).encode(
            x=x, y=y, text=alt.Text("said:N")
        ),
    ).properties(height=alt.Step(CELL))
