"""What settling keeps count of, and the staged and stored rows it works on."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal
from rqa.intake.names import BROKEN, DERIVE, FILE_NO, LEFT_OUT, inner
from rqa.store.ddl import columns
from rqa.store.order import ORDER, StoredFile
from rqa.store.staged import Staged

VERDICTS = ("left_out", "accepted", "refused", "known", "superseded", "merged")
Verdicts = dict[int, dict[str, int]]
"""Per file number: how many rows were left out, accepted, refused, known, superseded, merged."""
LATER, CORRECTED = "a later row has its key", "its file gives another row for it"
"""Why a row is superseded: by one given beside it, or by what its file gives in its stead."""
ROWID, PLACE, OLD_PLACE, CHANGED = inner("rowid"), inner("place"), inner("old_place"), inner("changed")
CONTENT, KEY, NTH = inner("content"), inner("key"), inner("nth")


class RowsNeededError(Exception):
    """What changed cannot be told from the rows that the store holds: every file of the table must be read again."""


@dataclass
class Places:
    """What a settling needs beside the rows, and what it counts.

    `adoptable` are the files whose staging table may become the store's own, None if it may not; `adopted` says that it
    has become it, so that every good row stands. `restored` counts, by file, stored rows that stand again; `left` all
    stored rows that stand no longer; `repeats` stored rows that are repeats of others now. `replaced` and `withdrawn`
    count, by file, the rows that this load keeps in `superseded` for another reason than a later row: their file gives
    another in their stead, or nothing gives them any more.
    """

    load_id: int
    verdicts: Verdicts
    adoptable: Sequence[Staged] | None = None
    adopted: bool = False
    restored: Counter[str] = field(default_factory=Counter)
    replaced: Counter[str] = field(default_factory=Counter)
    withdrawn: Counter[str] = field(default_factory=Counter)
    repeats: Counter[str] = field(default_factory=Counter)
    left: int = 0
    given: dict[str, StoredFile] = field(default_factory=dict)
    """What is known of each file that was read: the numbers it lacks, and how many of its rows repeat others."""


def count_into(verdicts: Verdicts, what: str, rows: Iterable[Sequence[int]]) -> None:
    """Add (file number, rows) pairs to one verdict."""
    for file_no, n in rows:
        verdicts[file_no][what] += n


def by_label(connection: duckdb.DuckDBPyConnection, counts: Counter[str], sql: str) -> None:
    """Add (file, rows) pairs that a query gives."""
    for label, n in connection.execute(sql).fetchall():
        counts[label] += n


def stored_columns(table: Table) -> str:
    """The columns of a stored row, as an SQL list."""
    return ", ".join(n for n, _ in columns(table))


def content_columns(table: Table, derived: Sequence[str]) -> list[str]:
    """The columns that a row's file decides: all but the numbers that are derived and where it came from."""
    return [*(n for n in table.names if n not in derived), *(day for day, _ in table.days)]


def as_json(names: Iterable[str], of: str = "") -> str:
    """SQL for these columns of a row as JSON text."""
    return "to_json({" + ", ".join(f"'{n}': {of}{n}" for n in names) + "})::varchar"


def same_row(names: Iterable[str], a: str = "a", b: str = "b") -> str:
    """SQL that is true when two rows agree in these columns; missing agrees with missing."""
    return " and ".join(f"{a}.{n} is not distinct from {b}.{n}" for n in names)


def good_rows(connection: duckdb.DuckDBPyConnection, table: Table, derive: str, end: int) -> None:
    """Make two views of rows that lack the numbers `derive` names, with where their file stands.

    `good_rows` are the staged ones that break no rule, `mine` the stored ones; what a load inserts has row ids from
    `end` on, and is none of these.
    """
    lacking = f"p.{DERIVE} = {literal(derive)}" if derive else f"p.{DERIVE} is null"
    connection.execute(
        f"create or replace temp view good_rows as select {', '.join(f'p.{n}' for n, _ in columns(table))}, "
        f"p.{FILE_NO}, o.place as {PLACE} from temp.placed_{table.name} p "
        f"join temp.{ORDER} o on p.source_file = o.source_file "
        f"where p.{BROKEN} is null and not p.{LEFT_OUT} and {lacking}"
    )
    connection.execute(
        f"create or replace temp view mine as select m.*, m.rowid as {ROWID}, o.place as {PLACE}, "
        f"o.old_place as {OLD_PLACE}, o.changed as {CHANGED} from main.{table.name} m "
        f"join temp.{ORDER} o on m.source_file = o.source_file and o.derive = {literal(derive)} where m.rowid < {end}"
    )


def loose_and_lost(connection: duckdb.DuckDBPyConnection, content: Sequence[str]) -> None:
    """Make `loose`, the good rows that the store does not hold as they stand, and `lost`, the other way round."""
    same = same_row(["source_file", "source_row", *content])
    held = f"(from mine where {CHANGED}) b"
    connection.execute(f"create or replace temp table loose as from good_rows a anti join {held} on {same}")
    connection.execute(f"create or replace temp table lost as from {held} anti join good_rows a on {same}")


def any_row(connection: duckdb.DuckDBPyConnection, sql: str) -> bool:
    """Whether a query gives a row."""
    return bool(connection.execute(f"{sql} limit 1").fetchall())


def unsure(connection: duckdb.DuckDBPyConnection) -> bool:
    """Whether an unchanged file behind a changed one has rows that the store does not hold."""
    return any_row(connection, f"select 1 from temp.{ORDER} where unsure")
