"""How each format is read: every file becomes text columns for the engine to select from (`TextSource`)."""

import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from rqa.errors import MappingError, SourceError
from rqa.intake.archives import ending_of, is_archive, member_of, unpack
from rqa.intake.contents import check_json_lines, recognised
from rqa.intake.copies import Copies
from rqa.intake.json_document import write_lines
from rqa.intake.literals import literal, literal_path
from rqa.intake.names import quoted
from rqa.intake.parts import unknown_name
from rqa.intake.quotes import LONGEST_LINE, Quotes
from rqa.intake.records import Reject, engine_rejects, made_safe
from rqa.intake.sheets import Sheets
from rqa.intake.sources import (
    NATIVE_ENCODINGS,
    SHOWN,
    ExpectedRecords,
    SourceFile,
    TextSource,
    as_utf8,
    check_few_columns,
    csv_header,
    pieces,
)
from rqa.intake.workbook import read_sheet
from rqa.intake.xes import write_events
from rqa.shown import told

LINES = ("csv", "jsonl")
"""Formats that the engine reads line by line, and refuses when line ends are mixed."""
SAMPLE_LINES = 10_000
BATCH = 50_000
VIEW_SECONDS, VIEW_STEPS = 1800, 1_000_000
"""How long (s) SQLite may take to give the rows of a table, looked at after so many steps: a view may have no end."""


@dataclass(frozen=True)
class ReadOptions:
    """What is asked of one reading beside the usual.

    `plain_ends`: line ends are made alike first, after the engine refused the file. `one_by_one`: the engine reads
    without parallel, after it dropped records. `only_look`: no row will be read.
    """

    plain_ends: bool = False
    one_by_one: bool = False
    only_look: bool = False

    @property
    def engine_options(self) -> str:
        """The engine's options for this."""
        return "parallel=false, " if self.one_by_one else ""


USUAL, ONLY_LOOK = ReadOptions(), ReadOptions(only_look=True)


def read(
    source: SourceFile, number: int, copies: Copies, sheets: Sheets, wanted: frozenset[str],
    options: ReadOptions = USUAL,
) -> TextSource:
    """The reading of one file.

    `number` makes names unique within a load; `copies` takes files that must be rewritten first; `sheets`
    reads workbooks; `wanted` are the columns the mapping names (JSON Lines: objects are opened for them).
    """
    readers: dict[str, Callable[[], TextSource]] = {
        "csv": lambda: _csv(source, number, copies, options),
        "jsonl": lambda: (_jsonl(source, copies, number, wanted, options) if source.spec.rows_of is None
                          else _lines_made(source, copies, number, wanted, options, write_lines)),
        "json": lambda: _lines_made(source, copies, number, wanted, options, write_lines),
        "xes": lambda: _lines_made(source, copies, number, wanted, options, write_events),
        "excel": lambda: read_sheet(source, number, sheets),
        "parquet": lambda: _parquet(source),
        "sqlite": lambda: _sqlite(source, number),
        "frame": lambda: _frame(source, number),
    }
    if source.format != "frame":
        if is_archive(source.path):
            source = _unpacked(source, copies, number)
        source = recognised(source)
    text = readers[source.format]()
    check_few_columns(source, len(text.columns))
    seen: dict[str, str] = {}
    for name in text.columns:
        # The engine does not tell names apart by their case.
        if name.lower() in seen:
            other = "more than once" if seen[name.lower()] == name else f"beside {told(seen[name.lower()])}"
            # A file that lacks its header has a row's values in its place.
            said = "it names a column twice" if source.sealed else f"it names a column {told(name)} {other}"
            raise MappingError(f"{source.label}: {said}; rename one")
        seen[name.lower()] = name
    return text


