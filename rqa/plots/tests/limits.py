"""What other limits would have done: faulty jobs caught against sound ones held back, the limit as it is marked."""

from collections.abc import Sequence
from typing import Any

import altair as alt

from rqa.answers.tests.limits import LimitChoices
from rqa.errors import RequestError
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import WIDTH, Data, finish
from rqa.words import count, counted, figure, known, percent

PANELS = 12
POINTS = 60
"""Steps of a curve that are drawn: a point where either share has moved by more than one part in so many."""
COLUMNS = 2
HEIGHT, PANEL_HEIGHT = 300, 180


@draws(LimitChoices, many_rows=True)
def plot_limits(answer: LimitChoices, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """One curve a test and side, from the loosest limit at the lower left to the tightest at the upper right."""
    rows = _rows(answer)
    panels = list(dict.fromkeys(r["panel"] for r in rows))
    if len(panels) > PANELS:
        raise RequestError(
            f"{counted(len(panels), 'curve is', 'curves are')} more than a picture of {PANELS} holds; ask for one "
            "test=."
        )
    values, alone = Data(values=rows), len(panels) == 1
    layers = _layers(alt.Chart(values) if alone else alt.Chart())
    if alone:
        chart = alt.layer(*layers, height=HEIGHT)
    else:
        each = (WIDTH if isinstance(width, str) else width) // COLUMNS - 60
        chart = (
            alt.layer(*layers, data=values)
            .properties(width=each, height=PANEL_HEIGHT)
            .facet(facet=alt.Facet("panel:N", title=None, sort=panels), columns=COLUMNS)
            .properties(spacing=18)
        )
    level = float(str(answer.settings["level"])) * 100
    title = "What other limits would have caught, and held back in vain"
    subtitle = [
        "line = each limit tried; diamond = the limit now",
        f"band = {level:g} % interval of the share caught",
        "dashed = what tighter limits would do if the value said nothing",
    ]
    return finish(
        chart, title=title, subtitle=[*subtitle, *limits(answer)], description=_description(answer, title),
        headed=headed, width=width if alone else None,
    )


def _rows(answer: LimitChoices) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    before: dict[str, Any] | None = None
    present = {} if answer.tests is None else {
        (r["test"], r["unit"], r["side"]): r["present_limit"] for r in answer.tests.iter_rows(named=True)
    }
    for r in answer.table.iter_rows(named=True):
        panel, unit, now = f"{r['test']}, {r['side']} limit", r["unit"] or "", r["at_present"]
        if not known(r["caught_share"]) or not known(r["held_share"]):
            continue
        new = before is None or before["panel"] != panel
        moved = before is not None and max(
            abs(r["caught_share"] - before["caught"]), abs(r["held_share"] - before["held"])
        )
        if new:
            made.append({"panel": panel, "held": 1.0, "caught": 1.0, "end": True, "now": False})
        if new or now or (moved and moved > 1.0 / POINTS):
            before = {
                "panel": panel, "held": r["held_share"], "caught": r["caught_share"], "low": r["caught_low"],
                "high": r["caught_high"], "end": False, "now": now, "limit": figure(r["limit"], unit),
                "word": f"now {figure(present.get((r['test'], r['unit'], r['side'])), unit)}" if now else "",
                "rightly": f"{count(r['caught'])} caught, {count(r['missed'])} missed",
                "vain": f"{count(r['held'])} held, {count(r['passed'])} passed",
            }
            made.append(before)
    return made


def _layers(base: Any) -> list[Any]:
    share = alt.Scale(domain=[0, 1], nice=False)
    axis = alt.Axis(format="%", tickCount=5, domain=False)
    x = alt.X("held:Q", title="sound jobs held back", scale=share, axis=axis)

    def y(field: str) -> Any:
        return alt.Y(f"{field}:Q", title="faulty jobs caught", scale=share, axis=axis)

    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in
            (("limit", "limit"), ("rightly", "faulty jobs"), ("vain", "sound jobs"))]
    curve, here = base.transform_filter("!datum.end"), base.transform_filter("datum.now")
    return [
        base.transform_filter("datum.now || datum.end").mark_line(style="rqa-stage").encode(x=x, y=y("caught")),
        curve.mark_area(style="rqa-band", opacity=0.8).encode(x=x, y=y("low"), y2=alt.Y2("high:Q")),
        curve.mark_line(style="rqa-line").encode(x=x, y=y("caught"), order=alt.Order("held:Q")),
        curve.mark_point(style="rqa-dot", filled=True, size=16).encode(x=x, y=y("caught"), tooltip=tips),
        here.mark_point(style="rqa-signal", filled=True).encode(x=x, y=y("caught"), tooltip=tips),
        *(
            here.transform_filter(f"datum.caught {where} 0.2")
            .mark_text(style="rqa-word", align="left", dx=dx, dy=dy)
            .encode(x=x, y=y("caught"), text=alt.Text("word:N"))
            for where, dx, dy in ((">", 10, 16), ("<=", 34, -7))
        ),
    ]


def _description(answer: LimitChoices, title: str) -> str:
    said: Sequence[str] = () if answer.tests is None else [_said(answer, r) for r in answer.tests.iter_rows(named=True)]
    return f"{title}. {'; '.join(said)}." if said else f"{title}: no data."


def _said(answer: LimitChoices, r: dict[str, Any]) -> str:
    now = answer.table.filter(answer.table["at_present"] & (answer.table["test"] == r["test"])
                              & (answer.table["side"] == r["side"]))
    far, pairs = r["area_passed"], "of pairs of those that passed"
    area = f"an escape lies further out in {percent(far)} {pairs}" if known(far) else "no escape"
    caught = f"; as it is {percent(now['caught_share'][0])} of faulty jobs caught" if now.height else ""
    return f"{r['test']}, {r['side']} limit: {counted(r['jobs'], 'job')}, {area}{caught}"
