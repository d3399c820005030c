"""Records of a text file, as far as the engine cannot be trusted with them: overlong lines and quotes never closed.

The engine passes over a line longer than its buffer without a word, and takes everything behind a quote that is not
closed for one record. Such files are found by a quick look at their bytes, and are handed to the engine as a copy
without the records that are none; these are refused by name. Reading in parallel, it also drops a whole stretch of a
file in which it finds no sound line to begin at; so what it gives is counted against what the file holds.
"""

import codecs
import itertools
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from rqa.errors import SourceError
from rqa.intake.copies import Copies
from rqa.intake.overlong import TOO_LONG, OverlongRecord, unfit_records
from rqa.intake.quotes import LONGEST_LINE, Quotes, lines_of, opened
from rqa.intake.sources import ExpectedRecords, SourceFile, as_utf8, pieces
from rqa.words import counted

KEPT_RAW = 100_000
"""Characters of a refused record that are kept as read."""
MOST_REJECTS = 100_000
"""Records of one file that are no rows; with more the file as a whole is not what it is read as."""
FEWER, MORE = "fewer fields than the header names", "more fields than the header names"
NEWLINE, RETURN, SPACE, BOM = 10, 13, 32, codecs.BOM_UTF8
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


@dataclass(frozen=True)
class FileOutline:
    """A quick look at a file: its lines, how many of them hold nothing, its quotes.

    `delimiters` is how many signs between fields there are; `doubtful` says that it may hold an overlong record or a
    quote never closed (at times it only seems so); `plain` that all is ASCII without tabs; `bare` that besides there is
    no quote, and no space or other sign that is not shown where a field begins or ends.
    """

    lines: int
    blanks: int
    quotes: int
    delimiters: int
    doubtful: bool
    plain: bool
    bare: bool

    def records(self, *, skip: int, blanks_count: bool) -> int:
        """How many records stand behind the first `skip` lines, at most; exactly, if there are no quotes."""
        return max(self.lines - skip - (0 if blanks_count else self.blanks), 0)


def look(source: SourceFile, quotes_of: Quotes, *, skip: int) -> FileOutline:
    """Look at the file's bytes; lines that hold nothing are counted behind the first `skip` lines."""
    import numpy as np

    delimiter = quotes_of.delimiter
    lines, blanks, quotes, delimiters, plain, last = 0, 0, 0, 0, True, b"x\n"
    # A field is what stands between two delimiters or line ends; a delimiter that is a space is not told from one.
    bare = len(delimiter) == 1 and delimiter > b" "
    ends, ground = _Ends(quotes_of), _Ground(delimiter)
    for piece in pieces(source):
        plain = plain and piece.isascii() and b"\t" not in piece
        # The two bytes before the piece, as a line that holds nothing may lie across the seam.
        data = np.frombuffer(last + piece, np.uint8)
        at_end, returns = ground.line_ends(data), b"\r" in piece or b"\r" in last
        lines += int(np.count_nonzero(at_end[2:]))
        blanks += ground.blanks(at_end)
        if returns:
            blanks += int(np.count_nonzero(at_end[:-2] & (data[1:-1] == RETURN) & at_end[2:]))
        quotes += ends.take(piece, at_end[2:])
        bare = bare and plain and not quotes and ground.bare(data, at_end, returns)
        delimiters += piece.count(delimiter) if delimiter else 0
        last = (last + piece)[-2:]
    lines += not last.endswith(b"\n")
    for head in _head(source, skip, quotes_of):
        blanks -= not head.strip(b"\r\n")
    bare = bare and not last.endswith((b" ", b"\r"))
    return FileOutline(lines, blanks, quotes, delimiters, ends.doubtful(), plain, bare)


class _Ground:
    """Looks at text without quotes, piece by piece, with memory that is taken once: fresh memory costs the most."""

    def __init__(self, delimiter: bytes) -> None:
        self.delimiter = delimiter
        self.held: list[Any] = []

    def _of(self, size: int) -> list[Any]:
        import numpy as np

        if not self.held or len(self.held[0]) < size:
            self.held = [np.empty(size, bool) for _ in range(4)]
        return [held[:size] for held in self.held]

    def line_ends(self, data: Any) -> Any:
        """Where a line ends in these bytes; good until the next piece."""
        import numpy as np

        return np.equal(data, NEWLINE, out=self._of(len(data))[0])

    def blanks(self, at_end: Any) -> int:
        """How many line ends follow straight on another, those of the first two bytes aside."""
        import numpy as np

        both = np.logical_and(at_end[1:-1], at_end[2:], out=self._of(len(at_end))[1][2:])
        return int(np.count_nonzero(both))

    def bare(self, data: Any, at_end: Any, returns: bool) -> bool:
        """Whether no space is next to a delimiter or a line end, and all else is shown; `returns`: there may be \\r."""
        import numpy as np

        _, spaces, between, found = self._of(len(data))
        hidden = np.count_nonzero(np.less(data, SPACE, out=found)) - np.count_nonzero(at_end)
        np.equal(data, self.delimiter[0], out=between)
        np.logical_or(between, at_end, out=between)
        if returns:
            at_return = data == RETURN
            hidden -= np.count_nonzero(at_return)
            if (at_return[:-1] & ~at_end[1:]).any():
                return False
            np.logical_or(between, at_return, out=between)
        if hidden:
            return False
        np.equal(data, SPACE, out=spaces)
        before = np.logical_and(spaces[:-1], between[1:], out=found[1:]).any()
        return not (before or np.logical_and(spaces[1:], between[:-1], out=found[1:]).any())


