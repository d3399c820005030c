"""One file read to its end: read again, more carefully, when the engine refuses it or drops records of it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import duckdb

from rqa.errors import SourceError
from rqa.intake.records import Moves, Reject
from rqa.intake.sources import SourceFile, TextSource
from rqa.store.readers import LINES, USUAL, ReadOptions
from rqa.store.rejects import drop_rejects, on_lines, rejects_of, shifts
from rqa.words import counted


@dataclass(frozen=True)
class CompleteRead:
    """What was read of a file: how, how many rows, and the records that are none, by the lines they begin on.

    `shifts` tells how far rows stand from where counting them puts them: (from this place on, by so many lines).
    """

    text: TextSource
    rows: int
    rejects: list[Reject]
    shifts: Moves


def read_complete(
    connection: duckdb.DuckDBPyConnection,
    source: SourceFile,
    text_of: Callable[[ReadOptions], TextSource],
    take: Callable[[TextSource], int],
    take_back: Callable[[], None],
) -> CompleteRead:
    """Read a file with `take`, which gives the number of rows; `take_back` undoes it.

    Raises `SourceError` if the engine still drops records when it reads them one by one.
    """
    options = USUAL
    while True:
        text = text_of(options)
        if not text.columns:
            return CompleteRead(text, 0, [], [])
        try:
            rows = take(text)
        except (duckdb.InvalidInputException, duckdb.IOException) as error:
            # Bytes behind the end of what is packed stop the engine, and nobody else.
            packed = isinstance(error, duckdb.IOException) and source.path.suffix != ".gz"
            if options.plain_ends or packed or source.format not in LINES:
                raise
            drop_rejects(connection, text)
            options = replace(options, plain_ends=True)
            continue
        rejects = rejects_of(connection, text, source)
        given = rows + len(rejects) - len(text.cut)
        if not text.due.short(given):
            moves = text.due.moves() if rows + len(rejects) != text.due.lines else []
            return CompleteRead(text, rows, on_lines(rejects, moves), shifts(rejects, moves))
        take_back()
        if options.one_by_one and not options.plain_ends and source.format in LINES:
            options = replace(options, plain_ends=True)
            continue
        if options.one_by_one:
            raise SourceError(
                f"{source.label}: the engine gives {counted(given, 'record')} of it, and it holds "
                f"{text.due.at_most:,}. Nothing was loaded; please report it."
            )
        options = replace(options, one_by_one=True)