def _csv(source: SourceFile, number: int, copies: Copies, options: ReadOptions) -> TextSource:
    header = csv_header(source)
    columns, delimiter = header.columns, header.delimiter
    if not columns:
        return TextSource((), "(select 1 where false)", {})
    source = replace(source, spec=source.spec.model_copy(update={"header_row": header.line}))
    path = source.path
    if options.plain_ends or source.spec.encoding.lower() not in NATIVE_ENCODINGS:
        path = as_utf8(source, copies.place(source, f"{number}.csv"))
    cut, due = list[Reject](), ExpectedRecords()
    if not options.only_look:
        quotes = Quotes(source.spec.quote.encode(), delimiter.encode())
        path, cut, due = made_safe(source, path, copies, number, quotes, len(columns))
    types = ", ".join(f"{literal(c)}: 'VARCHAR'" for c in columns)
    quote = literal(source.spec.quote)
    rejects = f"rejects_{number}"
    scan = (
        f"read_csv({literal(literal_path(path))}, auto_detect=false, header={str(header.line > 0).lower()}, "
        f"skip={max(header.line - 1, 0)}, "
        f"delim={literal(delimiter)}, quote={quote}, escape={quote}, columns={{{types}}}, nullstr='', "
        f"{options.engine_options}max_line_size={LONGEST_LINE}, store_rejects=true, rejects_limit={engine_rejects()}, "
        f"rejects_table='{rejects}', rejects_scan='{rejects}_scan')"
    )
    select = {c: quoted(c) for c in columns}
    return TextSource(
        columns,
        scan,
        select,
        header.line + 1,
        rejects=rejects,
        path=path,
        delimiter=delimiter,
        cut=cut,
        due=due,
    )


def _jsonl(source: SourceFile, copies: Copies, number: int, wanted: frozenset[str], options: ReadOptions) -> TextSource:
    path = source.path
    if options.plain_ends or source.spec.encoding.lower() not in NATIVE_ENCODINGS:
        path = as_utf8(source, copies.place(source, f"{number}.jsonl"))
    cut, due = list[Reject](), ExpectedRecords()
    if not options.only_look:
        path, cut, due = made_safe(source, path, copies, number, Quotes(b"", b""), 1)
    plain = replace(source, path=path)
    check_json_lines(plain)
    keys = _keys(plain, SAMPLE_LINES)
    keys = keys or _keys(plain, None)
    if not keys and (line := next(filter(bytes.strip, _lines(plain)), b"")):
        begins = line[:SHOWN].decode("utf-8", "replace")
        raise SourceError(
            f"{source.label}: no line of it is one JSON object with a key; it begins {begins!r}. Export it as JSON "
            f"Lines, one object on each line, or set format for files.{source.name}. Nothing was loaded."
        )
    absent = [w for w in sorted(wanted) if w not in keys and w.split(".")[0] not in keys]
    if _mentions(plain, [w.split(".")[0] for w in absent] + absent):
        keys = _keys(plain, None)
    nested = [w for w in sorted(wanted) if w not in keys and "." in w and w.split(".")[0] in keys]
    nested = [w for w in nested if _reaches(plain, w.split("."))]
    columns = [*keys, *nested]
    rejects, engine_path = f"rejects_{number}", literal(literal_path(path))
    scan = (
        f"(select line, case when json_valid(line) then line end as object from read_csv({engine_path}, "
        "auto_detect=false, header=false, delim=chr(31), quote='', escape='', columns={'line': 'VARCHAR'}, "
        f"{options.engine_options}max_line_size={LONGEST_LINE}, store_rejects=true, rejects_limit={engine_rejects()}, "
        f"rejects_table='{rejects}', rejects_scan='{rejects}_scan'))"
    )
    paths = {c: _path([c] if c in keys else c.split(".")) for c in columns}
    return TextSource(
        tuple(columns),
        scan,
        {c: f"json_extract_string(object, {literal(p)})" for c, p in paths.items()},
        first_row=1,
        fault="case when object is null then 'not valid JSON' "
        "when json_type(object) <> 'OBJECT' then 'not a JSON object' "
        "when list_unique(json_keys(object)) <> len(json_keys(object)) then 'a key is given twice' end",
        blank="line is null or trim(line, ' \t\r') = ''",
        whole="line",
        rejects=rejects,
        typed=True,
        path=path,
        cut=cut,
        # An escaped sign may stand for any other.
        due=replace(due, plain=False, bare=False),
        elsewhere=partial(_others_mention, source),
    )


def _unpacked(source: SourceFile, copies: Copies, number: int) -> SourceFile:
    """The file that is read of a zip archive, as one by itself."""
    member = member_of(source.path, source.spec.member, source.label)
    path = copies.place(source, f"member_{number}{ending_of(member)}")
    unpack(source.path, member, path, source.label)
    return replace(source, path=path, all_of_set=())


def _lines_made(
    source: SourceFile, copies: Copies, number: int, wanted: frozenset[str], options: ReadOptions,
    write: Callable[[SourceFile, Path], None],
) -> TextSource:
    """A file that is written anew as JSON Lines, and read so."""
    path = copies.place(source, f"objects_{number}.jsonl")
    write(source, path)
    lines = replace(source, path=path, spec=source.spec.model_copy(update={"encoding": "utf-8"}))
    return replace(_jsonl(lines, copies, number, wanted, options), elsewhere=partial(_others_mention, source))


