"""A procedure's steps in order, each with its risk and limits, its hazards in words, what must hold marked by shape."""

from collections.abc import Sequence
from typing import Any

import altair as alt

from rqa.answers.core.needs import said_of
from rqa.answers.core.result import Answer
from rqa.answers.steps.relative_risk import StepRelativeRisk
from rqa.answers.steps.risk import DONE, UNTOUCHED, StepMap, StepRisk
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import HAIR, INK, WIDTH, Data, finish
from rqa.words import NAMES, count, counted, known, percent, spoken

ROW = 24
"""Pixels of a row: 27 steps, which is a long procedure, are less than 700 pixels high."""
MOST = 40
SAID = 12
LONGEST, LETTER = 46, 6.3
"""Letters of a label at most, and the width of one in pixels."""
NUMBERS, FAILS, LANE = 92, 84, 6
"""Pixels at the right for the number, for the checks that fail, and for each lane of brackets."""
NARROW, SLIM = 460, 44
"""Width in pixels below which the checks that fail are not written beside the rows, and the room of the number there;
what stands over it takes room where nothing is drawn."""
LANES = 8
"""Brackets beside each other at most; the tooltips say what more steps share."""
SHAPES = {"hold point": "square", "cannot be undone": "triangle-down"}
PLACED, BY_SIZE = "in the order of the procedure", "by size"
PAIRS = 20
ENDS = {"value": "ratio", "low": "low", "high": "high"}
ENDLESS = 1e9


