"""Mature and projected rates by closing month, kept apart by shape and word; and past projections beside what came."""

from typing import Any

import altair as alt

from rqa.answers.comebacks.cohorts import ReturnIndices
from rqa.answers.comebacks.projection import Projection, ProjectionBacktest
from rqa.answers.core.needs import said_of
from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.plots.level_change import LINE, change_of, level_layers
from rqa.plots.months import ENOUGH, HEIGHT, PANELS
from rqa.plots.period_axes import PeriodAxes, early_zone, ground, in_panels
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import PAPER, WIDTH, Data, finish
from rqa.words import count, counted, interval, known, listed, month_key, month_name, percent, spoken

WORD = "projected"
FINAL = 5
"""Width of the line that holds the figure to come."""
HEADROOM = 0.16
"""Free height above the values where the means of two levels stand."""
AGES = ("as its month ended", "one month later", "two months later", "three months later")
RATES = {"early": "0 to 6 months since closing", "one_year": "7 to 18 months", "long_term": "more than 18 months"}


@draws(Projection)
def plot_projection(
    answer: Projection, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Rates by closing month: filled dots are mature, hollow ones in the dashed frame projected."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        young = r["matured"] < r["jobs"]
        rows.append({
            "panel": " · ".join(spoken(r[b]) for b in by), "month": month_key(r["month"]),
            "name": month_name(r["month"]), "low": r["low"], "high": r["high"],
            "value": r["projected"] if known(r["projected"]) else None,
            "final_low": r["final_low"], "final_high": r["final_high"], "young": young, "size": r["jobs"],
            "share": percent(r["projected"]), "interval": interval(r["low"], r["high"]),
            "figure": interval(r["final_low"], r["final_high"]) if young else "",
            "counts": f"{count(r['returned_so_far'])} of {count(r['jobs'])} back so far, {count(r['matured'])} matured",
            "state": "projected, not yet mature" if young else "mature",
        })
    rows.sort(key=lambda r: (r["panel"], r["month"]))
    panels = sorted({r["panel"] for r in rows})
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow "
            "the question with where=."
        )
    change = change_of(answer) if len(panels) == 1 else None
    under = _ground(rows, HEADROOM if change else 0.0)
    values = Data(values=rows)
    base = alt.Chart()
    layers = _projection_layers(rows, under, base)
    if change:
        layers = [*level_layers(change, under, lambda f, edge: under.x(f, edge=edge), under.y), *layers]
    picture = in_panels(layers, values, len(panels))
    window, most = answer.settings["window"], max(r["size"] for r in rows)
    title = f"Come-backs within {counted(window, 'day')} by closing month, mature and projected"
    subtitle = [
        f"filled dot = mature rate; line = {_level(answer)} interval of the true rate; bars at the foot = jobs "
        f"(up to {most:,})"
    ]
    if any(r["young"] for r in rows):
        subtitle.append("hollow, in the dashed frame = projected; thick line = where the month's own figure will end")
    return finish(
        picture if len(panels) > 1 else picture.properties(height=HEIGHT), title=title,
        subtitle=[*subtitle, *[LINE] * (change is not None), *limits(answer)],
        description=_description(rows, title) + (f" {change.said}" if change else ""), headed=headed,
        width=None if len(panels) > 1 else width,
    )


def _level(answer: Answer) -> str:
    return f"{float(str(answer.settings['level'])) * 100:g} %"


def _ground(rows: list[dict[str, Any]], headroom: float = 0.0) -> PeriodAxes:
    have = [r for r in rows if r["value"] is not None]
    fair = [r for r in have if r["size"] >= ENOUGH] or have
    highs = [r["high"] for r in fair] or [0.1]
    under = ground([r["month"] for r in rows], [0.0], highs, from_zero=True, headroom=headroom)
    most = max([r["size"] for r in rows] + [1])
    for r in rows:
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["size"] / most, 6)
        if r["value"] is not None:
            r["from"], r["to"] = r["low"], min(r["high"], under.top)
            r["dot"] = min(r["value"], under.top)
            r["final_from"], r["final_to"] = min(r["final_low"], under.top), min(r["final_high"], under.top)
    return under


