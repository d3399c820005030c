"""The page's section on where it goes wrong: the steps that send most units back, their procedure, bursts."""

from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl

from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.ground_list import LAID
from rqa.answers.core.own_work import in_words
from rqa.answers.core.result import Answer, names_of
from rqa.answers.improve.findings import MonthFindings
from rqa.answers.steps.costs import together
from rqa.answers.steps.risk import UNTOUCHED, StepRisk
from rqa.depot import Depot
from rqa.plots.comebacks.costs import money
from rqa.review.attributed import SPLIT, laid_of
from rqa.review.facts import FigureScope, PageFigure, PageTable, Section
from rqa.review.figures import figure_of
from rqa.words import count, counted, listed, spoken

HEADING = "Where it goes wrong"
LISTED = 6
WINDOW = 30
NAMED = 3
HEADS = ("steps, as far as the logs tell them apart", "hazards", "next check", "jobs", "come-backs per 10,000",
         "95 % interval", "past all tests", "cost per 1,000 jobs")
MAP = (
    "Each row is a step: dot = come-backs attributed to it per 10,000 times it was done, in this and every other "
    "procedure that has it, line = 95 % interval. Right: that number, and how many of 1,000 first checks fail. "
    "A bracket joins steps that share one number, as the logs cannot separate them: nearly every job that came back "
    "for what they touch, or could have, had all of them or none. Square: hold point; triangle: cannot be undone. "
    "A hair line begins the next phase of the procedure. "
)
BURSTS = (
    "Each row is a group, its bar the weeks that were fullest, with their verdict beside the name: “burst” is beyond "
    "chance, “echo” has its come-backs in common with a burst, “within chance variation” is what chance explains among "
    "so many windows. Dots are come-backs by week, at the right those in the bar. Come-backs counted are those {of}."
)


def risky_steps(depot: Depot, span: tuple[date, date], found: MonthFindings) -> Section:
    """Steps and their procedure over the months `span`, and the bursts found in them."""
    basis = FigureScope(span, WINDOW)
    risk = depot.steps.risk(months=span, window=WINDOW, sort="cost_per_1000")
    rows = risk.table.filter((pl.col("exposures") >= SMALLEST) & (pl.col("attributed") > 0))
    bursts = _bursts(found.answers.get("bursts"), depot.people)
    if rows.is_empty():
        done = risk.table.filter(pl.col("exposures") >= SMALLEST).height
        none = depot.grounds(span, WINDOW).claim(
            f"No come-back of these months is attributed to a step that {SMALLEST} jobs or more had; looked at were "
            f"{counted(done, 'such step')}. Steps that fewer jobs had are not shown.",
            *LAID, "logged_there", "matured_jobs", about="which steps send units back",
            among=(done, f"steps done {SMALLEST} times or more in jobs that have matured"),
        )
        figures = () if bursts is None else (bursts,)
        return Section("wrong", HEADING, basis, (none,), notes=risk.notes if none.told else (), figures=figures)
    by = "come-backs" if rows["cost_per_1000"].is_null().all() else "cost"
    if by == "come-backs":
        rows = rows.sort(["per_10000", "step"], descending=[True, False], nulls_last=True)
    drawn = tuple(f for f in (_map(depot, rows, span), bursts) if f is not None)
    notes = (*risk.notes, SPLIT)
    tables = (_table(risk, rows, by),)
    return Section("wrong", HEADING, basis, (_said(rows, by),), notes=notes, tables=tables, figures=drawn)


def _said(rows: pl.DataFrame, by: str) -> str:
    top = rows.row(0, named=True)
    steps = listed([f"“{spoken(name)}”" for name in together(top)[:NAMED]])
    first = "The come-backs that cost most" if by == "cost" else "Most come-backs"
    return (
        f"{first}, for each time a step is done, are attributed to {steps}: {_number(top['per_10000'])} per 10,000 "
        f"(95 % interval {_range(top)}), {top['attributed']:.0f} of those that the work may have caused. Each "
        "come-back is attributed to the steps that worked on the faulty subsystem, as far as the logs can tell."
    )


