"""Small depots made from Python rows: the store's own tables, filled directly, with the kept tables on top."""

import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from rqa.contract import TABLES
from rqa.depot import Depot
from rqa.measures.keep import keep
from rqa.store.ddl import FORMAT_VERSION, columns, create_statements
from rqa.store.engine import connect, open_store

Row = Mapping[str, Any]
DEFAULTS: dict[str, dict[str, Any]] = {
    "jobs": {"model": "Marl-8", "site": "Alder", "procedure": "board", "disposition": "repaired"},
    "steps": {"step_seq": 1, "attempt": 1, "outcome": "pass"},
    "diagnostics": {"run": 1, "outcome": "pass"},
    "procedures": {"phase": "fit", "opportunities": 1, "hold_point": False, "irreversible": False},
}


def day(value: datetime | date | None) -> date | None:
    return value.date() if isinstance(value, datetime) else value


def completed(table: str, row: Row) -> dict[str, Any]:
    """A row with the defaults and the day columns a load would add (UTC days)."""
    full = {**DEFAULTS.get(table, {}), **row}
    for name, times in TABLES[table].days:
        full.setdefault(name, next((day(full[t]) for t in times if full.get(t) is not None), None))
    return full


@cache
def _without_rows() -> bytes:
    """A store that holds no row, as a file: its tables and concepts need not be made each time."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "depot.duckdb"
        with connect(path, read_only=False) as connection:
            for statement in create_statements():
                connection.execute(statement)
            keep(connection)
        return path.read_bytes()


def make_store(path: Path, tables: Mapping[str, Sequence[Row]], *, kept: Callable[[Any], None] = keep) -> Path:
    """Write a store that holds these rows."""
    path.write_bytes(_without_rows())
    connection = connect(path, read_only=False)
    try:
        connection.execute("begin")
        for name, rows in tables.items():
            if rows:
                insert(connection, name, rows)
        kept(connection)
        about = {"format_version": FORMAT_VERSION, "rqa_version": "0", "title": "test", "currency": "EUR"}
        connection.executemany("insert into about values (?, ?)", list(about.items()))
        connection.execute("commit")
    finally:
        connection.close()
    return path


def insert(connection: Any, name: str, rows: Sequence[Row]) -> None:
    """Insert rows in one statement, a column at a time: a statement a row takes a millisecond for each."""
    names = [n for n, _ in columns(TABLES[name])] if name in TABLES else list(rows[0])
    whole = [completed(name, row) for row in rows] if name in TABLES else rows
    values = [[row.get(n) for row in whole] for n in names]
    unnested = ", ".join(f"unnest(${place})" for place in range(1, len(names) + 1))
    connection.execute(f"insert into {name} ({', '.join(names)}) select {unnested}", values)


@contextmanager
def depot_of(tables: Mapping[str, Sequence[Row]], as_of: Any = None) -> Iterator[Depot]:
    """A depot that holds these rows, gone afterwards; the day to look from may lie anywhere."""
    with tempfile.TemporaryDirectory() as folder:
        path = make_store(Path(folder) / "depot.duckdb", tables)
        with Depot(open_store(path), as_of) as depot:
            yield depot
