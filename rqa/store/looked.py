"""Files of a folder as tables of texts in an engine of their own, and what can be counted in whole columns of them.

A proposal of a mapping is made from this. Each file is read as a load would read it; nothing is kept.
"""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb

from rqa.contract import Column
from rqa.errors import RqaError, SourceError
from rqa.intake.copies import IN_MEMORY
from rqa.intake.literals import literal
from rqa.intake.names import inner, quoted
from rqa.intake.sheets import Sheet
from rqa.intake.sources import SourceFile
from rqa.intake.values import ParseOptions, parsed, trimmed
from rqa.shown import first_line
from rqa.stopping import interruptible
from rqa.store.engine import STORE_FILE, connect
from rqa.store.limits import MEMORY
from rqa.store.readers import LINES, ONLY_LOOK, USUAL, ReadOptions
from rqa.store.stage import Stager

EXACT_ROWS = 300_000
"""Rows up to which different values are counted exactly; the engine's estimate beyond is within a few per cent."""
SAMPLE_ROWS = 2_000
MOST_VALUES = 200
AT_ONCE = 12
"""Columns whose different values are counted in one go."""


@dataclass(frozen=True)
class Filled:
    """One column of a set of files: in how many rows it has a value, and how many different ones."""

    filled: int
    distinct: int


