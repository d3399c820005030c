"""Small depots made from Python rows: the store's own tables, filled directly, with the kept tables on top."""

import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from rqa.contract import TABLES
from rqa.depot import Depot
from rqa.measures.keep import KEPT, PLANS, WORKING, keep, keep_sql
from rqa.measures.run import concepts
from rqa.store.ddl import FORMAT_VERSION, columns, create_statements
from rqa.store.engine import ATTACHED, SAFE, Store, close_access, connect

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
        _fill(connection, tables, kept)
    finally:
        connection.close()
    return path


def _fill(connection: Any, tables: Mapping[str, Sequence[Row]], kept: Callable[[Any], None]) -> None:
    connection.execute("begin")
    for name, rows in tables.items():
        if rows:
            insert(connection, name, rows)
    kept(connection)
    about = {"format_version": FORMAT_VERSION, "rqa_version": "0", "title": "test", "currency": "EUR"}
    connection.executemany("insert into about values (?, ?)", list(about.items()))
    connection.execute("commit")


def insert(connection: Any, name: str, rows: Sequence[Row]) -> None:
    """Insert rows in one statement, a column at a time: a statement a row takes a millisecond for each."""
    names = [n for n, _ in columns(TABLES[name])] if name in TABLES else list(rows[0])
    whole = [completed(name, row) for row in rows] if name in TABLES else rows
    values = [[row.get(n) for row in whole] for n in names]
    unnested = ", ".join(f"unnest(${place})" for place in range(1, len(names) + 1))
    connection.execute(f"insert into {name} ({', '.join(names)}) select {unnested}", values)


MADE = (*PLANS, *WORKING, *KEPT)
"""What can be made of the rows, in the order in which it is."""


@cache
def _read_by(sql: str) -> frozenset[str]:
    """What is made of the rows that a query reads, itself or in the concepts and tables that it reads."""
    text = re.sub(r"--[^\n]*|'(?:[^']|'')*'", "", sql)
    found = frozenset(re.findall(r"\w+", text)) & {*MADE, *concepts()}
    further = [concepts()[name].body if name in concepts() else keep_sql(name) for name in found]
    return frozenset().union(found, *map(_read_by, further)) & {*MADE}


class _Shared:
    """An engine that holds one depot after another in memory, as to start one takes longer than most of what is asked.

    It is what `connect` gives a reader, but for the depot's rows being in memory and not in a file.
    """

    USES = 100
    """Then it is left behind, with what it holds of rows that are gone."""

    def __init__(self) -> None:
        self.uses = 0
        self.connection = duckdb.connect(":memory:", config={**SAFE, "threads": 1})
        for setting in ("TimeZone = 'UTC'", "enable_progress_bar = false", "python_enable_replacements = false"):
            self.connection.execute(f"set {setting}")
        self.connection.execute(f"attach ':memory:' as {ATTACHED}; use {ATTACHED}")
        close_access(self.connection, files=(), folders=())
        for statement in create_statements():
            self.connection.execute(statement)
        keep(self.connection)
        self.about = self.connection.execute("select * from about").fetchall()
        self.tables = [n for (n,) in self.connection.execute("select table_name from duckdb_tables()").fetchall()]
        self.made = {*KEPT}
        self.filled: set[str] = {*self.tables}

    def make(self, sql: str) -> None:
        """Make those kept tables that a query reads: most questions read a few of them alone."""
        missing = [name for name in KEPT if name in _read_by(sql) and name not in self.made]
        if not missing:
            return
        needed = frozenset().union(*(_read_by(name) for name in missing)) - self.made
        on_the_way = [name for name in (*PLANS, *WORKING) if name in needed]
        self.connection.execute("begin")
        for name in on_the_way:
            select = f"from main.{name}" if name in PLANS else keep_sql(name)
            self.connection.execute(f"create or replace temp table {name} as {select}")
        for name in KEPT:
            if name in needed:
                self.connection.execute(f"create or replace table main.{name} as {keep_sql(name)}")
                self.made.add(name)
                self.filled.add(name)
        for name in on_the_way:
            self.connection.execute(f"drop table temp.{name}")
        self.connection.execute("commit")

    def empty(self) -> None:
        self.connection.execute("begin")
        for name in self.tables:
            if name in self.filled:
                self.connection.execute(f"delete from {name}")
        self.connection.executemany("insert into about values (?, ?)", self.about)
        self.connection.execute("commit")


def _later(_: Any) -> None:
    """Keep nothing yet."""


_free: list[_Shared] = []
"""Engines that hold no depot now: a second one is made only where two depots are open at once."""


class _InMemory(Store):
    """A store in a shared engine; what is kept of its rows is made when a query first reads it."""

    def __init__(self, engine: _Shared, path: Path) -> None:
        self.path, self._seen, self._connection = path, None, engine.connection.cursor()
        self._engine = engine
        self._counted, self._made = {}, {}
        self.about = self._read_about()
        self._check_version()
        self.people = self._read_people()

    def counts(self, sql_name: str, sql: str, params: Mapping[str, object] | None = None) -> pl.DataFrame:
        self._engine.make(sql)
        return super().counts(sql_name, sql, params)

    def ask(self, sql: str, params: Mapping[str, object] | Sequence[object] | None = None) -> pl.DataFrame:
        self._engine.make(sql)
        return super().ask(sql, params)


@contextmanager
def depot_of(
    tables: Mapping[str, Sequence[Row]], as_of: Any = None, *, kept: Callable[[Any], None] = keep
) -> Iterator[Depot]:
    """A depot that holds these rows, gone afterwards; the day to look from may lie anywhere.

    It gives the answers of a store in a file (`tests/measures/test_depots_in_memory.py`), in a small part of the time.
    """
    shared = _free.pop() if _free else _Shared()
    shared.uses += 1
    # What keeps otherwise than a load does is done at once, as nobody knows what it fills.
    lazily = kept is keep
    shared.made = set() if lazily else {*KEPT}
    shared.filled = {*tables, "about"} if lazily else {*shared.tables}
    with ExitStack() as unless_it_went_well:
        unless_it_went_well.callback(shared.connection.close)
        _fill(shared.connection, tables, _later if lazily else kept)
        # There is no such file, and nothing beside it either.
        with Depot(_InMemory(shared, Path("/nowhere/depot.duckdb")), as_of) as depot:
            yield depot
        if shared.uses < _Shared.USES:
            shared.empty()
            _free.append(shared)
            unless_it_went_well.pop_all()