def _table(risk: StepRisk, rows: pl.DataFrame, by: str) -> PageTable:
    """A row for steps that share one number."""
    groups: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for r in rows.iter_rows(named=True):
        groups.setdefault(together(r), []).append(r)
    cells = tuple(
        (
            _steps(names), spoken(", ".join(_each(members, "hazards")) or "–"), members[0]["next_check"] or "–",
            count(max(r["exposures"] for r in members)), _number(members[0]["per_10000"]),
            _range(members[0]),
            "no data" if members[0]["escaping"] is None else f"{100 * members[0]['escaping']:.0f} %",
            money(members[0]["cost_per_1000"]),
        )
        for names, members in list(groups.items())[:LISTED]
    )
    first = "the costliest" if by == "cost" else "most come-backs"
    caption = f"Risky steps, {first} first ({len(cells)} of {len(groups)}): {laid_of(risk)}"
    currency = str(risk.settings["currency"])
    heads = (*HEADS[:-1], f"{HEADS[-1]}, {currency}" if currency else HEADS[-1])
    return PageTable(
        f"{caption}; “past all tests” is the share of these that had passed the tests for it", heads, cells, 3
    )


def _steps(names: tuple[str, ...]) -> str:
    more = len(names) - NAMED
    return " + ".join(spoken(n) for n in names[:NAMED]) + (f" and {more} more" if more > 0 else "")


def _each(rows: list[dict[str, Any]], column: str) -> list[str]:
    """Every word of a listing column once, in order."""
    return list(dict.fromkeys(word for r in rows for word in (r[column] or "").split(", ") if word))


def _number(value: Any) -> str:
    return "no data" if value is None else f"{value:,.0f}"


def _range(row: dict[str, Any]) -> str:
    """Both ends of an interval."""
    ends = (row["low"], row["high"])
    return "no data" if None in ends else " to ".join(map(_number, ends))


def _map(depot: Depot, rows: pl.DataFrame, span: tuple[date, date]) -> PageFigure | None:
    """The procedure in which most come-backs are attributed to the riskiest step."""
    step = rows["step"][0]
    worst = depot.steps.risk(
        by=("procedure",), where={"step": step}, months=span, window=WINDOW, sort="attributed"
    ).table
    worst = worst.filter(pl.col("attributed") > 0)
    if worst.is_empty():
        return None
    procedure = worst["procedure"][0]
    answer = depot.steps.map(procedure, months=span, window=WINDOW)
    answer = replace(answer, table=_large(answer.table))
    heading = f"Where it goes wrong in the procedure “{spoken(procedure)}”"
    cells = tuple(
        (str(r["place"]), spoken(r["step"]), spoken(r["phase"]), spoken(r["hazards"] or "–"),
         UNTOUCHED if answer.unlaid.get((r["step"],)) == UNTOUCHED else _number(r["per_10000"]), _range(r))
        for r in answer.table.iter_rows(named=True)
    )
    heads = ("place", "step", "phase", "hazards", "come-backs per 10,000", "95 % interval")
    return figure_of("step-map", heading, MAP.strip(), answer, PageTable(heading, heads, cells, 4), noted=False)


def _large(steps: pl.DataFrame) -> pl.DataFrame:
    """The steps of a procedure, without the numbers of those done or checked too seldom to be shown."""
    few = {"exposures": ("per_10000", "low", "high"), "checked": ("fails_per_1000", "fails_low", "fails_high")}
    return steps.with_columns(
        pl.when(pl.col(size) >= SMALLEST).then(pl.col(name)).alias(name)
        for size, names in few.items()
        for name in names
    )


def _bursts(answer: Answer | None, persons: frozenset[str]) -> PageFigure | None:
    """Bursts without those of persons and of windows with too few jobs to be shown."""
    if answer is None:
        return None
    told = answer.table.filter(~pl.col("dimension").is_in(sorted(persons)) & (pl.col("cases") >= SMALLEST))
    if told.is_empty():
        return None
    heading = "Weeks in which come-backs were bunched"
    heads = ("group", "from", "to", "come-backs", "expected", "probability by chance", "verdict")
    cells = tuple(
        (_whose(r), f"{r['first']}", f"{r['last']}", count(r["events"]), f"{r['expected']:.1f}",
         f"{r['p_value']:.3f}", r["verdict"])
        for r in told.iter_rows(named=True)
    )
    drawn = replace(answer, table=told)
    reading = BURSTS.format(of=in_words(names_of(answer.settings["classes"]))[0])
    return figure_of("bursts", heading, reading, drawn, PageTable(heading, heads, cells, 3), noted=False)


def _whose(row: dict[str, Any]) -> str:
    if row["dimension"] == "time":
        return "all work"
    return " ".join(spoken(v) for v in (row["dimension"], row["part_no"], row["group"]) if v)