def _others_mention(source: SourceFile, name: str) -> bool:
    """Whether another file of the set has the key; it is missing here then, and no slip of the mapping."""
    names = list(dict.fromkeys([name.split(".")[0], name]))
    return any(_mentions(replace(source, path=p), names) for p in source.all_of_set if p != source.path)


def _path(parts: list[str]) -> str:
    return "$" + "".join('."' + p.replace("\\", "\\\\").replace('"', '\\"') + '"' for p in parts)


def _lines(source: SourceFile) -> Iterator[bytes]:
    held = b""
    for piece in pieces(source):
        *whole, held = (held + piece).split(b"\n")
        yield from whole
    yield held


@dataclass(frozen=True)
class _Lines:
    """The lines of a file as it is now: it is looked at when the mapping is bound, and when it is read for a table."""

    path: Path
    inode: int
    changed: int
    size: int
    source: SourceFile = field(compare=False, repr=False)


def _keys(source: SourceFile, most: int | None) -> list[str]:
    found = source.path.stat()
    lines = _Lines(source.path, found.st_ino, found.st_mtime_ns, found.st_size, source)
    return list(_keys_of(lines, most))


@lru_cache(maxsize=256)
def _keys_of(lines: _Lines, most: int | None) -> tuple[str, ...]:
    keys: dict[str, None] = {}
    for number, line in enumerate(_lines(lines.source)):
        if most is not None and number >= most:
            break
        row = _object(line)
        # Most rows have the keys of those before them.
        if isinstance(row, dict) and not row.keys() <= keys.keys():
            keys.update(dict.fromkeys(k for k in row if k))
            check_few_columns(lines.source, len(keys))
    return tuple(keys)


def _reaches(source: SourceFile, path: list[str]) -> bool:
    """Whether a path reaches something in a row of the file, or every row lacks what it would reach into."""
    missed = False
    for line in _lines(source):
        value = _object(line)
        for depth, key in enumerate(path):
            if not isinstance(value, dict) or key not in value:
                missed = missed or (depth > 0 and value not in (None, {}))
                break
            value = value[key]
        else:
            return True
    return not missed


