"""`rqa inspect`: what a load would make of the files, said in full before anything is stored."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import RequestError
from rqa.loading import loaded
from rqa.progress import Progress, silent
from rqa.store.limits import MEMORY
from rqa.store.report import LoadReport
from rqa.store.seen import STORED, Seen

if TYPE_CHECKING:
    import polars as pl

ROWS = 3
"""Rows of each `[[table]]` that are shown, unless others are asked for."""
MOST_ROWS = 50


@dataclass(frozen=True)
class Inspection:
    """What a load would do, and what is seen of it. Printing it gives the text of `rqa inspect`.

    `report` is that of the load. The tables are polars frames: `first_rows` (each cell of the first rows, as the source
    has it and as it will be stored), `words` (the words of a status with their codes and rows), `linked` (rows of each
    log that name a job that is there), `can_tell` (what can be asked, and why not where it cannot).
    `next_line` is the line of the mapping that would bring most.
    """

    report: LoadReport

    @property
    def seen(self) -> Seen:
        """All that is seen, as data."""
        return self.report.seen or Seen()

    @property
    def next_line(self) -> str:
        """The one line to add to the mapping next; "" where there is none."""
        return self.seen.next_line

    @property
    def first_rows(self) -> "pl.DataFrame":
        """A row a cell: table, place, file, row, column, origin, source, stored, state."""
        cells = [
            (r.table, r.place, r.file, row, c.name, c.origin, c.source[n], c.stored[n], r.states[n] or "stored")
            for r in self.seen.rows for n, row in enumerate(r.rows) for c in r.columns
        ]
        return _frame(cells, ("table", "place", "file"), ("row",), ("column", "origin", "source", "stored", "state"))

    @property
    def words(self) -> "pl.DataFrame":
        """A row a word of a status: table, place, column, origin, word, code ("" where it has none), rows."""
        cells = [(w.table, w.place, w.column, w.origin, w.word, w.code, w.rows) for w in self.seen.words]
        return _frame(cells, ("table", "place", "column", "origin", "word", "code"), ("rows",))

    @property
    def linked(self) -> "pl.DataFrame":
        """A row a log: table, rows, those with their job, different ids, those of a job."""
        cells = [(link.table, link.rows, link.linked, link.ids, link.linked_ids) for link in self.seen.links]
        return _frame(cells, ("table",), ("rows", "linked", "ids", "linked_ids"))

    @property
    def can_tell(self) -> "pl.DataFrame":
        """A row a subject: what it is, and why it cannot be told ("" where it can)."""
        return _frame([(t.name, t.said) for t in self.seen.topics], ("subject", "lacking"))

    def rows_of(self, table: str, *, most: int = ROWS) -> "pl.DataFrame":
        """The first rows of a table as they will be stored, a column for each of its columns."""
        import polars as pl

        found = [
            {c.name: c.stored[n] for c in r.columns} for r in self.seen.rows if r.table == table
            for n, state in enumerate(r.states) if state == STORED
        ]
        return pl.DataFrame(found[:most], infer_schema_length=None)

    def text(self, *, every_file: bool = False, width: int = 100) -> str:
        """The whole as it is printed, so many signs wide; `every_file` lists all files and all kinds of refusal."""
        from rqa.inspected_text import inspected_text

        return inspected_text(self.report, every_file=every_file, width=width)

    def __str__(self) -> str:
        return self.text()


def _frame(cells: list[tuple[Any, ...]], *names: tuple[str, ...]) -> "pl.DataFrame":
    """A frame of texts and, in every second group of names, whole numbers."""
    import polars as pl

    schema = {name: pl.Int64 if n % 2 else pl.String for n, group in enumerate(names) for name in group}
    return pl.DataFrame(cells, schema=schema, orient="row")


def inspect(
    workspace: str | Path,
    *,
    rows: int = ROWS,
    mapping: Mapping[str, Any] | None = None,
    memory: str | None = MEMORY,
    progress: Progress = silent,
) -> Inspection:
    """Read and judge everything as `load` would, store nothing, and show what would be stored.

    Parameters:
        workspace: the folder that holds `sources.toml`.
        rows: first rows that are shown of each `[[table]]`, 1 to 50.
        mapping: what `sources.toml` would hold, as plain data, in its place.
        memory: the most the engine may use, such as "1GB".
        progress: is told each `rqa.progress.Stage` as it begins.

    Returns an `Inspection`. It holds the report of the load, and the first rows as they will be stored beside the
    source's cells. It tells the words of each status with their codes, and how many rows of the logs have their job. It
    says what can be told with this mapping, and the next line to add. Names of people are not shown; with a `key_file`
    no cell of a source is.

    Raises what `load` raises, `MappingError` with all faults of a mapping at once, and `RequestError` for a number of
    `rows` that is none.
    """
    if not isinstance(rows, int) or not 1 <= rows <= MOST_ROWS:
        raise RequestError(f"rows is a whole number from 1 to {MOST_ROWS}, not {rows!r}.")
    return Inspection(loaded(workspace, mapping=mapping, write=False, memory=memory, progress=progress, rows=rows))