def _projection_layers(rows: list[dict[str, Any]], under: PeriodAxes, base: Any) -> list[Any]:
    x = under.x()
    tips = [alt.Tooltip("name:N", title="closed in")]
    tips += [alt.Tooltip("panel:N", title="group")] * bool(rows[0]["panel"])
    tips += [alt.Tooltip(f"{field}:N", title=said) for field, said in
             (("state", "which rate"), ("share", "rate"), ("interval", "interval of the true rate"),
              ("figure", "figure to come"), ("counts", "jobs"))]
    have = base.transform_filter("isValid(datum.value)")
    layers = [
        base.mark_bar(style="rqa-size", width=alt.RelativeBandSize(0.7)).encode(
            x=x, y=under.y("foot"), y2=alt.Y2("bar:Q"), tooltip=tips
        ),
        have.transform_filter("!datum.young").mark_line(style="rqa-line").encode(x=x, y=under.y("dot")),
        have.mark_rule(style="rqa-interval").encode(x=x, y=under.y("from"), y2=alt.Y2("to:Q")),
        have.transform_filter("datum.young")
        .mark_rule(style="rqa-interval", strokeWidth=FINAL, strokeCap="butt", opacity=0.55)
        .encode(x=x, y=under.y("final_from"), y2=alt.Y2("final_to:Q")),
        have.transform_filter("!datum.young")
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=x, y=under.y("dot"), tooltip=tips),
        have.transform_filter("datum.young")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x, y=under.y("dot"), tooltip=tips),
    ]
    young = [r["month"] for r in rows if r["young"]]
    return [*early_zone(min(young), max(young), under, base=base, word=WORD), *layers] if young else layers


def _description(rows: list[dict[str, Any]], title: str) -> str:
    def said(r: dict[str, Any]) -> str:
        group = f"{r['panel']}, " if r["panel"] else ""
        return f"{group}{r['name']} {r['share']} (interval {r['interval']}; {r['counts']})"

    ripe = [r for r in rows if not r["young"] and r["value"] is not None]
    text = [f"{title}."]
    if ripe:
        high, low = max(ripe, key=lambda r: r["value"]), min(ripe, key=lambda r: r["value"])
        text.append(f"Mature: highest {said(high)}, lowest {said(low)}, last {said(ripe[-1])}.")
    young = [r for r in rows if r["young"]]
    if young:
        text.append(f"Projected, not yet mature: {'; '.join(said(r) for r in young[:12])}.")
    return " ".join(text)


