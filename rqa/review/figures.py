"""The page's figures: each answer drawn once, with the table of its numbers beside it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any, TypeVar

import polars as pl

from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.needs import said_of, untold
from rqa.answers.core.result import Answer
from rqa.depot import Depot
from rqa.plots import plot
from rqa.plots.groups import SHOWN_FROM
from rqa.plots.level_change import SETTING, LevelChange
from rqa.plots.period_axes import EARLY
from rqa.plots.theme import nothing
from rqa.review.facts import FigureScope, PageFigure, PageTable, Verdict
from rqa.review.suppressed import shown_groups
from rqa.shown import all_shown
from rqa.words import count, counted, interval, month_name, percent, plural, spoken

STEPS_DRAWN = 12
GROUPS_DRAWN = 12
LEVELS = " Dashed upright line: here the level changed; the lines and numbers beside it are the mean before and since."
AnyAnswer = TypeVar("AnyAnswer", bound=Answer)
SHARES = {"rate", "yield", "share", "value", "centre", "projected"}
HEADS = {
    "month": "month", "period": "month", "model": "model", "procedure": "procedure", "step": "step", "jobs": "jobs",
    "matured": "matured", "returned": "came back", "rate": "share", "yield": "yield", "share": "share",
    "exposures": "first checks", "passed": "passed", "failed": "failed", "unchecked": "not checked", "size": "cases",
    "returned_so_far": "back so far", "projected": "rate", "which": "which rate",
    "value": "share", "centre": "mean", "signal": "signal", "mature": "final", "clean": "clean",
}


def figures(
    depot: Depot, month: date, span: tuple[date, date] | None, shown: tuple[date, date], general: tuple[str, ...],
    judged: Sequence[Verdict],
) -> tuple[PageFigure, ...]:
    """All figures of the page; a change of level that is `judged` to be one is drawn where it is dated.

    `span` is the year of matured closing months, `shown` the months on the time axes, `general` the notes that hold
    for the whole page and are not repeated under each figure.
    """
    month30, month90, _, clean = (v.change for v in judged)
    made = [
        _control(depot, "comebacks", "Come-backs within 30 days, by closing month", shown, month30),
        _later(depot, shown, month90),
        _control(depot, "clean_jobs", "Clean-job share, by month", shown, clean),
    ]
    if span is not None:
        made.append(_work(depot, span))
    made.append(_steps(depot, month))
    return _said_once([replace(f, basis=_basis(f)) for f in made], general)


def _basis(figure: PageFigure) -> FigureScope:
    """What a figure that stands alone counts."""
    counted = {"steps": "first checks of steps", "clean_jobs": "checked jobs"}.get(figure.key)
    return FigureScope(figure.months, figure.window if counted is None else None, counted or "jobs closed")


def _said_once(made: list[PageFigure], general: tuple[str, ...]) -> tuple[PageFigure, ...]:
    """The figures with each note under the first of them that it belongs to."""
    seen, kept = set(general), []
    for figure in made:
        kept.append(replace(figure, notes=tuple(n for n in figure.notes if n not in seen)))
        seen.update(figure.notes)
    return tuple(kept)


def figure_of(
    key: str, heading: str, reading: str, answer: Answer, table: PageTable, *, noted: bool = True,
    spec: dict[str, Any] | None = None, **how: Any,
) -> PageFigure:
    """An answer drawn for the page, or its picture as drawn before; `noted` puts its notes under it."""
    spec, s = _drawn(answer, **how) if spec is None else spec, answer.settings
    months, window = s.get("months"), s.get("window")
    return PageFigure(
        key, heading, reading, spec, table, tuple(answer.notes) if noted else (),
        months=months if isinstance(months, tuple) else None, window=window if isinstance(window, int) else None,
    )


def _drawn(answer: Answer, **how: Any) -> dict[str, Any]:
    # The tests hold pictures against the grammar; doing so for every reader would be a tenth of the page's time.
    return all_shown(plot(answer, headed=False, width="container", selection=False, **how).to_dict(validate=False))


def is_framed(spec: dict[str, Any]) -> bool:
    """Whether a picture has the dashed frame over periods that are not final."""
    return f"'style': '{EARLY}'" in repr(spec)


def changed(answer: AnyAnswer, change: LevelChange | None) -> AnyAnswer:
    """An answer by month with the change of level that its picture shows: that of the page's month, or none."""
    return replace(answer, settings={**answer.settings, SETTING: change})


