"""Records of a file that are no rows at all: what the engine's reader rejected, each with its place and its rule."""

import itertools
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
LINES = ("csv", "jsonl")
"""Formats that the engine reads line by line, and refuses when line ends are mixed."""
FIELDS, QUOTES = ("TOO MANY COLUMNS", "MISSING COLUMNS"), ("UNQUOTED VALUE", "INVALID STATE")
Reject = tuple[int, str, str, str]
"""Place among the file's records counted from 0, rule, value, raw."""


def rejects_of(connection: duckdb.DuckDBPyConnection, text: Text, source: SourceFile) -> list[Reject]:
    """The engine's rejects after a reading, one per record; its tables of them are dropped."""
    if not text.rejects:
        return []
    rows = connection.execute(
        f"select line, any_value(line_byte_position), first(error_type::varchar order by column_idx), "
        f"first(error_message order by column_idx), first(left(csv_line, {KEPT_RAW})), max(strlen(csv_line)), "
        "max(strlen(ltrim(csv_line, chr(13) || chr(10)))) "
        f"from temp.{text.rejects} group by line order by line"
    ).fetchall()
    drop_rejects(connection, text)
    if not rows:
        return []
    header, blanks = 0, []
    if source.format == "csv":
        header = source.spec.header_row
        if len(text.columns) > 1:
            # A record is shown with the blank lines before it.
            ends = [(byte - 1 + size, own) for _, byte, kind, *_, size, own in rows if kind in QUOTES]
            broken = [(end - own, end) for end, own in ends]
            blanks = _blank_lines(replace(source, path=text.path or source.path), broken)
    found = []
    for line, byte, kind, message, raw, size, own in rows:
        passed = sum(b < byte - 1 + size - own for b in blanks)
        raw = raw.strip("\r\n")
        value = message if kind in FIELDS else ""
        if kind in QUOTES and "\n" in raw:
            value = f"runs on over {raw.count(chr(10)) + 1} lines"
        found.append((line - 1 - header - passed, RULES.get(kind, kind.lower()), value, raw))
    return found


def drop_rejects(connection: duckdb.DuckDBPyConnection, text: Text) -> None:
    """Drop the tables a reading left its rejects in."""
    for table in (text.rejects, text.rejects + "_scan"):
        connection.execute(f"drop table if exists temp.{table}")


def shifts(rejects: Sequence[Reject]) -> list[tuple[int, int]]:
    """How far rows stand from where counting the readable ones puts them: (from this place on, by this much)."""
    # The engine leaves unreadable records out, so rows behind the i-th of them stand i places further down.
    return list({place - i: (place - i, i + 1) for i, (place, *_) in enumerate(rejects)}.values())


def _blank_lines(source: SourceFile, broken: Sequence[tuple[int, int]]) -> list[int]:
    """The byte offsets of lines behind the header that hold nothing, which the engine passes over but counts.

    A blank line within quotes is part of a record; `broken` are the stretches of bytes whose quotes do not pair.
    """
    quote = source.spec.quote.encode()
    found: list[int] = []
    held, base, quotes, lines = b"\n", -1, 0, -1
    for piece in itertools.chain(pieces(source), [b"xx"]):
        text = bytearray(held + piece)
        for start, end in broken:
            start, end = max(start - base, 0), min(end - base, len(text))
            if start < end:
                text[start:end] = b"x" * (end - start)
        done, last = len(text) - 2, 0
        for match in re.finditer(rb"\n(?=\r?\n)", text):
            if match.start() >= done:
                break
            quotes += text.count(quote, last, match.start()) if quote else 0
            lines += text.count(b"\n", last, match.end())
            last = match.end()
            if quotes % 2 == 0 and lines >= source.spec.header_row - 1:
                found.append(base + match.end())
        quotes += text.count(quote, last, done) if quote else 0
        lines += text.count(b"\n", last, done)
        held, base = bytes(text[done:]), base + done
    return found