class Looked:
    """Sets of files as tables of texts; `looking` makes one.

    `sealed` says that nothing of any file may reach a disk or a message as it was read.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, stager: Stager, *, sealed: bool = False) -> None:
        self.connection, self.stager, self.sealed = connection, stager, sealed
        self.rows: dict[str, int] = {}
        self.columns: dict[str, dict[str, str]] = {}
        """For each set of files, its columns by their names in lower case."""

    @property
    def scratch(self) -> Path:
        """A folder for what is written while files are looked at; gone at the end."""
        return self.stager.copies.folder

    def cells(self, source: SourceFile, sheet: str | int | None) -> Sheet:
        """The cells of a sheet of a workbook, of the first where none is named."""
        source = self._guarded(source)
        with _told(source):
            return self.stager.sheets.read(source, sheet)

    def take(self, source: SourceFile, wanted: frozenset[str] = frozenset()) -> tuple[str, ...]:
        """Read one file into the table of its set; returns its columns, as the set has them.

        Records that are no rows are passed over: a load tells of them. Raises an error of ours where the file cannot
        be read.
        """
        source = self._guarded(source)
        ways = (ONLY_LOOK, replace(ONLY_LOOK, plain_ends=True), USUAL)
        with _told(source):
            for way in ways:
                try:
                    return self._take(source, wanted, way)
                except (duckdb.InvalidInputException, duckdb.IOException):
                    if source.format not in LINES or way is ways[-1]:
                        raise
                finally:
                    self.stager.copies.drop()
        return ()

    def _guarded(self, source: SourceFile) -> SourceFile:
        return replace(source, sealed=True) if self.sealed else source

    def _take(self, source: SourceFile, wanted: frozenset[str], options: ReadOptions) -> tuple[str, ...]:
        text = self.stager.text_of(source, wanted, options)
        name = source.name
        there = self.columns.get(name)
        if there is None:
            there = self.columns[name] = {}
            self.connection.execute(f"create temp table {_table(name)} ({inner('nothing')} varchar)")
        for column in text.columns:
            if column.lower() not in there:
                there[column.lower()] = column
                self.connection.execute(f"alter table {_table(name)} add column {quoted(column)} varchar")
        if text.columns:
            # Only the ends of texts are cleaned here; what means missing is not known yet.
            given = ", ".join(f"{trimmed(text.select[c])} as {quoted(there[c.lower()])}" for c in text.columns)
            taken = self.connection.execute(
                f"insert into {_table(name)} by name select {given} from {text.scan} "
                f"where not ({text.blank}) and ({text.fault}) is null"
            ).fetchall()
            self.rows[name] = self.rows.get(name, 0) + int(taken[0][0])
            if text.data is not None:
                self.connection.unregister(text.data_name)
        return tuple(there[c.lower()] for c in text.columns)

    def facts(self, name: str, columns: Sequence[str]) -> dict[str, Filled]:
        """How each column is filled."""
        how = "count(distinct {})" if self.rows[name] <= EXACT_ROWS else "approx_count_distinct({})"
        made: dict[str, Filled] = {}
        # The engine sets memory aside for each count of different values, whatever the number of rows.
        for part in (columns[i : i + AT_ONCE] for i in range(0, len(columns), AT_ONCE)):
            asked = ", ".join(f"count({quoted(c)}), {how.format(quoted(c))}" for c in part)
            found = self._one(f"select {asked} from {_table(name)}")
            made |= {c: Filled(found[2 * i], found[2 * i + 1]) for i, c in enumerate(part)}
        return made

    def sample(self, name: str, columns: Sequence[str], most: int = SAMPLE_ROWS) -> dict[str, list[str | None]]:
        """Rows from all over the set, by column."""
        stride = max(1, -(-self.rows[name] // most))
        asked = ", ".join(map(quoted, columns))
        rows = self._all(f"select {asked} from {_table(name)} where rowid % {stride} = 0 order by rowid limit {most}")
        return {c: [r[i] for r in rows] for i, c in enumerate(columns)}

    def values(self, name: str, column: str, most: int = MOST_VALUES) -> list[tuple[str, int]]:
        """The values of a column with their counts, the most frequent first."""
        c = quoted(column)
        return [(str(v), int(n)) for v, n in self._all(
            f"select {c}, count(*) from {_table(name)} where {c} is not null group by 1 order by 2 desc, 1 limit {most}"
        )]

    def fits(self, name: str, text: str, kind: Column, options: ParseOptions, missing: Sequence[str] = ()) -> int:
        """How many values become a value of this kind when they are read so; `text` is SQL for the text."""
        value = _value(text, kind, options)
        given = f"({text}) is not null" + (f" and ({text}) not in ({_words(missing)})" if missing else "")
        return int(self._one(f"select count(*) filter ({given} and {value} is not null) from {_table(name)}")[0])

    def misfit(self, name: str, text: str, kind: Column, options: ParseOptions, missing: Sequence[str] = ()) -> str:
        """A value that does not become one when it is read so; "" when there is none."""
        lacking = f" and ({text}) not in ({_words(missing)})" if missing else ""
        rows = self._all(
            f"select {text} from {_table(name)} where ({text}) is not null{lacking} "
            f"and {_value(text, kind, options)} is null order by rowid limit 1"
        )
        return str(rows[0][0]) if rows else ""

    def in_order(self, name: str, first: str, second: str, kind: Column, options: ParseOptions) -> tuple[int, int]:
        """Rows in which the first time is at most the second, and rows in which both are given."""
        a, b = _value(first, kind, options), _value(second, kind, options)
        found = self._one(
            f"select count(*) filter ({a} <= {b}), count(*) filter ({a} is not null and {b} is not null) "
            f"from {_table(name)}"
        )
        return int(found[0]), int(found[1])

    def shared(self, name: str, column: str, other: str, other_column: str, *, without: str = "") -> float:
        """The share of the rows of a column whose value stands in another set's column too.

        Where a pattern is given, both are compared without what matches it.
        """
        a, b = _without(quoted(column), without), _without(quoted(other_column), without)
        found = self._one(
            f"select count(*) filter ({a} in (select {b} from {_table(other)} where {b} is not null)), count({a}) "
            f"from {_table(name)}"
        )
        return found[0] / found[1] if found[1] else 0.0

    def distinct_without(self, name: str, column: str, pattern: str) -> int:
        """How many different values a column has without what matches a pattern."""
        return int(self._one(f"select count(distinct {_without(quoted(column), pattern)}) from {_table(name)}")[0])

    def changed_without(self, name: str, column: str, pattern: str) -> int:
        """How many values of a column hold something that matches a pattern."""
        text = quoted(column)
        asked = f"select count(*) filter ({text} is distinct from {_without(text, pattern)}) from {_table(name)}"
        return int(self._one(asked)[0])

    def among(self, name: str, columns: Sequence[str], texts: Sequence[str]) -> dict[str, int]:
        """How many values of each column are one of these texts."""
        if not columns:
            return {}
        asked = ", ".join(f"count(*) filter ({quoted(c)} in ({_words(texts)}))" for c in columns)
        found = self._one(f"select {asked} from {_table(name)}")
        return {c: int(n) for c, n in zip(columns, found, strict=True)}

    def texts_among(self, name: str, column: str, texts: Sequence[str]) -> list[str]:
        """Which of these texts a column holds."""
        c = quoted(column)
        rows = self._all(f"select distinct {c} from {_table(name)} where {c} in ({_words(texts)}) order by 1")
        return [str(t) for (t,) in rows]

    def matching(self, name: str, column: str, pattern: str) -> int:
        """How many values of a column match a pattern as a whole."""
        asked = f"select count(*) filter (regexp_full_match({quoted(column)}, {literal(pattern)})) from {_table(name)}"
        return int(self._one(asked)[0])

    def _all(self, sql: str) -> list[tuple[Any, ...]]:
        try:
            return self.connection.execute(sql).fetchall()
        except duckdb.Error as error:
            raise SourceError(f"the engine cannot look at the files: {first_line(error)}") from error

    def _one(self, sql: str) -> tuple[Any, ...]:
        return self._all(sql)[0]


def _table(name: str) -> str:
    return f"temp.{quoted(f'named {name}')}"


def _without(text: str, pattern: str) -> str:
    return f"nullif(regexp_replace({text}, {literal(pattern)}, '', 'g'), '')" if pattern else text


def _words(texts: Sequence[str]) -> str:
    return ", ".join(map(literal, texts))


def _value(text: str, kind: Column, options: ParseOptions) -> str:
    parts = parsed(kind, f"({text})", options)
    return f"coalesce({', '.join(parts.values())})" if len(parts) > 1 else next(iter(parts.values()))


@contextmanager
def _told(source: SourceFile) -> Iterator[None]:
    """Raise in plain words what the engine or a library says of a file."""
    try:
        yield
    except duckdb.Error as error:
        raise SourceError(f"{source.label}: cannot be read: {first_line(error)}") from error
    except (OSError, ValueError) as error:
        if isinstance(error, RqaError):
            raise
        raise SourceError(f"{source.label}: cannot be read: {first_line(error)}") from error


@contextmanager
def looking(paths: Sequence[Path], memory: str | None = MEMORY, *, sealed: bool = False) -> Iterator[Looked]:
    """An engine that can read these files, and what is read of them; gone at the end.

    With `sealed` nothing of them reaches a disk: what does not fit in memory fails.
    """
    with tempfile.TemporaryDirectory(prefix="rqa-look-") as folder:
        scratch = Path(folder)
        reads = [*paths, IN_MEMORY]
        connection = connect(scratch / STORE_FILE, read_only=False, scratch=scratch, memory=memory, reads=reads,
                             spill=not sealed)
        with closing(connection), interruptible(connection), closing(Stager(connection, scratch)) as stager:
            yield Looked(connection, stager, sealed=sealed)

