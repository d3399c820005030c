"""A comparison as a funnel: observed over expected against the work behind it, within what chance allows."""

from typing import Any

import altair as alt
import numpy as np

from rqa.answers.compare.comparison import ONLY, TOO_LITTLE, Comparison
from rqa.answers.core.grounds import Sentence
from rqa.answers.core.needs import said_of
from rqa.plots.pictures import draws
from rqa.plots.reading import limits
from rqa.plots.theme import PAPER, WIDTH, Data, finish, nothing
from rqa.words import NAMES, counted, known, listed, spoken

HEIGHT = 340
GRID = 72
"""Places at which the funnel's limits are worked out."""
FEW = 14
"""Groups up to which all are named on the chart, where there is room."""
HIGHEST = 4.0
"""Ratios above this are cut and shown at the edge."""
LETTER, LINE = 6.6, 13.0
"""Width and height of a letter in pixels, as far as placing names needs them."""
TITLES = {
    "first_pass": "failed first checks", "first_run": "failed first runs of diagnostics",
    "comeback": "come-backs within {window} days", "clean_job": "jobs that were not clean",
}
SEVERAL = {
    "technician": "Technicians", "bench": "Benches", "tool": "Tools", "station": "Stations", "site": "Sites",
}
UNJUDGED = (TOO_LITTLE, ONLY)
"""Verdicts on groups of which nothing is said."""
WORDS = {"above expectation": "above", "below expectation": "below"}


def comparison_title(answer: Comparison) -> str:
    """The title of a comparison: who, and of what."""
    what = TITLES[str(answer.settings["outcome"])].format(window=answer.settings.get("window"))
    return f"{SEVERAL[str(answer.settings['who'])]}: {what}, against what their work brings"


@draws(Comparison, title=comparison_title)
def plot_comparison(
    answer: Comparison, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True
) -> Any:
    """The funnel of a comparison: a point a group, the limits of chance, words beside those that stand out."""
    rows = _rows(answer)
    title = comparison_title(answer)
    if not rows:
        return nothing(title=title, why=_why(answer), headed=headed, width=width)
    top = _top(rows)
    reach = max([r["expected"] for r in rows] + [1.0]) * 1.06
    start = min([r["expected"] for r in rows] + [reach]) / 3.0
    for row in rows:
        row["cut"] = row["ratio"] > top
        row["y"] = min(row["ratio"], top)
    _name(rows, (start, reach), top, width if isinstance(width, int) else WIDTH)
    funnel = _funnel(answer, (start, reach), top)
    x_scale = alt.Scale(domain=[start, reach], nice=False, type="sqrt")
    y_scale = alt.Scale(domain=[0.0, top], nice=False)
    what = TITLES[str(answer.settings["outcome"])].format(window=answer.settings.get("window"))
    x_axis = alt.Axis(title=f"{what} that the work would bring", tickCount=6, domain=False, grid=False, format="~s",
                      titleAnchor="start")
    y_axis = alt.Axis(tickCount=6, domain=False, format=".1f", labelExpr="datum.label + ' ×'")

    def x(field: str = "expected") -> Any:
        return alt.X(f"{field}:Q", scale=x_scale, axis=x_axis)

    def y(field: str = "y") -> Any:
        return alt.Y(f"{field}:Q", title=None, scale=y_scale, axis=y_axis)

    base, curve = alt.Chart(Data(values=rows)), alt.Chart(Data(values=funnel))
    tips = [alt.Tooltip(f"{k}:N", title=t) for k, t in (
        ("name", str(answer.settings["who"])), ("counts", "observed, expected"), ("times", "ratio"),
        ("interval", "interval"), ("drawn", "shrunk"), ("verdict", "verdict"),
    )]
    layers = [
        curve.mark_area(style="rqa-band", line=False).encode(x=x("at"), y=y("low_95"), y2=alt.Y2("high_95:Q")),
        *(
            curve.mark_line(style="rqa-centre", strokeDash=[4, 3]).encode(x=x("at"), y=y(end))
            for end in ("low_998", "high_998")
        ),
        alt.Chart(Data(values=[{"one": 1.0}])).mark_rule(style="rqa-centre").encode(y=y("one")),
        base.transform_filter("datum.kind == 'little'")
        .mark_point(style="rqa-hollow", fill=PAPER)
        .encode(x=x(), y=y(), tooltip=tips),
        base.transform_filter("datum.kind == 'quiet' && !datum.cut")
        .mark_point(style="rqa-dot", filled=True)
        .encode(x=x(), y=y(), tooltip=tips),
        base.transform_filter("datum.kind == 'quiet' && datum.cut")
        .mark_point(style="rqa-cut", filled=True)
        .encode(x=x(), y=y(), tooltip=tips),
        base.transform_filter("datum.kind == 'loud'")
        .mark_point(style="rqa-signal", filled=True)
        .encode(x=x(), y=y(), tooltip=tips),
    ]
    for right in (True, False):
        side = base.transform_filter(f"datum.word != '' && datum.right == {str(right).lower()}")
        for style, kind in (("rqa-word", "=="), ("rqa-note", "!=")):
            layers.append(
                side.transform_filter(f"datum.kind {kind} 'loud'")
                .mark_text(style=style, align="left" if right else "right", dx=8 if right else -8)
                .encode(x=x(), y=y("word_y"), text=alt.Text("word:N"))
            )
    if selection and len(rows) > 1:
        layers += _under_pointer(base, x, y, tips)
    return finish(
        alt.layer(*layers, height=HEIGHT),
        title=title,
        subtitle=[*_subtitle(answer, rows), *limits(answer)],
        description=_description(answer, rows, title),
        headed=headed,
        width=width,
    )


