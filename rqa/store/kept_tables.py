"""The statements by which a load makes kept tables, or brings them up to date; which tables, `measures.keep` says.

A load that changes few jobs lists these in `concerned`, and their units in `concerned_units`. Kept tables are then made
of the rows of these jobs alone, as they were (`then_…`) and as they are (`now_…`).
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb


def is_said(connection: "duckdb.DuckDBPyConnection", home: str, name: str, value: str) -> bool:
    """Whether the store at `home` says this of itself."""
    return connection.execute(f"select value from {home}.about where name = ?", [name]).fetchall() == [(value,)]


def say(connection: "duckdb.DuckDBPyConnection", said: Mapping[str, str]) -> None:
    """Have the store say these things of itself, in the place of what it said."""
    connection.execute("delete from about where list_contains(?, name)", [list(said)])
    connection.executemany("insert into about values (?, ?)", [list(pair) for pair in said.items()])


def make(connection: "duckdb.DuckDBPyConnection", place: str, columns: str | None, query: str) -> None:
    """Make a table anew of a query; where its columns are given, it has no row, and the query need not be run."""
    kind = "temp table" if place.startswith("temp.") else "table"
    connection.execute(f"create or replace {kind} {place} {f'as {query}' if columns is None else f'({columns})'}")


def drop(connection: "duckdb.DuckDBPyConnection", places: Iterable[str]) -> None:
    """Drop tables that were made on the way."""
    for place in places:
        connection.execute(f"drop table {place}")


def with_rows(connection: "duckdb.DuckDBPyConnection", names: Collection[str]) -> set[str]:
    """Those of some tables or views that have a row."""
    ordered = sorted(names)
    (found,) = connection.execute(f"select {', '.join(f'exists (from {name})' for name in ordered)}").fetchall()
    return {name for name, some in zip(ordered, found, strict=True) if some}


def any_touched(connection: "duckdb.DuckDBPyConnection") -> bool:
    """Whether the load changed any row."""
    return connection.execute("select exists (from temp.touched)").fetchall() == [(True,)]


def few_touched(connection: "duckdb.DuckDBPyConnection", before: str, tables: Iterable[str], share: float) -> bool:
    """Whether the load changed at most this share of the jobs; lists these, with all other jobs of their units."""
    listed = ", ".join(f"'{t}'" for t in tables)
    named = f"select job_id from temp.touched where table_name in ({listed})"
    ((everything, changed),) = connection.execute(
        f"select coalesce(bool_or(job_id is null), false), count(distinct job_id) from ({named})"
    ).fetchall()
    ((jobs,),) = connection.execute("select count(*) from main.jobs").fetchall()
    if everything or changed > share * jobs:
        return False
    sides = ("main", f"{before}.main")
    units = " union ".join(f"select unit_id from {s}.jobs semi join ({named}) using (job_id)" for s in sides)
    connection.execute(f"create or replace temp table concerned_units as {units}")
    theirs = [f"select job_id from {s}.jobs semi join concerned_units using (unit_id)" for s in sides]
    connection.execute(f"create or replace temp table concerned as {' union '.join([named, *theirs])}")
    return True


def rows_of_concerned(connection: "duckdb.DuckDBPyConnection", before: str, log: str) -> None:
    """Make `now_rows_<log>` and `then_rows_<log>`: the rows of the jobs concerned, as they are and as they were.

    Those of a job that the load did not touch in this log are the same, so they are looked for once.
    """
    touched = f"(select distinct job_id from temp.touched where table_name = '{log}')"
    _rows_of(connection, "main", log, "concerned", f"now_rows_{log}")
    _rows_of(connection, f"{before}.main", log, touched, f"then_rows_{log}")
    connection.execute(
        f"insert into then_rows_{log} select * from now_rows_{log} as n anti join {touched} as t using (job_id)"
    )


def _rows_of(connection: "duckdb.DuckDBPyConnection", home: str, log: str, jobs: str, made: str) -> None:
    """Make the table `made` of the rows of these jobs. Row ids come first: that reads one column of all rows."""
    connection.execute(
        f"create or replace temp table sought as select l.rowid as row_id from {home}.{log} as l "
        f"semi join {jobs} as j using (job_id)"
    )
    connection.execute(
        f"create or replace temp table {made} as select * from {home}.{log} where rowid in (select row_id from sought)"
    )
    connection.execute("drop table sought")


@contextmanager
def in_place_of_logs(connection: "duckdb.DuckDBPyConnection", logs: Sequence[str], side: str) -> Iterator[None]:
    """Have the names of the logs mean the rows of one side: a temporary table hides the store's of the same name."""
    for log in logs:
        connection.execute(f"alter table temp.{side}_rows_{log} rename to {log}")
    yield
    drop(connection, [f"temp.{log}" for log in logs])


def set_aside(connection: "duckdb.DuckDBPyConnection", names: Iterable[str], side: str) -> None:
    """Keep the temporary tables of one side under names of their own."""
    for name in names:
        connection.execute(f"alter table temp.{name} rename to {side}_{name}")


def exchange(connection: "duckdb.DuckDBPyConnection", name: str, known_by: str) -> None:
    """Put the rows of the jobs concerned, or of their units, in the place of those that were."""
    theirs = "concerned" if known_by == "job_id" else "concerned_units"
    connection.execute(f"delete from main.{name} where {known_by} in (select {known_by} from {theirs})")
    connection.execute(f"insert into main.{name} select * from now_{name}")


def exchange_shared(connection: "duckdb.DuckDBPyConnection", name: str, key: str, rows: str) -> None:
    """Take out what no row of the table `rows` names any longer, and add what is named anew."""
    used = f"select {key} from main.{rows} where {key} is not null"
    connection.execute(
        f"delete from main.{name} where {key} in (select {key} from then_{name}) and {key} not in ({used})"
    )
    connection.execute(
        f"insert into main.{name} select * from now_{name} where {key} not in (select {key} from main.{name})"
    )


def add_difference(
    connection: "duckdb.DuckDBPyConnection", name: str, names: Sequence[str], counted: Collection[str]
) -> None:
    """Add to one table of counts what has come, take off what has gone; a group without any count goes."""
    groups = [column for column in names if column not in counted]
    columns, keys = ", ".join(names), ", ".join(groups)
    less = ", ".join(f"-{c} as {c}" if c in counted else c for c in names)
    sums = ", ".join(f"cast(sum({c}) as bigint) as {c}" if c in counted else c for c in names)
    some = " or ".join(f"sum({c}) <> 0" for c in names if c in counted)
    connection.execute(
        f"create or replace temp table difference as select {sums} from "
        f"(select {columns} from now_{name} union all select {less} from then_{name}) group by {keys} having {some}"
    )
    same = " and ".join(f"t.{g} is not distinct from d.{g}" for g in groups)
    connection.execute(
        f"create or replace temp table stood as select t.rowid as row_id, t.* from main.{name} as t "
        f"where exists (select 1 from difference as d where {same})"
    )
    connection.execute(f"delete from main.{name} where rowid in (select row_id from stood)")
    connection.execute(
        f"insert into main.{name} select {sums} from (select {columns} from difference union all "
        f"select {columns} from stood) group by {keys} having {some}"
    )
    drop(connection, ["difference", "stood"])
