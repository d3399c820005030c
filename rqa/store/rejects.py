"""Records of a file that are no rows at all: what the engine's reader rejected, each with its place and its rule."""

import re
from collections.abc import Sequence
from dataclasses import replace

import duckdb

from rqa.intake.sources import SourceFile, Text, pieces

RULES = {
    "TOO MANY COLUMNS": "more fields than the header names",
    "MISSING COLUMNS": "fewer fields than the header names",
    "UNQUOTED VALUE": "a quote that is not closed, or text after a closing quote",
    "INVALID STATE": "quotes out of place",
    "LINE SIZE OVER MAXIMUM": "line longer than 2,000,000 bytes",
    "INVALID ENCODING": "bytes that are not text in the given encoding",
}
KEPT_RAW = 100_000
"""Characters of a refused row that are kept as read."""
Reject = tuple[int, str, str, str]
"""Place among the file's records counted from 0, rule, value, raw."""


def rejects_of(connection: duckdb.DuckDBPyConnection, text: Text, source: SourceFile) -> list[Reject]:
    """The engine's rejects after a reading, one per record; its tables of them are dropped."""
    if not text.rejects:
        return []
    rows = connection.execute(
        f"select line, any_value(line_byte_position), first(error_type::varchar order by column_idx), "
        f"first(error_message order by column_idx), first(left(csv_line, {KEPT_RAW})) "
        f"from temp.{text.rejects} group by line order by line"
    ).fetchall()
    drop_rejects(connection, text)
    if not rows:
        return []
    header = source.spec.header_row if source.format == "csv" else 0
    blanks = []
    if source.format == "csv" and len(text.columns) > 1:
        blanks = _blank_lines(replace(source, path=text.path or source.path))
    found = []
    for line, byte, kind, message, raw in rows:
        before = sum(b < byte for b in blanks)
        value = message if kind not in ("UNQUOTED VALUE", "INVALID ENCODING", "LINE SIZE OVER MAXIMUM") else ""
        found.append((line - 1 - header - before, RULES.get(kind, kind.lower()), value, raw.strip("\r\n")))
    return found


def drop_rejects(connection: duckdb.DuckDBPyConnection, text: Text) -> None:
    """Drop the tables a reading left its rejects in."""
    for table in (text.rejects, text.rejects + "_scan"):
        connection.execute(f"drop table if exists temp.{table}")


def shifts(rejects: Sequence[Reject]) -> list[tuple[int, int]]:
    """How far rows stand from where counting the readable ones puts them: (from this place on, by this much)."""
    # The engine leaves unreadable records out, so rows behind the i-th of them stand i places further down.
    return list({place - i: (place - i, i + 1) for i, (place, *_) in enumerate(rejects)}.values())


def _blank_lines(source: SourceFile) -> list[int]:
    """The byte offsets of lines that hold nothing, which the engine passes over but counts."""
    offset, found, tail = 0, [], b"\n"
    for piece in pieces(source):
        text = tail + piece
        found += [offset - len(tail) + m.end() for m in re.finditer(rb"\n(?=\r?\n)", text)]
        tail = text[-2:]
        offset += len(piece)
        # A blank line at the seam may be seen twice.
    return sorted(set(found))