def _why(answer: Comparison) -> Sentence:
    """Why there is no ratio to be drawn."""
    cases = int(answer.table["exposures"].sum())
    if not cases:
        if answer.table.height == 1:
            who = NAMES.get(str(answer.settings["who"]), str(answer.settings["who"]))
            return said_of(answer, f"Only one {who} has such work: there is nothing to compare it with.")
        return said_of(answer, "There is nothing to compare.")
    return said_of(answer, f"Nothing of this happened in the {counted(cases, 'case')} compared, so there is no ratio.")


def _rows(answer: Comparison) -> list[dict[str, Any]]:
    who, level = str(answer.settings["who"]), float(str(answer.settings["level"])) * 100
    rows = []
    for r in answer.table.iter_rows(named=True):
        if not known(r["ratio"]):
            continue
        few = r["verdict"] in UNJUDGED
        row = {
            "name": spoken(r[who]), "expected": r["expected"], "ratio": r["ratio"], "verdict": r["verdict"],
            "kind": "little" if few else "loud" if r["verdict"] in WORDS else "quiet",
            "counts": f"{r['observed']:,} observed, {r['expected']:.1f} expected of {r['exposures']:,}",
            "times": f"{r['ratio']:.2f} times what is expected",
            "interval": f"{r['low']:.2f} to {r['high']:.2f} ({level:g} %)",
            "drawn": f"{r['shrunk']:.2f} times what is expected" if known(r["shrunk"]) else "no data",
        }
        rows.append(row)
    return rows


def _top(rows: list[dict[str, Any]]) -> float:
    """The highest ratio drawn: all groups with enough work, and some room above what was expected."""
    seen = [r["ratio"] for r in rows if r["kind"] != "little"]
    return float(min(max([2.0, *(1.12 * s for s in seen)]), HIGHEST))


def _funnel(answer: Comparison, span: tuple[float, float], top: float) -> list[dict[str, float | None]]:
    from rqa.stats import funnel_limits

    work = int(answer.table["exposures"].sum())
    share = float(answer.table["observed"].sum()) / work if work else 0.0
    if share == 0.0:
        return []
    # Even steps on the chart's own scale.
    at = np.linspace(span[0] ** 0.5, span[1] ** 0.5, GRID) ** 2
    size = np.maximum(np.rint(at / share), 1).astype(np.int64)
    spread = float(str(answer.settings["spread"]))
    near, far = (funnel_limits(trials=size, centre=share, level=level, dispersion=spread) for level in (0.95, 0.998))
    ends = {
        "low_95": near.low, "high_95": near.high, "low_998": far.low, "high_998": far.high,
    }
    cut = {name: np.minimum(values / share, top).round(4) for name, values in ends.items()}
    # Where the outer limits leave the chart, or lie at 0, there is no line to draw.
    drawn = {name: np.ones(GRID, dtype=bool) for name in cut}
    drawn |= {"low_998": cut["low_998"] > 0, "high_998": cut["high_998"] < top}
    return [
        {
            "at": round(float(min(max(e, span[0]), span[1])), 4),
            **{name: float(values[i]) if drawn[name][i] else None for name, values in cut.items()},
        }
        for i, e in enumerate(size * share)
    ]


