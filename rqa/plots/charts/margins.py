"""Figures by row that are no shares: margins within limits, and weeks until a change is seen."""

from collections.abc import Sequence
from typing import Any

import altair as alt

from rqa.answers.charts.capability import CapabilityIndices
from rqa.answers.charts.detection import TimeToDetect
from rqa.plots.groups import ROW
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import counted, figure, fixed, known, percent, spoken

SAID = 12
MEASURED = {"test_values": "first runs of tests", "step_values": "first attempts at steps",
            "labour_minutes": "labour"}
SHARES = {
    "comebacks": "come-backs", "first_pass_yield": "failed first checks", "first_run_pass": "failed first runs",
    "clean_jobs": "jobs that are not clean",
}
WEEKS = 365.25 / 7
CUT = 3.0
"""An index above this says no more than that there is ample room."""


@draws(CapabilityIndices)
def plot_capability(
    answer: CapabilityIndices, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Ppk with its interval on each row, from the least margin up; rows without an index say why."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        have = known(r["ppk"])
        label = " · ".join(spoken(r[b]) for b in by) or "all"
        said = f"{percent(r['outside'])} outside" if known(r["outside"]) else ""
        readings = counted(r["readings"], "reading")
        row = {
            "label": f"{label}, {_between(r)}", "beside": f"{said}  ·  Ppk {r['ppk']:.2f}" if have else said,
            "why": "" if have else r["refused"].split(",")[0].split(": ")[0].rstrip("."),
            "value": r["ppk"] if have else None, "low": max(r["low"], 0.0) if have else None,
            "high": min(r["high"], CUT) if have else None, "method": f"{readings}, {r['method']}",
            "interval": f"{r['low']:.2f} to {r['high']:.2f}" if have else "no index",
        }
        rows.append(row)
    rows.sort(key=lambda row: (row["value"] is None, row["value"] or 0.0, row["label"]))
    title = f"Margin within limits, {MEASURED[str(answer.settings['measure'])]}"
    level = float(str(answer.settings.get("level", 0.95)))
    subtitle = [
        f"dot = Ppk, line = {level * 100:g} % interval; least margin first",
        "tick = 1: three deviations fit between mean and nearer limit; below it, readings outside are routine",
    ]
    return _rows_chart(rows, title, [*subtitle, *limits(answer)], (1.0,), headed, width)


def _between(r: dict[str, Any]) -> str:
    unit = r["unit"] or ""
    low, high = r["lower_limit"], r["upper_limit"]
    if low is None and high is None:
        return "no limits"
    if low is None or high is None:
        return f"at most {figure(high, unit)}" if low is None else f"at least {figure(low, unit)}"
    return f"{low:g} to {figure(high, unit)}"


@draws(TimeToDetect)
def plot_detection(
    answer: TimeToDetect, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Weeks until a change is seen: the mean as a dot, up to the weeks within which most are seen as a line."""
    by, chance = by_of(answer), float(str(answer.settings["chance"]))
    rows = []
    for r in answer.table.iter_rows(named=True):
        have = known(r["mean"])
        label = " · ".join([*(spoken(r[b]) for b in by), r["chart"]])
        years = counted(fixed(r["mean_time_between_false_alarms"] / WEEKS, 1), "year") if have else ""
        alarm = f"false alarm every {years}" if have else ""
        mean, within = (counted(fixed(r[name], 0), "week") if have else "" for name in ("mean", "within"))
        rows.append({
            "label": label, "beside": f"{mean}  ·  {alarm}" if have else "", "method": alarm,
            "why": "" if have else "no data to go by",
            "value": r["mean"] if have else None, "low": r["mean"] if have else None,
            "high": r["within"] if have else None,
            "interval": f"{within} in {chance * 100:g} % of cases" if have else "no data",
        })
    measure, change = str(answer.settings["measure"]), float(str(answer.settings["change"]))
    title = f"Weeks until {counted(f'{change:g}', 'time')} as many {SHARES[measure]} are seen"
    subtitle = [f"dot = mean, line = up to the weeks within which {chance * 100:g} % of such changes are seen",
                "false alarm every … = average time between two while nothing changes"]
    return _rows_chart(rows, title, [*subtitle, *limits(answer)], (), headed, width)


def _rows_chart(
    rows: list[dict[str, Any]], title: str, subtitle: Sequence[str], marks: Sequence[float], headed: bool,
    width: int | str,
) -> Any:
    for place, row in enumerate(rows):
        row["row"] = place
    top = max([r["high"] for r in rows if r["high"] is not None] + [1.2 * m for m in marks] + [1.0])
    scale, axis = alt.Scale(domain=[0.0, top], nice=True, zero=True), alt.Axis(tickCount=6, domain=False)

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=axis)

    base = alt.Chart()
    have = base.transform_filter("isValid(datum.value)")
    y = alt.Y("row:O", axis=None, sort="ascending")
    tips = [alt.Tooltip("label:N", title="row"), alt.Tooltip("beside:N", title="figures"),
            alt.Tooltip("interval:N", title="interval"), alt.Tooltip("method:N", title="how")]
    across = {"x": alt.XValue(0), "y": y}
    layers = [
        have.transform_calculate(mark=str(m))
        .mark_tick(style="rqa-tick", orient="vertical", size=15, yOffset=9)
        .encode(x=x("mark"), y=y)
        for m in marks
    ]
    layers += [
        have.mark_rule(style="rqa-interval", yOffset=9).encode(x=x("low"), x2=alt.X2("high:Q"), y=y),
        have.mark_point(style="rqa-dot", yOffset=9, filled=True).encode(x=x("value"), y=y, tooltip=tips),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(60, width - 150)")).encode(
            text=alt.Text("label:N"), tooltip=tips, **across
        ),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
        base.transform_filter("datum.why != ''")
        .mark_text(style="rqa-note", yOffset=9, align="left", fontStyle="italic", limit=alt.ExprRef("width"))
        .encode(text=alt.Text("why:N"), **across),
    ]
    said = [
        f"{r['label']}: {r['beside'] or r['why']}" + (f" ({r['interval']})" * (r["value"] is not None)) for r in rows
    ]
    more = f" And {counted(len(said) - SAID, 'more row')}." if len(said) > SAID else ""
    chart = alt.layer(*layers, data=Data(values=rows), height=alt.Step(ROW))
    return finish(chart, title=title, subtitle=subtitle, description=f"{title}. {'; '.join(said[:SAID])}.{more}",
                  headed=headed, width=width)
