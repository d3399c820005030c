"""The books of a load: which files it read and what became of their rows, kept in the store and told in the report."""

import time
from collections.abc import Mapping as MappingType
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from rqa.contract import TABLES
from rqa.intake.mapping import Mapping
from rqa.store.ddl import FORMAT_VERSION
from rqa.store.empty_files import NO_ROW
from rqa.store.engine import open_store
from rqa.store.remarks import EMPTIED_BEGINS, NO_JOB, NO_ZONE
from rqa.store.report import FileCount, Refusal, Remark
from rqa.store.stage import Plan, Seen, Staged

SETTLED_AFTER = 10_000_000_000
"""Nanoseconds after which a second change of a file cannot bear the same time as the first, on any file system."""
Outcome = tuple[tuple[FileCount, ...], tuple[Refusal, ...], tuple[Remark, ...], int]


def one(connection: duckdb.DuckDBPyConnection, sql: str) -> int:
    """The one whole number that a query gives; 0 if it gives no row."""
    # A result that is not fetched to its end keeps the connection busy.
    rows = connection.execute(sql).fetchall()
    return int(rows[0][0]) if rows else 0


def files_seen(store: Path) -> dict[str, Seen]:
    """The files as the last load of this store met them, by name."""
    with open_store(store) as opened:
        rows = opened.counts("seen", "select source_file, size, modified, digest from seen").rows()
    return {name: Seen(*seen) for name, *seen in rows}


def keep_seen(connection: duckdb.DuckDBPyConnection, seen: MappingType[str, Seen]) -> None:
    """Write down the files as this load met them, but for those that may change again within one tick of a clock."""
    settled = time.time_ns() - SETTLED_AFTER
    rows = [(name, s.size, s.modified, s.digest) for name, s in seen.items() if s.digest and s.modified < settled]
    connection.execute("delete from seen")
    if rows:
        connection.executemany("insert into seen values (?, ?, ?, ?)", rows)


def unchanged(connection: duckdb.DuckDBPyConnection, items: Sequence[Plan]) -> dict[int, int]:
    """The planned readings whose file and mapping are what they were when last loaded, with their number of rows.

    What several entries make of one file for one table is read again together, as it is kept together.
    """
    latest: dict[tuple[str, str], tuple[int, dict[tuple[str, str], int]]] = {}
    for load_id, file, table, digest, mark, read in connection.execute(
        "select load_id, source_file, table_name, digest, mapping_digest, read from load_files "
        "where digest <> '' order by load_id"
    ).fetchall():
        if (file, table) not in latest or latest[file, table][0] != load_id:
            latest[file, table] = (load_id, {})
        latest[file, table][1][digest, mark] = read
    found = {}
    for number, item in enumerate(items):
        seen = latest.get((item.label, item.entry.table.name), (0, {}))[1]
        if (item.digest, item.fingerprint) in seen:
            found[number] = seen[item.digest, item.fingerprint]
    while True:
        read_again = {(i.entry.table.name, f) for n, i in enumerate(items) if n not in found for f in i.files}
        more = [n for n in found if any((items[n].entry.table.name, f) in read_again for f in items[n].files)]
        if not more:
            return found
        for number in more:
            del found[number]


def keep_books(
    connection: duckdb.DuckDBPyConnection,
    rules: Mapping,
    counts: Sequence[tuple[Staged, FileCount]],
    load_id: int,
    version: str,
    started: datetime,
) -> None:
    """Write down what the load was, and each file's account."""
    about = {
        "format_version": FORMAT_VERSION, "rqa_version": version, "title": rules.workspace.title,
        "currency": rules.workspace.currency,
    }  # fmt: skip
    if rules.workspace.labour_rate is not None:
        about["labour_rate"] = repr(rules.workspace.labour_rate)
    connection.execute("delete from about")
    connection.executemany("insert into about values (?, ?)", list(about.items()))
    connection.execute("delete from person_columns")
    marked = sorted({(entry.table, name) for entry in rules.table for name in entry.people})
    if marked:
        connection.executemany("insert into person_columns values (?, ?)", marked)
    connection.execute("delete from clocks")
    if rules.sites:
        connection.executemany("insert into clocks values (?, ?)", [(n, s.zone) for n, s in rules.sites.items()])
    connection.execute(
        "insert into loads values (?, ?, ?, ?)", [load_id, started, datetime.now(UTC).replace(tzinfo=None), version]
    )
    rows = [
        (load_id, c.source_file, c.table, c.in_file, c.left_out, c.read, c.accepted, c.refused, c.known, c.superseded,
         f.digest, f.fingerprint)
        for f, c in counts
    ]  # fmt: skip
    if rows:
        connection.executemany(f"insert into load_files values ({', '.join('?' * 12)})", rows)


def outcome(connection: duckdb.DuckDBPyConnection, counts: Sequence[FileCount], load_id: int) -> Outcome:
    """What the report tells: each file's account, refusals and remarks by kind, the load's number."""
    refusals = tuple(
        Refusal(table, column or "", rule, rows, file, row, value)
        for table, column, rule, rows, file, row, value in connection.execute(
            "select table_name, column_name, rule, count(*), arg_min(source_file, (source_file, source_row)), "
            "arg_min(source_row, (source_file, source_row)), "
            "arg_min(coalesce(left(value, 60), ''), (source_file, source_row)) "
            f"from refused where load_id = {load_id} group by all order by count(*) desc, 1, 2, 3"
        ).fetchall()
    )
    first = "(source_file, first_row)"
    an_example = f"remark = '{NO_JOB}' or starts_with(remark, '{EMPTIED_BEGINS}')"
    may_be_lost = f"remark = '{NO_ZONE}' or starts_with(remark, '{EMPTIED_BEGINS}') or starts_with(remark, '{NO_ROW}')"
    remarks = tuple(
        Remark(*row)
        for row in connection.execute(
            # Where no job is known or SQL gave nothing, the value is one of many, not a kind of its own.
            f"select string_agg(distinct table_name, ', ' order by table_name), remark, "
            f"case when remark = '{NO_JOB}' then 'such as ' || min(value) "
            f"else coalesce(arg_min(value, {first}), any_value(value), '') end, sum(rows)::bigint, "
            f"coalesce(min(source_file), ''), coalesce(arg_min(first_row, {first}), 0), count(distinct source_file) "
            f"from remarks where load_id = {load_id} "
            f"group by case when remark <> '{NO_ZONE}' then table_name end, remark, "
            f"case when not ({an_example}) then value end order by {may_be_lost} desc, 4 desc, 1, 2, 3"
        ).fetchall()
    )
    order = {name: i for i, name in enumerate(TABLES)}
    return tuple(sorted(counts, key=lambda c: order.get(c.table, 99))), refusals, remarks, load_id
