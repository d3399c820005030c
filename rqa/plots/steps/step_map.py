"""A procedure's steps in order, each with its risk and limits, its hazards in words, what must hold marked by shape."""

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

ROW = 52
MOST = 40
SAID = 12
LABEL, NOTE, LINE = -17, -2, 14
"""Pixels from the middle of a row to its name, its words and its interval."""
SHAPES = {"hold point": "square", "cannot be undone": "triangle-down"}
PAIRS = 20
ENDS = {"value": "ratio", "low": "low", "high": "high"}
ENDLESS = 1e9


@draws(StepMap)
def plot_step_map(answer: StepMap, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The steps in their order, a hair line where the phase changes."""
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
    return _drawn(answer, rows, title, ["steps in the order of the procedure"], headed, width)


@draws(StepRisk)
def plot_step_risk(answer: StepRisk, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The riskiest steps in the order of the table."""
    by = by_of(answer)
    rows = []
    for r in answer.table.head(MOST).iter_rows(named=True):
        why = answer.unlaid.get((*(r[b] for b in by), r["step"]), "")
        label = " · ".join([*(spoken(r[b]) for b in by), r["step"]])
        rows.append(_row(r, label, _words(r, why), why) | {"mark": "", "new": False})
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
    fails = f"  ·  {r['fails_per_1000']:.0f} fail in 1,000" if known(r["fails_per_1000"]) else ""
    none = {UNTOUCHED: "no subsystem", DONE: "not to be told"}.get(why, "not done")
    said = none if not r["exposures"] else "not to be told" if value is None else f"{value:,.0f}"
    return {
        "label": label, "words": "  ·  ".join(words), "value": value, "low": low, "high": high, "said": said,
        "beside": f"{said}{fails}", "interval": "no data" if high is None else f"{low:,.0f} to {high:,.0f} in 10,000",
        "jobs": count(r["exposures"] or 0),
    }


def _drawn(
    answer: Answer, rows: list[dict[str, Any]], title: str, order: list[str], headed: bool, width: int | str
) -> Any:
    top = max([min(r["high"], 2.5 * (r["value"] or 0.0) + 40.0) for r in rows if r["high"] is not None] + [10.0])
    for place, row in enumerate(rows):
        high, value = row["high"], row["value"]
        row |= {"row": place, "left": row["low"], "right": None if high is None else min(high, top)}
        row |= {"cut": high is not None and high > top, "shown": value is not None and value <= top}
    base = alt.Chart()
    scale = alt.Scale(domain=[0, 1.03 * top], nice=False, zero=False)

    def x(name: str) -> Any:
        return alt.X(f"{name}:Q", title=None, scale=scale, axis=alt.Axis(tickCount=5, domain=False, format=",.0f"))

    y = alt.Y("row:O", axis=None, sort="ascending")
    tips = [
        alt.Tooltip(f"{k}:N", title=t)
        for k, t in (
            ("label", "step"), ("said", "come-backs per 10,000"), ("interval", "limits"), ("jobs", "jobs that did it"),
            ("words", "words"),
        )
    ]
    have = base.transform_filter("isValid(datum.right)")
    start = {"x": alt.XValue(0), "y": y}
    layers = [
        base.transform_filter("datum.new && datum.row > 0")
        .mark_rule(color=HAIR, yOffset=-ROW // 2)
        .encode(x=alt.XValue(0), x2=alt.X2Value("width"), y=y),
        have.mark_rule(style="rqa-interval", yOffset=LINE).encode(x=x("left"), x2=alt.X2("right:Q"), y=y),
        have.transform_filter("datum.shown")
        .mark_point(style="rqa-dot", yOffset=LINE, filled=True)
        .encode(x=x("value"), y=y, tooltip=tips),
        have.transform_filter("datum.cut")
        .mark_point(style="rqa-cut", yOffset=LINE, filled=True, angle=90)
        .encode(x=x("right"), y=y),
    ]
    for word, shape in SHAPES.items():
        if any(r["mark"] == word for r in rows):
            layers.append(
                base.transform_filter(f"datum.mark == '{word}'")
                .mark_point(shape=shape, filled=True, color=INK, opacity=1, size=70, xOffset=6, yOffset=LABEL)
                .encode(tooltip=tips, **start)
            )
    for marked, shift in (("datum.mark != ''", 16), ("datum.mark == ''", 0)):
        layers.append(
            base.transform_filter(marked)
            .mark_text(style="rqa-label", yOffset=LABEL, dx=shift, limit=alt.ExprRef(f"max(60, width - {150 + shift})"))
            .encode(text=alt.Text("label:N"), tooltip=tips, **start)
        )
    layers += [
        base.mark_text(style="rqa-number", yOffset=LABEL).encode(text=alt.Text("beside:N"), x=alt.XValue("width"), y=y),
        base.mark_text(style="rqa-note", yOffset=NOTE, align="left", limit=alt.ExprRef("width")).encode(
            text=alt.Text("words:N"), **start
        ),
    ]
    level = float(str(answer.settings["level"])) * 100
    subtitle = [
        f"dot = come-backs within {counted(answer.settings['window'], 'day')} per 10,000 jobs that did it",
        f"line = {level:g} % limits; right: that number, and first checks that fail",
        *order,
    ]
    used = [
        f"{'square' if w == 'hold point' else 'triangle'} = {w}" for w in SHAPES if any(r["mark"] == w for r in rows)
    ]
    return finish(
        alt.layer(*layers, data=Data(values=rows), height=alt.Step(ROW)),
        title=title,
        subtitle=[*subtitle, *(["; ".join(used)] if used else []), *limits(answer)],
        description=_description(answer, rows, title),
        headed=headed,
        width=width,
    )


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