class _Ends:
    """Watches how far the ends of records lie from each other, where every other quote closes one.

    A quote that stands where none can be opened or closed makes it doubtful, as what follows may be counted wrong.
    """

    def __init__(self, quotes: Quotes) -> None:
        self.quote, self.delimiter = quotes.quote, quotes.delimiter
        self.size, self.ended, self.quotes = 0, 0, 0
        self.far, self.astray, self.before = False, False, b"\n"

    def take(self, piece: bytes, line_ends: Any) -> int:
        """Look at the next piece; gives how many quotes it holds."""
        import numpy as np

        found = 0
        ends = np.flatnonzero(line_ends)
        if self.quote and (self.quote in piece or self.quotes):
            at = np.flatnonzero(np.frombuffer(piece, np.uint8) == self.quote[0])
            found = len(at) if len(self.quote) == 1 else piece.count(self.quote)
            self.astray = self.astray or len(self.quote) > 1 or self._astray(piece, at)
            ends = ends[(self.quotes + np.searchsorted(at, ends)) % 2 == 0]
        if len(ends):
            self.far = self.far or self.size + int(ends[0]) + 1 - self.ended > LONGEST_LINE
            self.ended = self.size + int(ends[-1]) + 1
        self.size += len(piece)
        self.quotes += found
        self.before = piece[-1:]
        return found

    def _astray(self, piece: bytes, at: Any) -> bool:
        """Whether a quote stands in the middle of a text, so that it may be neither opening nor closing."""
        import numpy as np

        data = np.frombuffer(self.before + piece, np.uint8)
        odd = (self.quotes + np.arange(len(at))) % 2 == 1
        # A quote opens behind a delimiter, a line end or another quote, and closes before one. The last sign of the
        # piece before is looked at with what follows it here.
        opens = data[at[~odd]]
        closing = at[odd] + 1
        if self.quotes % 2 == 0 and self.before == self.quote:
            closing = np.append(closing, 0)
        closes = data[closing[closing < len(piece)] + 1]
        near = [NEWLINE, self.quote[0]]
        astray = ~np.isin(opens, [*near, *self.delimiter[-1:]])
        if self.size == 0 and piece.startswith(BOM + self.quote):
            astray[0] = False
        return bool(astray.any() or (~np.isin(closes, [*near, RETURN, *self.delimiter[:1]])).any())

    def doubtful(self) -> bool:
        """Whether the file may hold an overlong record, or a quote never closed."""
        far = self.far or self.size - self.ended > LONGEST_LINE
        return far or self.quotes % 2 == 1 or (self.astray and self.size > LONGEST_LINE)


def _head(source: SourceFile, lines: int, quotes: Quotes) -> list[bytes]:
    with opened(source.path) as stream:
        return [line.text for line in itertools.islice(lines_of(stream, quotes), lines)]


def records_exactly(source: SourceFile, quotes: Quotes, *, skip: int, blanks_count: bool) -> int:
    """How many records stand behind the header's, with which `skip` lines end, quotes followed one by one; slow."""
    # The header is a record, too, and may go on over the next line.
    found, inside, blank = -1 if skip else 0, False, False
    with opened(source.path) as stream:
        for line, *_ in itertools.islice(lines_of(stream, quotes), max(skip - 1, 0), None):
            blank = not inside and not line.strip(b"\r\n")
            inside = quotes.open_after(line, inside)
            found += not inside and (blanks_count or not blank)
    return found + inside


def _check_lengths(source: SourceFile, quotes: Quotes, fields: int, *, skip: int) -> None:
    """Raise `SourceError` if more records without quotes than are kept as rejects have another number of fields."""
    few, many, inside = 0, 0, False
    with opened(source.path) as stream:
        for line, *_ in itertools.islice(lines_of(stream, quotes), skip, None):
            if not inside and line.strip(b"\r\n") and not (quotes.quote and quotes.quote in line):
                found = line.count(quotes.delimiter) + 1
                few, many = few + (found < fields), many + (found > fields)
                if few + many > MOST_REJECTS:
                    raise too_many_rejects(source, FEWER if few > many else MORE)
            inside = quotes.open_after(line, inside)


def moves_of(source: SourceFile, quotes: Quotes, *, skip: int, blanks_count: bool) -> Moves:
    """How blank lines and line ends within quotes move the records behind them; `skip` lines end with the header's."""
    moves: Moves = [(0, 0)]
    # The header is a record, too.
    place, inside = -1 if skip else 0, False
    with opened(source.path) as stream:
        for number, (line, *_) in enumerate(lines_of(stream, quotes)):
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


