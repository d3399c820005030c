"""A store that is damaged: how the engine says so, what we tell of it, and a reading of all of it that finds it.

Every block of a store carries a checksum, which the engine holds against the block when it reads it, and only then. So
a damaged block is carried from load to load unless somebody reads it. Blocks that hold nothing may be damaged freely.
"""

import re
from pathlib import Path

import duckdb

from rqa.errors import StoreError
from rqa.intake.names import quoted
from rqa.shown import first_line

_KIND = r'(?:[A-Za-z ]+: )*(?:Checkpoint failed for database "[^"]*"\. [\w .]+: )?'
"""What was being done, before what went wrong. Nothing in quotes, as a value of a file would be, but a load's copy."""
_BLOCK = re.compile(_KIND + r"Corrupt database file: computed checksum.* in block at location (\d+)")
_SHORT = re.compile(_KIND + r'Could not read enough bytes from file "(.*?)": attempted')
_SPOILT = re.compile(_KIND + r"(Corrupt(?!\w* (temporary|Parquet))|corrupt database|Failed to scan dictionary)")

FEW_ROWS = 1_000
"""So many rows of a table are taken out of the engine as they are: to understand a longer query takes it more time."""


def damage_told(error: BaseException | None, path: Path) -> str | None:
    """What an error of the engine says is damaged in the store at `path`; None when it is about something else."""
    if not isinstance(error, duckdb.Error):
        return None
    said = str(error).strip()
    if block := _BLOCK.match(said):
        return f"the bytes from {int(block[1]):,} on are not those that were written"
    if short := _SHORT.match(said):
        return "it is cut short" if Path(short[1]).name == path.name else None
    return first_line(said) if _SPOILT.match(said) else None


def next_step(path: Path) -> str:
    """What to do with a store that cannot be used."""
    return (
        f"Restore it from a copy; or move it away and load anew with `rqa load {path.parent}`, which keeps nothing of "
        "files that are gone."
    )


def damaged(path: Path, what: str) -> StoreError:
    """The error that tells of a damaged store, and what to do."""
    return StoreError(f"the store {path} is damaged: {what}. {next_step(path)}")


def unreadable(connection: duckdb.DuckDBPyConnection, catalog: str, path: Path) -> str | None:
    """Read every row of every table of the store that is attached as `catalog`; what is damaged, None if nothing is."""
    tables = connection.execute(
        # A table without a row has no block that anybody reads.
        "select table_name, estimated_size from duckdb_tables() where database_name = ? and estimated_size > 0 "
        "order by table_name",
        [catalog],
    ).fetchall()
    for table, size in tables:
        rows = f"{catalog}.main.{quoted(table)}"
        try:
            if size > FEW_ROWS:
                # Which value is the last is known only when all are read, so every block is.
                described = connection.execute(f"describe {rows}").fetchall()
                rows = f"(select {', '.join(f'last({quoted(name)})' for name, *_ in described)} from {rows})"
            connection.execute(f"from {rows}").fetchall()
        except duckdb.Error as error:
            found = damage_told(error, path)
            if found is None:
                raise
            return f"its table {table} cannot be read ({found})"
    return None
