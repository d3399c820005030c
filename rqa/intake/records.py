"""Records of a text file, as far as the engine cannot be trusted with them: overlong lines and quotes never closed.

The engine passes over a line longer than its buffer without a word, and takes everything behind a quote that is not
closed for one record. Such files are found by a quick look at their bytes, and are handed to the engine as a copy
without the records that are none; these are refused by name. Reading in parallel, it also drops a whole stretch of a
file in which it finds no sound line to begin at; so what it gives is counted against what the file holds.
"""

import gzip
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import IO

from rqa.errors import SourceError
from rqa.intake.copies import Copies
from rqa.intake.sources import Due, SourceFile, as_utf8, pieces
from rqa.words import counted

LONGEST_LINE = 2_000_000
"""Bytes; a longer line is refused as a row, so that one broken quote cannot take all memory."""
KEPT_RAW = 100_000
"""Characters of a refused record that are kept as read."""
MOST_REJECTS = 100_000
"""Records of one file that are no rows; with more the file as a whole is not what it is read as."""
TOO_LONG = f"line longer than {LONGEST_LINE:,} bytes"
NOT_CLOSED = "a quote that is not closed, or text after a closing quote"
FEWER, MORE = "fewer fields than the header names", "more fields than the header names"
NEWLINE, RETURN = 10, 13
Reject = tuple[int, str, str, str | None]
"""Place among the file's records counted from 0, rule, value, raw (None where it is not kept)."""
Moves = list[tuple[int, int]]
"""How far records stand below where their place puts them: (from this place on, by so many lines)."""


def engine_rejects() -> int:
    """How many faults the engine keeps of a file: more than there may be, as a record can have several."""
    return 4 * MOST_REJECTS


def too_many_rejects(source: SourceFile, rule: str) -> SourceError:
    """The error for a file of which more records are no rows than are kept; `rule` is what most of them broke."""
    return SourceError(
        f"{source.label}: too many of its records are no rows, such as those with {rule}. Set "
        f"delimiter, quote and encoding for files.{source.name} right, or fetch it again. Nothing was loaded."
    )


class Quotes:
    """Follows quotes from line to line: they open at the beginning of a field only, and are doubled within."""

    def __init__(self, quote: bytes, delimiter: bytes) -> None:
        self.quote, self.delimiter = quote, delimiter

    def open_after(self, line: bytes, inside: bool) -> bool:
        """Whether a quote is open at the end of the line, when one was (`inside`) or was not at its beginning."""
        quote, at = self.quote, 0
        if not quote or quote not in line:
            return inside
        while True:
            if inside:
                at = line.find(quote, at)
                if at < 0:
                    return True
                if line[at + 1 : at + 2] == quote:
                    at += 2
                    continue
                inside = False
            elif line[at : at + 1] == quote:
                inside, at = True, at + 1
                continue
            at = line.find(self.delimiter, at) + 1
            if at == 0:
                return False


@dataclass(frozen=True)
class Look:
    """A quick look at a file: its lines, how many of them hold nothing, its quotes.

    `delimiters` is how many signs between fields there are; `doubtful` says that it may hold an overlong record or a
    quote never closed (at times it only seems so); `plain` that all is ASCII without tabs.
    """

    lines: int
    blanks: int
    quotes: int
    delimiters: int
    doubtful: bool
    plain: bool

    def records(self, *, skip: int, blanks_count: bool) -> int:
        """How many records stand behind the first `skip` lines, at most; exactly, if there are no quotes."""
        return max(self.lines - skip - (0 if blanks_count else self.blanks), 0)


