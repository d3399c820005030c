"""Reading the sources into staging tables: every row converted and judged, none dropped, each with its place.

What was planned is bound first, so that a mapping error stops before any row is read; then each source is read
once per table it feeds. A staging table lives in the connection's temporary storage and is gone with it.
"""

import re
from collections.abc import Callable, Iterator
from collections.abc import Mapping as MappingType
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, NoReturn

import duckdb
from duckdb.sqltypes import VARCHAR

from rqa.contract import TABLES
from rqa.errors import MappingError, RqaError
from rqa.intake.column_source import ColumnSource
from rqa.intake.copies import Copies
from rqa.intake.entries import Entry, listed_columns, wanted_columns
from rqa.intake.mapping import MAPPING_FILE
from rqa.intake.names import FILE_NO, MARK, PLACE_COLUMNS, quoted
from rqa.intake.parts import unknown_name
from rqa.intake.sheets import Sheets
from rqa.intake.sources import SourceFile, TextSource
from rqa.shown import told
from rqa.store.copied_names import CopiedNames
from rqa.store.ddl import columns
from rqa.store.doing import Doing, Tell, untold
from rqa.store.limits import MEMORY, SQL_MINUTES
from rqa.store.mapping_sql import engine_said, words_of
from rqa.store.planned import Plan
from rqa.store.read_complete import CompleteRead, read_complete
from rqa.store.readers import ONLY_LOOK, USUAL, ReadOptions, read
from rqa.store.select_sources import NamedFiles
from rqa.store.side_selects import names_select
from rqa.store.sql_limits import limit_lengths, memory_limit, time_limit
from rqa.store.staged import Staged
from rqa.store.told_errors import engine_error, raise_told, unsent
from rqa.store.traced import traced
from rqa.store.validate import (
    EXTRA_COLUMNS,
    LEAN_COLUMNS,
    fitted,
    judging_select,
    misfit,
    numbers_lacking,
)
from rqa.words import listed

NO_MEMORY = re.compile(r"bad allocation|could not allocate|failed to allocate|allocation failure", re.IGNORECASE)
"""How the engine says, in errors of several kinds, that it was given no more memory at once."""
COMPUTED = {"DOUBLE", "FLOAT", "DECIMAL"}
"""Types of a SELECT's columns that come with a decimal point."""