@draws(ProjectionBacktest)
def plot_backtest(
    answer: ProjectionBacktest, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """What each past month was projected to show, seen from each month's end, and the rate that came."""
    rows = []
    for r in answer.table.iter_rows(named=True):
        seen, month = r["seen_on"], r["month"]
        age = (seen.year - month.year) * 12 + seen.month - month.month
        rows.append({
            "panel": f"seen {AGES[age]}" if age < len(AGES) else f"seen {counted(age, 'month')} later", "age": age,
            "month": month_key(month), "name": month_name(month), "low": r["final_low"], "high": r["final_high"],
            "value": r["projected"], "came": r["came_true"], "held": r["held"],
            "word": "" if r["held"] else "missed", "share": percent(r["projected"]), "true": percent(r["came_true"]),
            "interval": interval(r["final_low"], r["final_high"]),
        })
    rows.sort(key=lambda r: (r["age"], r["month"]))
    panels = list(dict.fromkeys(r["panel"] for r in rows))
    highs = [v for r in rows for v in (r["high"], r["came"])]
    under = ground([r["month"] for r in rows], [0.0], highs, from_zero=True, bars=False)
    values = Data(values=rows)
    alone = len(panels) == 1
    base = alt.Chart(values) if alone else alt.Chart()
    x = under.x()
    tips = [alt.Tooltip("name:N", title="closed in"), alt.Tooltip("panel:N", title="when"),
            alt.Tooltip("share:N", title="projected"), alt.Tooltip("interval:N", title="figure to come"),
            alt.Tooltip("true:N", title="came true")]
    layers = [
        base.mark_rule(style="rqa-interval", strokeWidth=FINAL, strokeCap="butt", opacity=0.55).encode(
            x=x, y=under.y("low"), y2=alt.Y2("high:Q")
        ),
        base.mark_point(style="rqa-hollow", fill=PAPER).encode(x=x, y=under.y("value"), tooltip=tips),
        base.transform_filter("datum.held")
        .mark_point(style="rqa-dot", filled=True, size=30)
        .encode(x=x, y=under.y("came"), tooltip=tips),
        base.transform_filter("!datum.held")
        .mark_point(style="rqa-signal", filled=True, size=90)
        .encode(x=x, y=under.y("came"), tooltip=tips),
        *(
            base.transform_filter(f"!datum.held && {side}")
            .mark_text(style="rqa-word", dy=shift)
            .encode(x=x, y=under.y("came"), text=alt.Text("word:N"))
            for side, shift in (("datum.came > datum.high", -13), ("datum.came < datum.low", 15))
        ),
    ]
    if alone:
        picture = alt.layer(*layers, height=HEIGHT)
    else:
        picture = (
            alt.layer(*layers, data=values)
            .properties(width=width - 60 if isinstance(width, int) else WIDTH, height=130)
            .facet(row=alt.Row("panel:N", title=None, sort=panels, header=alt.Header(labelOrient="top")))
            .properties(spacing=8)
        )
    title = f"Projections of the come-backs within {counted(answer.settings['window'], 'day')}, tried on the past"
    inside = f"{answer.inside} of {answer.judged} held what came"
    subtitle = [
        f"hollow = projected, thick line = {_level(answer)} interval of the figure to come, small dot = what came",
        inside,
    ]
    missed = [f"{r['name']}, {r['panel']}" for r in rows if not r["held"]]
    more = f" Missed: {listed(missed[:12])}." if missed else " No miss."
    return finish(
        picture, title=title, subtitle=[*subtitle, *limits(answer)], description=f"{title}. {inside}.{more}",
        headed=headed, width=width if alone else None,
    )


@draws(ReturnIndices, many_rows=True)
def plot_indices(
    answer: ReturnIndices, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Returns per 100 units and year by month, one panel for each time in service (and group)."""
    by = by_of(answer)
    rows = []
    for r in answer.table.iter_rows(named=True):
        if not known(r["rate"]):
            continue
        rows.append({
            "panel": " · ".join([*(spoken(r[b]) for b in by), RATES[r["index"]]]), "month": month_key(r["month"]),
            "name": month_name(r["month"]), "value": r["rate"], "low": r["low"], "high": r["high"], "size": r["units"],
            "counts": f"{counted(r['returns'], 'return')} of {counted(r['units'], 'unit')}",
        })
    panels = list(dict.fromkeys(r["panel"] for r in rows))
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'group is', 'groups are')} more than a picture of {PANELS} panels holds; narrow "
            "the question with where=."
        )
    title = "Returns per 100 units in service and year"
    if not rows:
        from rqa.plots.theme import nothing

        return nothing(title=title, why=said_of(answer, "No units in service."), headed=headed, width=width)
    fair = [r for r in rows if r["size"] >= ENOUGH] or rows
    top = min(max(r["high"] for r in fair), 2.5 * max(r["value"] for r in fair) + 1)
    under = ground([r["month"] for r in rows], [0.0], [top], from_zero=True, share=False, bars=False)
    for r in rows:
        r["from"], r["to"], r["dot"] = (min(r[c], under.top) for c in ("low", "high", "value"))
    values = Data(values=rows)
    base = alt.Chart(values) if len(panels) == 1 else alt.Chart()
    x = under.x()
    tips = [alt.Tooltip("name:N", title="month"), alt.Tooltip("panel:N", title="since closing")]
    tips += [alt.Tooltip("value:Q", title="per 100 and year", format=".1f"), alt.Tooltip("counts:N", title="of")]
    layers = [
        base.mark_line(style="rqa-line").encode(x=x, y=under.y("dot")),
        base.mark_rule(style="rqa-interval").encode(x=x, y=under.y("from"), y2=alt.Y2("to:Q")),
        base.mark_point(style="rqa-dot", filled=True).encode(x=x, y=under.y("dot"), tooltip=tips),
    ]
    if len(panels) == 1:
        picture = alt.layer(*layers, height=HEIGHT)
    else:
        picture = (
            alt.layer(*layers, data=values)
            .properties(width=width - 60 if isinstance(width, int) else WIDTH, height=130)
            .facet(row=alt.Row("panel:N", title=None, sort=panels, header=alt.Header(labelOrient="top")))
            .properties(spacing=8)
        )
    last = [max((r for r in rows if r["panel"] == p), key=lambda r: r["month"]) for p in panels]
    said = [
        f"{r['panel']}: {r['name']} {r['value']:.1f} (from {r['low']:.1f} to {r['high']:.1f}; {r['counts']})"
        for r in last
    ]
    subtitle = [
        f"dot = rate of the month, line = {_level(answer)} interval; units by time since their repair was closed"
    ]
    return finish(
        picture, title=title, subtitle=[*subtitle, *limits(answer)], description=f"{title}. {'; '.join(said)}.",
        headed=headed, width=width if len(panels) == 1 else None,
    )