def _object(line: bytes) -> Any:
    try:
        return json.loads(line.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return None


def _mentions(source: SourceFile, names: list[str]) -> bool:
    """Whether the file holds one of the names, in quotes; the first lines need not show every key."""
    marks = [json.dumps(n, ensure_ascii=False).encode() for n in dict.fromkeys(names)]
    held = b""
    for piece in pieces(source):
        text = held + piece
        if any(mark in text for mark in marks):
            return True
        held = text[-max(map(len, marks), default=1) :]
    return False


def _parquet(source: SourceFile) -> TextSource:
    import pyarrow.parquet as pq

    try:
        schema = pq.read_schema(source.path)
    except Exception as error:
        raise SourceError(f"{source.label}: is no readable Parquet file ({error}). Nothing was loaded.") from error
    scan = f"read_parquet({literal(literal_path(source.path))})"
    return TextSource(tuple(schema.names), scan, _typed_columns(schema), typed=True)


def _typed_columns(schema: Any) -> dict[str, str]:
    """SQL that writes each column of an Arrow schema as text."""
    import pyarrow as pa

    select = {}
    for part in schema:
        column = quoted(part.name)
        select[part.name] = f"{column}::varchar"
        if pa.types.is_floating(part.type):
            # Whole numbers beside a gap are often kept as fractions; an id 12 must not become '12.0'.
            whole = f"{column} = trunc({column}) and abs({column}) < 9007199254740992"
            text = f"when {whole} then try_cast({column} as bigint)::varchar else {column}::varchar"
            select[part.name] = f"case when isnan({column}) then null {text} end"
        elif pa.types.is_list(part.type) or pa.types.is_large_list(part.type):
            select[part.name] = f"to_json({column})::varchar"
    return select


def _sqlite(source: SourceFile, number: int) -> TextSource:
    import pyarrow as pa

    table, address = source.spec.table, f"{source.path.resolve().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            found = connection.execute("select name from sqlite_master where type in ('table','view') order by 1")
            names = [r[0] for r in found]
            if table is None or table not in names:
                raise MappingError(
                    f"{source.label}: set table for files.{source.name}; {unknown_name(table or '', names)}"
                )
            cursor = connection.execute(f"select * from {quoted(table)} limit 0")
            columns = tuple(d[0] for d in cursor.description)
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_READONLY_ROLLBACK":
            said = (
                f"the last write to it was broken off, and {source.path.name}-journal beside it holds what puts it "
                "right. Open it once with the program that writes it, then load again"
            )
            raise SourceError(f"{source.label}: {said}. Nothing was loaded.") from error
        if "locked" in str(error):
            said = "is locked by the program that writes it. Close that program, or copy the file, and load again"
            raise SourceError(f"{source.label}: {said}. Nothing was loaded.") from error
        raise SourceError(f"{source.label}: is no readable SQLite file ({error}). Nothing was loaded.") from error
    except UnicodeDecodeError as error:
        said = "is no readable SQLite file (the name of a column is no UTF-8 text)"
        raise SourceError(f"{source.label}: {said}. Nothing was loaded.") from error
    schema = pa.schema([(f"c{i}", pa.string()) for i in range(len(columns))])

    def batches() -> Iterator[Any]:
        # The engine fetches from threads of its own, one at a time.
        with closing(sqlite3.connect(address, uri=True, check_same_thread=False)) as connection:
            connection.text_factory = bytes
            end = time.monotonic() + VIEW_SECONDS
            connection.set_progress_handler(lambda: time.monotonic() > end, VIEW_STEPS)
            cursor = connection.execute(f"select * from {quoted(table or '')}")
            while rows := cursor.fetchmany(BATCH):
                yield pa.record_batch([[_text(v) for v in column] for column in zip(*rows, strict=True)], schema=schema)

    name = f"data_{number}"
    data = pa.RecordBatchReader.from_batches(schema, batches())
    return TextSource(columns, name, {c: f"c{i}" for i, c in enumerate(columns)}, data=data, data_name=name, typed=True)


def tables_of(path: Path) -> dict[str, tuple[str, ...]]:
    """The tables and views of an SQLite database by name, each with its columns; raises what SQLite says."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        found = connection.execute(
            "select name from sqlite_master where type in ('table', 'view') and name not like 'sqlite%' order by 1"
        )
        names = [str(name) for (name,) in found]
        return {
            name: tuple(str(d[0]) for d in connection.execute(f"select * from {quoted(name)} limit 0").description)
            for name in names
        }


def _text(value: object) -> str | None:
    if value is None or value != value:
        return None
    if isinstance(value, bytes):
        try:
            return value.decode("utf-8")
        except UnicodeDecodeError:
            return "0x" + value.hex()
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    return str(value)


def _frame(source: SourceFile, number: int) -> TextSource:
    try:
        frame = as_polars(source.frame)
    except Exception as error:
        if source.sealed:
            raise SourceError(f"{source.label}: is no pandas or polars frame. Nothing was loaded.") from None
        raise SourceError(f"{source.label}: is no pandas or polars frame ({error}). Nothing was loaded.") from error
    name = f"data_{number}"
    data = frame.to_arrow()
    select = _typed_columns(data.schema)
    return TextSource(tuple(frame.columns), name, select, data=data, data_name=name, typed=True)


def as_polars(frame: Any) -> Any:
    """A frame that was handed over as polars, objects as text; an error in its place, as of `portable`, is raised."""
    import polars as pl

    if isinstance(frame, Exception):
        raise frame
    if type(frame).__module__.startswith("pandas"):
        return _from_pandas(frame)
    made = frame if isinstance(frame, pl.DataFrame) else pl.DataFrame(frame)
    objects = [c for c, kind in made.schema.items() if kind == pl.Object]
    return made.with_columns(pl.Series(c, [_text(v) for v in made[c]], dtype=pl.String) for c in objects)


def portable(frame: Any) -> Any:
    """A frame as another process can take it, which may not know the types of its values; or why it is none."""
    try:
        return as_polars(frame)
    except Exception as error:
        return ValueError(str(error))


def _from_pandas(frame: Any) -> Any:
    """A pandas frame as polars; columns of mixed objects become text, one value at a time."""
    import polars as pl

    twice = [str(c) for c, again in zip(frame.columns, frame.columns.duplicated(), strict=True) if again]
    if twice:
        raise ValueError(f"column {told(twice[0])} is there twice")
    given = {}
    for column in frame.columns:
        try:
            given[str(column)] = pl.from_pandas(frame[column])
        except Exception:
            values = [
                None if missing else _text(v) for v, missing in zip(frame[column], frame[column].isna(), strict=True)
            ]
            given[str(column)] = pl.Series(values, dtype=pl.String)
    return pl.DataFrame(given)
