"""Records that the engine must not see: longer than it takes, or with a quote that is never closed."""

from dataclasses import dataclass

from rqa.intake.quotes import LONGEST_LINE, Quotes, lines_of, opened
from rqa.intake.sources import SourceFile

TOO_LONG = f"line longer than {LONGEST_LINE:,} bytes"
NOT_CLOSED = "a quote that is not closed, or text after a closing quote"


@dataclass(frozen=True)
class OverlongRecord:
    """A record to be refused: its first and last line, counted from 0, the rule it breaks, its bytes."""

    first: int
    last: int
    rule: str
    size: int


def unfit_records(source: SourceFile, quotes: Quotes, start: int) -> list[OverlongRecord]:
    """The records from a line on that are refused before the engine sees the file, each as one; in their order.

    A record that is too long is one whatever its quotes hold. Where the quote it is in is never closed, or text stands
    behind the sign that closes it, it ends with the line that opened the quote, and reading goes on behind that.
    """
    cuts: list[OverlongRecord] = []
    begun, size, opener, inside = 0, 0, 0, False
    # Overlong lines behind the one that opened the quote: records of their own if it is never closed.
    wide: list[OverlongRecord] = []
    with opened(source.path) as stream:
        for number, line in enumerate(lines_of(stream, quotes)):
            plain = not inside and line.known is None and (not quotes.quote or quotes.quote not in line.text)
            if number < start or plain:
                continue
            if not inside:
                begun, size = number, 0
            before, size = inside, size + line.length
            after = line.after(quotes, before)
            if after.torn and size > LONGEST_LINE:
                # All quotes since the one that was opened are doubled, so that none of these lines opens one by itself.
                cuts += [OverlongRecord(begun, opener, NOT_CLOSED, 0), *wide]
                begun, size, before = number, line.length, False
                after = line.after(quotes, before)
            inside = after.inside
            if inside and (after.closed or not before):
                opener, wide = number, []
            elif inside and line.length > LONGEST_LINE:
                wide.append(OverlongRecord(number, number, TOO_LONG, line.length))
            elif not inside and size > LONGEST_LINE:
                cuts.append(OverlongRecord(begun, number, TOO_LONG, size))
    return [*cuts, OverlongRecord(begun, opener, NOT_CLOSED, 0), *wide] if inside else cuts
