"""From staging to the store: every staged row is placed in its file and given exactly one verdict.

A row is *accepted* (it stands and did not before), *refused* (it breaks a rule), *known* (the store had it, word for
word, or it repeats another), *superseded* (a later row has its key) or *merged* (it is a line of the job that another
row stands for: `store.lines`). "Later" means: a later file in the mapping's order, then a later row. What the store
holds is what reading all files at once gives, whatever was read before; a stored row that its file gives no more is
withdrawn, and kept with its reason in `superseded`.
"""

from collections.abc import Sequence
from dataclasses import replace

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal
from rqa.intake.names import BROKEN, DERIVE, FILE_NO, GIVEN_ROW, LEFT_OUT, ODD, RAW
from rqa.store.changed_jobs import touch_all
from rqa.store.keys import settle_keys
from rqa.store.lines import merge_lines, merged_lines, with_merged, write_line_remarks
from rqa.store.numbers import begin_numbers, number_jobs, settle_unnumbered
from rqa.store.order import ORDER, Changes, StoredFile, write_order
from rqa.store.remarks import OF_ROWS, write_row_remarks
from rqa.store.staged import Staged
from rqa.store.validate import unpacked
from rqa.store.verdicts import (
    CORRECTED,
    LATER,
    ROWID,
    VERDICTS,
    Places,
    RowsNeededError,
    Verdicts,
    by_label,
    count_into,
    good_rows,
    unsure,
)

JOB = "job_id"
"""The column by which a row belongs to a job, in the tables that have it."""


def settle(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], load_id: int, what: Changes
) -> Places:
    """Move one table's staged rows into the store, and take out of it what is no longer given; returns the account.

    `files` are those that were read, all that `what` says are changed and still there. Raises `RowsNeededError` where
    the others must be read too; what was written by then is written again.
    """
    name = table.name
    write_order(connection, what)
    lean = is_lean(connection, name)
    _place_rows(connection, table, files, lean)
    if not lean:
        _one_way_of_numbers(connection, table)
    merge_lines(connection, table, files)
    verdicts = {f.file_no: dict.fromkeys(VERDICTS, 0) for f in files}
    places = Places(load_id, verdicts)
    count_into(verdicts, "merged", merged_lines(connection, table))
    given = _count_staged(connection, name, verdicts)
    held = {d for (d,) in connection.execute(f"select derive from temp.{ORDER} where derive is not null").fetchall()}
    derivations = sorted({derive for derive, _ in given.values()} | held)
    if len(derivations) < 2 and lean and not any(f.read_again for f in files):
        # The staging table is gone when it has become the store's, so nothing may be asked of it afterwards.
        places.adoptable = files
    if len(derivations) > 1 and unsure(connection):
        raise RowsNeededError
    _drop_refused(connection, name)
    _keep_refused(connection, table, files, load_id, verdicts)
    write_row_remarks(connection, name, with_merged(connection, table), load_id)
    write_line_remarks(connection, table, load_id)
    begin_numbers(connection)
    ((end,),) = connection.execute(f"select coalesce(max(rowid), -1) + 1 from main.{name}").fetchall()
    for derive in derivations:
        good_rows(connection, table, derive, end)
        derived = derive.split(" ") if derive else []
        if any(table.column(d).numbered == "row" for d in derived):
            settle_unnumbered(connection, table, derived, places)
        else:
            settle_keys(connection, table, derived, places)
    if what.whole:
        touch_all(connection, table)
    places.given = {
        label: StoredFile(*given.get(label, ("", 0))) for label in what.changed if label not in what.reasons
    }
    _note_numbers(connection, places)
    number_jobs(connection, table, derivations, everything=what.whole)
    _count_repeats(connection, table, places)
    _count_kept(connection, table, places)
    return places


def _count_staged(
    connection: duckdb.DuckDBPyConnection, name: str, verdicts: Verdicts
) -> dict[str, tuple[str, int]]:
    """Count the rows left out and refused; which numbers the rows of each file lack, and how many of them are good."""
    given: dict[str, tuple[str, int]] = {}
    for file_no, label, derive, left_out, refused, good in connection.execute(
        f"select {FILE_NO}, source_file, coalesce({DERIVE}, ''), count(*) filter (where {LEFT_OUT}), "
        f"count(*) filter (where {BROKEN} is not null), "
        f"count(*) filter (where {BROKEN} is null and not {LEFT_OUT}) from temp.placed_{name} group by all"
    ).fetchall():
        verdicts[file_no]["left_out"] += left_out
        verdicts[file_no]["refused"] += refused
        given[label] = (derive, given.get(label, ("", 0))[1] + good)
    return given


def _note_numbers(connection: duckdb.DuckDBPyConnection, places: Places) -> None:
    """Note which numbers the files that were read lack now."""
    rows = [(kept.derive, label) for label, kept in places.given.items()]
    if rows:
        connection.executemany(f"update temp.{ORDER} set derive = $1 where source_file = $2", rows)


def _count_repeats(connection: duckdb.DuckDBPyConnection, table: Table, places: Places) -> None:
    """How many good rows of each file that was read the store does not hold as that file's."""
    if not places.given:
        return
    if places.adopted:
        places.given = {label: replace(kept, repeats=0) for label, kept in places.given.items()}
        return
    mine = f"source_file in (select source_file from temp.{ORDER} where changed)"
    held = connection.execute(
        f"select source_file, count(*) from (select source_file from main.{table.name} where {mine} union all "
        f"select source_file from main.superseded where table_name = {literal(table.name)} "
        f"and reason = {literal(LATER)} and {mine}) group by all"
    ).fetchall()
    counts = dict(held)
    places.given = {
        label: replace(kept, repeats=kept.repeats - counts.get(label, 0)) for label, kept in places.given.items()
    }


