"""What was loaded, what was refused and why, and what to chase in the logs."""

from rqa.answers.core.case_lists import OWN_JOBS
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot
from rqa.measures.run import counts
from rqa.store.concepts import columns_of
from rqa.store.report import changed_in_store
from rqa.words import counted, plural

IN_UTC = "Times are in UTC."
MOST = 10_000
"""Overlapping jobs listed at most; the notes give the whole number."""


class Overlaps(Answer):
    """Jobs that overlap in time on one unit: unit_id, job_id, opened_at, closed_at, other_job_id."""

    question = "Overlapping jobs"
    needs = ("repeat_units",)
    nothing_found = "No two jobs of one unit overlap in time; cancelled jobs are not looked at."
    lists = OWN_JOBS


class LoadedFiles(Answer):
    """What each load made of each file: load_id, finished_at, source_file, table_name, in_file, left_out, read,
    accepted, refused, known, superseded, merged, replaced, withdrawn.
    """

    question = "Loaded files"
    lists = "It is about files and rows as they were read."
    in_table_only = ("finished_at", "in_file", "left_out", "replaced")


class Refused(Answer):
    """Why rows were refused: table_name, column_name, rule, source_file, rows, first_row, first_value."""

    question = "Refused rows"
    nothing_found = "No row is refused."
    lists = "It is about files and rows as they were read."


class Superseded(Answer):
    """What stands no longer: table_name, source_file, reason, by_file, rows."""

    question = "Rows that stand no longer"
    nothing_found = "Every row that was ever accepted stands."
    lists = "It is about files and rows as they were read."


class HeldBySite(Answer):
    """What the store holds of each site: site, jobs, still_open, first_day, last_day."""

    question = "Jobs held, by site"
    needs = ("jobs",)
    lists = "It counts all jobs of a site, whatever became of them: ask the table jobs with depot.query."


class Remarks(Answer):
    """What was accepted and deserves a look: table_name, remark, value, source_file, rows, first_row."""

    question = "Remarks"
    nothing_found = "No value of a row accepted deserves a look."
    lists = "It is about files and rows as they were read."


class LooseEnds(Answer):
    """What to chase in the logs: what, rows."""

    question = "Loose ends"
    lists = "It is about files and rows as they were read."


class Views(Answer):
    """What a store holds for SQL of one's own: name, kind, parameters, columns, meaning."""

    question = "Views and table macros"
    lists = "It is about files and rows as they were read."


def loaded(snapshot: Snapshot) -> LoadedFiles:
    """What each load made of each file: read = accepted + refused + known + superseded + merged.

    Merged rows are lines that went into the job of another line, where the mapping says `lines`.
    Replaced and withdrawn rows are none of those read: the store held them, and their file gives another in their
    place, or the present files and mapping give them no more. Both are kept in `superseded`, with the reason.

    >>> r = depot.data.loaded().table
    >>> int(r["accepted"].sum()), int(r["refused"].sum())
    (120528, 118)

    Of all rows 118 were refused; `refused` says why.
    """
    import polars as pl

    table = counts(snapshot.store, "loads")
    last = table.filter(pl.col("load_id") == pl.col("load_id").max())
    said = changed_in_store(int(last["replaced"].sum()), int(last["withdrawn"].sum()))
    return LoadedFiles(table, {"store": snapshot.store.path.name}, (*snapshot.notes, *([said] if said else [])))


def refused(snapshot: Snapshot) -> Refused:
    """Why rows were refused: one line a rule, column and file. Table `refused` holds every row (`Depot.query`).

    >>> r = depot.data.refused().table
    >>> r.select("table_name", "rule", "rows").row(0)
    ('steps', 'ended before it started', 4)

    Four step attempts of one file say that they ended before they started, and were refused.
    """
    table = counts(snapshot.store, "refused")
    by_table = counts(snapshot.store, "refused_rows")
    notes = [
        f"{counted(row['rows'], 'row')} of {row['table_name']} {plural(row['rows'], 'is', 'are')} refused."
        for row in by_table.iter_rows(named=True)
    ]
    if table.height:
        notes.append("A row that breaks several rules stands under each of them.")
    return Refused(table, {"store": snapshot.store.path.name}, (*snapshot.notes, *notes))