@draws(StepMap)
def plot_step_map(answer: StepMap, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """A row a step, in the order of the procedure or, by one click, by size; a hair line where the phase changes."""
    rows, phase = [], ""
    for r in answer.table.iter_rows(named=True):
        marks = [
            word for word, so in (("hold point", r["hold_point"]), ("cannot be undone", r["irreversible"])) if so
        ]
        why = answer.unlaid.get((r["step"],), "")
        words = [f"{spoken(r['phase'])} phase", *marks, *_words(r, why)]
        rows.append(
            _row(r, f"{r['place']} · {r['step']}", words, why)
            | {"mark": marks[-1] if marks else "", "new": r["phase"] != phase}
        )
        phase = r["phase"]
    title = f"Step map of {answer.settings['procedure']}"
    return _drawn(answer, rows, title, ["hair line = the next phase begins"], headed, width, orders=(PLACED, BY_SIZE))


@draws(StepRisk)
def plot_step_risk(answer: StepRisk, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The riskiest steps in the order of the table."""
    by = by_of(answer)
    rows = []
    for r in answer.table.head(MOST).iter_rows(named=True):
        why = answer.unlaid.get((*(r[b] for b in by), r["step"]), "")
        label = " · ".join([*(spoken(r[b]) for b in by), r["step"]])
        row = _row(r, label, _words(r, why), why) | {"mark": "", "new": False}
        row["shares"] = [*(f"{b}={r[b]}" for b in by), *row["shares"]] if row["shares"] else []
        rows.append(row)
    names = " and ".join(NAMES.get(b, b) for b in by)
    title = "Come-backs attributed to steps" + (f", by {names}" if names else "")
    order = f"sorted by {spoken(answer.settings['sort'])}"
    if answer.table.height > MOST:
        order += f"; the first {MOST} of {counted(answer.table.height, 'row')}"
    return _drawn(answer, rows, title, [order], headed, width)


def _words(r: dict[str, Any], why: str) -> list[str]:
    words = [r["hazards"]] if r["hazards"] else []
    if why == UNTOUCHED:
        words.append("touches no subsystem: no come-back can be attributed to it")
    if r["shared_with"]:
        others = r["shared_with"].split(", ")
        words.append(f"one number with {others[0]}" + (f" and {len(others) - 1} more" if len(others) > 1 else ""))
    return words


def _row(r: dict[str, Any], label: str, words: list[str], why: str) -> dict[str, Any]:
    value, low, high = (r[c] if known(r[c]) else None for c in ("per_10000", "low", "high"))
    fails = f"{r['fails_per_1000']:.0f}" if known(r["fails_per_1000"]) else "–"
    none = {UNTOUCHED: "no subsystem", DONE: "not to be told"}.get(why, "not done")
    said = none if not r["exposures"] else "not to be told" if value is None else f"{value:,.0f}"
    return {
        "label": label, "words": "  ·  ".join(words), "value": value, "low": low, "high": high, "said": said,
        "fails": fails, "interval": "no data" if high is None else f"{low:,.0f} to {high:,.0f} in 10,000",
        "jobs": count(r["exposures"] or 0),
        "shares": sorted([r["step"], *r["shared_with"].split(", ")]) if r["shared_with"] else [],
    }


def _drawn(
    answer: Answer, rows: list[dict[str, Any]], title: str, order: list[str], headed: bool, width: int | str,
    orders: tuple[str, ...] = (PLACED,),
) -> Any:
    top = max([min(r["high"], 2.5 * (r["value"] or 0.0) + 40.0) for r in rows if r["high"] is not None] + [10.0])
    by_size = sorted(range(len(rows)), key=lambda n: (rows[n]["value"] is None, -(rows[n]["value"] or 0.0), n))
    for place, row in enumerate(rows):
        high, value = row["high"], row["value"]
        row |= {"row": place, "size": by_size.index(place), "left": row["low"]}
        row |= {"right": None if high is None else min(high, top)}
        row |= {"cut": high is not None and high > top, "shown": value is not None and value <= top}
    brackets = [b for name in orders for b in _brackets(rows, name)]
    lanes = max([b["lane"] + 1 for b in brackets], default=0)
    for row in rows:
        del row["shares"]
    frame = _Frame(rows, top, lanes, len(orders) > 1)
    level = float(str(answer.settings["level"])) * 100
    used = [f"{'square' if w == 'hold point' else 'triangle'} = {w}" for w in SHAPES if frame.marked(w)]
    subtitle = [
        f"dot = come-backs within {counted(answer.settings['window'], 'day')} per 10,000 jobs that did it, "
        f"line = {level:g} % limits",
        "right: that number, and how many of 1,000 first checks fail",
        *(["bracket = one number for all of these steps, as the logs cannot separate them"] if brackets else []),
        "; ".join([*order, *used]),
        *limits(answer),
    ]
    chart = alt.layer(*_layers(frame, brackets), data=Data(values=rows), height=alt.Step(ROW))
    if len(orders) > 1:
        choice = alt.binding_radio(options=list(orders), name="Steps ")
        chart = chart.add_params(alt.param(name="steps", value=PLACED, bind=choice))
    return finish(
        chart, title=title, subtitle=subtitle, description=_description(answer, rows, title), headed=headed, width=width
    )


class _Frame:
    """Where the columns of the map stand: names, the scale, the numbers, and the brackets at the right edge."""

    def __init__(self, rows: list[dict[str, Any]], top: float, lanes: int, ordered: bool) -> None:
        self.rows, self.ordered = rows, ordered
        self.shift = 16 if any(r["mark"] for r in rows) else 0
        longest = min(max(len(r["label"]) for r in rows), LONGEST)
        self.names = f"min({round(longest * LETTER) + self.shift + 12}, (width < {NARROW} ? 0.48 : 0.42) * width)"
        self.edge = f"(width - {min(lanes, LANES) * LANE})"
        self.fails = any(r["fails"] != "–" for r in rows)
        wide = NUMBERS + FAILS if self.fails else NUMBERS
        self.end = f"{self.edge} - (width < {NARROW} ? {SLIM} : {wide})"
        self.scale = alt.Scale(
            domain=[0, 1.03 * top], nice=False, zero=False, range=[alt.ExprRef(self.names), alt.ExprRef(self.end)]
        )

    def marked(self, word: str) -> bool:
        """Whether a step has this mark."""
        return any(r["mark"] == word for r in self.rows)

    def x(self, name: str) -> Any:
        """The scale of come-backs, between the names and the numbers."""
        ticks = alt.ExprRef(f"width < {NARROW} ? 2 : 4")
        axis = alt.Axis(tickCount=ticks, domain=False, format=",.0f", labelFlush=False)
        return alt.X(f"{name}:Q", title=None, scale=self.scale, axis=axis)

    def y(self, name: str = "at") -> Any:
        """The row, in the order chosen."""
        return alt.Y(f"{name}:O", axis=None, sort="ascending", scale=alt.Scale(domain=list(range(len(self.rows)))))

    def placed(self, base: Any) -> Any:
        """A layer's rows with the place of each in the order chosen."""
        return base.transform_calculate(at=f"steps == '{BY_SIZE}' ? datum.size : datum.row" if self.ordered else
                                        "datum.row")


def _layers(frame: _Frame, brackets: list[dict[str, Any]]) -> list[Any]:
    base, x, y = frame.placed(alt.Chart()), frame.x, frame.y()
    tips = [
        alt.Tooltip(f"{k}:N", title=t)
        for k, t in (
            ("label", "step"), ("said", "come-backs per 10,000"), ("interval", "limits"), ("jobs", "jobs that did it"),
            ("fails", "of 1,000 first checks fail"), ("words", "notes"),
        )
    ]
    have = base.transform_filter("isValid(datum.right)")
    start = {"x": alt.XValue(0), "y": y}
    chosen = "datum.new && datum.row > 0" + (f" && steps != '{BY_SIZE}'" if frame.ordered else "")
    layers = [
        base.transform_filter(chosen)
        .mark_rule(color=HAIR, yOffset=-ROW // 2, aria=False)
        .encode(x=alt.XValue(0), x2=alt.X2Value("width"), y=y),
        have.mark_rule(style="rqa-interval").encode(x=x("left"), x2=alt.X2("right:Q"), y=y),
        have.transform_filter("datum.shown")
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=x("value"), y=y, tooltip=tips),
        have.transform_filter("datum.cut")
        .mark_point(style="rqa-cut", filled=True, angle=90)
        .encode(x=x("right"), y=y),
    ]
    for word, shape in SHAPES.items():
        if frame.marked(word):
            layers.append(
                base.transform_filter(f"datum.mark == '{word}'")
                .mark_point(shape=shape, filled=True, color=INK, opacity=1, size=60, xOffset=6)
                .encode(tooltip=tips, **start)
            )
    room = alt.ExprRef(f"{frame.names} - {frame.shift + 10}")
    layers.append(
        base.mark_text(style="rqa-label", dx=frame.shift, limit=room).encode(
            text=alt.Text("label:N"), tooltip=tips, **start
        )
    )
    layers += _numbers(frame, base)
    return layers + _bracket_layers(frame, brackets)


def _numbers(frame: _Frame, base: Any) -> list[Any]:
    """The numbers at the right, and over the first of them what they are."""
    first = base.transform_filter("datum.at == 0")
    wide = f"(width < {NARROW} ? 0 : {FAILS})" if frame.fails else "0"
    columns = [("said", "back per 10,000", f"{frame.edge} - {wide} - 4")]
    columns += [("fails", "fail per 1,000", f"{frame.edge} - 4")] if frame.fails else []
    made = []
    for name, head, at in columns:
        x, seen = alt.XValue(alt.ExprRef(at)), alt.ExprRef(f"width < {NARROW} ? 0 : 1") if name == "fails" else 1
        made += [
            base.mark_text(style="rqa-number", opacity=seen).encode(text=alt.Text(f"{name}:N"), x=x, y=frame.y()),
            first.mark_text(style="rqa-note", align="right", dy=-ROW * 3 // 4, opacity=seen, aria=False).encode(
                text=alt.TextValue(head), x=x, y=frame.y()
            ),
        ]
    return made


def _brackets(rows: Sequence[dict[str, Any]], order: str) -> list[dict[str, Any]]:
    """The steps that share a number, as brackets of one order of the rows; those that overlap have lanes of their own.

    A row for each step of a bracket: its place, and the first and last place of the bracket.
    """
    groups: dict[tuple[str, ...], list[int]] = {}
    for row in rows:
        if row["shares"]:
            at = row["size"] if order == BY_SIZE else row["row"]
            groups.setdefault((*row["shares"], row["said"], row["interval"]), []).append(at)
    made, taken = list[dict[str, Any]](), list[set[int]]()
    # The shortest stand next to the rows, so that the strokes of none cross another's line more than they must.
    for members in sorted((sorted(g) for g in groups.values() if len(g) > 1), key=lambda g: (g[-1] - g[0], g)):
        span = set(range(members[0], members[-1] + 1))
        lane = next((n for n, rows_of in enumerate(taken) if not rows_of & span), len(taken))
        taken[lane:lane + 1] = [span | (taken[lane] if lane < len(taken) else set())]
        made += [
            {"order": order, "lane": lane, "from": members[0], "to": members[-1], "at": m}
            for m in members if lane < LANES
        ]
    return made


def _bracket_layers(frame: _Frame, brackets: list[dict[str, Any]]) -> list[Any]:
    """An upright line at the right edge for each bracket, with a stroke at each of its steps."""
    made = []
    for lane in sorted({b["lane"] for b in brackets}):
        own = alt.Chart(Data(values=[b for b in brackets if b["lane"] == lane]))
        if frame.ordered:
            own = own.transform_filter("datum.order == steps")
        left, right = (alt.ExprRef(f"{frame.edge} + {lane * LANE + n}") for n in (1, LANE - 1))
        made += [
            own.transform_filter("datum.at == datum.from")
            .mark_rule(color=INK, strokeWidth=1.2, aria=False)
            .encode(x=alt.XValue(right), y=frame.y("from"), y2=alt.Y2("to:O")),
            own.mark_rule(color=INK, strokeWidth=1.2, aria=False).encode(
                x=alt.XValue(left), x2=alt.X2Value(right), y=frame.y()
            ),
        ]
    return made


def _description(answer: Answer, rows: list[dict[str, Any]], title: str) -> str:
    first = sorted((r for r in rows if r["value"] is not None), key=lambda r: (-r["value"], r["label"]))[:SAID]
    said = [f"{r['label']}: {counted(r['said'], 'come-back')} in 10,000 ({r['interval']})" for r in first]
    holds = [f"{r['label']} ({r['mark']})" for r in rows if r["mark"]]
    none = said_of(answer, f"{title}. No step has come-backs that can be told.")
    text = f"{title}. Highest first: {'; '.join(said)}." if said else none
    return text + (f" To be held: {'; '.join(holds)}." if holds else "")


@draws(StepRelativeRisk)
def plot_relative_risk(
    answer: StepRelativeRisk, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """Ratios on a scale on which half and twice are equally far from one, the surest first."""
    rows = []
    told = answer.table.filter(answer.table["p_value"].is_not_null()).sort("p_value", "after", "step", "place", "class")
    for r in told.head(PAIRS).iter_rows(named=True):
        have = known(r["ratio"])
        kind = "" if r["class"] == "all" else f" · {spoken(r['class'])}"
        sure = "  ·  statistically clear" if r["p_adjusted"] <= 0.05 else ""
        rows.append({
            "label": " · ".join(v for v in (r["after"], r["step"], r["place"]) if v) + kind,
            **{end: min(max(r[name], 1 / ENDLESS), ENDLESS) if have else None for end, name in ENDS.items()},
            "why": "" if have else "no ratio: nothing to compare with",
            "beside": f"{percent(r['rate'])} and {percent(r['other_rate'])}{sure}",
            "interval": _times(r["low"], r["high"]) if have else "no data",
        })
    subtitle = ["dot = how many times as likely as on comparable work without it",
                "line = limits, tick = 1, as likely; the surest first",
                "right: came back with and without"]
    if told.height > PAIRS:
        subtitle.append(f"the first {PAIRS} of {counted(told.height, 'comparison')}")
    return figure_rows(
        rows, title="Come-backs after what happened at a step", subtitle=[*subtitle, *limits(answer)],
        axis={"format": "~g", "values": [0.25, 0.5, 1, 2, 4, 8]}, domain=(0.2, 10.0), headed=headed, width=width,
        mark=1.0, kind="log",
    )


def _times(low: float, high: float) -> str:
    return f"{low:.2f} times or more" if high >= ENDLESS else f"{low:.2f} to {high:.2f} times"
