"""The page's section on cost: what come-backs cost in the month and in the year, and which make up most of it."""

from datetime import date
from typing import Any

from rqa.answers.comebacks.costs import ComebackCosts
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.core.own_work import TOUCHED
from rqa.answers.steps.costs import StepCosts
from rqa.depot import Depot
from rqa.plots.comebacks.costs import MOST, money
from rqa.review import sheet_texts as say
from rqa.review.attributed import SPLIT, laid_of
from rqa.review.facts import FigureScope, PageFigure, PageTable, Section, SheetLine, in_short
from rqa.review.figures import figure_of
from rqa.review.spans import year_held
from rqa.words import count, counted, listed, month_name, months_said, percent, plural, spoken

STEPS = 6
LINK = "what come-backs cost, and where"
MOSTLY = 0.95
"""The share of come-backs with a known cost below which the sheet says how many have none."""
WINDOW = 90
HEADS = ("come-backs", "with known cost", "cost", "95 % interval", "one costs", "95 % interval of one", "share",
         "together")
OTHERS = (
    "What is attributed to steps is a part of what come-backs cost: those of other classes, and of sites that are left "
    "out, are attributed to none. Jobs are taken by the month they were closed in, not by the month the unit came back."
)
KINDS = (
    "Each row is a class of come-back on a model: bar = cost, line = 95 % interval of what it costs in the long run, "
    "“together” = the share that it and the rows above make. The costliest comes first. "
)


def cost(depot: Depot, month: date) -> Section:
    """What come-backs cost in the year that ends with the month; money is what the workspace counts in."""
    year = year_held(depot, month)
    own, whole = (depot.costs(by=(), months=months, window=WINDOW) for months in (month, year))
    span = months_said(*year)
    words: tuple[str, ...] = (
        _said(depot.grounds(month, WINDOW), own, f"in {month_name(month)}"),
        _said(depot.grounds(year, WINDOW), whole, f"from {span}"),
    )
    kinds = depot.costs(by=("class", "model"), months=year, window=WINDOW)
    rows = kinds.table.height
    over_time = depot.costs(by=("month",), months=year, window=WINDOW)
    drawn = (
        (
            "cost-kinds", f"Cost of come-backs{_there(kinds)}, by class and model, {span}", kinds,
            KINDS + (f"Drawn are {MOST} of {counted(rows, 'row')}; the table holds all." if rows > MOST else ""),
        ),
        (
            "cost-months", "Cost of come-backs, by the month they came back in", over_time,
            "Bar = cost of the come-backs of the month, line = 95 % interval of what such a month costs in the "
            "long run: where the lines of two months overlap widely, their difference may well be chance.",
        ),
    )
    # Without a known cost there is nothing to draw: the words above say what is missing.
    figures = [
        _figure(key, heading, answer, reading=reading)
        for key, heading, answer, reading in drawn
        if answer.table["cost"].null_count() < answer.table.height
    ]
    by_step = depot.steps.costs(months=year, window=WINDOW)
    tables = (_steps(by_step),) if by_step.table.height else ()
    basis = FigureScope(year, WINDOW, "the jobs with which units came back")
    notes = tuple(n for n in whole.notes if n not in words and not isinstance(n, Sentence))
    notes += tuple(n for n in kinds.notes if isinstance(n, Sentence) and set(n.lacks) & set(TOUCHED))
    if tables:
        notes += (*(n for n in by_step.notes if isinstance(n, Sentence)), OTHERS, SPLIT)
    return Section(
        "cost", "Cost", basis, tuple(dict.fromkeys(words)), notes=notes, tables=tables, figures=tuple(figures)
    )


def cost_line(depot: Depot, month: date, section: Section, largest: str) -> SheetLine:
    """What come-backs cost in the year that ends with the month; `largest` is the largest avoidable part, in words."""
    year = year_held(depot, month)
    table = depot.costs(by=(), months=year, window=WINDOW).table
    if table.is_empty():
        return SheetLine("Cost", (in_short(section.words[-1]),), section.key, LINK)
    r, currency = table.row(0, named=True), str(depot.about.get("currency", ""))
    came = say.COST.format(
        months=months_said(*year), comebacks=counted(r["comebacks"], "come-back"), days=WINDOW
    )
    if r["cost"] is None:
        return SheetLine("Cost", (say.COST_UNKNOWN.format(came=came),), section.key, LINK)
    few = r["known"] < MOSTLY * r["comebacks"]
    known = say.COST_OF_FEW.format(number=count(r["comebacks"] - r["known"])) if few else ""
    ends = {"low": money(r["cost_low"]), "high": money(r["cost_high"])}
    said = say.COST_SUM.format(came=came, cost=money(r["cost"], currency), **ends)
    left = say.COST_NOT_COUNTED.format(what=r["not_counted"]) if r["not_counted"] else ""
    return SheetLine("Cost", (f"{said}{known}.{left}{largest}",), section.key, LINK)