def look(source: SourceFile, quotes_of: Quotes, *, skip: int) -> Look:
    """Look at the file's bytes; lines that hold nothing are counted behind the first `skip` lines."""
    import numpy as np

    quote, delimiter = quotes_of.quote, quotes_of.delimiter
    lines, blanks, quotes, delimiters, run, doubtful, plain, last = 0, 0, 0, 0, 0, False, True, b"x\n"
    for piece in pieces(source):
        run = 0 if _record_ends(piece, quote, quotes) else run + len(piece)
        doubtful = doubtful or run > LONGEST_LINE // 2
        plain = plain and piece.isascii() and b"\t" not in piece
        # The two bytes before the piece, as a line that holds nothing may lie across the seam.
        data = np.frombuffer(last + piece, np.uint8)
        ends = data == NEWLINE
        lines += int(np.count_nonzero(ends[2:]))
        blanks += int(np.count_nonzero(ends[1:-1] & ends[2:]))
        if b"\r" in piece or b"\r" in last:
            blanks += int(np.count_nonzero(ends[:-2] & (data[1:-1] == RETURN) & ends[2:]))
        if quote and quote in piece:
            quotes += int(np.count_nonzero(data[2:] == quote[0])) if len(quote) == 1 else piece.count(quote)
        delimiters += piece.count(delimiter) if delimiter else 0
        last = (last + piece)[-2:]
    lines += not last.endswith(b"\n")
    for head in _head(source, skip):
        blanks -= not head.strip(b"\r\n")
    return Look(lines, blanks, quotes, delimiters, doubtful or quotes % 2 == 1, plain)


def _head(source: SourceFile, lines: int) -> list[bytes]:
    with _reading(source.path) as stream:
        return [line for line, _ in itertools.islice(_bounded(stream), lines)]


def records_exactly(source: SourceFile, quotes: Quotes, *, skip: int, blanks_count: bool) -> int:
    """How many records stand behind the header's, with which `skip` lines end, quotes followed one by one; slow."""
    # The header is a record, too, and may go on over the next line.
    found, inside, blank = -1 if skip else 0, False, False
    with _reading(source.path) as stream:
        for line, _ in itertools.islice(_bounded(stream), max(skip - 1, 0), None):
            blank = not inside and not line.strip(b"\r\n")
            inside = quotes.open_after(line, inside)
            found += not inside and (blanks_count or not blank)
    return found + inside


def _check_lengths(source: SourceFile, quotes: Quotes, fields: int, *, skip: int) -> None:
    """Raise `SourceError` if more records without quotes than are kept as rejects have another number of fields."""
    few, many, inside = 0, 0, False
    with _reading(source.path) as stream:
        for line, _ in itertools.islice(_bounded(stream), skip, None):
            if not inside and line.strip(b"\r\n") and not (quotes.quote and quotes.quote in line):
                found = line.count(quotes.delimiter) + 1
                few, many = few + (found < fields), many + (found > fields)
                if few + many > MOST_REJECTS:
                    raise too_many_rejects(source, FEWER if few > many else MORE)
            inside = quotes.open_after(line, inside)


def _record_ends(piece: bytes, quote: bytes, before: int) -> bool:
    at, quotes = 0, before
    while (end := piece.find(b"\n", at)) >= 0:
        quotes += piece.count(quote, at, end) if quote else 0
        if quotes % 2 == 0:
            return True
        at = end + 1
    return False


def _reading(path: Path) -> IO[bytes]:
    return gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb")  # type: ignore[return-value]


def moves_of(source: SourceFile, quotes: Quotes, *, skip: int, blanks_count: bool) -> Moves:
    """How blank lines and line ends within quotes move the records behind them; `skip` lines end with the header's."""
    moves: Moves = [(0, 0)]
    # The header is a record, too.
    place, inside = -1 if skip else 0, False
    with _reading(source.path) as stream:
        for number, (line, _) in enumerate(_bounded(stream)):
            if number < skip - 1:
                continue
            if not inside and (blanks_count or line.strip(b"\r\n")):
                _move(moves, place, number - skip)
                place += 1
            inside = quotes.open_after(line, inside)
    return moves


def _move(moves: Moves, place: int, line: int) -> None:
    """Note that the record at a place stands on a line, counted behind the header's."""
    if line - place != moves[-1][1]:
        moves.append((place, line - place))


