"""What reading one source for one table has brought."""

from dataclasses import dataclass, field

from rqa.intake.entries import Entry
from rqa.intake.records import Moves, Reject


@dataclass
class Staged:
    """One source read for one table: its name, where its rows lie in the staging table, what could not be read."""

    label: str
    table: str
    file_no: int
    digest: str
    fingerprint: str
    rows: int = 0
    first_rowid: int = 0
    first_row: int = 1
    read_again: bool = False
    """Whether rows of a first reading were taken back, so that row ids have gaps."""
    beside: bool = False
    """Whether the records that are no rows are counted with another reading of the file."""
    rejects: list[Reject] = field(default_factory=list)
    """(line counted from the first record's, rule, value, raw) of records that are no rows at all."""
    shifts: Moves = field(default_factory=list)
    """How far rows stand from where counting them puts them: (from this place on, by so many lines)."""
    entry: Entry | None = None
    """The [[table]] that it was read for."""
