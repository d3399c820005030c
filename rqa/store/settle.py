"""From staging to the store: every staged row is placed in its file and given exactly one verdict.

A row is *accepted* (new, or a correction of a stored row, which then moves to `superseded`), *refused* (it breaks a
rule), *known* (the store has it already, word for word, or has had it and replaced it since) or *superseded* (a later
row has its key). "Later" means: a later file in the mapping's order, then a later row.
"""

from collections.abc import Mapping, Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.names import BROKEN, DERIVE, FILE_NO, GIVEN_ROW, LEFT_OUT, RAW
from rqa.intake.sources import literal
from rqa.store.keys import settle_keys
from rqa.store.numbers import number_rows
from rqa.store.rejects import shifts
from rqa.store.remarks import write_row_remarks
from rqa.store.stage import Staged
from rqa.store.verdicts import VERDICTS, Places, Verdicts, count_into, good_rows


def settle(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    files: Sequence[Staged],
    load_id: int,
    unread: Mapping[str, int] | None = None,
) -> Verdicts:
    """Move one table's staged rows into the store; returns the verdicts per file number.

    `unread` are the file numbers of files that are as they were and were not read again, by name: what the store
    holds of them is as late as they are.
    """
    _place_rows(connection, table, files)
    verdicts: Verdicts = {f.file_no: dict.fromkeys(VERDICTS, 0) for f in files}
    name = table.name
    left_out = f"select {FILE_NO}, count(*) from temp.placed_{name} where {LEFT_OUT} group by all"
    count_into(verdicts, "left_out", connection.execute(left_out).fetchall())
    _keep_refused(connection, table, files, load_id, verdicts)
    write_row_remarks(connection, name, load_id)
    adoptable = _in_store(connection, name) and not any(f.read_again for f in files)
    places = Places(load_id, unread or {}, verdicts, files if adoptable else None)
    derivations = connection.execute(f"select distinct {DERIVE} from temp.placed_{name} order by all").fetchall()
    for (derive,) in derivations:
        good_rows(connection, table, derive)
        derived = derive.split(" ") if derive else []
        if any(table.column(d).numbered == "row" for d in derived):
            number_rows(connection, table, derived, places)
        else:
            settle_keys(connection, table, derived, places)
    return verdicts


def _in_store(connection: duckdb.DuckDBPyConnection, name: str) -> bool:
    """Whether the staging table stands in the store's own file."""
    found = f"select 1 from duckdb_tables() where table_name = 'stage_{name}' and not temporary"
    return bool(connection.execute(found).fetchall())


def _place_rows(connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged]) -> None:
    """A view `placed_<table>` of the staged rows with their row number in the file, as an editor shows it."""
    name = table.name
    connection.execute(
        "create or replace temp table stage_files (file_no INTEGER, first_rowid BIGINT, first_row BIGINT)"
    )
    connection.execute("create or replace temp table stage_gaps (file_no INTEGER, from_place BIGINT, shift BIGINT)")
    rows = [(f.file_no, f.first_rowid, f.first_row) for f in files]
    if rows:
        connection.executemany("insert into stage_files values (?, ?, ?)", rows)
    gaps = [(f.file_no, place, shift) for f in files for place, shift in shifts(f.rejects)]
    if gaps:
        numbers, places, gap_shifts = (list(x) for x in zip(*gaps, strict=True))
        connection.execute(
            "insert into stage_gaps select unnest($1), unnest($2), unnest($3)", [numbers, places, gap_shifts]
        )
    place, behind = "s.rowid - f.first_rowid", ""
    if gaps:
        behind = f"asof left join stage_gaps g on g.file_no = s.{FILE_NO} and {place} >= g.from_place"
        place += " + coalesce(g.shift, 0)"
    connection.execute(
        f"create or replace temp view placed_{name} as select s.* exclude ({GIVEN_ROW}), "
        f"coalesce({GIVEN_ROW}, {place} + f.first_row) as source_row "
        f"from stage_{name} s join stage_files f on f.file_no = s.{FILE_NO} {behind}"
    )


def _keep_refused(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], load_id: int, verdicts: Verdicts
) -> None:
    """Write refused rows, one per broken rule, in place of what an earlier reading of the same file had refused."""
    name = table.name
    labels = [f.label for f in files]
    connection.execute(
        "delete from main.refused where table_name = $table and (list_contains($labels, source_file) "
        f"or source_file in (select source_file from temp.placed_{name}))",
        {"table": name, "labels": labels},
    )
    connection.execute(
        f"insert into main.refused select {load_id}, {literal(name)}, source_file, source_row, b.column_name, b.rule, "
        f"b.value, {RAW} from (select source_file, source_row, {RAW}, unnest({BROKEN}) as b from temp.placed_{name} "
        f"where {BROKEN} is not null)"
    )
    refused = f"select {FILE_NO}, count(*) from temp.placed_{name} where {BROKEN} is not null group by all"
    count_into(verdicts, "refused", connection.execute(refused).fetchall())
    for f in files:
        keep_rejects(connection, f, load_id)
        verdicts[f.file_no]["refused"] += len(f.rejects)


def keep_rejects(connection: duckdb.DuckDBPyConnection, file: Staged, load_id: int) -> None:
    """Write the records of one file that are no rows at all."""
    if file.rejects:
        places, rules, values, raws = zip(*file.rejects, strict=True)
        connection.execute(
            "insert into main.refused select $load_id, $table, $file, unnest($places) + $first, null, unnest($rules), "
            "unnest($values), unnest($raws)",
            {
                "load_id": load_id, "table": file.table, "file": file.label, "first": file.first_row,
                "places": list(places), "rules": list(rules), "values": list(values), "raws": list(raws),
            },
        )  # fmt: skip