def _name(rows: list[dict[str, Any]], span: tuple[float, float], top: float, width: int) -> None:
    """Give names to the points that stand out, and to all of a few, where they do not run into each other."""
    across = max(width - 60, 200)
    taken: list[tuple[float, float, float, float]] = []
    for row in rows:
        start, reach = span[0] ** 0.5, span[1] ** 0.5
        at = (row["expected"] ** 0.5 - start) / (reach - start) * across, (1.0 - row["y"] / top) * HEIGHT
        row |= {"px": at[0], "py": at[1], "word": "", "right": True}
        taken.append((at[0] - 5, at[0] + 5, at[1] - 5, at[1] + 5))
    order = sorted(rows, key=lambda r: (r["kind"] != "loud", r["name"]))
    for row in order:
        loud = row["kind"] == "loud"
        if not loud and len(rows) > FEW:
            continue
        word = f"{row['name']} {WORDS[row['verdict']]}" if loud else row["name"]
        for right in (True, False):
            start = row["px"] + 8 if right else row["px"] - 8 - LETTER * len(word)
            box = (start, start + LETTER * len(word), row["py"] - LINE / 2, row["py"] + LINE / 2)
            inside = box[0] >= 0 and box[1] <= across
            if inside and (loud or not any(_meet(box, other) for other in taken)):
                row |= {"word": word, "right": right}
                taken.append(box)
                break
        else:
            if loud:
                row |= {"word": word, "right": row["px"] < across / 2}
    for row in rows:
        row["word_y"] = round(row["y"] + _lift(row, top) * top / HEIGHT, 4)
        del row["px"], row["py"]


def _lift(row: dict[str, Any], top: float) -> float:
    """Pixels by which a name stands above its point, so that no line runs through it."""
    pixel = top / HEIGHT
    if top - row["y"] < LINE / 2 * pixel:
        return -LINE
    away = row["y"] - 1.0
    return LINE * (0.7 if away >= 0 else -0.7) if abs(away) < LINE / 2 * pixel else 0.0


def _meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]


def _under_pointer(base: Any, x: Any, y: Any, tips: list[Any]) -> list[Any]:
    """The name of the point under the pointer."""
    over = alt.selection_point(name="over", fields=["name"], on="pointerover", clear="pointerout", empty=False)
    return [
        base.transform_filter(over)
        .transform_filter("datum.word == ''")
        .mark_text(style="rqa-label", fontWeight="bold", dy=-14, align="center")
        .encode(x=x(), y=y(), text=alt.Text("name:N")),
        base.mark_point(opacity=0, size=260).encode(x=x(), y=y(), tooltip=tips).add_params(over),
    ]


def _subtitle(answer: Comparison, rows: list[dict[str, Any]]) -> list[str]:
    lines = ["up: observed / expected; to the right: more work; line at 1 = as expected"]
    spread = float(str(answer.settings["spread"]))
    usual = f" and their usual spread ({spread:.2f})" if spread > 1 else ""
    lines.append(f"band = 95 % of groups apart by chance{usual} alone, dashed = 99.8 %")
    kinds = {r["kind"] for r in rows}
    marks = ["diamond with a word = statistically clear"] if "loud" in kinds else []
    if kinds & {"quiet", "loud"} == {"quiet"}:
        marks.append(said_of(answer, "none is further out than chance allows"))
    marks += [f"hollow = {verdict}" for verdict in UNJUDGED if any(r["verdict"] == verdict for r in rows)]
    if any(r["cut"] for r in rows):
        marks.append("at the upper edge = above it")
    return [*lines, "; ".join(marks)]


def _description(answer: Comparison, rows: list[dict[str, Any]], title: str) -> str:
    text = [f"{title}."]
    loud = [f"{r['name']}, {r['counts']}, {r['times']} ({r['interval']}), {r['verdict']}" for r in rows
            if r["kind"] == "loud"]
    quiet = [r["name"] for r in rows if r["kind"] == "quiet"]
    if loud or quiet:
        none = said_of(answer, "None is further out than chance allows.")
        text.append(f"Statistically clear: {'; '.join(loud)}." if loud else none)
    if quiet:
        text.append(f"Not distinguishable: {listed(quiet[:40])}{' and others' if len(quiet) > 40 else ''}.")
    for verdict in UNJUDGED:
        little = answer.table.filter(answer.table["verdict"] == verdict).height
        text += [f"{verdict.capitalize()}: {little:,}."] * (little > 0)
    return " ".join(text)
