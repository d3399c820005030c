"""A staging table becomes the store's table as it stands, so that a first load writes its rows once and not twice.

It is possible when the store's table is empty and no row read needs a number or has a key met twice.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.names import BROKEN, GIVEN_ROW, LEFT_OUT
from rqa.intake.validate import EXTRA_COLUMNS
from rqa.store.stage import Staged

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
    staged, kept = f"main.stage_{table.name}", "source_file"
    connection.execute("create or replace sequence main.places minvalue 0 start 0")
    connection.execute(f"alter table {staged} add column source_row BIGINT default nextval('main.places')")
    connection.execute(f"alter table {staged} alter column source_row drop default")
    connection.execute("drop sequence main.places")
    connection.execute(
        f"alter table {staged} alter column source_row type BIGINT "
        f"using coalesce({GIVEN_ROW}, source_row + {_moved('source_row', stretches(files))})"
    )
    if left_behind:
        connection.execute(f"delete from {staged} where {BROKEN} is not null or {LEFT_OUT}")
    for name, _ in EXTRA_COLUMNS:
        if name != kept:
            connection.execute(f"alter table {staged} drop column {name}")
    connection.execute(f"drop table main.{table.name}")
    connection.execute(f"alter table {staged} rename to {table.name}")


def _moved(place: str, found: Sequence[tuple[int, int]]) -> str:
    """SQL for how far the row at `place` is moved: the stretches halved until one is left."""
    if len(found) == 1:
        return str(found[0][1])
    half = len(found) // 2
    below, above = _moved(place, found[:half]), _moved(place, found[half:])
    return f"case when {place} < {found[half][0]} then {below} else {above} end"