def _cuts(source: SourceFile, quotes: Quotes, skip: int) -> tuple[int, list[OverlongRecord]]:
    """The line that following the quotes begins at, and the records to be kept from the engine."""
    start = max(skip - 1, 0)
    cuts = unfit_records(source, quotes, start)
    if not (skip and cuts and cuts[0].first == start):
        return start, cuts
    if cuts[0].rule == TOO_LONG:
        raise SourceError(
            f"{source.label}, line {skip}: the header is longer than {LONGEST_LINE:,} bytes. Set header_row, delimiter "
            f"and quote for files.{source.name} right. Nothing was loaded."
        )
    return skip, unfit_records(source, quotes, skip)


def without(
    source: SourceFile, target: Path, quotes: Quotes, cuts: list[OverlongRecord], *, skip: int, start: int,
    blanks_count: bool,
) -> tuple[list[Reject], Moves]:
    """Copy the file to `target` without the records that are cut, and return these, and how far records are moved.

    `skip` lines end with the header's; quotes are followed from the line `start` on; `blanks_count` says whether a
    blank line is a record.
    """
    rejects: list[Reject] = []
    moves: Moves = [(0, 0)]
    place, inside, raw, ahead = start - skip, False, b"", iter(cuts)
    cut = next(ahead, None)
    if len(cuts) > MOST_REJECTS:
        raise too_many_rejects(source, cuts[0].rule)
    with target.open("wb") as out, opened(source.path) as stream:
        for number, line in enumerate(lines_of(stream, quotes)):
            if cut is not None and number >= cut.first:
                if number == cut.first:
                    _move(moves, place, number - skip)
                    raw = b""
                raw += line.text[: KEPT_RAW - len(raw)]
                if number == cut.last:
                    kept = source.kept(raw.decode("utf-8", "replace").strip("\r\n"))
                    rejects.append((place, cut.rule, counted(cut.size, "byte") if cut.size else "", kept))
                    place, cut = place + 1, next(ahead, None)
                continue
            out.write(line.text)
            if number < start:
                continue
            if not inside and (blanks_count or line.text.strip(b"\r\n")):
                _move(moves, place, number - skip)
                place += 1
            inside = quotes.open_after(line.text, inside)
    return rejects, moves


def blank_lines(source: SourceFile, quotes: Quotes, *, skip: int) -> list[int]:
    """The byte offsets of lines behind the first `skip` that hold nothing and stand in no quotes."""
    found, offset, inside = [], 0, False
    with opened(source.path) as stream:
        for number, (line, length, _) in enumerate(lines_of(stream, quotes)):
            if number >= skip and not inside and not line.strip(b"\r\n"):
                found.append(offset)
            if number >= skip - 1:
                inside = quotes.open_after(line, inside)
            offset += length
    return found


def made_safe(
    source: SourceFile, path: Path, copies: Copies, number: int, quotes: Quotes, fields: int
) -> tuple[Path, list[Reject], ExpectedRecords]:
    """The file to hand to the engine, the records that it must not see, and how many it must give.

    `number` makes the names of its copies unique within a load; `fields` is how many a record has. Raises `SourceError`
    where more records have another number than are kept, before the engine takes memory for each of their faults.
    """
    blanks_count = fields == 1
    given, cut, moves = replace(source, path=path), list[Reject](), None
    skip = source.spec.header_row if source.format == "csv" else 0
    seen = look(given, quotes, skip=skip)
    if not seen.lines:
        return path, cut, ExpectedRecords(0, True)
    head = next(pieces(given))
    if b"\r" in head and b"\n" not in head:
        given = replace(source, path=as_utf8(source, copies.place(source, f"{number}.ends")))
        seen = look(given, quotes, skip=skip)
    start, cuts = _cuts(given, quotes, skip) if seen.doubtful else (0, [])
    if cuts:
        target = copies.place(source, f"{number}.mended")
        cut, moves = without(given, target, quotes, cuts, skip=skip, start=start, blanks_count=blanks_count)
        given = replace(source, path=target)
        seen = look(given, quotes, skip=skip)
    records = seen.records(skip=skip, blanks_count=blanks_count)
    if quotes.delimiter and abs(seen.delimiters - records * (fields - 1)) > MOST_REJECTS:
        _check_lengths(given, quotes, fields, skip=skip)
    due = ExpectedRecords(records, not seen.quotes, plain=seen.plain, bare=seen.bare)
    if moves is None:
        of_file = partial(moves_of, given, quotes, skip=skip, blanks_count=blanks_count)
        due = replace(due, lines=seen.lines - skip, moves=of_file)
    else:
        due = replace(due, moves=partial(list, moves))
    if seen.quotes:
        count = partial(records_exactly, given, quotes, skip=skip, blanks_count=blanks_count)
        due = replace(due, exact=False, count=count)
    return given.path, cut, due
