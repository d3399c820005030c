"""What a mere look at a workspace shows beside the report: first rows, the words of a status, what is linked.

All of it is data that JSON can hold, as a process of its own may have made it.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

STORED = ""
"""The state of a row that is stored."""


@dataclass(frozen=True)
class SeenColumn:
    """One column of a table: how the mapping gives it, the source's cells and what is stored, an entry a row."""

    name: str
    origin: str
    source: tuple[str, ...]
    stored: tuple[str, ...]


@dataclass(frozen=True)
class SeenRows:
    """The first rows that a `[[table]]` makes of a file, with what became of each; `unused` are its other columns."""

    table: str
    place: str
    file: str
    rows: tuple[int, ...]
    states: tuple[str, ...]
    columns: tuple[SeenColumn, ...]
    unused: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()
    """Columns of the contract that nothing gives."""
    hidden: bool = False
    """Whether the source's cells are not shown, as they may hold a name."""


@dataclass(frozen=True)
class SeenWord:
    """A word of a source's column that becomes a code, and in how many rows; `code` is "" where it becomes none."""

    table: str
    place: str
    column: str
    origin: str
    word: str
    code: str
    rows: int


@dataclass(frozen=True)
class SeenLink:
    """How many rows of a log name a job that is there, and the same of their different ids."""

    table: str
    rows: int
    linked: int
    ids: int
    linked_ids: int
    example: str = ""
    """An id of the log that no job has."""


@dataclass(frozen=True)
class SeenForm:
    """A change of ids by which those of a log become those of the jobs: `pattern` is replaced by nothing."""

    table: str
    what: str
    pattern: str
    of_log: bool
    of_jobs: bool
    ids: int
    """Different ids of the log that are linked by it, beside those that are so already."""
    rows: int
    example: str
    job_example: str


@dataclass(frozen=True)
class SeenUnits:
    """How many jobs and units there are, and how many of each are of a unit with several jobs."""

    jobs: int = 0
    units: int = 0
    repeated_units: int = 0
    repeated_jobs: int = 0


@dataclass(frozen=True)
class SeenTopic:
    """What can be asked, and why it cannot be told where it cannot; `lacks` names the grounds that are absent."""

    name: str
    said: str = ""
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Seen:
    """All that a look shows."""

    rows: tuple[SeenRows, ...] = ()
    words: tuple[SeenWord, ...] = ()
    links: tuple[SeenLink, ...] = ()
    forms: tuple[SeenForm, ...] = ()
    units: SeenUnits = SeenUnits()
    topics: tuple[SeenTopic, ...] = ()
    next_line: str = ""

    def told(self) -> dict[str, Any]:
        """As JSON can hold it."""
        return asdict(self)


def seen_of(said: Mapping[str, Any]) -> Seen:
    """What was told by `Seen.told`, come through JSON."""
    rows = tuple(
        SeenRows(**{
            **r, "columns": tuple(SeenColumn(c["name"], c["origin"], tuple(c["source"]), tuple(c["stored"]))
                                  for c in r["columns"]),
            **{name: tuple(r[name]) for name in ("rows", "states", "unused", "absent")},
        })
        for r in said["rows"]
    )
    return Seen(
        rows,
        tuple(SeenWord(**w) for w in said["words"]),
        tuple(SeenLink(**link) for link in said["links"]),
        tuple(SeenForm(**f) for f in said["forms"]),
        SeenUnits(**said["units"]),
        tuple(SeenTopic(t["name"], t["said"], tuple(t["lacks"])) for t in said["topics"]),
        said["next_line"],
    )
