"""Stations over time beside the others: single values in their limits, the slow average, signals by shape and word."""

import json
from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.tests.drift import StationDrift
from rqa.plots.period_axes import period_labels
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import figure, known, month_key, month_name, percent, week_of

PANELS = 12
HEIGHT = 90
LOUD = ("drifts", "stands apart", "drifts and stands apart")


@draws(StationDrift)
def plot_stations(
    answer: StationDrift, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """A panel a test and station; of more than twelve those surest to drift or stand apart."""
    title, period = "How far stations lie from the others on comparable work", str(answer.settings["period"])
    order = sorted(answer.table.iter_rows(named=True), key=_surest)
    chosen = sorted(order[:PANELS], key=lambda r: (r["test"], r["unit"] or "", r["station"]))
    names = {(r["test"], r["unit"], r["station"]): _heading(r, period) for r in chosen}
    if answer.charts is None or answer.charts["value"].is_null().all():
        why = said_of(answer, "No station has enough readings beside another one.")
        return nothing(title=title, why=why, headed=headed, width=width)
    rows = [row for r in answer.charts.iter_rows(named=True) if (row := _row(r, names, period))]
    named: set[tuple[str, str]] = set()
    for row in rows:
        row["first"] = row["word"] != "" and (row["panel"], row["word"]) not in named
        named |= {(row["panel"], row["word"])} if row["first"] else set()
    keys = sorted({r["month"] for r in rows})
    labels = period_labels(keys)
    tips = [alt.Tooltip("name:N", title=period), alt.Tooltip("said:N", title="apart"),
            alt.Tooltip("readings:Q", title="readings", format=","), alt.Tooltip("word:N", title="signal")]
    base = alt.Chart()
    x = alt.X("month:O", title=None, scale=alt.Scale(domain=keys),
              axis=alt.Axis(values=list(labels), labelExpr=_label(labels), labelAngle=0, ticks=False))

    def y(field: str) -> Any:
        axis = alt.Axis(tickCount=3, domain=False)
        return alt.Y(f"{field}:Q", title=None, scale=alt.Scale(zero=False, nice=True), axis=axis)

    have, signal = base.transform_filter("isValid(datum.value)"), base.transform_filter("datum.word != ''")
    limited = base.transform_filter("isValid(datum.lower)")
    layers = [
        limited.mark_area(style="rqa-band", interpolate="step").encode(x=x, y=y("lower"), y2=alt.Y2("upper:Q")),
        limited.mark_line(style="rqa-centre").encode(x=x, y=y("centre")),
        have.mark_line(style="rqa-stage").encode(x=x, y=y("ewma")),
        have.mark_line(style="rqa-line").encode(x=x, y=y("value")),
        have.mark_point(style="rqa-dot", filled=True, size=26).encode(x=x, y=y("value"), tooltip=tips),
        signal.mark_point(style="rqa-signal", filled=True, size=90).encode(x=x, y=y("at"), tooltip=tips),
        *(
            base.transform_filter(f"datum.first && {side}datum.above")
            .mark_text(style="rqa-word", dy=dy)
            .encode(x=x, y=y("at"), text=alt.Text("word:N"))
            for side, dy in (("", -12), ("!", 14))
        ),
    ]
    chart = (
        alt.layer(*layers, data=Data(values=rows))
        .properties(width=(WIDTH if isinstance(width, str) else width) - 60, height=HEIGHT)
        .facet(row=alt.Row("panel:N", title=None, sort=list(names.values()), header=alt.Header(labelOrient="top")))
        .resolve_scale(y="independent")
        .properties(spacing=8)
    )
    subtitle = [f"line = station less the others each {period}, band = limits of single values",
                "dashed = average that forgets slowly (EWMA)",
                "diamonds = beyond the limits of either"]
    if len(order) > PANELS:
        subtitle.append(f"the {PANELS} surest of {len(order)}; the table holds all")
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)],
        description=f"{title}. {'; '.join(names.values())}.", headed=headed,
    )


def _surest(r: dict[str, Any]) -> tuple[float, str, str]:
    p = [r[name] for name in ("trend_p", "apart_p") if r[name] is not None]
    return (min(p, default=2.0), r["test"], r["station"])


def _heading(r: dict[str, Any], period: str) -> str:
    unit = r["unit"] or ""
    said = r["verdict"]
    if r["verdict"] in LOUD:
        ways = ("down", "below"), ("up", "above")
        trend = f"drifts {ways[r['trend'] > 0][0]} {_short(r['trend'], unit)} a {period}" if "drifts" in said else ""
        apart = f"stands {_short(r['apart'], unit)} {ways[r['apart'] > 0][1]}" if "apart" in said else ""
        said = ", ".join(part for part in (trend, apart) if part)
    return f"{r['test']} · {r['station']}: {said}"


def _short(value: float, unit: str) -> str:
    return figure(abs(float(f"{value:.2g}")), unit)


def _row(r: dict[str, Any], names: dict[Any, str], period: str) -> dict[str, Any] | None:
    panel = names.get((r["test"], r["unit"], r["station"]))
    if panel is None:
        return None
    key = month_key(r["period"]) if period == "month" else week_of(r["period"])
    single, average = r["signal"] != "", r["ewma_signal"] != ""
    word = "single value" if single else "average" if average else ""
    return {
        "panel": panel, "month": key, "name": month_name(key), "readings": r["readings"],
        **{n: r[n] if known(r[n]) else None for n in ("value", "centre", "lower", "upper", "ewma")},
        "word": word, "at": r["value"] if single else r["ewma"] if average else None,
        "above": (r["signal"] or r["ewma_signal"]).startswith("above"),
        "said": figure(r["value"], r["unit"] or "") if known(r["value"]) else percent(None),
    }


def _label(labels: Any) -> str:
    return f"({json.dumps({k: list(v) for k, v in labels.items()})})[datum.value]"