class Stager:
    """Fills the staging tables of one load through one connection."""

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        scratch: Path,
        *,
        sql_minutes: float = SQL_MINUTES,
        memory: str | None = MEMORY,
        tell: Tell = untold,
    ) -> None:
        self.connection, self.tell = connection, tell
        self.copies = Copies(scratch)
        self.sheets = Sheets()
        self.sql_minutes = sql_minutes
        self.memory = memory
        self.count = 0
        self.named = NamedFiles(connection, self.text_of)
        self.lengths_limited = False
        self.seals = False
        self.fitting: set[tuple[int, tuple[str, ...]]] = set()
        self.copied = CopiedNames()
        self.lean: set[str] = set()
        """The tables whose staging table is lean."""
        self.bound: dict[str, bool] = {}
        """The tables that sources were bound to, and whether their rows are not stored as they are staged: a source
        lacks some of the table's numbers, or its lines may be parts of a row."""

    def close(self) -> None:
        """Let go of what reads the sources."""
        self.sheets.close()

    def make_tables(self, tables: MappingType[str, bool]) -> None:
        """Make an empty staging table for each of the contract tables named, and told whether its rows are unfinished.

        It stands in the store's file, to be adopted, and is lean, where the store has no row of that table yet and rows
        are stored as they are staged; else in temporary storage.
        """
        for name, unfinished in tables.items():
            empty = not self.connection.execute(f"select 1 from main.{name} limit 1").fetchall()
            adoptable = empty and not unfinished
            if adoptable:
                self.lean.add(name)
            kind = "table main." if adoptable else "temp table "
            body = [c for c in columns(TABLES[name]) if c[0] not in PLACE_COLUMNS]
            extra = LEAN_COLUMNS if adoptable else EXTRA_COLUMNS
            self.connection.execute(
                f"create or replace {kind}stage_{name} ({', '.join(f'{n} {k}' for n, k in (*body, *extra))})"
            )

    def bind(self, item: Plan) -> None:
        """Check that the entry's mapping fits its source, without reading rows."""
        try:
            with self.bounded(item):
                self._bind(item)
        finally:
            self.copies.drop()

    def _bind(self, item: Plan) -> None:
        if item.source is not None:
            text = self.text_of(item.source, wanted_columns(item.entry.spec), ONLY_LOOK)
        else:
            self.named.bind(item.named, item.sets, wanted_columns(item.entry.spec))
            self._check_reshaped(item)
            text = self.select_text(item)
        table = item.entry.table
        unfinished = self.bound.get(table.name, False) or item.entry.spec.lines is not None
        if text.columns:
            given, faults = fitted(item.entry, text, item.label)
            fits = (item.entry.number, text.columns)
            own = item.entry.spec.computed or set(item.entry.options.times) != {"iso"}
            if own and fits not in self.fitting:
                # What a mapping brings of its own, SQL or forms of times, is held against the engine, once for the same
                # columns: asking takes longer than reading a small file.
                faults += self._sql_faults(item, text, given)
            if faults:
                raise misfit(item.entry, item.label, faults)
            self.fitting.add(fits)
            if item.entry.guard.sealed:
                self._note_names(item, text, given)
            unfinished = unfinished or bool(numbers_lacking(table, given))
        self.bound[table.name] = unfinished

    def _check_reshaped(self, item: Plan) -> None:
        """Raise `MappingError` for columns that are to be reshaped and that the files do not have."""
        there = {low: c for name in item.sets for low, c in self.named.columns[name].items()}
        if item.named and (lacking := [c for c in item.entry.spec.reshaped_columns if c[1].lower() not in there]):
            listed_there = listed_columns(item.entry, tuple(there.values()))
            over = " and ".join(f"files.{name}" for name in item.sets)
            faults = [f"{key}: {over} has no column {told(c)}; {unknown_name(c, listed_there)}" for key, c in lacking]
            raise misfit(item.entry, item.label, faults)

    def _note_names(self, item: Plan, text: TextSource, given: dict[str, ColumnSource]) -> None:
        """Note what the columns of an entry draw on, as names become pseudonyms."""
        place = item.entry.place.removeprefix(f"{MAPPING_FILE}, ")
        if item.source is not None:
            self.copied.of_file(place, item.label, text.columns, given, item.entry.guard.keyed)
            return
        sets = {name: [*self.named.columns[name].values(), *PLACE_COLUMNS] for name in item.sets}
        labels = {name: [f.label for f in item.named if f.name == name] for name in item.sets}
        made = item.entry.spec.made_columns
        if made is not None:
            self.copied.of_reshaped(place, [f.label for f in item.named], text.columns, given, made)
            return
        self.copied.of_select(place, item.entry.spec.select or "", sets, labels, text.columns, given)

    def _sql_faults(self, item: Plan, text: TextSource, given: dict[str, ColumnSource]) -> list[str]:
        """What the engine says of the entry's SQL over this source, each expression alone where there are several."""
        entry = item.entry
        parts = {f"columns.{name}.sql": {name: o} for name, o in given.items() if o.sql is not None}
        parts |= {"where": {}} if entry.spec.where else {}
        nothing = {name: ColumnSource(sql="null") for name in given}
        written = {f"columns.{n}.sql": o.sql for n, o in given.items() if o.sql} | {"where": entry.spec.where or "true"}
        words = [f"{place}: {f}" for place, sql in written.items() for f in words_of(sql, text.columns)]
        if words:
            return words
        whole = self._explained(item, text, given, entry)
        if not whole:
            return []
        alone = replace(entry, spec=entry.spec.model_copy(update={"where": None}))
        found = [
            f"{place} does not fit {item.label}: {said}"
            for place, part in parts.items()
            if (said := self._explained(item, text, nothing | part, entry if place == "where" else alone))
        ]
        return found or [f"its SQL does not fit {item.label}: {whole}"]

    def _explained(self, item: Plan, text: TextSource, given: dict[str, ColumnSource], entry: Entry) -> str:
        """What the engine says against the SELECT that judges this source; nothing if it can be run."""
        try:
            self.connection.execute("explain " + judging_select(entry, text, item.label, 0, given)).fetchall()
        except (duckdb.ProgrammingError, duckdb.ConversionException, duckdb.InvalidInputException) as error:
            return engine_said(str(error), listed_columns(entry, text.columns))
        except duckdb.Error as error:
            self._tell(error, item)
        return ""

    def stage(self, item: Plan, file_no: int) -> Staged:
        """Read one planned source into its staging table."""
        try:
            with self.bounded(item):
                return self._stage(item, file_no)
        finally:
            self.copies.drop()

    def _stage(self, item: Plan, file_no: int) -> Staged:
        result = Staged(item.label, item.entry.table.name, file_no, item.digest, item.fingerprint, entry=item.entry)
        if item.source is None:
            try:
                self.named.read(item.named, wanted_columns(item.entry.spec))
                text = self.select_text(item)
                result.rows = self._insert(item, text, file_no) if text.columns else 0
            except duckdb.Error as error:
                self._tell(error, item)
        else:
            result.beside = bool(item.beside)
            text = self._stage_file(item, item.source, result)
        result.first_row = text.first_row
        # Rows that were taken back leave a gap in the numbering.
        result.first_rowid = self._one(f"select min(rowid) from stage_{result.table} where {FILE_NO} = {file_no}")
        return result

    def names_of(self, item: Plan) -> set[str]:
        """The names that an entry makes pseudonyms of, as one source has them."""
        try:
            with self.bounded(item):
                return self._names_of(item)
        finally:
            self.copies.drop()

    def _names_of(self, item: Plan) -> set[str]:
        found = set[str]()
        columns = sum(o.key_file is not None for o in item.entry.spec.columns.values())

        def take(text: TextSource) -> int:
            rows = self.connection.execute(names_select(item.entry, text, item.label)).fetchall()
            found.update(name for name, _ in rows if name is not None)
            return sum(n for _, n in rows) // columns

        try:
            if item.source is None:
                self.named.read(item.named, wanted_columns(item.entry.spec))
                text = self.select_text(item)
                if text.columns:
                    take(text)
            else:
                self._read_whole(item, item.source, take, lambda: None)
        except duckdb.Error as error:
            self._tell(error, item)
        return found

    @contextmanager
    def bounded(self, item: Plan) -> Iterator[None]:
        """Hold the mapping's SQL within its limits of time and memory, and tell of the engine's errors."""
        self._give_seal(item)
        computed, seconds = item.entry.spec.computed, self.sql_minutes * 60
        if computed and not self.lengths_limited:
            limit_lengths(self.connection)
            self.lengths_limited = True
        doing = Doing(item.entry.place, item.label, tuple(item.files), computed, seconds)
        self.tell(doing)
        try:
            with self._limited(item, doing) if computed else nullcontext():
                yield
        finally:
            self.tell(None)

    @contextmanager
    def _limited(self, item: Plan, doing: Doing) -> Iterator[None]:
        with memory_limit(self.memory), time_limit(self.connection, doing.seconds) as late:
            try:
                yield
            except (duckdb.Error, RqaError) as error:
                cause = error if isinstance(error, duckdb.Error) else error.__context__
                if late.is_set():
                    raise MappingError(doing.too_late) from error
                if isinstance(cause, duckdb.Error) and NO_MEMORY.search(str(cause)):
                    raise MappingError(
                        f"{doing.too_much} ({self.memory}), over {item.label}. Make it simpler."
                    ) from error
                raise

    def _give_seal(self, item: Plan) -> None:
        """Have the engine encrypt records that are no rows before they reach a table, where they are to be."""
        seal = next((s.seal for s in item.sources if s.seal is not None), None)
        if seal is not None and item.entry.guard.seal_records and not self.seals:
            self.connection.create_function(f"{MARK}sealed", seal, [VARCHAR], VARCHAR, side_effects=True)
            self.seals = True

    def _stage_file(self, item: Plan, source: SourceFile, result: Staged) -> TextSource:
        def take_back() -> None:
            self._run(f"delete from stage_{result.table} where {FILE_NO} = {result.file_no}", item)
            result.read_again = True

        try:
            done = self._read_whole(item, source, lambda text: self._insert(item, text, result.file_no), take_back)
        except duckdb.Error as error:
            self._tell(error, item)
        result.rows, result.rejects, result.shifts = done.rows, done.rejects, done.shifts
        return done.text

    def _read_whole(
        self, item: Plan, source: SourceFile, take: Callable[[TextSource], int], take_back: Callable[[], None]
    ) -> CompleteRead:
        wanted = wanted_columns(item.entry.spec)
        return read_complete(
            self.connection, source, lambda options: self.text_of(source, wanted, options), take, take_back
        )

    def text_of(self, source: SourceFile, wanted: frozenset[str], options: ReadOptions = USUAL) -> TextSource:
        """The reading of one file, its data known to the engine."""
        self.count += 1
        text = read(source, self.count, self.copies, self.sheets, wanted, options)
        if text.data is not None:
            self.connection.register(text.data_name, text.data)
        return text

    def _one(self, sql: str) -> int:
        # A result that is not fetched to its end keeps the connection busy.
        rows = self.connection.execute(sql).fetchall()
        return int(rows[0][0] or 0) if rows else 0

    def _insert(self, item: Plan, text: TextSource, file_no: int) -> int:
        if item.source is not None and item.beside:
            text = replace(text, blank=f"{text.blank} or ({text.fault}) is not null")
        name = item.entry.table.name
        sql = judging_select(item.entry, text, item.label, file_no, lean=name in self.lean)
        return self._one(f"insert into stage_{name} {sql}")

    def _run(self, sql: str, item: Plan) -> None:
        try:
            self.connection.execute(sql).fetchall()
        except duckdb.Error as error:
            self._tell(error, item)

    def _tell(self, error: duckdb.Error, item: Plan) -> NoReturn:
        """Raise the engine's error as ours."""
        raise_told(error, item, self._columns_of_sets(item))

    def _columns_of_sets(self, item: Plan) -> list[str]:
        """The columns of the files that an entry's SELECT names."""
        return [c for name in item.sets for c in self.named.columns.get(name, {}).values()]

    def _described(self, scan: str) -> list[Any]:
        """Each column that a scan gives, with its type."""
        return self.connection.execute(f"describe select * from {scan}").fetchall()

    def select_text(self, item: Plan, over: NamedFiles | None = None) -> TextSource:
        """The reading of an entry's SELECT, over the files it names; it tells where its rows come from, if it can.

        `over` are other tables of these files, such as their first rows alone.

        Files without a record name no columns: a SELECT over such files alone has no row, like the files themselves.
        """
        named = self.named if over is None else over
        bare = [name for name in item.sets if not named.columns[name]]
        if bare and len(bare) == len(item.sets):
            return TextSource((), "(select 1 where false)", {})
        select = item.entry.spec.select or ""
        scan = named.scan(select, item.sets)
        try:
            described = self._described(scan)
        except duckdb.Error as error:
            # No row is read here, so no value is told.
            without_record = [name for name in bare if name not in item.unsent]
            if without_record:
                raise MappingError(
                    f"{item.entry.place}: {item.label} cannot be asked: the files of {listed(without_record)} hold no "
                    "record, so they name no column. Put a file with a record there, or take the SELECT out until "
                    f"there is one.{unsent(item)}"
                ) from error
            raise engine_error(error, item, self._columns_of_sets(item)) from error
        if not {name for name, *_ in described} & set(PLACE_COLUMNS):
            told = traced(self.connection, select, set(item.sets))
            with suppress(duckdb.Error):
                if told is not None and self._described(named.scan(told, item.sets))[:-2] == described:
                    scan = named.scan(told, item.sets)
                    described = self._described(scan)
        texts = {}
        for name, kind, *_ in described:
            text = f"{quoted(name)}::varchar"
            if item.entry.options.decimal == "," and kind.split("(")[0] in COMPUTED:
                # What the SELECT has computed comes with a point; it is written as the source would write it.
                text = f"replace({text}, '.', ',')"
            texts[name] = text
        timed = any(kind.startswith(("TIMESTAMP", "DATE")) for _, kind, *_ in described)
        return TextSource(tuple(texts), scan, texts, own_times=timed)
