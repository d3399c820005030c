"""Measured values as histograms, with their limits and guard bands, one panel a test."""

from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.tests.readings import MeasuredReadings
from rqa.errors import RequestError
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish, nothing
from rqa.words import counted, figure, known, listed, percent, spoken

PANELS = 12
HEIGHT = 84
KEYS = ("unit", "lower_limit", "upper_limit")


@draws(MeasuredReadings)
def plot_readings(
    answer: MeasuredReadings, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """A panel each group and pair of limits, each on a scale of its own."""
    title, by = "Measured values and their limits", by_of(answer)
    rows = [r for r in answer.table.iter_rows(named=True) if r["readings"]]
    if not rows or answer.histogram is None:
        return nothing(title=title, why=said_of(answer, "No test measured anything."), headed=headed, width=width)
    if len(rows) > PANELS:
        raise RequestError(
            f"{counted(len(rows), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow the "
            "question with where=."
        )
    names = _names(rows, by)
    drawn = [d for r in rows for d in _marks(r, names[tuple(r[k] for k in (*by, *KEYS))])]
    for h in answer.histogram.iter_rows(named=True):
        if h["readings"]:
            said = f"{h['start']:g} to {h['end']:g}: {counted(h['readings'], 'reading')}"
            drawn.append({
                "panel": names[tuple(h[k] for k in (*by, *KEYS))], "kind": "bin", "start": h["start"], "end": h["end"],
                "readings": h["readings"], "foot": 0, "said": said,
            })
    base = alt.Chart()
    scale = alt.Scale(zero=False, nice=False, padding=6)
    y = alt.Y("readings:Q", title=None, axis=None)

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=alt.Axis(tickCount=8, domain=False, grid=False))

    def of(kind: str) -> Any:
        return base.transform_filter(f"datum.kind == '{kind}'")

    top = alt.YValue(0)
    layers = [
        of("guard").mark_rect(style="rqa-band").encode(x=x("start"), x2=alt.X2("end:Q")),
        of("bin")
        .mark_bar(style="rqa-size")
        .encode(x=x("start"), x2=alt.X2("end:Q"), y=y, y2=alt.Y2("foot:Q"), tooltip=alt.Tooltip("said:N")),
        of("limit").mark_rule(style="rqa-limit").encode(x=x("start")),
        of("limit").mark_text(style="rqa-note", baseline="bottom", dy=-2).encode(
            x=x("start"), y=top, text=alt.Text("said:N")
        ),
        of("median")
        .mark_tick(style="rqa-tick", orient="vertical", size=16)
        .encode(x=x("start"), y=alt.YValue("height")),
    ]
    chart = (
        alt.layer(*layers, data=Data(values=drawn))
        .properties(width=(WIDTH if isinstance(width, str) else width) - 20, height=HEIGHT)
        .facet(
            row=alt.Row(
                "panel:N", title=None, sort=list(names.values()), header=alt.Header(labelOrient="top", labelPadding=16)
            )
        )
        .resolve_scale(x="independent", y="independent")
        .properties(spacing=14)
    )
    subtitle = ["bars = first runs, dashed lines = limits, tick at the foot = median"]
    if any(d["kind"] == "guard" for d in drawn):
        risk = float(str(answer.settings["risk"]))
        subtitle.append(f"soft band = guard band, for a risk of {percent(risk)} at the limit")
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)],
        description=f"{title}. {'; '.join(_said(r, by) for r in rows)}.", headed=headed,
    )


def _names(rows: list[dict[str, Any]], by: tuple[str, ...]) -> dict[tuple[Any, ...], str]:
    """A heading for each panel, with its limits where others have the same."""
    heads = [_heading(r, by) for r in rows]
    twice = {head for head in heads if heads.count(head) > 1}
    return {
        tuple(r[k] for k in (*by, *KEYS)): f"{head}, {_limits(r)}" if head in twice else head
        for r, head in zip(rows, heads, strict=True)
    }


def _heading(r: dict[str, Any], by: tuple[str, ...]) -> str:
    parts = [
        " · ".join(spoken(r[b]) for b in by) or "all",
        counted(r["readings"], "reading"),
    ]
    if known(r["outside_share"]):
        parts.append(f"{percent(r['outside_share'])} outside")
    if known(r["ppk"]):
        parts.append(f"Ppk {r['ppk']:.2f}")
    return ", ".join(parts)


def _marks(r: dict[str, Any], panel: str) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = [{"panel": panel, "kind": "median", "start": r["median"]}]
    for side in ("lower", "upper"):
        limit, guard = r[f"{side}_limit"], r[f"guard_{side}"]
        if limit is not None:
            made.append({"panel": panel, "kind": "limit", "start": limit, "said": figure(limit, r["unit"] or "")})
        if limit is not None and guard is not None:
            made.append({"panel": panel, "kind": "guard", "start": min(limit, guard), "end": max(limit, guard)})
    return made


def _said(r: dict[str, Any], by: tuple[str, ...]) -> str:
    unit = r["unit"] or ""
    middle = f"median {figure(r['median'], unit)}, nine tenths within {r['p05']:g} to {r['p95']:g}"
    return f"{_heading(r, by)}: {middle}, {_limits(r)}"


def _limits(r: dict[str, Any]) -> str:
    ends = [f"{side} limit {figure(r[f'{side}_limit'], r['unit'] or '')}" for side in ("lower", "upper")
            if r[f"{side}_limit"] is not None]
    return listed(ends) or "no limits"
