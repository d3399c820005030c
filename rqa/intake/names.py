"""Names that a load uses inside its SQL, beside the contract's columns and a source's: none of them can meet.

The contract's columns are identifiers, and no identifier holds the mark. A source may name its columns as it likes;
where they stand beside a load's own, the mark is made longer than any of theirs begins with.
"""

from collections.abc import Iterable

MARK = "~"
PLACE_COLUMNS = ("source_file", "source_row")
"""Where a row comes from: columns of every stored table and of every named file that a SELECT draws on."""


def quoted(name: str) -> str:
    """A name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def inner(name: str, mark: str = MARK) -> str:
    """A load's own name as an SQL identifier, which no column of the contract can have."""
    return quoted(mark + name)


def mark_beside(columns: Iterable[str]) -> str:
    """The mark of a load's own names where these columns of a source stand beside them."""
    names, mark = list(columns), MARK
    while any(n.startswith(mark) for n in names):
        mark += MARK
    return mark


SEALED = inner("sealed")
"""The function that encrypts a record."""
FILE_NO, GIVEN_ROW, DERIVE = inner("file_no"), inner("given_row"), inner("derive")
BROKEN, RAW, LEFT_OUT, CLOCK = inner("broken"), inner("raw"), inner("left_out"), inner("clock")
UNZONED, EMPTIED = inner("unzoned"), inner("emptied")
"""Columns of a staging table beside the contract's; what they hold stands in `validate`."""
ODD = inner("odd")
"""The column of a lean staging table that holds all of these but FILE_NO, as JSON; NULL for a usual row."""
