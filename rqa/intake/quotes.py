"""Lines of a text file with their quotes followed, however long a line is."""

import gzip
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NamedTuple

LONGEST_LINE = 2_000_000
"""Bytes; a longer record is refused as one, so that one broken quote cannot take all memory."""


class QuoteState(NamedTuple):
    """What is known behind a line: whether a quote is open, whether one was closed in it, and how.

    `torn` says that text stands behind the sign that closes the quote that was open at the line's beginning.
    """

    inside: bool
    closed: bool = False
    torn: bool = False


class Quotes:
    """Follows quotes from line to line: they open at the beginning of a field only, and are doubled within."""

    def __init__(self, quote: bytes, delimiter: bytes) -> None:
        self.quote, self.delimiter = quote, delimiter

    def open_after(self, line: bytes, inside: bool) -> bool:
        """Whether a quote is open at the end of the line, when one was (`inside`) or was not at its beginning."""
        return self.follow(line, inside).inside if self.quote and self.quote in line else inside

    def follow(self, line: bytes, inside: bool, *, begins: bool = True) -> QuoteState:
        """Follow the quotes of a line, or of a part of it; `begins` says that the part begins a field."""
        quote, at, closed, torn, first = self.quote, 0, False, False, inside
        if not quote or quote not in line:
            return QuoteState(inside)
        if not inside and not begins and not (at := line.find(self.delimiter) + 1):
            return QuoteState(False)
        while True:
            if inside:
                at = line.find(quote, at)
                if at < 0:
                    return QuoteState(True, closed, torn)
                if line[at + 1 : at + 2] == quote:
                    at += 2
                    continue
                torn = torn or (first and not closed and not self._ends_field(line, at + 1))
                inside, closed = False, True
            elif line[at : at + 1] == quote:
                inside, at = True, at + 1
                continue
            at = line.find(self.delimiter, at) + 1
            if at == 0:
                return QuoteState(False, closed, torn)

    def _ends_field(self, line: bytes, at: int) -> bool:
        while line[at : at + 1] == b" " and self.delimiter != b" ":
            at += 1
        return line.startswith(self.delimiter, at) or not line[at : at + 3].strip(b"\r\n")


class SourceLine(NamedTuple):
    """A line, of which only the beginning is kept where it is overlong, and how its quotes go on then."""

    text: bytes
    length: int
    known: tuple[QuoteState, QuoteState] | None = None

    def after(self, quotes: Quotes, inside: bool) -> QuoteState:
        """What is known behind the line, when a quote was (`inside`) or was not open at its beginning."""
        return self.known[inside] if self.known else quotes.follow(self.text, inside)


def opened(path: Path) -> IO[bytes]:
    """A file, unpacked where its ending says that it is packed."""
    return gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb")  # type: ignore[return-value]


def lines_of(stream: IO[bytes], quotes: Quotes) -> Iterator[SourceLine]:
    """The lines of a file; no more of an overlong one is in memory at a time than a line may be long."""
    while text := stream.readline(LONGEST_LINE + 1):
        if len(text) <= LONGEST_LINE:
            yield SourceLine(text, len(text))
            continue
        outside, inside = _Parts(quotes, False), _Parts(quotes, True)
        length, part = 0, text
        while part:
            length += len(part)
            outside.take(part)
            inside.take(part)
            part = b"" if part.endswith(b"\n") else stream.readline(LONGEST_LINE)
        yield SourceLine(text.rstrip(b"\n") + b"\n", length, (outside.end(), inside.end()))


class _Parts:
    """Follows the quotes of one line that comes in parts."""

    def __init__(self, quotes: Quotes, inside: bool) -> None:
        self.quotes, self.first, self.held, self.begins = quotes, inside, b"", True
        self.now = QuoteState(inside)

    def take(self, part: bytes) -> None:
        """Follow all but the end of what is there, as what a quote means is told by the signs around it."""
        part = self.held + part
        known = part.rstrip(self.quotes.quote)[:-2].rstrip(self.quotes.quote) if self.quotes.quote else part
        self._follow(known)
        self.held = part[len(known) :]

    def end(self) -> QuoteState:
        """What is known behind the line."""
        self._follow(self.held)
        return self.now

    def _follow(self, part: bytes) -> None:
        if not part:
            return
        new = self.quotes.follow(part, self.now.inside, begins=self.begins)
        torn = self.now.torn or (self.first and new.torn and not self.now.closed)
        self.now = QuoteState(new.inside, self.now.closed or new.closed, torn)
        self.begins = bool(self.quotes.delimiter) and part.endswith(self.quotes.delimiter)
