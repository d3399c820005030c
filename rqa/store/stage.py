"""Reading the sources into staging tables: every row converted and judged, none dropped, each with its place.

First everything is planned and bound, so that a mapping error stops before any row is read; then each source is read
once per table it feeds. A staging table lives in the connection's temporary storage and is gone with it.
"""

import re
from collections.abc import Callable
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb

from rqa.contract import TABLES
from rqa.errors import MappingError, SourceError, StoreError
from rqa.intake.judge import EXTRA_COLUMNS, Entry, entries, judging_select, wanted_columns
from rqa.intake.mapping import Mapping
from rqa.intake.readings import read
from rqa.intake.sources import SourceFile, Text, files_of, quoted
from rqa.store.ddl import columns
from rqa.store.named import NamedFiles
from rqa.store.rejects import LINES, Reject, drop_rejects, rejects_of

COMPUTED = {"DOUBLE", "FLOAT", "DECIMAL"}
"""Types of a SELECT's columns that come with a decimal point."""
Progress = Callable[[str, float], None]


@dataclass
class Staged:
    """One source read for one table: its name, where its rows lie in the staging table, what could not be read."""

    label: str
    table: str
    file_no: int
    digest: str
    fingerprint: str
    rows: int = 0
    first_rowid: int = 0
    first_row: int = 1
    rejects: list[Reject] = field(default_factory=list)
    """(place among the file's records counted from 0, rule, value, raw) of records that are no rows at all."""


@dataclass
class Plan:
    """One source for one entry, read for reading."""

    entry: Entry
    label: str
    digest: str
    fingerprint: str
    source: SourceFile | None
    named: list[SourceFile]
    size: int

    @property
    def files(self) -> list[str]:
        """The names of the files it reads."""
        return [self.source.label] if self.source else [f.label for f in self.named]


def plan(mapping: Mapping, workspace: Path, frames: MappingType[str, Any]) -> list[Plan]:
    """What there is to read, oldest first within each table entry; raises `MappingError` for what does not exist."""
    sets = {name: files_of(name, spec, workspace, frames) for name, spec in mapping.files.items()}
    digests = {f.label: f.digest() for files in sets.values() for f in files}
    made = []
    for entry in entries(mapping):
        mark = mapping.fingerprint(entry.spec)
        if entry.spec.from_ is not None:
            for f in sets[entry.spec.from_]:
                size = f.path.stat().st_size if f.format != "frame" else 0
                made.append(Plan(entry, f.label, digests[f.label], mark, f, [], size))
        else:
            text = entry.spec.select or ""
            used = [f for name, files in sets.items() if re.search(rf"\b{name}\b", text) for f in files]
            if not used:
                raise MappingError(f"{entry.place}: select names no files. There is: {', '.join(sets)}")
            together = "+".join(digests[f.label] for f in used) if all(digests[f.label] for f in used) else ""
            names = ", ".join(dict.fromkeys(f.name for f in used))
            label = f"select {entry.number} over {names}"
            made.append(Plan(entry, label, together, mark, None, used, sum(f.path.stat().st_size for f in used)))
    return made


