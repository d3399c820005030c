"""One job beside its procedure: each step at its place in the plan and in the log, what departs, and its tests."""

from typing import Any

import altair as alt

from rqa.answers.steps.job_history import JobHistory
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import figure, spoken

ROW = 22
"""Pixels a row."""
SAID = 12
"""Departures spelled out in the text alternative; the table holds all."""
BEFORE, BEHIND = 0.75, 2.0
"""How wide the names before the steps are, and the steps with what is said behind them, in lengths of the procedure."""


@draws(JobHistory, many_rows=True)
def plot_job(answer: JobHistory, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row for each step of the procedure and each run of a test, from top to bottom."""
    rows = _rows(answer)
    title = f"Job {answer.settings['job']}: {spoken(answer.settings['procedure'] or 'no procedure')}"
    subtitle = [
        "tick = place in the procedure; dot = place in the log; diamond = departs from the procedure, or failed",
        *limits(answer),
    ]
    most = max((r[name] or 0 for r in rows for name in ("planned", "logged", "mark")), default=0) or 1
    base = alt.Chart()
    y = alt.Y("row:O", axis=None, sort="ascending")
    scale = alt.Scale(domain=[-most * BEFORE, most * BEHIND])
    planned, logged, mark = (alt.X(f"{name}:Q", axis=None, scale=scale) for name in ("planned", "logged", "mark"))
    tips = [alt.Tooltip("label:N", title="row"), alt.Tooltip("said:N", title="how it went")]
    layers = [
        base.mark_tick(style="rqa-tick", thickness=1, size=12).encode(x=planned, y=y, tooltip=tips),
        base.mark_point(style="rqa-dot", filled=True).encode(x=logged, y=y, tooltip=tips),
        base.mark_point(style="rqa-signal", filled=True, size=80).encode(x=mark, y=y, tooltip=tips),
        base.mark_text(style="rqa-label").encode(text=alt.Text("label:N"), x=alt.XValue(0), y=y, tooltip=tips),
        base.mark_text(style="rqa-number").encode(text=alt.Text("said:N"), x=alt.XValue("width"), y=y, tooltip=tips),
    ]
    said = "; ".join(f"{r['label']}: {r['said']}" for r in [r for r in rows if r["mark"] is not None][:SAID])
    return finish(
        alt.layer(*layers, data=Data(values=rows)).properties(height=alt.Step(ROW)), title=title, subtitle=subtitle,
        description=f"{title}. {said or _unmarked(answer)}.", headed=headed, width=width,
    )


def _unmarked(answer: JobHistory) -> str:
    """What there is to say of a job of which no row is marked."""
    planned = answer.table.filter(answer.table["planned"].is_not_null())
    if planned.is_empty():
        return "No steps of a procedure are known"
    if not planned["attempts"].sum():
        return "No step of its procedure is logged"
    if (planned["attempts"] == 0).any():
        return "The steps logged are as the procedure has them; others are not logged"
    return "Its steps are logged as the procedure has them"


def _rows(answer: JobHistory) -> list[dict[str, Any]]:
    """Steps and runs in order; `mark` is where a diamond stands."""
    rows: list[dict[str, Any]] = []
    for r in answer.table.filter(answer.table["kind"] != "part").iter_rows(named=True):
        failed = r["outcome"] in ("fail", "aborted")
        said = r["departs"] or ("" if r["kind"] == "step" and not failed else _ended(r))
        place = r["logged"] or r["planned"] or 0
        row = {"row": len(rows), "label": r["name"] or "parts", "said": said, "planned": r["planned"]}
        marked = {"logged": None, "mark": place} if r["departs"] or failed else {"logged": r["logged"], "mark": None}
        rows.append(row | marked)
    return rows


def _ended(r: dict[str, Any]) -> str:
    """How a run or a failed step ended, with what was read and its limits."""
    said = spoken(r["outcome"]) if r["attempts"] == 1 else f"run {r['attempts']}: {spoken(r['outcome'])}"
    if r["value"] is None:
        return said
    unit = r["unit"] or ""
    ends = [figure(end, "") for end in (r["lower_limit"], r["upper_limit"]) if end is not None]
    allowed = f" ({' to '.join(ends)})" if ends else ""
    return f"{said}  ·  {figure(r['value'], unit)}{allowed}"

