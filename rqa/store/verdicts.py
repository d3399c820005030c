"""What settling keeps count of, and the staged rows it works on."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import duckdb

from rqa.contract import Table
from rqa.intake.names import BROKEN, DERIVE, FILE_NO, LEFT_OUT
from rqa.intake.sources import literal
from rqa.store.ddl import columns
from rqa.store.stage import Staged

VERDICTS = ("left_out", "accepted", "refused", "known", "superseded")
Verdicts = dict[int, dict[str, int]]
"""Per file number: how many rows were left out, accepted, refused, known, superseded."""


@dataclass(frozen=True)
class Places:
    """What a settling needs beside the rows: the load, the files that were not read again, the verdicts so far.

    `adoptable` are the files whose staging table may become the store's own, None if it may not.
    """

    load_id: int
    unread: Mapping[str, int]
    verdicts: Verdicts
    adoptable: Sequence[Staged] | None


def count_into(verdicts: Verdicts, what: str, rows: Iterable[Sequence[int]]) -> None:
    """Add (file number, rows) pairs to one verdict."""
    for file_no, n in rows:
        verdicts[file_no][what] += n


def stored_columns(table: Table) -> str:
    """The columns of a stored row, as an SQL list."""
    return ", ".join(n for n, _ in columns(table))


def as_json(names: Iterable[str], of: str = "") -> str:
    """SQL for these columns of a row as JSON text."""
    return "to_json({" + ", ".join(f"'{n}': {of}{n}" for n in names) + "})::varchar"


def good_rows(connection: duckdb.DuckDBPyConnection, table: Table, derive: str | None) -> None:
    """Make `good_rows` a view of the staged rows that break no rule and lack the numbers `derive` names."""
    lacking = f"{DERIVE} = {literal(derive)}" if derive else f"{DERIVE} is null"
    connection.execute(
        f"create or replace temp view good_rows as select {stored_columns(table)}, {FILE_NO} as file_no "
        f"from temp.placed_{table.name} where {BROKEN} is null and not {LEFT_OUT} and {lacking}"
    )