def _control(
    depot: Depot, measure: str, heading: str, shown: tuple[date, date], change: LevelChange | None
) -> PageFigure:
    answer = changed(depot.control_chart(measure, window=30, months=shown), change)
    spec = _drawn(answer)
    reading = (
        "Each dot is a month. The band shows how far chance alone moves a month of that size, its line the mean. "
        "A diamond with a word marks a signal: a month outside the band, or one that makes eight in a row on one side "
        "of the mean. "
    )
    if is_framed(spec):
        reading += (
            "In months in the dashed frame some jobs have not had their 30 days yet: they are shown, and not judged. "
            if measure == "comebacks"
            else "The month in the dashed frame is not over. "
        )
    reading += "Bars at the foot: how many jobs."
    reading += LEVELS if change is not None else ""
    return figure_of(measure, heading, reading, answer, table_of(answer, heading), spec=spec)


def _later(depot: Depot, shown: tuple[date, date], change: LevelChange | None) -> PageFigure:
    answer = changed(depot.projection(90, months=shown), change)
    heading = "Come-backs within 90 days, by closing month, mature and projected"
    spec = _drawn(answer)
    hollow = thick = ""
    if is_framed(spec):
        hollow = (
            " Hollow dot in the dashed frame: projected, for a month some of whose jobs have not; it will still change."
        )
        thick = "; thick line: where the month's own figure will end"
    reading = (
        f"Filled dot: the mature rate of a month all of whose jobs have had their 90 days.{hollow} Line: 95 % interval "
        f"of the true rate{thick}. Bars at the foot: jobs."
    )
    reading += LEVELS if change is not None else ""
    which = pl.when(pl.col("matured") < pl.col("jobs")).then(pl.lit("projected")).otherwise(pl.lit("mature"))
    columns = ("month", "jobs", "matured", "returned_so_far", "projected", "low", "high", "which")
    table = replace(answer, table=answer.table.with_columns(which.alias("which")).select(columns))
    return figure_of("comebacks-90", heading, reading, answer, table_of(table, heading), spec=spec)


def _work(depot: Depot, span: tuple[date, date]) -> PageFigure:
    whole = depot.comebacks(window=30, by=("model", "procedure"), months=span)
    answer, left = enough(whole, "matured")
    heading = f"Come-backs within 30 days, by model and procedure, {month_name(span[0])} to {month_name(span[1])}"
    reading = _rows_reading("kind of work", answer.table.height, GROUPS_DRAWN, "highest", left)
    reading += _not_shown(whole.table["matured"].to_list(), left, "without a matured job")
    table, spec = table_of(answer, heading), _all_few(answer, heading, whole.table["matured"].to_list())
    there = whole.table.filter(whole.table["matured"] > 0).height
    made = figure_of("work", heading, reading, answer, table, spec=spec, limit=GROUPS_DRAWN)
    return replace(made, hidden=(there - answer.table.height, there))


def _steps(depot: Depot, month: date) -> PageFigure:
    whole = depot.first_pass_yield(by=("step",), months=month)
    answer, left = enough(whole, "exposures")
    heading = f"First-pass yield by step, {month_name(month)}"
    reading = _rows_reading("step", answer.table.height, STEPS_DRAWN, "lowest", left)
    reading += _not_shown(whole.table["exposures"].to_list(), left, "never checked")
    table, spec = table_of(answer, heading), _all_few(answer, heading, whole.table["exposures"].to_list())
    return figure_of("steps", heading, reading, answer, table, spec=spec, limit=STEPS_DRAWN)


