"""A lake on disk: which files hold which rows, and how a new state takes the place of the old one in one step.

`rows/<table>/bucket=017/month=2026-06/<state>_0.parquet` is what was logged; a job's logs lie with their job.
`kept/<table>/bucket=017/<state>.parquet` is what is kept of them, made of that bucket alone. `once/<state>.duckdb`
holds reference tables, the books, and all kept counts. `current.json` names every file of the state that is read.

No file is changed once it is written. A state is whole when `current.json` names it. Its files stay until the state
after the next is written, so that who has opened it can read on while one load goes by.
"""

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path

from rqa.errors import StoreError
from rqa.measures.keep import COUNTS, LOGS, ROWS, SHARED
from rqa.store.ddl import FORMAT_VERSION

CURRENT = "current.json"
FOLDERS = ("rows", "kept", "once")
LOGGED = (*LOGS, "retirements")
"""Tables of the contract that lie in buckets."""
BY_BUCKET = (*ROWS, *SHARED, "retired_jobs")
"""Kept tables whose rows lie in buckets."""
KEPT_IN_BUCKETS = (*BY_BUCKET, *COUNTS)
"""Kept tables that each bucket has its own of; those of counts are summed beside the buckets, too."""
SPREAD = frozenset((*LOGGED, *BY_BUCKET))
"""What is read of these is counted by bucket; all else stands beside the buckets, whole."""


@dataclass(frozen=True)
class LakeFile:
    """One Parquet file: the table and bucket it is of, its month ("" for none), its rows and what tells their content.

    `content` is empty for kept tables, which are made of rows that have theirs.
    """

    table: str
    bucket: int
    month: str
    path: str
    rows: int
    content: str = ""


@dataclass(frozen=True)
class State:
    """What `current.json` says: the state's number, into how many buckets units are put, and its files."""

    state: int
    buckets: int
    once: str
    kept_by: str
    beside: str
    """What tells the content of the reference tables that kept tables draw on."""
    files: tuple[LakeFile, ...]
    before: tuple[str, ...] = ()
    """Files of the state before that this one no longer reads."""
    format_version: str = field(default=FORMAT_VERSION)

    @property
    def paths(self) -> frozenset[str]:
        """Every file that this state reads."""
        return frozenset({self.once, *(file.path for file in self.files)})

    def of_bucket(self, bucket: int) -> dict[str, tuple[str, ...]]:
        """The files of one bucket, by table."""
        return by_table(file for file in self.files if file.bucket == bucket)


def by_table(files: Iterable[LakeFile]) -> dict[str, tuple[str, ...]]:
    """The paths of some files, by the table that they are of."""
    found: dict[str, list[str]] = {}
    for file in files:
        found.setdefault(file.table, []).append(file.path)
    return {table: tuple(sorted(paths)) for table, paths in found.items()}


def is_lake(place: Path) -> bool:
    """Whether a folder holds a lake."""
    return (place / CURRENT).is_file()


def current(lake: Path) -> State | None:
    """The state that a lake is in; None where nothing was ever published. Raises `StoreError` for what is none."""
    try:
        said = json.loads((lake / CURRENT).read_text(encoding="utf-8"))
        found = State(**{**said, "files": tuple(LakeFile(**f) for f in said["files"]), "before": tuple(said["before"])})
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise StoreError(f"{lake / CURRENT} cannot be read ({error}). Load into a new folder with --into.") from error
    if found.format_version != FORMAT_VERSION:
        raise StoreError(
            f"{lake} has store format {found.format_version}; this rqa reads format {FORMAT_VERSION}. Load into a new "
            "folder with --into."
        )
    return found


def publish(lake: Path, state: State) -> None:
    """Have everybody who opens the lake from now on read this state; its files must be on the disk."""
    fresh = lake / f"{CURRENT}.new"
    with fresh.open("w", encoding="utf-8") as stream:
        json.dump(asdict(state), stream)
        stream.flush()
        os.fsync(stream.fileno())
    fresh.replace(lake / CURRENT)


def orphans(lake: Path, state: State | None) -> Iterator[Path]:
    """Files that neither the state nor the one before it reads: what a load that was ended has left, and older ones."""
    kept = frozenset() if state is None else state.paths | {*state.before}
    for folder in FOLDERS:
        for path in sorted((lake / folder).rglob("*")):
            if path.is_file() and path.relative_to(lake).as_posix() not in kept:
                yield path


def contents(state: State | None) -> Mapping[tuple[str, int, str], list[LakeFile]]:
    """The files of rows that a state reads, by table, bucket and month."""
    found: dict[tuple[str, int, str], list[LakeFile]] = {}
    for file in state.files if state else ():
        if file.table in LOGGED:
            found.setdefault((file.table, file.bucket, file.month), []).append(file)
    return found