def mended(
    source: SourceFile, target: Path, quotes: Quotes, *, skip: int, blanks_count: bool
) -> tuple[list[Reject], Moves]:
    """Copy the file to `target` without the records that are none, and return these, and how far records are moved.

    `skip` lines (up to the header's) are copied as they are; `blanks_count` says whether a blank line is a record.
    """
    rejects: list[Reject] = []
    moves: Moves = [(0, 0)]
    place, inside, held, size, head = 0, False, [], 0, skip

    def refuse(rule: str, value: str, raw: bytes) -> None:
        if len(rejects) >= MOST_REJECTS:
            raise too_many_rejects(source, rule)
        kept = raw[:KEPT_RAW].decode("utf-8", "replace").strip("\r\n") if source.keep_records else None
        rejects.append((place, rule, value, kept))

    with target.open("wb") as out, _reading(source.path) as stream:
        lines = ((line, length, number) for number, (line, length) in enumerate(_bounded(stream), -head))
        waiting: list[tuple[bytes, int, int]] = []
        while True:
            line, length, number = waiting.pop() if waiting else next(lines, (b"", 0, 0))
            if skip and line:
                out.write(line)
                skip -= 1
                continue
            ended = not line
            if line:
                held.append((line, length, number))
                size += length
                inside = quotes.open_after(line, inside)
            if inside and (ended or size > LONGEST_LINE):
                # The quote was never closed: its line is refused, and reading goes on behind it.
                _move(moves, place, held[0][2])
                refuse(NOT_CLOSED, "", held[0][0])
                waiting += held[:0:-1]
                place, inside, held, size = place + 1, False, [], 0
                if waiting or not ended:
                    continue
            if ended:
                break
            if inside:
                continue
            if blanks_count or held[0][0].strip(b"\r\n"):
                _move(moves, place, held[0][2])
                if size > LONGEST_LINE:
                    refuse(TOO_LONG, counted(size, "byte"), b"".join(part for part, *_ in held))
                place += 1
            if size <= LONGEST_LINE:
                out.writelines(part for part, *_ in held)
            held, size = [], 0
    return rejects, moves


def _bounded(stream: IO[bytes]) -> Iterator[tuple[bytes, int]]:
    """The lines of a file with their lengths; of an overlong line only the beginning is given."""
    while line := stream.readline(LONGEST_LINE):
        length, last = len(line), line
        while not last.endswith(b"\n") and (last := stream.readline(LONGEST_LINE)):
            length += len(last)
        yield (line if length <= LONGEST_LINE else line.rstrip(b"\n") + b"\n"), length


def blank_lines(source: SourceFile, quotes: Quotes, *, skip: int) -> list[int]:
    """The byte offsets of lines behind the first `skip` that hold nothing and stand in no quotes."""
    found, offset, inside = [], 0, False
    with _reading(source.path) as stream:
        for number, (line, length) in enumerate(_bounded(stream)):
            if number >= skip and not inside and not line.strip(b"\r\n"):
                found.append(offset)
            if number >= skip - 1:
                inside = quotes.open_after(line, inside)
            offset += length
    return found


def made_safe(
    source: SourceFile, path: Path, copies: Copies, number: int, quotes: Quotes, fields: int
) -> tuple[Path, list[Reject], Due]:
    """The file to hand to the engine, the records that it must not see, and how many it must give.

    `number` makes the names of its copies unique within a load; `fields` is how many a record has. Raises `SourceError`
    where more records have another number than are kept, before the engine takes memory for each of their faults.
    """
    blanks_count = fields == 1
    given, cut, moves = replace(source, path=path), list[Reject](), None
    skip = source.spec.header_row if source.format == "csv" else 0
    seen = look(given, quotes, skip=skip)
    if not seen.lines:
        return path, cut, Due(0, True)
    head = next(pieces(given))
    if b"\r" in head and b"\n" not in head:
        given = replace(source, path=as_utf8(source, copies.place(source, f"{number}.ends")))
        seen = look(given, quotes, skip=skip)
    if seen.doubtful:
        target = copies.place(source, f"{number}.mended")
        cut, moves = mended(given, target, quotes, skip=skip, blanks_count=blanks_count)
        given = replace(source, path=target)
        seen = look(given, quotes, skip=skip)
    records = seen.records(skip=skip, blanks_count=blanks_count)
    if quotes.delimiter and abs(seen.delimiters - records * (fields - 1)) > MOST_REJECTS:
        _check_lengths(given, quotes, fields, skip=skip)
    due = Due(records, not seen.quotes, plain=seen.plain)
    if moves is None:
        of_file = partial(moves_of, given, quotes, skip=skip, blanks_count=blanks_count)
        due = replace(due, lines=seen.lines - skip, moves=of_file)
    else:
        due = replace(due, moves=partial(list, moves))
    if seen.quotes:
        count = partial(records_exactly, given, quotes, skip=skip, blanks_count=blanks_count)
        due = replace(due, exact=False, count=count)
    return given.path, cut, due
