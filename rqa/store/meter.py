"""How far a load is: bytes stand for work, since they are known before anything is read."""

from collections.abc import Callable

import duckdb

from rqa.progress import Progress, Stage

CHECKING, COUNTING, PROVING = 0.3, 0.2, 0.05
"""What settling a file, making the kept tables, and writing and reading back the store take beside reading the file:
measured on the demo of 20,000 jobs."""
PACKED = 5
"""How many times its size a compressed file holds, roughly: logs of codes and times."""


def work(label: str, size: int) -> int:
    """The bytes there are to read of a file."""
    return size * PACKED if label.endswith((".gz", ".zip")) else size


class Meter:
    """Tells the stages of one load that has `size` bytes to read, as `work` counts them."""

    def __init__(self, progress: Progress, connection: duckdb.DuckDBPyConnection, size: int) -> None:
        self.progress, self.connection = progress, connection
        self.size, self.done, self.rows = float(size), 0.0, 0
        self.next = 0.0

    def reading(self, label: str, size: int) -> None:
        """A file is read and judged."""
        self._tell(f"reading {label}", work(label, size), share_of(self.connection))

    def read(self, rows: int) -> None:
        """The file gave so many rows."""
        self.rows += rows

    def checking(self, table: str, size: float) -> None:
        """The rows of a table, of files of `size` bytes, are settled: keys, corrections, refusals."""
        self._tell(f"checking {table}", CHECKING * size)

    def counting(self) -> None:
        """The kept tables are made."""
        self._tell("linking jobs and counting", COUNTING * self.size)

    def proving(self) -> None:
        """The store is written, and read back."""
        self._tell("writing the store and reading it back", PROVING * self.size)

    def _tell(self, what: str, size: float, within: Callable[[], float | None] | None = None) -> None:
        self.done += self.next
        self.next = size
        total = self.size * (1 + CHECKING + COUNTING + PROVING)
        self.progress(Stage(what, self.done, total, size, within, self.rows))


def share_of(connection: duckdb.DuckDBPyConnection) -> Callable[[], float | None]:
    """How much of what the engine is asked next is done, as far as it knows."""
    before = connection.query_progress()

    def share() -> float | None:
        try:
            percent = float(connection.query_progress())
        except duckdb.Error:
            return None  # the load has ended
        # Until the next question is asked, the engine still tells of the last one.
        return None if percent == before or percent < 0 else percent / 100

    return share
