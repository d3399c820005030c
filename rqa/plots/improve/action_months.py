"""An action's months: rates, the lines fitted before and after, the trend before drawn on; and power by month."""

from typing import Any

import altair as alt

from rqa.answers.improve.action_power import ActionPower
from rqa.answers.improve.action_trend import ActionTrend
from rqa.plots.period_axes import PeriodAxes, ground
from rqa.plots.pictures import draws
from rqa.plots.theme import PAPER, WIDTH, Data, finish
from rqa.words import count, counted, interval, known, month_key, month_name, percent

HEIGHT = 250
ENOUGH = 20
"""A month with fewer jobs does not stretch the scale."""
LINES = ("fitted", "unchanged", "unchanged_low", "unchanged_high")


@draws(ActionTrend)
def plot_action_trend(
    answer: ActionTrend, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Months with intervals, the fitted lines, and in a band the trend before as it would have gone on."""
    rows = _rows(answer)
    fair = [r for r in rows if r["value"] is not None and r["size"] >= ENOUGH] or [
        r for r in rows if r["value"] is not None
    ]
    tops = [r["high"] for r in fair] + [r["unchanged_high"] for r in rows if r["unchanged_high"] is not None]
    under = ground([r["month"] for r in rows], [0.0], tops or [0.02], from_zero=True, headroom=0.08)
    most = max([r["size"] for r in rows] + [1])
    for r in rows:
        r["foot"] = round(under.bottom, 6)
        r["bar"] = round(under.bottom + 0.13 * (under.top - under.floor) * r["size"] / most, 6)
        if r["value"] is not None:
            r["to"], r["dot"] = min(r["high"], under.top), min(r["value"], under.top)
        for name in LINES:
            r[name] = None if r[name] is None else min(r[name], under.top)
    title = f"Come-backs by closing month, before and after {answer.settings['action']}"
    level = float(str(answer.settings["level"])) * 100
    fitted = any(r["fitted"] is not None for r in rows)
    subtitle = [f"dot = month, line through it = {level:g} % interval, bar = jobs; dashed upright = month of the start"]
    subtitle += ["line = fitted; dashed in its band = the trend before, drawn on"] if fitted else ["no trend fitted"]
    return finish(
        _months(rows, under).properties(height=HEIGHT),
        title=title,
        subtitle=[*subtitle, f"only {answer.settings['scope']}"],
        description=_description(answer, rows, title),
        headed=headed,
        width=width,
    )


def _rows(answer: ActionTrend) -> list[dict[str, Any]]:
    made = []
    for r in answer.table.iter_rows(named=True):
        row: dict[str, Any] = {name: r[name] if known(r[name]) else None for name in ("low", "high", *LINES)}
        row |= {"value": r["rate"] if known(r["rate"]) else None, "month": month_key(r["month"]), "side": r["side"]}
        row |= {"size": int(r["jobs"]), "name": month_name(r["month"]), "share": percent(r["rate"])}
        row |= {"interval": interval(r["low"], r["high"]), "counts": f"{count(r['returned'])} of {count(r['jobs'])}"}
        made.append(row)
    return made


def _months(rows: list[dict[str, Any]], under: PeriodAxes) -> Any:
    base = alt.Chart(Data(values=rows))
    x = under.x()
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in (("name", "closed in"), ("share", "came back"),
                                                        ("interval", "interval"), ("counts", "jobs"))]
    have, after = base.transform_filter("isValid(datum.value)"), base.transform_filter("datum.side == 'after'")
    drawn = after.transform_filter("isValid(datum.unchanged)")
    start = base.transform_filter("datum.side == 'start'")
    layers = [
        base.mark_bar(style="rqa-size", width=alt.RelativeBandSize(0.7)).encode(
            x=x, y=under.y("foot"), y2=alt.Y2("bar:Q"), tooltip=tips
        ),
        drawn.mark_area(style="rqa-band").encode(x=x, y=under.y("unchanged_low"), y2=alt.Y2("unchanged_high:Q")),
        start.mark_rule(style="rqa-stage").encode(x=x, y=alt.YValue(0), y2=alt.Y2Value("height")),
        drawn.mark_line(style="rqa-limit").encode(x=x, y=under.y("unchanged")),
        have.mark_rule(style="rqa-interval").encode(x=x, y=under.y("low"), y2=alt.Y2("to:Q")),
    ]
    layers += [
        base.transform_filter(f"datum.side == '{side}' && isValid(datum.fitted)")
        .mark_line(style="rqa-line", strokeWidth=2.4)
        .encode(x=x, y=under.y("fitted"))
        for side in ("before", "after")
    ]
    layers += [
        have.transform_filter("datum.side != 'start'")
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=x, y=under.y("dot"), tooltip=tips),
        have.transform_filter("datum.side == 'start'")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x, y=under.y("dot"), tooltip=tips),
    ]
    return alt.layer(*layers)


def _description(answer: ActionTrend, rows: list[dict[str, Any]], title: str) -> str:
    sums = {}
    for side in ("before", "after"):
        sums[side] = sum(r["size"] for r in rows if r["side"] == side)
    said = f"{title}: {counted(sums['before'], 'job')} in the months before and {count(sums['after'])} after."
    terms = answer.terms
    if terms is None or terms.is_empty():
        return f"{said} No trend is fitted."
    told = [
        f"{t['term']} x{t['odds_ratio']:.2f} ({t['low']:.2f} to {t['high']:.2f})" for t in terms.iter_rows(named=True)
    ]
    return f"{said} In odds: {', '.join(told)}."


@draws(ActionPower)
def plot_action_power(
    answer: ActionPower, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The chance to have seen the change, month by month, and the chance that was asked for."""
    wanted = float(str(answer.settings["power"]))
    rows = [
        {
            "month": f"{r['month']:02d}", "name": f"known on {r['known_on']}", "value": r["chance"],
            "wanted": wanted, "chance": percent(r["chance"], decimals=0), "jobs": count(r["jobs_after"]),
            "enough": r["enough"],
            "least": f"x{r['smallest_ratio']:.2f}" if known(r["smallest_ratio"]) else "none",
        }
        for r in answer.table.iter_rows(named=True)
    ]
    months = [r["month"] for r in rows]
    every = max(1, round(len(months) / 12))
    labels = {m: [f"month {int(m)}" if int(m) == 1 else str(int(m))] for m in months if int(m) % every == 1 % every}
    under = ground(months, [0.0], [1.0], from_zero=True, bars=False, labels=labels)
    base = alt.Chart(Data(values=rows))
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in (("name", "when"), ("chance", "chance"), ("jobs", "jobs after"),
                                                        ("least", "smallest change"))]
    first = next((r for r in rows if r["enough"]), None)
    layers = [
        base.mark_line(style="rqa-limit").encode(x=under.x(), y=under.y("wanted")),
        base.mark_line(style="rqa-line").encode(x=under.x(), y=under.y("value")),
        base.transform_filter("!datum.enough")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=under.x(), y=under.y("value"), tooltip=tips),
        base.transform_filter("datum.enough")
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=under.x(), y=under.y("value"), tooltip=tips),
    ]
    title = f"Chance to see come-backs change to x{float(str(answer.settings['change'])):.2g}"
    when = f"enough with {counted(first['jobs'], 'job')}, {first['name']}" if first else "not enough in these months"
    return finish(
        alt.layer(*layers, height=HEIGHT),
        title=title,
        subtitle=[
            f"filled = at least {percent(wanted, decimals=0)} (dashed): {when}",
            f"only {answer.settings['scope']}",
        ],
        description=f"{title}: {when}; after {counted(len(rows), 'month')} {rows[-1]['chance']}.",
        headed=headed,
        width=width,
    )
