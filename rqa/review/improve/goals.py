"""The page's section on goals: whether the latest final month met each, and whether that can be told."""

from collections import Counter
from datetime import date
from typing import Any

from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.goals import NOT_YET
from rqa.depot import Depot
from rqa.review.facts import FigureScope, PageTable, Section
from rqa.review.improve.verdicts import mature_month
from rqa.words import counted, interval, month_name, percent

NOTHING = "there is nothing to tell it by"
UNFINISHED = "the month is not final"
BOTH_SIDES = "the numbers of one month are too small to say on which side of the goal the true share lies"


def goals(depot: Depot, month: date) -> Section:
    """Each goal in force: in the month itself where its figure is final, else in the latest final month before."""
    rows, unclear = [], list[str]()
    asked = depot.actions.targets(month)
    for row in asked.table.iter_rows(named=True):
        final = _final(depot, row["measure"], month)
        own = final or month
        found = row if own == month else _again(depot, own, row["measure"]) or row
        side = "at least" if found["at_least"] else "at most"
        rows.append(
            (found["name"], f"{side} {percent(found['goal'])}", month_name(found["month"]), found["met"],
             percent(found["value"]), interval(found["low"], found["high"]))
        )
        if found["met"] not in ("yes", "no"):
            blind = found["value"] is None
            unclear.append(UNFINISHED if found["met"] == NOT_YET else NOTHING if blind else BOTH_SIDES)
    notes = tuple(n for n in asked.notes if not isinstance(n, Sentence))
    none = depot.grounds().claim(
        f"No goal of the table “targets” that can be read is in force in {month_name(month)}.",
        "targets",
        about="whether goals are met",
    )
    if not rows:
        return Section("goals", "Goals", None, (none,), notes=notes)
    told = [r[3] for r in rows]
    words = f"{told.count('yes')} of {counted(len(rows), 'goal')} met, {told.count('no')} not met"
    if unclear:
        why = Counter(unclear)
        each = [reason if len(why) == 1 else f"{reason} ({n})" for reason, n in why.items()]
        words += f", {len(unclear)} cannot be told: {'; '.join(each)}"
    words = f"{words}."
    heads = ("measure", "goal", "month", "met", "share", "95 % interval")
    table = PageTable("Each goal in its latest final month", heads, tuple(rows), 4)
    basis = FigureScope(None, more="Each goal counts the days in its name, in the month beside it.")
    return Section("goals", "Goals", basis, (words,), notes=notes, tables=(table,))


def _final(depot: Depot, named: str, month: date) -> date | None:
    measure, _, days = named.partition("_") if named.startswith("comebacks_") else (named, "", "0")
    return mature_month(depot, measure, int(days), month)


def _again(depot: Depot, month: date, named: str) -> dict[str, Any] | None:
    found = [r for r in depot.actions.targets(month).table.iter_rows(named=True) if r["measure"] == named]
    return found[0] if found else None