def _there(answer: ComebackCosts) -> str:
    """The sites alone whose come-backs are among these, as the others' are not known by class."""
    where: Any = answer.settings.get("where") or {}
    sites = where.get("site")
    return f" at {listed([spoken(name) for name in sites])}" if sites else ""


def _steps(answer: StepCosts) -> PageTable:
    """What was attributed to steps, and what it cost."""
    rows = answer.table.head(STEPS)
    cells = tuple(
        (
            spoken(r["step"]), f"{r['attributed']:.1f}", money(r["cost"]), _range(r["low"], r["high"]),
            percent(r["share"]), percent(r["cumulative"]),
        )
        for r in rows.iter_rows(named=True)
    )
    of = f" ({rows.height} of {answer.table.height})" if answer.table.height > STEPS else ""
    heads = ("step, or steps not told apart", "come-backs attributed to it", "cost", "95 % interval", "share",
             "together")
    currency = str(answer.settings["currency"])
    whole = money(float(answer.table["cost"].sum()), currency)
    caption = f"Cost attributed to steps{of}{f', {currency}' if currency else ''}: {laid_of(answer)}"
    return PageTable(f"{caption}; shares are of the {whole} attributed to steps in all", heads, cells)


def _said(there: Grounds, answer: ComebackCosts, when: str) -> str:
    if answer.table.is_empty():
        none = f"No unit came back within {WINDOW} days {when}."
        return there.claim(none, *SEEN, "opened_there", about="what come-backs cost")
    r, currency = answer.table.row(0, named=True), str(answer.settings["currency"])
    came = f"{counted(r['comebacks'], 'come-back')} opened {when}, within {WINDOW} days of closing,"
    if r["cost"] is None:
        return f"The {came} {plural(r['comebacks'], 'has', 'have')} no known cost: {_why(r)}."
    parts = {"labour": "labour", "parts": "parts", "freight": "freight", "goodwill": "the goodwill jobs before"}
    made = ", ".join(f"{money(r[name])} {said}" for name, said in parts.items() if r[name])
    each = f"; one costs {money(r['mean'], currency)} on average"
    if r["low"] is not None:
        each += f" (95 % interval {money(r['low'])} to {money(r['high'])})"
    left = f" Not counted: {r['not_counted']}." if r["not_counted"] else ""
    if r["known"] < r["comebacks"]:
        came = f"{count(r['known'])} with a known cost of {came}"
    return (
        f"The {came} cost {money(r['cost'], currency)} (95 % interval {money(r['cost_low'])} to "
        f"{money(r['cost_high'])}): {made or 'nothing'}{each}.{left}"
    )


def _why(row: dict[str, Any]) -> str:
    """What is missing where no cost is known."""
    said = {
        "no_costs": "no part of the cost is counted at their site", "no_labour": "labour minutes are missing",
        "no_parts": "the cost of parts is missing", "no_freight": "the cost of freight is missing",
        "still_open": "the job is still open",
    }
    return "; ".join(f"{words} ({count(row[name])})" for name, words in said.items() if row[name])


def _figure(key: str, heading: str, answer: ComebackCosts, *, reading: str) -> PageFigure:
    return figure_of(key, heading, reading.strip(), answer, _table(answer, heading), noted=False)


def _table(answer: ComebackCosts, caption: str) -> PageTable:
    by: Any = answer.settings["by"]
    heads = (*by, *HEADS)
    table = answer.table.sort("month") if by == ("month",) else answer.table
    rows = [
        (
            *(spoken(r[b]) for b in by), count(r["comebacks"]), count(r["known"]), money(r["cost"]),
            _range(r["cost_low"], r["cost_high"]), money(r["mean"]), _range(r["low"], r["high"]), percent(r["share"]),
            percent(r["cumulative"]),
        )
        for r in table.iter_rows(named=True)
    ]
    currency = answer.settings["currency"]
    kept = [i for i in range(len(heads)) if by != ("month",) or heads[i] != "together"]
    return PageTable(
        f"{caption}{f' ({currency})' if currency else ''}; shares are of the cost known in all",
        tuple(heads[i] for i in kept),
        tuple(tuple(row[i] for i in kept) for row in rows),
        len(by),
    )


def _range(low: float | None, high: float | None) -> str:
    return "no data" if low is None or high is None else f"{money(low)} to {money(high)}"