class Stager:
    """Fills the staging tables of one load through one connection."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, scratch: Path) -> None:
        self.connection = connection
        self.scratch = scratch
        self.count = 0
        self.named = NamedFiles(connection, self._text)

    def make_tables(self, tables: set[str]) -> None:
        """Make an empty staging table for each of the contract tables named."""
        for name in tables:
            body = [c for c in columns(TABLES[name]) if c[0] not in ("source_file", "source_row")]
            extra = ", ".join(f"{quoted(n)} {k}" for n, k in EXTRA_COLUMNS)
            self.connection.execute(
                f"create or replace temp table stage_{name} ({', '.join(f'{n} {k}' for n, k in body)}, {extra})"
            )

    def bind(self, item: Plan) -> None:
        """Check that the entry's mapping fits its source, without reading rows."""
        if item.source is not None:
            text = self._text(item.source, wanted_columns(item.entry.spec))
        else:
            self.named.bind(item.named, wanted_columns(item.entry.spec))
            text = self._select_text(item)
        if text.columns:
            self._run("explain " + judging_select(item.entry, text, item.label, 0), item)

    def stage(self, item: Plan, file_no: int) -> Staged:
        """Read one planned source into its staging table."""
        result = Staged(item.label, item.entry.table.name, file_no, item.digest, item.fingerprint)
        result.first_rowid = self._height(item.entry.table.name)
        if item.source is None:
            try:
                self.named.read(item.named, wanted_columns(item.entry.spec))
            except duckdb.Error as error:
                raise self._engine_error(error, item) from error
            text = self._select_text(item)
        else:
            text = self._text(item.source, wanted_columns(item.entry.spec))
        if not text.columns:
            return result
        result.first_row = text.first_row
        try:
            self._insert(item, text, file_no)
        except duckdb.InvalidInputException as error:
            if item.source is None or item.source.format not in LINES:
                raise self._engine_error(error, item) from error
            drop_rejects(self.connection, text)
            text = self._text(item.source, wanted_columns(item.entry.spec), plain_ends=True)
            self._run_insert(item, text, file_no)
        except duckdb.Error as error:
            raise self._engine_error(error, item) from error
        if item.source is not None:
            result.rejects = rejects_of(self.connection, text, item.source)
        result.rows = self._height(result.table) - result.first_rowid
        return result

    def _text(self, source: SourceFile, wanted: frozenset[str], *, plain_ends: bool = False) -> Text:
        self.count += 1
        text = read(source, self.count, self.scratch, wanted, plain_ends=plain_ends)
        if text.data is not None:
            self.connection.register(text.data_name, text.data)
        return text

    def _height(self, table: str) -> int:
        # Read to its end, since a result left open would forbid the next frame to be registered.
        rows = self.connection.execute(f"select count(*) from temp.stage_{table}").fetchall()
        return int(rows[0][0])

    def _insert(self, item: Plan, text: Text, file_no: int) -> None:
        sql = judging_select(item.entry, text, item.label, file_no)
        self.connection.execute(f"insert into temp.stage_{item.entry.table.name} {sql}")

    def _run_insert(self, item: Plan, text: Text, file_no: int) -> None:
        try:
            self._insert(item, text, file_no)
        except duckdb.Error as error:
            raise self._engine_error(error, item) from error

    def _run(self, sql: str, item: Plan) -> None:
        try:
            self.connection.execute(sql).fetchall()
        except duckdb.Error as error:
            raise self._engine_error(error, item) from error

    def _engine_error(self, error: duckdb.Error, item: Plan) -> Exception:
        said = str(error).strip().split("\n")[0]
        if isinstance(error, duckdb.IOException):
            return SourceError(f"{item.label}: cannot be read to its end ({said}). Fetch it again. Nothing was loaded.")
        if isinstance(error, duckdb.ProgrammingError | duckdb.ConversionException):
            return MappingError(f"{item.entry.place}: its SQL does not fit {item.label}: {said}")
        return StoreError(f"{item.label}: the engine could not read it: {said}")

    def _select_text(self, item: Plan) -> Text:
        """The reading of an entry's SELECT, over the files it names."""
        scan = self.named.scan(item.entry.spec.select or "", item.named)
        try:
            described = self.connection.execute(f"describe select * from {scan}").fetchall()
        except duckdb.Error as error:
            raise self._engine_error(error, item) from error
        select = {}
        for name, kind, *_ in described:
            text = f"{quoted(name)}::varchar"
            if item.entry.manner.decimal == "," and kind.split("(")[0] in COMPUTED:
                # What the SELECT has computed comes with a point; it is written as the source would write it.
                text = f"replace({text}, '.', ',')"
            select[name] = text
        return Text(tuple(select), scan, select)
