"""A staging table becomes the store's table as it stands, so that a first load writes its rows once and not twice.

It is possible when the store's table is empty and no row read needs a number or has a key met twice.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal
from rqa.intake.names import BROKEN, FILE_NO, GIVEN_ROW, LEFT_OUT, ODD
from rqa.store.staged import Staged
from rqa.store.validate import LEAN_COLUMNS, unpacked

MOST_STRETCHES = 2_000
"""Stretches of rows, each without a gap before it in its file, that one expression can still tell apart quickly."""


def stretches(files: Sequence[Staged]) -> list[tuple[int, int]]:
    """Where each stretch of rows begins in the staging table, and how far its rows stand from there in their file."""
    found = []
    for f in files:
        if f.rows:
            moved = f.first_row - f.first_rowid
            found.append((f.first_rowid, moved))
            found += [(f.first_rowid + place, moved + shift) for place, shift in f.shifts]
    return sorted(dict(sorted(found)).items())


def swap_in_staging(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], left_behind: int
) -> None:
    """Put the staging table in the place of the store's empty one; `left_behind` of its rows are not good."""
    staged, found = f"main.stage_{table.name}", stretches(files)
    odd = unpacked(ODD, _label(files))
    traced = any(f.entry is not None and f.entry.spec.select is not None for f in files)
    alone = literal(files[0].label) if len({f.label for f in files}) == 1 and not traced else "null"
    connection.execute(f"alter table {staged} add column source_file VARCHAR default {alone}")
    connection.execute(f"alter table {staged} alter column source_file drop default")
    if alone == "null":
        connection.execute(f"alter table {staged} alter column source_file type VARCHAR using {odd['source_file']}")
    # Rows of a single stretch are numbered as they are added.
    start = found[0][0] + found[0][1] if len(found) == 1 and found[0][0] == 0 and not traced else 0
    connection.execute(f"create or replace sequence main.places minvalue 0 start {start}")
    connection.execute(f"alter table {staged} add column source_row BIGINT default nextval('main.places')")
    connection.execute(f"alter table {staged} alter column source_row drop default")
    connection.execute("drop sequence main.places")
    if len(found) > 1 or found[0][0] or traced:
        given = f"{odd[GIVEN_ROW]}, " if traced else ""
        connection.execute(
            f"alter table {staged} alter column source_row type BIGINT "
            f"using coalesce({given}source_row + {_moved('source_row', found)})"
        )
    if left_behind:
        bad = f"{odd[BROKEN]} is not null or {odd[LEFT_OUT]}"
        connection.execute(f"delete from {staged} where {ODD} is not null and ({bad})")
    for name, _ in LEAN_COLUMNS:
        connection.execute(f"alter table {staged} drop column {name}")
    connection.execute(f"drop table main.{table.name}")
    connection.execute(f"alter table {staged} rename to {table.name}")


def _label(files: Sequence[Staged]) -> str:
    """SQL for the name of the file that a staged row comes from."""
    if len(files) == 1:
        return literal(files[0].label)
    return f"case {FILE_NO} {' '.join(f'when {f.file_no} then {literal(f.label)}' for f in files)} end"


def _moved(place: str, found: Sequence[tuple[int, int]]) -> str:
    """SQL for how far the row at `place` is moved: the stretches halved until one is left."""
    if len(found) == 1:
        return str(found[0][1])
    half = len(found) // 2
    below, above = _moved(place, found[:half]), _moved(place, found[half:])
    return f"case when {place} < {found[half][0]} then {below} else {above} end"
