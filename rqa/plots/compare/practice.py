"""Yield against practice: curves for a few, else how the odds of a pass change with each doubling of the jobs done."""

from typing import Any

import altair as alt
import numpy as np

from rqa.answers.compare.practice import Learning
from rqa.answers.core.needs import said_of
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import counted, known, percent

PANELS = 6
"""Curves drawn; more are shown as rows."""
PANEL_HEIGHT = 130
GRID = 40
RANGE = (0.25, 4.0)
TITLE = "Yield against practice"


@draws(Learning)
def plot_learning(answer: Learning, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Curves of up to six technicians and procedures where all have one; else a row for each with enough work."""
    curves = answer.table.filter(answer.table["doubling"].is_not_null()).height
    told = answer.table.filter(answer.table["verdict"] != "too little work to say").height
    if answer.practice is not None and curves == told and curves in range(1, PANELS + 1):
        return _curves(answer, headed, width)
    return _rows(answer, headed, width)


def _rows(answer: Learning, headed: bool, width: int | str) -> Any:
    rows: list[dict[str, Any]] = []
    for r in answer.table.iter_rows(named=True):
        have = known(r["doubling"])
        if r["verdict"] == "too little work to say":
            continue
        rows.append({
            "label": f"{r['technician']} · {r['procedure']}", "value": r["doubling"] if have else None,
            "low": r["low"] if have else None, "high": r["high"] if have else None,
            "beside": f"{counted(r['jobs'], 'job')}  ·  {percent(r['yield'])}",
            "why": "" if have else r["verdict"] if not known(r["p_value"])
            else f"{r['verdict']}; no curve fits, as all failures are before, or all after, the passes",
            "interval": f"odds times {r['doubling']:.2f} a doubling, {r['low']:.2f} to {r['high']:.2f}: {r['verdict']}"
            if have else "",
        })
    if not rows:
        return nothing(title=TITLE, why=said_of(answer, "There is too little work to say."), headed=headed, width=width)
    few = answer.table.height - len(rows)
    level = float(str(answer.settings["level"])) * 100
    subtitle = [f"dot = odds of a pass, times so much with each doubling of jobs done; line = {level:g} % interval",
                "tick = 1, no change; in the order of names, which is no rank"]
    if few:
        subtitle.append(f"{few:,} more have too little work to say")
    return figure_rows(
        rows, title=TITLE, subtitle=[*subtitle, *limits(answer)], axis={"format": "~g", "values": [0.25, 0.5, 1, 2, 4]},
        domain=RANGE, headed=headed, width=width, mark=1.0, kind="log",
    )


def _curves(answer: Learning, headed: bool, width: int | str) -> Any:
    told = [r for r in answer.table.iter_rows(named=True) if known(r["doubling"])]
    values: list[dict[str, Any]] = []
    for r in told:
        values += _points(answer, r)
    most = max(v["jobs"] for v in values)
    low = min(v[k] for v in values for k in ("smooth_low", "fitted", "depot") if v.get(k) is not None)
    floor = max(0.0, np.floor(low * 20) / 20)
    x = alt.X("jobs:Q", scale=alt.Scale(domain=[1, max(most, 2)], type="log", nice=False),
              axis=alt.Axis(title="jobs of the procedure done", titleAnchor="start", domain=False, grid=False,
                            values=[v for v in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 5000) if v <= most],
                            format="~s"))

    def y(field: str) -> Any:
        scale = alt.Scale(domain=[floor, 1.0], nice=False, zero=False)
        return alt.Y(f"{field}:Q", title=None, scale=scale, axis=alt.Axis(format="%", tickCount=4, domain=False))

    base = alt.Chart()
    tips = [alt.Tooltip("jobs:Q", title="jobs done", format=".0f"),
            alt.Tooltip("fitted:Q", title="curve", format=".1%"),
            alt.Tooltip("smooth:Q", title="smoothed", format=".1%")]
    layers = [
        base.mark_area(style="rqa-band").encode(x=x, y=y("smooth_low"), y2=alt.Y2("smooth_high:Q")),
        base.mark_line(style="rqa-centre", strokeDash=[4, 3]).encode(x=x, y=y("depot")),
        base.mark_line(style="rqa-centre", strokeWidth=0.9).encode(x=x, y=y("smooth")),
        base.mark_line(style="rqa-line", strokeWidth=2.2).encode(x=x, y=y("fitted"), tooltip=tips),
    ]
    level = float(str(answer.settings["level"])) * 100
    subtitle = [f"thick = fitted curve; thin, in its {level:g} % band = what the checks near that many jobs show",
                "dashed = yield of all others on the procedure"]
    data = Data(values=values)
    chart: Any = alt.layer(*layers, data=data, height=PANEL_HEIGHT if len(told) > 1 else 2 * PANEL_HEIGHT)
    chart = chart.properties(width=width if isinstance(width, int) else 300)
    if len(told) > 1:
        chart = chart.facet(row=alt.Row("panel:N", title=None, header=alt.Header(labelOrient="top")), spacing=14)
    else:
        subtitle.insert(0, values[0]["panel"])
    said = "; ".join(f"{r['technician']} on {r['procedure']}: {r['verdict']}, now {percent(r['now'])} "
                     f"({percent(r['now_low'])} to {percent(r['now_high'])})" for r in told)
    return finish(
        chart, title=TITLE, subtitle=[*subtitle, *limits(answer)], description=f"{TITLE}. {said}.", headed=headed
    )


def _points(answer: Learning, row: dict[str, Any]) -> list[dict[str, Any]]:
    import polars as pl

    from rqa.stats import learning_curve, smoothed_yield, yield_on_curve

    assert answer.practice is not None
    own = answer.practice.filter(
        (pl.col("technician") == row["technician"]) & (pl.col("procedure") == row["procedure"])
    )
    counts: dict[str, Any] = {"experience": own["experience"].to_numpy(), "passed": own["passed"].to_numpy(),
              "checked": own["exposures"].to_numpy()}
    level = float(str(answer.settings["level"]))
    at = np.geomspace(1.0, max(float(own["experience"].to_numpy().max()), 2.0), GRID)
    smooth = smoothed_yield(**counts, at=at, level=level)
    fitted = yield_on_curve(learning_curve(**counts, level=level), experience=at)
    panel = f"{row['technician']} · {row['procedure']}: {row['verdict']}"

    def number(value: float) -> float | None:
        return None if np.isnan(value) else round(float(value), 5)

    return [
        {"panel": panel, "jobs": round(float(a), 3), "fitted": number(fitted.estimate[i]),
         "smooth": number(smooth.estimate[i]), "smooth_low": number(smooth.low[i]),
         "smooth_high": number(smooth.high[i]), "depot": row["depot"] if known(row["depot"]) else None}
        for i, a in enumerate(at)
    ]
