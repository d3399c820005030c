"""The history of a unit on a time line: a bar for each job, a mark for what failed in it, and how it came back."""

from typing import Any

import altair as alt

from rqa.answers.comebacks.unit_history import UnitHistory
from rqa.plots.groups import ROW
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import counted, listed, spoken

LATEST = 40
"""Jobs that are drawn at most: the latest."""


@draws(UnitHistory, many_rows=True)
def plot_unit(answer: UnitHistory, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row for each job, the first on top: open from day to day, with what failed, and the class it came back with."""
    rows = _rows(answer)
    drawn = rows[-LATEST:]
    title = f"History of unit {answer.settings['unit']}"
    subtitle = ["dot and bar = the day a job was opened, and the days it was open; diamond = a failed step or test",
                *(["the latest jobs; the table holds all"] if len(rows) > LATEST else []), *limits(answer)]
    base, y = alt.Chart(), alt.Y("row:O", axis=None, sort="ascending")
    tips = [alt.Tooltip("label:N", title="job"), alt.Tooltip("beside:N", title="how it ended")]
    x = alt.X("from:T", title=None, axis=alt.Axis(tickCount=6, format="%b %Y"), scale=alt.Scale(nice=False))
    across = {"x": alt.XValue(0), "y": y}
    layers = [
        base.mark_bar(style="rqa-size", height=9, yOffset=9, minBandSize=2)
        .encode(x=x, x2=alt.X2("to:T"), y=y, tooltip=tips),
        base.mark_point(style="rqa-dot", filled=True, yOffset=9).encode(x=x, y=y, tooltip=tips),
        base.mark_point(style="rqa-signal", filled=True, size=60, yOffset=9)
        .encode(x=alt.X("mark:T"), y=y, tooltip=alt.Tooltip("failed:N", title="failed")),
        base.mark_text(style="rqa-label", yOffset=-7).encode(text=alt.Text("label:N"), tooltip=tips, **across),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
    ]
    said = "; ".join(
        f"{r['label']}: {r['beside']}" + (f", failed: {listed([what for _, what in r['marks']])}" if r["marks"] else "")
        for r in drawn
    )
    marks = [
        {"row": r["row"], "label": "", "beside": "", "mark": day, "failed": what}
        for r in drawn for day, what in r.pop("marks")
    ]
    return finish(
        alt.layer(*layers, data=Data(values=drawn + marks)).properties(height=alt.Step(ROW)), title=title,
        subtitle=subtitle, description=f"{title}. {said}.", headed=headed, width=width,
    )


def _rows(answer: UnitHistory) -> list[dict[str, Any]]:
    """A row for each job in order of opening; its marks are the days and names of what failed."""
    rows: dict[str, dict[str, Any]] = {}
    for r in answer.table.filter(answer.table["job_id"].is_not_null()).iter_rows(named=True):
        day = str(r["day"])
        if r["event"] == "opened":
            rows[r["job_id"]] = {
                "row": len(rows), "label": f"{r['job_id']} · {r['outcome']}", "from": day,
                "to": str(answer.settings["as_of"]), "beside": "open", "marks": [],
            }
            continue
        row = rows[r["job_id"]]
        if r["event"] == "came back":
            row["beside"] = f"came back after {counted(r['number'], 'day')}, {spoken(r['what'])}  ·  open"
        elif r["event"] == "came again":
            row["beside"] = f"again after {counted(r['number'], 'day')}, not after a repair  ·  open"
        elif r["event"] == "closed":
            row |= {"to": day, "beside": row["beside"].removesuffix("open") + f"{spoken(r['outcome'])} {day}"}
        elif r["outcome"] == "fail":
            row["marks"].append((day, r["what"]))
    return list(rows.values())
