"""The page's section on safety: every breach of the battery's order in the month, job by job, apart from all rates.

Where the workspace says so, the page's readers are not shown which jobs they were, only how many of each kind.
"""

from datetime import date

from rqa.answers.core.grounds import Sentence
from rqa.answers.steps.battery_breaches import IN_UTC
from rqa.depot import Depot
from rqa.measures.run import measure_sql
from rqa.review import sheet_texts as say
from rqa.review.facts import FigureScope, PageTable, Section, SheetLine, in_short
from rqa.review.texts import HIDDEN, no_job_closed
from rqa.words import count, counted, month_name, spoken

LISTED = 50
ABOUT = "whether a battery was isolated late or reconnected early"
KINDS = {"isolated_late": "battery isolated late", "reconnected_early": "battery reconnected early"}


def no_battery(depot: Depot) -> bool:
    """Whether hazards are written in the jobs' procedures and no step has to do with a battery.

    Where no hazard is written a missing one says nothing: the steps may be named by codes.
    """
    with_hazards, of_battery = depot.query(measure_sql("battery_steps")).row(0)
    return with_hazards > 0 and not of_battery


def safety(depot: Depot, month: date) -> Section:
    """The month's breaches; names are left out."""
    if no_battery(depot):
        none = depot.grounds().claim(
            "No step of the loaded procedures has the hazard “battery”, and none is named after one: nothing is looked "
            "for.", "described_jobs", about=ABOUT,
        )
        return Section("safety", "Safety", None, (none,))
    answer = depot.steps.battery_breaches(months=month)
    rows, basis = answer.table, FigureScope((month, month), of="jobs closed, in whatever way,")
    notes = tuple(n for n in answer.notes if not isinstance(n, Sentence) and n != IN_UTC)
    if idle := no_job_closed(depot.grounds(month), month):
        return Section("safety", "Safety", None, (f"{idle}.",), notes=notes)
    if rows.is_empty():
        none = depot.grounds(month).claim(
            f"In {month_name(month)} no job is logged with the battery isolated late or reconnected early.",
            *answer.needs, *answer.looks_at, about=ABOUT,
        )
        return Section("safety", "Safety", basis, (none,), notes=notes)
    words = (
        f"In {month_name(month)} the battery is logged as isolated late or reconnected early "
        f"{counted(rows.height, 'time')}. Review each case with the people involved. "
        "These are safety events, not a rate."
    )
    if depot.about.get(HIDDEN[0]) == HIDDEN[1]:
        words += " The jobs are not named here; the quality lead has the list."
        kinds = rows.group_by("kind").len().sort("kind").rows()
        counts = tuple((KINDS.get(kind, spoken(kind)), count(n)) for kind, n in kinds)
        table = PageTable("Breaches of the battery's order", ("what", "times"), counts, 1)
        return Section("safety", "Safety", basis, (words,), notes=notes, tables=(table,))
    cells = tuple(
        (r["job_id"], r["site"] or "–", f"{r['day']}", KINDS.get(r["kind"], spoken(r["kind"])), r["what"])
        for r in rows.head(LISTED).iter_rows(named=True)
    )
    shown = f" (the first {LISTED} of {count(rows.height)})" if rows.height > LISTED else ""
    table = PageTable(f"Breaches of the battery's order{shown}", ("job", "site", "day", "what", "as logged"), cells, 5)
    return Section("safety", "Safety", basis, (words,), notes=notes, tables=(table,))


def safety_line(depot: Depot, month: date, section: Section) -> tuple[SheetLine, int]:
    """How many breaches there were in the month, by kind, and where the list is; the number is 0 where none is told."""
    if no_battery(depot) or no_job_closed(depot.grounds(month), month):
        rows = None
    else:
        rows = depot.steps.battery_breaches(months=month).table
    if rows is None or rows.is_empty():
        return SheetLine("Safety", (in_short(section.words[0]),), section.key, "how it is looked for"), 0
    each = rows.group_by("kind").len().sort("kind").rows()
    named = [KINDS.get(kind, spoken(kind)) for kind, _ in each]
    named[1:] = [kind.removeprefix("battery ") for kind in named[1:]]
    kinds = [f"{count(n)} {kind}" for kind, (_, n) in zip(named, each, strict=True)]
    events = counted(rows.height, "event")
    said = say.SAFETY.format(events=events, month=say.near(month_name(month), month), kinds=", ".join(kinds))
    return SheetLine("Safety", (said,), section.key, "the list of each event", events), rows.height
