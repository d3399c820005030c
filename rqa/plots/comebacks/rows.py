"""Answers about come-backs with a figure a row: a dot, its interval, a tick to compare with, the counts in words."""

from collections.abc import Sequence
from typing import Any

import altair as alt

from rqa.answers.comebacks.classes import ComebackCauses
from rqa.answers.comebacks.curve_comparison import CurveComparison
from rqa.answers.comebacks.curves import DaysUntil
from rqa.answers.comebacks.recurrences import ReturnTrends
from rqa.answers.comebacks.return_matrix import ComebackMarks
from rqa.answers.comebacks.unit_lists import ChronicUnits, WorstShare
from rqa.answers.core.result import Answer
from rqa.plots.groups import ROW
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import count, counted, interval, known, percent, signed, spoken

SAID = 12
MOST = 60
"""Rows drawn; the table holds all."""
Row = dict[str, Any]


@draws(ComebackCauses)
def plot_causes(
    answer: ComebackCauses, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The share of jobs that each class sends back, by class."""
    rows = [
        _row(
            answer, r, r["class"], value=r["incidence"], low=r["incidence_low"], high=r["incidence_high"],
            beside=f"{count(r['returned'])} back ({percent(r['of_returns'])})  ·  {percent(r['incidence'])} of jobs",
            also=f"half of them by day {r['median_day']:.0f}" if known(r["median_day"]) else "",
        )
        for r in answer.table.iter_rows(named=True)
    ]
    window = answer.settings["window"]
    title = f"Share of jobs that come back within {counted(window, 'day')}, by class"
    subtitle = [
        "dot = share of all jobs, young ones as far as followed, other classes and retirement competing",
        "line = {level} interval; back = of matured jobs alone, with the part of all their come-backs",
    ]
    return _picture(answer, rows, title, subtitle, headed, width)


@draws(ComebackMarks)
def plot_marks(answer: ComebackMarks, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Shares of come-backs that found nothing, fitted the same part again, or had passed their tests."""
    rows = [
        _row(answer, r, r["mark"], value=r["share"], low=r["low"], high=r["high"],
             beside=f"{count(r['marked'])} of {count(r['cases'])}  ·  {percent(r['share'])}")
        for r in answer.table.iter_rows(named=True)
    ]
    title = f"Marks of come-backs within {counted(answer.settings['window'], 'day')}"
    return _picture(answer, rows, title, ["dot = share of the come-backs it can be told of; line = {level} interval"],
                    headed, width)


@draws(CurveComparison)
def plot_comparison(
    answer: CurveComparison, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Each group's share by the window's end beside that of all the others together."""
    rows = [
        _row(answer, r, "", value=r["share"], low=r["low"], high=r["high"], tick=r["others"],
             beside=f"{count(r['observed'])} of {counted(r['jobs'], 'job')}  ·  {percent(r['share'])}",
             also=f"{signed(r['difference'] * 100, 1)} points from the others ("
             f"{signed(r['difference_low'] * 100, 1)} to "
             f"{signed(r['difference_high'] * 100, 1)})" if known(r["difference"]) else "")
        for r in answer.table.iter_rows(named=True)
    ]
    rows.sort(key=lambda r: (r["value"] is None, -(r["value"] or 0.0), r["label"]))
    subtitle = ["dot = share of the group, line = {level} interval, tick = all other groups together; highest first",
                "counts = back so far, of all jobs; the share allows for those not followed to the end",
                answer.notes[-1]]
    title = f"Share that came back within {counted(answer.settings['window'], 'day')}, groups compared"
    return _picture(answer, rows, title, subtitle, headed, width)


@draws(DaysUntil)
def plot_until(answer: DaysUntil, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The day by which a share has come back, by group."""
    share = float(str(answer.settings["share"]))
    rows = [
        _row(answer, r, "", value=r["day"], low=r["low"] if known(r["low"]) else r["day"],
             high=r["high"] if known(r["high"]) else r["day"],
             beside=f"{count(r['returned'])} of {counted(r['jobs'], 'job')}  ·  "
             + (f"day {r['day']:.0f}" if known(r["day"]) else "not reached"))
        for r in answer.table.iter_rows(named=True)
    ]
    title = f"Day by which {share * 100:g} in 100 have come back"
    return _picture(answer, rows, title, ["dot = first such day, line = {level} interval"], headed, width, share=False)


@draws(ReturnTrends)
def plot_trends(answer: ReturnTrends, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The shape of the power law, by group."""
    rows = [
        _row(answer, r, "", value=r["shape"], low=r["low"], high=r["high"], tick=1.0,
             beside=f"{counted(r['returns'], 'return')} of {counted(r['units'], 'unit')}  ·  "
             + {"less": "fewer with age", "more": "more with age"}.get(r["trend"], r["trend"]))
        for r in answer.table.iter_rows(named=True)
    ]
    subtitle = ["dot = shape of the power law, line = {level} interval; tick = 1, a steady rate",
                "left of the tick returns thin out with age, right of it they grow more frequent"]
    return _picture(answer, rows, "Do units return more often as they age?", subtitle, headed, width, share=False)


@draws(ChronicUnits)
def plot_chronic(answer: ChronicUnits, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Units that came back most, beside what units like them do."""
    rows = [
        _row(answer, r, r["unit_id"], value=float(r["returns"]), low=None, high=None, tick=r["expected"], first=True,
             beside=f"{count(r['returns'])} in {counted(r['days'], 'day')}  ·  "
             + ("statistically clear" if r["chronic"] else f"by chance {_units(r['by_luck'])}"))
        for r in answer.table.iter_rows(named=True)
    ]
    subtitle = ["dot = returns of the unit, tick = mean of units like it seen for as long; least likely first",
                "by chance = how many of all units chance alone would bring so far"]
    return _picture(answer, rows, "Units that come back most", subtitle, headed, width, share=False)


def _units(number: float) -> str:
    return counted(f"{number:,.0f}" if round(number) >= 1 else f"{number:.2g}", "unit")


@draws(WorstShare)
def plot_worst(answer: WorstShare, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The share of returns that the worst units hold, beside chance's."""
    rows = [
        _row(answer, r, f"worst {r['worst'] * 100:g} in 100 units", value=r["share"], low=None, high=None,
             tick=r["by_luck"], beside=f"{percent(r['share'])}  ·  by chance {percent(r['by_luck'])}",
             also=f"{counted(r['returns'], 'return')} of {counted(r['units'], 'unit')}")
        for r in answer.table.iter_rows(named=True)
    ]
    return _picture(answer, rows, "Returns held by the worst units",
                    ["dot = share of all returns they hold, tick = share that chance alone would give them"], headed,
                    width)


def _row(
    answer: Answer, r: Row, name: str, *, value: float | None, low: float | None, high: float | None, beside: str,
    tick: float | None = None, also: str = "", first: bool = False,
) -> Row:
    names, own = [spoken(r[b]) for b in by_of(answer)], [name if first else spoken(name)] * bool(name)
    label = " · ".join([*own, *names] if first else [*names, *own]) or "all"
    have = known(value)
    return {
        "label": label, "value": value if have else None, "low": low if have and known(low) else None,
        "high": high if have and known(high) else None, "tick": tick if known(tick) else None,
        "beside": beside if have else "no data", "also": also,
    }


def _picture(
    answer: Answer, rows: list[Row], title: str, subtitle: Sequence[str], headed: bool, width: int | str,
    *, share: bool = True,
) -> Any:
    whole = len(rows)
    rows = rows[:MOST]
    for place, row in enumerate(rows):
        row["row"] = place
    level = f"{float(str(answer.settings.get('level', 0.95))) * 100:g} %"
    words = [line.replace("{level}", level) for line in subtitle] + limits(answer)
    if whole > len(rows):
        words.append(f"the first {len(rows)} of {counted(whole, 'row')}")
    top = max([v for r in rows for v in (r["value"], r["high"], r["tick"]) if v is not None] + [0.01 if share else 1.0])
    scale = alt.Scale(domain=[0.0, min(top * 1.03, 1.0) if share else top * 1.03], nice=False, zero=True)
    axis = alt.Axis(tickCount=5, domain=False, format="~%" if share else ",~f")

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=None, scale=scale, axis=axis)

    base = alt.Chart()
    y = alt.Y("row:O", axis=None, sort="ascending")
    tips = [alt.Tooltip("label:N", title="row"), alt.Tooltip("beside:N", title="figures")]
    tips += [alt.Tooltip("also:N", title="also")] * any(r["also"] for r in rows)
    have = base.transform_filter("isValid(datum.value)")
    layers = [
        base.transform_filter("isValid(datum.tick)")
        .mark_tick(style="rqa-tick", orient="vertical", size=15, yOffset=9)
        .encode(x=x("tick"), y=y),
        base.transform_filter("isValid(datum.high)")
        .mark_rule(style="rqa-interval", yOffset=9)
        .encode(x=x("low"), x2=alt.X2("high:Q"), y=y),
        have.mark_point(style="rqa-dot", yOffset=9, filled=True).encode(x=x("value"), y=y, tooltip=tips),
        base.mark_text(style="rqa-label", yOffset=-7, limit=alt.ExprRef("max(50, width - 6.1 * length(datum.beside))"))
        .encode(text=alt.Text("label:N"), x=alt.XValue(0), y=y, tooltip=tips),
        base.mark_text(style="rqa-number", yOffset=-7).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
    ]
    return finish(
        alt.layer(*layers, data=Data(values=rows), height=alt.Step(ROW)), title=title, subtitle=words,
        description=_description(rows, title, share), headed=headed, width=width,
    )


def _description(rows: list[Row], title: str, share: bool) -> str:
    said = []
    for r in rows[:SAID]:
        between = ""
        if r["high"] is not None:
            between = interval(r["low"], r["high"]) if share else f"{r['low']:.3g} to {r['high']:.3g}"
            between = f" (interval {between})"
        said.append(f"{r['label']}: {r['beside']}{between}{', ' + r['also'] if r['also'] else ''}")
    more = f" And {counted(len(rows) - SAID, 'more row')}." if len(rows) > SAID else ""
    return f"{title}. {'; '.join(said)}.{more}"