def _count_kept(connection: duckdb.DuckDBPyConnection, table: Table, places: Places) -> None:
    """Count what this load has put into `superseded` for another reason than a later row."""
    kept = (
        f"select source_file, count(*) from main.superseded where table_name = {literal(table.name)} "
        f"and load_id = {places.load_id} and reason {{}} group by all"
    )
    by_label(connection, places.replaced, kept.format(f"= {literal(CORRECTED)}"))
    by_label(connection, places.withdrawn, kept.format(f"not in ({literal(CORRECTED)}, {literal(LATER)})"))


def is_lean(connection: duckdb.DuckDBPyConnection, name: str) -> bool:
    """Whether a table's staging table is lean, and so stands in the store's own file."""
    found = f"select 1 from duckdb_tables() where table_name = 'stage_{name}' and not temporary"
    return bool(connection.execute(found).fetchall())


def _place_rows(connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], lean: bool) -> None:
    """A view `placed_<table>` of the staged rows with their row number in the file, as an editor shows it."""
    name = table.name
    connection.execute(
        "create or replace temp table stage_files "
        "(file_no INTEGER, first_rowid BIGINT, first_row BIGINT, label VARCHAR)"
    )
    connection.execute("create or replace temp table stage_gaps (file_no INTEGER, from_place BIGINT, shift BIGINT)")
    rows = [(f.file_no, f.first_rowid, f.first_row, f.label) for f in files]
    if rows:
        connection.executemany("insert into stage_files values (?, ?, ?, ?)", rows)
    gaps = [(f.file_no, place, shift) for f in files for place, shift in f.shifts]
    if gaps:
        numbers, places, gap_shifts = (list(x) for x in zip(*gaps, strict=True))
        connection.execute(
            "insert into stage_gaps select unnest($1), unnest($2), unnest($3)", [numbers, places, gap_shifts]
        )
    place, behind = "s.rowid - f.first_rowid", ""
    if gaps:
        behind = f"asof left join stage_gaps g on g.file_no = s.{FILE_NO} and {place} >= g.from_place"
        place += " + coalesce(g.shift, 0)"
    staged, given = f"s.* exclude ({GIVEN_ROW})", GIVEN_ROW
    if lean:
        of_odd = unpacked(f"s.{ODD}", "f.label")
        given = of_odd.pop(GIVEN_ROW)
        staged = ", ".join([f"s.* exclude ({ODD})", *(f"{sql} as {column}" for column, sql in of_odd.items())])
    connection.execute(
        f"create or replace temp view placed_{name} as select {staged}, "
        f"coalesce({given}, {place} + f.first_row) as source_row, s.rowid as {ROWID} "
        f"from stage_{name} s join stage_files f on f.file_no = s.{FILE_NO} {behind}"
    )


def _one_way_of_numbers(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Where one file gives rows that lack other numbers than its other rows do, all of them lack both.

    In a lean staging table no row lacks a number.
    """
    stage = f"stage_{table.name}"
    several = connection.execute(
        f"select source_file, string_agg(distinct {DERIVE}, ' ') from {stage} "
        f"group by all having count(distinct coalesce({DERIVE}, '')) > 1"
    ).fetchall()
    for label, lacking in several:
        numbers = [c.name for c in table.columns if c.name in (lacking or "").split(" ")]
        nothing = ", ".join(f"{n} = null" for n in numbers)
        connection.execute(
            f"update {stage} set {DERIVE} = $lacking, {nothing} where source_file = $label",
            {"lacking": " ".join(numbers), "label": label},
        )


def _drop_refused(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    """Take out what earlier readings of changed files had refused and remarked."""
    changed = f"source_file in (select source_file from temp.{ORDER} where changed)"
    connection.execute(f"delete from main.refused where table_name = {literal(name)} and {changed}")
    connection.execute(f"delete from main.remarks where table_name = {literal(name)} and {OF_ROWS} and {changed}")


def _keep_refused(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], load_id: int, verdicts: Verdicts
) -> None:
    """Write refused rows, one per broken rule, with the job they belong to where that can be read."""
    name = table.name
    job = JOB if JOB in table.names else "null"
    if any(verdict["refused"] for verdict in verdicts.values()):
        connection.execute(
            f"insert into main.refused select {load_id}, {literal(name)}, source_file, source_row, b.column_name, "
            f"b.rule, b.value, {RAW}, job from (select source_file, source_row, {RAW}, unnest({BROKEN}) as b, "
            f"{job} as job from temp.placed_{name} where {BROKEN} is not null)"
        )
    for f in files:
        keep_rejects(connection, f, load_id)
        verdicts[f.file_no]["left_out" if f.beside else "refused"] += len(f.rejects)


def keep_rejects(connection: duckdb.DuckDBPyConnection, file: Staged, load_id: int) -> None:
    """Write the records of one file that are no rows at all, unless they are counted with another reading of it."""
    if file.rejects and not file.beside:
        places, rules, values, raws = zip(*file.rejects, strict=True)
        connection.execute(
            "insert into main.refused select $load_id, $table, $file, unnest($places) + $first, null, unnest($rules), "
            "unnest($values), unnest($raws), null",
            {
                "load_id": load_id, "table": file.table, "file": file.label, "first": file.first_row,
                "places": list(places), "rules": list(rules), "values": list(values), "raws": list(raws),
            },
        )