def _rows_reading(what: str, rows: int, drawn: int, end: str, left: int) -> str:
    whole = "all shown" if left else "all"
    if not rows:
        return ""
    words = f"Each row is a {what}: dot = share, line = 95 % interval, tick = {whole} together. "
    return words + (
        f"Drawn are the {drawn} {end} of {rows}; the table holds all. " if rows > drawn else f"The {end} comes first. "
    )


def _not_shown(sizes: Sequence[int], left: int, of_none: str) -> str:
    """How many groups are not shown, and why: nothing to show, few cases, or what would give these away."""
    none = sum(size == 0 for size in sizes)
    few = left - none
    why = [f"{count(none)} {of_none}"] if none else []
    why += [f"{count(few)} with fewer than {SMALLEST} cases or that would give these away"] if few else []
    return f"{count(left)} {plural(left, 'is', 'are')} not shown: {' and '.join(why)}." if left else ""


def _all_few(answer: Answer, heading: str, sizes: Sequence[int]) -> dict[str, Any] | None:
    """What is drawn in place of an answer whose groups are all left out; None where some are shown or none has a case.

    There is something in the store then, so the picture must not say that there is nothing.
    """
    if answer.table.height or not any(sizes) or untold(answer):
        return None
    few = f"fewer than {SMALLEST} cases" + " or would give these away" * (max(sizes) >= SMALLEST)
    said = f"All {counted(len(sizes), 'group')} have {few}." if len(sizes) > 1 else f"The only group has {few}."
    chart = nothing(title=heading, why=said_of(answer, said), headed=False, width="container", said="not shown")
    return all_shown(chart.to_dict(validate=False))


def enough(answer: AnyAnswer, size: str) -> tuple[AnyAnswer, int]:
    """The answer without its small groups and what would give them away, and how many were left out."""
    kept = answer.table.filter(pl.Series(shown_groups(answer.table[size].to_list(), SMALLEST), dtype=pl.Boolean))
    left = answer.table.height - kept.height
    settings = {**answer.settings, SHOWN_FROM: SMALLEST} if left else answer.settings
    return replace(answer, table=kept, settings=settings), left


def table_of(answer: Answer, caption: str) -> PageTable:
    """An answer's table as texts: shares as percentages, both ends of an interval in one column."""
    names = answer.table.columns
    ends = ("lower", "upper") if "lower" in names else ("low", "high")
    columns, rows = [n for n in names if n not in ends], []
    place = max((i for i, n in enumerate(columns) if n in SHARES), default=len(columns) - 1) + 1
    for row in answer.table.iter_rows(named=True):
        cells = [_cell(name, row[name]) for name in columns]
        rows.append((*cells[:place], interval(row[ends[0]], row[ends[1]]), *cells[place:]))
    heads = [HEADS.get(n, n.replace("_", " ")) for n in columns]
    between = "limits of chance" if ends[0] == "lower" else "95 % interval"
    count_names = sum(1 for n in columns if n in ("month", "period", "model", "procedure", "step"))
    return PageTable(caption, (*heads[:place], between, *heads[place:]), tuple(rows), count_names)


def _cell(name: str, value: Any) -> str:
    if name in SHARES:
        return percent(value)
    if name == "signal":
        return value or "–"
    if isinstance(value, bool):
        return "yes" if value else "not yet"
    if isinstance(value, date):
        return month_name(value)
    return count(value) if isinstance(value, int) else spoken(value)


def plain_table(caption: str, columns: Sequence[str], rows: Sequence[Sequence[Any]], names: int) -> PageTable:
    """A table of names and counts as texts; what there is nothing of has a dash."""
    return PageTable(
        caption,
        tuple(columns),
        tuple(tuple("–" if v is None else count(v) if isinstance(v, int) else str(v) for v in r) for r in rows),
        names,
    )