def superseded(snapshot: Snapshot) -> Superseded:
    """What stands no longer, by file and reason: corrected by another row, or given no more by its file.

    `by_file` gave the row that stands now; "" where none does. Table `superseded` keeps every row (`Depot.query`).

    >>> depot.data.superseded().table.columns
    ['table_name', 'source_file', 'reason', 'by_file', 'rows']
    """
    return Superseded(counts(snapshot.store, "superseded"), {"store": snapshot.store.path.name}, snapshot.notes)


def held_by_site(snapshot: Snapshot) -> HeldBySite:
    """What the store holds of each site's jobs: how many, how many still open, and from when to when.

    >>> depot.data.held_by_site().table.select("site", "jobs").row(0)
    ('Alder', 1063)

    Alder's jobs in the store.
    """
    return HeldBySite(counts(snapshot.store, "held_by_site"), {"store": snapshot.store.path.name}, snapshot.notes)


def remarks(snapshot: Snapshot) -> Remarks:
    """What was accepted and deserves a look: names nobody declared, clock changes, logs without a job.

    >>> r = depot.data.remarks().table
    >>> r.select("remark", "rows").row(0)
    ('clock repeated (daylight saving), read as the second pass', 5)

    Five runs fell into the hour that an autumn night has twice.
    """
    return Remarks(counts(snapshot.store, "remarks"), {"store": snapshot.store.path.name}, snapshot.notes)


def overlaps(snapshot: Snapshot, *, limit: int = MOST) -> Overlaps:
    """The jobs that overlap in time with another on their unit: faults of the data, left out of linking.

    >>> depot.data.overlaps().table.select("job_id", "other_job_id").row(0)
    ('C000649', 'C000650')

    These two jobs were open on one unit at once.
    """
    table = counts(snapshot.store, "overlaps", values={"limit": limit})
    total = counts(snapshot.store, "overlap_count").row(0, named=True)
    notes = [
        f"{counted(total['jobs'], 'job')} on {counted(total['units'], 'unit')} "
        f"{plural(total['jobs'], 'overlaps', 'overlap')}; cancelled jobs are not looked at."
    ] * (total["jobs"] > 0)
    never = int(total["never_closed"])
    if never:
        notes.append(
            f"{counted(never, 'of them was', 'of them were')} never closed, and so "
            f"{plural(never, 'overlaps', 'overlap')} every later job of the unit, which no come-back rate counts: "
            "close such a job in its source."
        )
    return Overlaps(table, {"limit": limit}, (*snapshot.notes, *notes, *([IN_UTC] if table.height else [])))


def loose_ends(snapshot: Snapshot) -> LooseEnds:
    """What to chase in the logs before trusting the figures, each with its number.

    >>> r = depot.data.loose_ends().table
    >>> r.filter(r["what"].str.starts_with("job that overlaps")).row(0)
    ('job that overlaps another on its unit', 12)

    Twelve jobs overlap another on the same unit.
    """
    return LooseEnds(
        counts(snapshot.store, "loose_ends", values={"as_of": snapshot.day}), {"as_of": snapshot.day}, snapshot.notes
    )


def views(snapshot: Snapshot) -> Views:
    """The views and table macros beside the tables for `Depot.query`: the concepts that figures are made from.

    Columns: name, kind (view, table macro), parameters in order, columns, meaning (what a row is, each parameter, and
    what is left out). A view is read like a table; a table macro is given its values, as in
    `depot.query("select * from matured_jobs($day, 30, 'repaired')", {"day": date(2026, 6, 30)})`.

    >>> depot.data.views().table.select("name", "parameters").rows_by_key("name")["matured_jobs"]
    [('as_of, window_days, index_disposition',)]

    Which jobs have matured is asked with the day on which one looks, the days of follow-up and the disposition.
    """
    import polars as pl

    table = counts(snapshot.store, "views")
    listed = [
        ", ".join(columns_of(snapshot.store, name, None if kind == "view" else len(takes.split(", "))))
        for name, kind, takes in table.select("name", "kind", "parameters").iter_rows()
    ]
    columns = ("name", "kind", "parameters", "columns", "meaning")
    table = table.with_columns(pl.Series("columns", listed, pl.String)).select(columns)
    return Views(table, {"store": snapshot.store.path.name}, snapshot.notes)
