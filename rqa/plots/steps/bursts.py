"""Bursts on a time line: a row for each group, its events as dots by period, the bunched ones as a bar with a word."""

from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.steps.bursts import Bursts
from rqa.plots.period_axes import all_periods, period_labels
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import INK, PAPER, QUIET, SIGNAL, WIDTH, Data, finish, nothing
from rqa.words import NAMES, count, known, month_key, month_name, spoken, week_of

ROW = 40
MOST = 20
"""Rows drawn; the table holds all."""
LARGE = 20
"""Events of a period that are drawn as the largest dot, where none has more."""
SAID = 8
TITLES = {"comebacks": "Bursts of come-backs", "failed_checks": "Bursts of failed checks"}


@draws(Bursts)
def plot_bursts(answer: Bursts, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row for each burst, its echoes, and the fullest window left in each dimension, which chance explains."""
    title = TITLES[str(answer.settings["what"])]
    assert answer.series is not None
    series = list(answer.series.iter_rows(named=True))
    if not series:
        return nothing(
            title=title, why=said_of(answer, "There are too few events to search."), headed=headed, width=width
        )
    period = str(answer.settings["period"])
    name = week_of if period == "week" else month_key
    periods = all_periods([name(s["period"]) for s in series])
    at = {p: i for i, p in enumerate(periods)}
    rows = []
    for place, r in enumerate(list(answer.table.iter_rows(named=True))[:MOST]):
        first, last = name(r["first"]), name(r["last"])
        ends = month_name(first) if first == last else f"{month_name(first)} to {month_name(last)}"
        word = f"echo of {r['echo_of']}" if r["verdict"] == "echo" else r["verdict"]
        rows.append({
            "row": place, "left": at[first], "right": at[last] + 1, "kind": r["verdict"],
            "label": f"{r['burst']}  {_group(r)}", "word": word, "ends": ends,
            "beside": f"{count(r['events'])} of {count(r['cases'])}, {r['expected']:.1f} expected",
            "ratio": f"{r['ratio']:.1f} times the rate of what it is set against" if known(r["ratio"]) else "no others",
        })
    dots = _dots(answer, series, at, name)
    labels = {str(at[p] + 0.5): lines for p, lines in period_labels(periods).items()}
    chart = _layers(rows, dots, labels, len(periods))
    subtitle = [
        f"bar = the {period}s that were fullest, with its word; dots = events, larger for more",
        "at the right: events of the cases in the bar, and what their kind of work brings",
    ]
    said = [f"{r['label']}, {r['ends']}: {r['word']}, {r['beside']}" for r in rows]
    more = f" And {len(said) - SAID} more." if len(said) > SAID else ""
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)],
        description=f"{title}. {'; '.join(said[:SAID])}.{more}", headed=headed, width=width,
    )


def _group(row: dict[str, Any]) -> str:
    if row["group"] is None:
        return "all work"
    part = f" of {spoken(row['part_no'])}" if row["part_no"] else ""
    return f"{NAMES.get(row['dimension'], row['dimension'])} {spoken(row['group'])}{part}"


def _dots(answer: Bursts, series: list[dict[str, Any]], at: dict[str, int], name: Any) -> list[dict[str, Any]]:
    """Events of each row's group by period."""
    of: dict[Any, list[dict[str, Any]]] = {}
    for s in series:
        of.setdefault((s["dimension"], s["part_no"], s["group"]), []).append(s)
    return [
        {"row": place, "at": at[name(s["period"])] + 0.5, "events": s["events"],
         "said": f"{month_name(name(s['period']))}: {count(s['events'])} of {count(s['cases'])}"}
        for place, r in enumerate(list(answer.table.iter_rows(named=True))[:MOST])
        for s in of.get((r["dimension"], r["part_no"] or "", r["group"] or ""), [])
        if s["events"]
    ]


def _layers(rows: list[dict[str, Any]], dots: list[dict[str, Any]], labels: dict[str, Any], periods: int) -> Any:
    base, points = alt.Chart(Data(values=rows)), alt.Chart(Data(values=dots))
    axis = alt.Axis(
        values=[float(v) for v in labels], labelExpr=f"({_json(labels)})[format(datum.value, '.1f')]", domain=False,
        ticks=False, grid=False, labelLineHeight=13, labelOverlap=True,
    )

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=alt.Scale(domain=[0, periods], nice=False), axis=axis)

    y = alt.Y("row:O", axis=None, sort="ascending")
    told = {"label": "group", "word": "verdict", "ends": "when", "beside": "events", "ratio": "rate in the bar"}
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in told.items()]
    bar: dict[str, Any] = {"height": 14, "yOffset": 9}
    styles: tuple[tuple[str, dict[str, Any]], ...] = (
        ("burst", {"fill": SIGNAL, "fillOpacity": 0.28, "stroke": SIGNAL, "strokeWidth": 1.6}),
        ("echo", {"fill": PAPER, "fillOpacity": 0.01, "stroke": INK, "strokeWidth": 1.2, "strokeDash": [4, 3]}),
        ("within chance variation", {"fill": PAPER, "fillOpacity": 0.01, "stroke": QUIET, "strokeWidth": 0.7}),
    )
    layers = [base.mark_rule(style="rqa-line", yOffset=9, strokeWidth=0.4, opacity=0.5).encode(
        x=alt.XValue(0), x2=alt.X2Value("width"), y=y)]
    for kind, look in styles:
        layers.append(
            base.transform_filter(f"datum.kind == '{kind}'")
            .mark_bar(**bar, **look)
            .encode(x=x("left"), x2=alt.X2("right:Q"), y=y, tooltip=tips)
        )
    most = max([d["events"] for d in dots] + [LARGE])
    size = alt.Size("events:Q", legend=None, scale=alt.Scale(type="sqrt", domain=[0, most], range=[0, 220]))
    layers.append(
        points.mark_point(filled=True, yOffset=9, color=INK, opacity=0.75).encode(
            x=x("at"), y=y, size=size, tooltip=[alt.Tooltip("said:N", title="events")]
        )
    )
    across = {"x": alt.XValue(0), "y": y}
    for test, style in (("datum.kind == 'burst'", "rqa-word"), ("datum.kind != 'burst'", "rqa-note")):
        layers.append(
            base.transform_filter(test)
            .transform_calculate(said="datum.label + ': ' + datum.word")
            .mark_text(style=style, align="left", yOffset=-9, limit=alt.ExprRef("max(60, width - 150)"))
            .encode(text=alt.Text("said:N"), **across)
        )
    layers.append(
        base.mark_text(style="rqa-number", yOffset=-9).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y)
    )
    return alt.layer(*layers, height=alt.Step(ROW))


def _json(labels: dict[str, Any]) -> str:
    import json

    return json.dumps(labels)
