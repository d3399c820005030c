"""How each format is read: every file becomes text columns for the engine to select from (`Text`)."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rqa.errors import MappingError, SourceError
from rqa.intake.mapping import unknown_name
from rqa.intake.sources import NATIVE_ENCODINGS, SourceFile, Text, as_utf8, csv_header, literal, pieces, quoted

LONGEST_LINE = 2_000_000
"""Bytes; a longer line is refused as a row, so that one broken quote cannot take all memory."""
SAMPLE_LINES = 10_000
BATCH = 50_000


def read(source: SourceFile, number: int, scratch: Path, wanted: frozenset[str], *, plain_ends: bool = False) -> Text:
    """The reading of one file.

    `number` makes names unique within a load; `scratch` is a folder for files that must be rewritten first; `wanted`
    are the columns the mapping names (JSON Lines: objects are opened for them). `plain_ends` asks for line ends to be
    made alike first, after the engine refused the file.
    """
    readers: dict[str, Callable[[], Text]] = {
        "csv": lambda: _csv(source, number, scratch, plain_ends),
        "jsonl": lambda: _jsonl(source, scratch, number, wanted),
        "excel": lambda: _excel(source, number),
        "parquet": lambda: _parquet(source),
        "sqlite": lambda: _sqlite(source, number),
        "frame": lambda: _frame(source, number),
    }
    return readers[source.format]()


def _csv(source: SourceFile, number: int, scratch: Path, plain_ends: bool) -> Text:
    columns, delimiter = csv_header(source)
    if not columns:
        return Text((), "(select 1 where false)", {})
    path = source.path
    if plain_ends or source.spec.encoding.lower() not in NATIVE_ENCODINGS:
        path = as_utf8(source, scratch / f"{number}.csv")
    types = ", ".join(f"{literal(c)}: 'VARCHAR'" for c in columns)
    quote = literal(source.spec.quote)
    rejects = f"rejects_{number}"
    scan = (
        f"read_csv({literal(str(path))}, auto_detect=false, header=true, skip={source.spec.header_row - 1}, "
        f"delim={literal(delimiter)}, quote={quote}, escape={quote}, columns={{{types}}}, nullstr='', "
        f"max_line_size={LONGEST_LINE}, store_rejects=true, rejects_limit=0, "
        f"rejects_table='{rejects}', rejects_scan='{rejects}_scan')"
    )
    return Text(tuple(columns), scan, {c: quoted(c) for c in columns}, source.spec.header_row + 1, rejects=rejects)


def _jsonl(source: SourceFile, scratch: Path, number: int, wanted: frozenset[str]) -> Text:
    path = source.path
    if source.spec.encoding.lower() not in NATIVE_ENCODINGS:
        path = as_utf8(source, scratch / f"{number}.jsonl")
    keys = _keys(source, SAMPLE_LINES)
    if any(w not in keys and w.split(".")[0] not in keys for w in wanted):
        keys = _keys(source, None)
    nested = [w for w in sorted(wanted) if w not in keys and w.split(".")[0] in keys]
    columns = [*keys, *nested]
    rejects = f"rejects_{number}"
    scan = (
        f"(select line, case when json_valid(line) then line end as object from read_csv({literal(str(path))}, "
        "auto_detect=false, header=false, delim=chr(31), quote='', escape='', columns={'line': 'VARCHAR'}, "
        f"max_line_size={LONGEST_LINE}, store_rejects=true, rejects_limit=0, "
        f"rejects_table='{rejects}', rejects_scan='{rejects}_scan'))"
    )
    paths = {c: _path([c] if c in keys else c.split(".")) for c in columns}
    return Text(
        tuple(columns),
        scan,
        {c: f"json_extract_string(object, {literal(p)})" for c, p in paths.items()},
        first_row=1,
        fault="case when object is null then 'not valid JSON' "
        "when json_type(object) <> 'OBJECT' then 'not a JSON object' end",
        blank="line is null or trim(line) = ''",
        rejects=rejects,
    )


def _path(parts: list[str]) -> str:
    return "$" + "".join(f".{json.dumps(p, ensure_ascii=False)}" for p in parts)


def _lines(source: SourceFile) -> Iterator[bytes]:
    held = b""
    for piece in pieces(source):
        *whole, held = (held + piece).split(b"\n")
        yield from whole
    yield held


def _keys(source: SourceFile, most: int | None) -> list[str]:
    keys: dict[str, None] = {}
    for number, line in enumerate(_lines(source)):
        if most is not None and number >= most:
            break
        try:
            row = json.loads(line.decode(source.spec.encoding))
        except (ValueError, RecursionError):
            continue
        if isinstance(row, dict):
            keys.update(dict.fromkeys(row))
    return list(keys)


def _excel(source: SourceFile, number: int) -> Text:
    import fastexcel

    try:
        book = fastexcel.read_excel(source.path)
    except Exception as error:
        raise SourceError(f"{source.label}: is no readable workbook ({error}). Nothing was loaded.") from error
    sheet = source.spec.sheet if source.spec.sheet is not None else book.sheet_names[0]
    if isinstance(sheet, str) and sheet not in book.sheet_names:
        raise MappingError(f"{source.label}: no sheet {sheet!r}; {unknown_name(sheet, book.sheet_names)}")
    try:
        table = book.load_sheet(sheet, header_row=source.spec.header_row - 1, dtypes="string").to_arrow()
    except Exception as error:
        if "no data" in str(error).lower() or "empty" in str(error).lower():
            return Text((), "(select 1 where false)", {})
        raise SourceError(f"{source.label}, sheet {sheet!r}: cannot be read ({error}). Nothing was loaded.") from error
    name = f"data_{number}"
    columns = tuple(table.schema.names)
    select = {c: quoted(c) for c in columns}
    blank = " and ".join(f"{quoted(c)} is null" for c in columns) or "false"
    return Text(columns, name, select, source.spec.header_row + 1, blank=blank, data=table, data_name=name)


def _parquet(source: SourceFile) -> Text:
    import pyarrow.parquet as pq

    try:
        columns = pq.read_schema(source.path).names
    except Exception as error:
        raise SourceError(f"{source.label}: is no readable Parquet file ({error}). Nothing was loaded.") from error
    return Text(
        tuple(columns), f"read_parquet({literal(str(source.path))})", {c: f"{quoted(c)}::varchar" for c in columns}
    )


def _sqlite(source: SourceFile, number: int) -> Text:
    import pyarrow as pa

    table = source.spec.table
    try:
        connection = sqlite3.connect(f"file:{source.path}?mode=ro", uri=True)
        names = [
            r[0] for r in connection.execute("select name from sqlite_master where type in ('table','view') order by 1")
        ]
        if table is None or table not in names:
            raise MappingError(f"{source.label}: set table for files.{source.name}; {unknown_name(table or '', names)}")
        cursor = connection.execute(f"select * from {quoted(table)}")
    except sqlite3.Error as error:
        raise SourceError(f"{source.label}: is no readable SQLite file ({error}). Nothing was loaded.") from error
    columns = tuple(d[0] for d in cursor.description)
    schema = pa.schema([(c, pa.string()) for c in columns])

    def batches() -> Iterator[Any]:
        while rows := cursor.fetchmany(BATCH):
            yield pa.record_batch([[_text(v) for v in column] for column in zip(*rows, strict=True)], schema=schema)

    name = f"data_{number}"
    data = pa.RecordBatchReader.from_batches(schema, batches())
    return Text(columns, name, {c: quoted(c) for c in columns}, data=data, data_name=name)


def _text(value: object) -> str | None:
    if value is None:
        return None
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    return str(value)


def _frame(source: SourceFile, number: int) -> Text:
    import polars as pl
    import polars.selectors as cs

    frame = source.frame
    if not isinstance(frame, pl.DataFrame):
        try:
            frame = pl.from_pandas(frame) if type(frame).__module__.startswith("pandas") else pl.DataFrame(frame)
        except Exception as error:
            raise SourceError(f"{source.label}: is no pandas or polars frame ({error}). Nothing was loaded.") from error
    # pandas turns whole numbers beside a gap into fractions; an id 12 must not become '12.0'.
    whole = [c for c in frame.select(cs.float()).columns if frame[c].drop_nulls().is_finite().all()]
    whole = [c for c in whole if (frame[c].drop_nulls() % 1 == 0).all() and (frame[c].drop_nulls().abs() < 2**53).all()]
    frame = frame.with_columns(pl.col(whole).cast(pl.Int64)).fill_nan(None)
    name = f"data_{number}"
    columns = tuple(frame.columns)
    return Text(columns, name, {c: f"{quoted(c)}::varchar" for c in columns}, data=frame.to_arrow(), data_name=name)
