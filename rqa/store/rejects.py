"""Records of a file that are no rows at all: what the engine's reader rejected, each with its place and its rule."""

import io
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace

import duckdb

from rqa.intake import records
from rqa.intake.overlong import NOT_CLOSED, TOO_LONG
from rqa.intake.quotes import Quotes
from rqa.intake.records import (
    FEWER,
    KEPT_RAW,
    MORE,
    Moves,
    Reject,
    blank_lines,
    engine_rejects,
    too_many_rejects,
)
from rqa.intake.sources import SourceFile, TextSource, delimited
from rqa.words import counted

RULES = {
    "TOO MANY COLUMNS": MORE,
    "MISSING COLUMNS": FEWER,
    "UNQUOTED VALUE": NOT_CLOSED,
    "INVALID STATE": "quotes out of place",
    "LINE SIZE OVER MAXIMUM": TOO_LONG,
    "INVALID ENCODING": "bytes that are not text in the given encoding",
}
FIELDS, QUOTES = ("TOO MANY COLUMNS", "MISSING COLUMNS"), ("UNQUOTED VALUE", "INVALID STATE")


def rejects_of(connection: duckdb.DuckDBPyConnection, text: TextSource, source: SourceFile) -> list[Reject]:
    """The engine's rejects after a reading, one per record; its tables of them are dropped."""
    if not text.rejects:
        return []
    ((faults, broken, most),) = connection.execute(
        f"select count(*), count(distinct line), mode(error_type::varchar) from temp.{text.rejects}"
    ).fetchall()
    if broken > records.MOST_REJECTS or faults >= engine_rejects():
        raise too_many_rejects(source, RULES.get(most, most.lower()))
    if not faults:
        drop_rejects(connection, text)
        return in_order(text.cut)
    rows = connection.execute(
        f"select line, any_value(line_byte_position), first(error_type::varchar order by column_idx), "
        f"first(left(csv_line, {KEPT_RAW})), "
        "max(len(trim(csv_line, chr(13) || chr(10)).replace(chr(13), '')) "
        "- len(trim(csv_line, chr(13) || chr(10)).replace(chr(13), '').replace(chr(10), ''))), "
        "max(strlen(csv_line) - strlen(ltrim(csv_line, chr(13) || chr(10)))) "
        f"from temp.{text.rejects} group by line order by line"
    ).fetchall()
    drop_rejects(connection, text)
    header, blanks = 0, []
    if source.format == "csv":
        header = text.first_row - 1
        if rows and len(text.columns) > 1:
            quotes = Quotes(source.spec.quote.encode(), text.delimiter.encode())
            blanks = blank_lines(replace(source, path=text.path or source.path), quotes, skip=header)
    found: list[Reject] = []
    behind = 0
    for line, byte, kind, raw, ends, lead in rows:
        # The engine counts the blank lines behind the header that it passes over; it shows a record with those before.
        place = line - 1 - header - bisect_left(blanks, byte - 1 + lead)
        while behind < len(text.cut) and text.cut[behind][0] <= place + behind:
            behind += 1
        raw = raw.strip("\r\n")
        value = _fields(raw, text, source.spec.quote) if kind in FIELDS else ""
        if kind in QUOTES and ends:
            value = f"runs on over {counted(ends + 1, 'line')}"
        found.append((place + behind, RULES.get(kind, kind.lower()), value, source.kept(raw)))
    return in_order([*found, *text.cut])


def in_order(rejects: Sequence[Reject]) -> list[Reject]:
    """The rejects of a file by their place in it."""
    return sorted(rejects, key=lambda reject: reject[0])


def _fields(raw: str, text: TextSource, quote: str) -> str:
    """How many fields a record has, and how many the header names; the engine stops counting at the first too many."""
    if len(raw) >= KEPT_RAW:
        return ""
    fields = next(delimited(io.StringIO(raw, newline=""), text.delimiter, quote), [])
    return f"{counted(len(fields), 'field')}, {counted(len(text.columns), 'name')}"


def drop_rejects(connection: duckdb.DuckDBPyConnection, text: TextSource) -> None:
    """Drop the tables a reading left its rejects in."""
    for table in (text.rejects, text.rejects + "_scan"):
        connection.execute(f"drop table if exists temp.{table}")


def on_lines(rejects: Sequence[Reject], moves: Moves) -> list[Reject]:
    """The rejects of a file with the lines they begin on, counted from the first record's, in place of their places."""
    starts = [0, *(start for start, _ in moves)]
    by = [0, *(by for _, by in moves)]
    return [(at + by[bisect_right(starts, at) - 1], rule, value, raw) for at, rule, value, raw in rejects]


def shifts(rejects: Sequence[Reject], moves: Moves) -> Moves:
    """How far rows stand from where counting the readable ones puts them: (from this place on, by so many lines)."""
    # The engine leaves unreadable records out, so rows behind the i-th of them stand i places further down.
    found: dict[int, int] = {}
    left_out, moved = 0, 0
    events = [*((start, 0, by) for start, by in moves), *((place, 1, 0) for place, *_ in rejects)]
    for place, is_reject, by in sorted(events):
        at = place - left_out
        if is_reject:
            left_out += 1
        else:
            moved = by
        found[at] = left_out + moved
    return list(found.items())
