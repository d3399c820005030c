"""The page's section on actions: what was changed, and whether it worked."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import polars as pl

from rqa.answers.core.action_scope import read_scope
from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.action_savings import SUM
from rqa.answers.improve.findings import MonthFindings
from rqa.answers.improve.verdicts import UNJUDGED, Verdicts
from rqa.depot import Depot
from rqa.plots.comebacks.costs import money
from rqa.review import sheet_texts as say
from rqa.review.facts import FigureScope, PageFigure, PageTable, ProblemLine, Section, SheetLine, in_short
from rqa.review.figures import figure_of
from rqa.review.texts import cut
from rqa.words import NAMES, count, counted, fixed, listed, month_name, percent, signed, spoken

HEADING = "Actions and verdicts"
READING = (
    "Rows of an action: come-backs of the work in its scope before and after, and of comparable work beside it; dot = "
    "share, line = 95 % interval."
)
HEADS = (
    "action",
    "what",
    "began",
    "before",
    "after",
    "change of the rate, points",
    "95 % interval",
    "the change is of",
    "verdict",
)
LESS, ALONE = "the scope, less comparable work", "the scope alone"
WINDOW = 30
WORDS, FEW = 9, 3
"""Words of what an action changed, on the sheet; and where a problem shows it."""
BEFORE = (
    "Before: the jobs closed in the {} days before the start of the action, or since the log begins. After: those "
    "opened from its start on that have matured. Jobs under way at the start are neither."
)
CHANGE = (
    "Before and after are the plain rates of the scope. The change of the rate is adjusted: it compares like kinds of "
    "work, and takes off the change of the comparable work beside it where there is such (the table says which). So it "
    "need not be the plain rate after less the one before. "
    "Verdicts may be read every month: of actions without effect one in twenty at most is called worked or worse."
)


def actions(depot: Depot, month: date, found: MonthFindings | None = None, shown: Collection[str] = ()) -> Section:
    """Each action that had begun by the end of the month, with its verdict.

    Actions about single persons are named by their id alone, and so are those whose scope cannot be read: it may name
    one. `found` are the month's findings, `shown` the ids of those that the page lists: what an action answers is said
    with its numbers, or why it is not listed.
    """
    answer = depot.verdicts(window=WINDOW)
    table = answer.table.filter(pl.col("started_on").dt.truncate("1mo") <= month)
    begun = answer.table.filter(pl.col("started_on") <= depot.as_of.date())
    after = begun.filter(pl.col("started_on").dt.truncate("1mo") > month)["action_id"].to_list()
    later = f"Begun after {month_name(month)}, and so told on a later page: {listed(after)}." if after else ""
    if table.is_empty():
        none = depot.grounds().claim(
            f"No action on record had begun by {month_name(month)}.", "actions", about="whether an action worked"
        )
        return Section("actions", HEADING, None, (none,), notes=(later,) if later else ())
    unread = table.filter(pl.col("verdict") == UNJUDGED)
    read = table.filter(pl.col("verdict") != UNJUDGED)
    private = pl.Series(_about_persons(depot, read), dtype=pl.Boolean)
    open_ones = read.filter(~private)
    notes = [CHANGE] if open_ones.height else []
    persons = read.filter(private)["action_id"].to_list()
    if persons:
        notes.append(
            f"Not shown, as {'these are' if len(persons) > 1 else 'this one is'} about single persons and for the "
            f"trainer: {listed(persons)}."
        )
    names = unread["action_id"].to_list()
    if names:
        notes.append(f"Not judged, as the scope cannot be read: {listed(names)}; rqa action WORKSPACE says why.")
    if later:
        notes.append(later)
    notes += [n for n in answer.notes if isinstance(n, Sentence) and n.lacks]
    savings = depot.actions.savings(window=WINDOW)
    spared = {r["action_id"]: _spared(r, str(savings.settings["currency"])) for r in savings.table.to_dicts()}
    words = tuple(
        " ".join(
            w
            for w in (_said(r), _counted(r), *_answered(r, found, shown, depot.people), spared[name], r["warning"])
            if w
        )
        for name, r in zip(open_ones["action_id"], open_ones.to_dicts(), strict=True)
    )
    if any(spared[name] for name in open_ones["action_id"]):
        notes.append(SUM)
    figures: tuple[PageFigure, ...] = ()
    if open_ones.height:
        kept = _only(answer, open_ones)
        heading = "Come-backs before and after each action"
        figures = (figure_of("verdicts", heading, READING, kept, _table(open_ones), noted=False),)
    basis = FigureScope(None, WINDOW, more=BEFORE.format(answer.settings["before_days"]))
    return Section("actions", HEADING, basis, points=words, notes=tuple(notes), figures=figures)


def open_actions(depot: Depot, month: date) -> list[dict[str, Any]]:
    """The verdicts on the actions that had begun by the end of the month, but for those about single persons and those
    whose scope cannot be read."""
    table = depot.verdicts(window=WINDOW).table
    begun = table.filter((pl.col("started_on").dt.truncate("1mo") <= month) & (pl.col("verdict") != UNJUDGED))
    return begun.filter(~pl.Series(_about_persons(depot, begun), dtype=pl.Boolean)).to_dicts()


def action_lines(
    rows: Sequence[dict[str, Any]], section: Section, most: int, problems: Sequence[ProblemLine], month: date
) -> SheetLine:
    """Each action with its verdict, the latest first; `section` tells of all of them. Fewer words say what was changed
    where one of the `problems` shows the action."""
    known = {p.action.partition(" ")[0] for p in problems}
    latest = sorted(rows, key=lambda r: (r["started_on"], r["action_id"]), reverse=True)
    said = [
        say.ACTION_LINE.format(
            action=r["action_id"], what=cut(r["what"], FEW if r["action_id"] in known else WORDS),
            verdict=say.DUE.format(month=say.near(month_name(r["expected_on"]), month)) if _when(r) else r["verdict"],
        )
        for r in latest[:most]
    ]
    more = len(latest) - most
    said += [say.MORE_ACTIONS.format(more=counted(more, "more action"))] if more > 0 else []
    if not said:
        said = [in_short(section.words[0])] if section.words else [say.UNSHOWN_ACTIONS]
    return SheetLine("Actions", tuple(said), section.key, "each action, before and after")


def _about_persons(depot: Depot, rows: pl.DataFrame) -> list[bool]:
    """Of each action with a scope that can be read, whether it names single persons."""
    return [bool(depot.people & set(read_scope(scope).jobs)) for scope in rows["scope"]]


def _said(row: dict[str, Any]) -> str:
    answers = f", the answer to {row['finding_id']}" if row["finding_id"] else ""
    return f"{row['what']} ({row['action_id']}{answers}): {row['verdict']}{_when(row)}."


def _counted(row: dict[str, Any]) -> str:
    """What the verdict counts: the scope, the come-backs, both sides and their days."""
    if row["outcome"] is None:
        return ""
    scope = read_scope(row["scope"]).where
    place = ", ".join(f"{NAMES.get(name, name)} {listed([spoken(v) for v in kept])}" for name, kept in scope.items())
    started = row["started_on"]
    return (
        f"Counted are {row['outcome']} within {WINDOW} days in the scope ({place}): {_of(row, 'before')} closed "
        f"{row['before_from']} to {started - timedelta(days=1)}, {_of(row, 'after')} opened since "
        f"{started}.{_rests_on(row)}"
    )


def _rests_on(row: dict[str, Any]) -> str:
    """On how many of these jobs the adjusted change rests, where not on all."""
    both, rests = (row["jobs_before"] or 0) + (row["jobs_after"] or 0), row["comparable"]
    if rests is None or rests >= both:
        return ""
    of = f"{count(rests)} of these {counted(both, 'job')}"
    return f" The adjusted change rests on {of}; the others have comparable work on one side alone."


def _of(row: dict[str, Any], side: str) -> str:
    return f"{count(row[f'returned_{side}'] or 0)} of {counted(row[f'jobs_{side}'] or 0, 'matured job')}"


def _answered(
    row: dict[str, Any], found: MonthFindings | None, shown: Collection[str], persons: frozenset[str]
) -> Iterator[str]:
    """What the finding counted that an action answers, so that its numbers are not taken for those of the verdict."""
    name = row["finding_id"]
    if not name or found is None:
        return
    there = {f.id: f for f in (*found.findings, *found.gone)}
    if name not in there:
        yield f"{name} is not among the findings of this month or of the one before."
        return
    f = there[name]
    if persons & set(f.scope):
        yield f"{name} is about the work of a single person, for the trainer, and not shown here."
        return
    held = name in {one.id for one in found.findings}
    where = "listed above" if name in shown else "in the notebooks' list" if held else "no longer statistically clear"
    yield f"{name} ({where}) counts other jobs, those of {f.where}: {f.what}."


def _spared(row: dict[str, Any], currency: str) -> str:
    """Come-backs spared so far and their cost, each with its limits."""
    if row["avoided"] is None:
        return ""
    avoided, low, high = (fixed(row[name], 1) for name in ("avoided", "avoided_low", "avoided_high"))
    number = (
        f"Spared so far, by the rates before and after: {counted(avoided, 'come-back')} (95 % interval {low} to {high})"
    )
    if row["cost"] is None:
        return f"{number}."
    cost, least, most = (money(row[name]) for name in ("cost", "cost_low", "cost_high"))
    return f"{number}, {cost} {currency}".rstrip() + f" ({least} to {most})."


def _only(answer: Verdicts, table: pl.DataFrame) -> Verdicts:
    sides = answer.sides
    named = table["action_id"].to_list()
    return replace(answer, table=table, sides=None if sides is None else sides.filter(pl.col("action_id").is_in(named)))


def _when(row: dict[str, object]) -> str:
    return f", expected on {row['expected_on']}" if row["verdict"] == "too early" and row["expected_on"] else ""


def _table(rows: pl.DataFrame) -> PageTable:
    cells = tuple(
        (
            r["action_id"], r["what"], f"{r['started_on']}", _rate(r["returned_before"], r["jobs_before"]),
            _rate(r["returned_after"], r["jobs_after"]), *_change(r), f"{r['verdict']}{_when(r)}",
        )
        for r in rows.iter_rows(named=True)
    )
    return PageTable("Before, after and verdict", HEADS, cells, 3)


def _rate(returned: int | None, jobs: int | None) -> str:
    return "no data" if not jobs or returned is None else f"{percent(returned / jobs)} of {count(jobs)}"


def _change(row: dict[str, float | None]) -> tuple[str, str, str]:
    names = ("net", "net_low", "net_high") if row["net"] is not None else ("difference", "low", "high")
    value, low, high = (row[n] for n in names)
    if value is None or low is None or high is None:
        return "no data", "no data", "–"
    of = LESS if row["net"] is not None else ALONE
    return signed(100 * value, 1), f"{signed(100 * low, 1)} to {signed(100 * high, 1)}", of
