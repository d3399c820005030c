"""Small workspaces for the tests of intake and store: files and a mapping in, a report and the store's rows out."""

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import duckdb

import rqa
from rqa.store.load import load
from rqa.store.report import LoadReport

JOB_COLUMNS = ("job_id", "unit_id", "model", "site", "procedure", "opened_at", "disposition", "closed_at")
HEADER = ",".join(JOB_COLUMNS)


def job(job_id: str = "J1", **changes: str) -> dict[str, str]:
    """A sound job, as texts."""
    row = dict(
        zip(
            JOB_COLUMNS,
            (job_id, "U1", "Quern", "Alder", "board swap", "2024-03-01 10:00:00", "repaired", "2024-03-02 10:00:00"),
            strict=True,
        )
    )
    return row | changes


def csv_line(row: Mapping[str, str], delimiter: str = ",") -> str:
    return delimiter.join(row.values())


def csv_of(*rows: Mapping[str, str], end: str = "\n", delimiter: str = ",") -> str:
    """A CSV file with a header, of rows that need no quotes."""
    names = list(rows[0]) if rows else list(JOB_COLUMNS)
    return end.join([delimiter.join(names), *(csv_line(r, delimiter) for r in rows), ""])


@cache
def _engine() -> duckdb.DuckDBPyConnection:
    return duckdb.connect(":memory:")


def engine() -> duckdb.DuckDBPyConnection:
    """A connection of its own, with temporary tables of its own, to the one engine of all tests.

    A new engine takes ten times as long as most of what a test asks it.
    """
    return _engine().cursor()


@contextmanager
def asked(store: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """A connection for which plain names are a store's tables."""
    with engine() as cursor:
        cursor.execute(f"attach '{store}' as depot (read_only)")
        try:
            cursor.execute("use depot")
            yield cursor
        finally:
            cursor.execute("use memory").execute("detach depot")


_LOADED: dict[str, bytes] = {}
"""Stores by what they were loaded from."""


@dataclass
class Workspace:
    """A workspace folder under test."""

    folder: Path

    def write(self, name: str, content: str | bytes) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def load(self, mapping: Mapping[str, Any] | None = None, **settings: Any) -> LoadReport:
        settings.setdefault("keep", lambda connection, before: None)
        report = load(self.folder, version="0", mapping=mapping, **settings)
        for f in report.files:
            assert f.adds_up, f
        return report

    def load_as_before(self, mapping: Mapping[str, Any] | None = None) -> None:
        """What `rqa.load` leaves: of workspaces of the same files one is loaded, the others get a copy of its store."""
        files = [(p.relative_to(self.folder).as_posix(), p.read_bytes()) for p in sorted(self.folder.iterdir())]
        key = repr((files, mapping))
        if key not in _LOADED:
            rqa.load(self.folder, mapping=mapping)
            _LOADED[key] = self.store.read_bytes()
            return
        for path, content in ((self.store.with_name(f"{self.store.name}.lock"), b""), (self.store, _LOADED[key])):
            path.touch(0o600)
            path.write_bytes(content)

    def jobs(self, content: str | bytes, name: str = "jobs.csv", frames: Any = None, **reading: Any) -> LoadReport:
        """Load one file as jobs; `reading` says how it is read."""
        self.write(name, content)
        columns = reading.pop("columns", {})
        return self.load(
            {"files": {"f": {"path": name, **reading}}, "table": [{"table": "jobs", "from": "f", "columns": columns}]},
            frames=frames,
        )

    @property
    def store(self) -> Path:
        return self.folder / "depot.duckdb"

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        with asked(self.store) as connection:
            return connection.execute(sql).fetchall()

    def one(self, sql: str) -> Any:
        (row,) = self.rows(sql)
        return row[0] if len(row) == 1 else row

    def refused(self) -> list[tuple[Any, ...]]:
        """(row, column, rule, value) of every refusal."""
        return self.rows("select source_row, column_name, rule, value from refused order by all")

    def digest(self) -> str:
        return hashlib.sha256(self.store.read_bytes()).hexdigest() if self.store.exists() else ""

    def names(self) -> set[str]:
        return {p.name for p in self.folder.iterdir()}
