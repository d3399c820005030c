"""Loading a workspace: the store's load with the kept tables of the measures made in the same load."""

import errno
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import RequestError, RqaError, StoreError
from rqa.progress import Progress, silent
from rqa.shown import first_line
from rqa.stopping import ending_cleanly
from rqa.store.limits import MEMORY, SIZE, WAIT_SECONDS

if TYPE_CHECKING:
    from rqa.intake.draft import Draft
    from rqa.lake.engines import Engine
    from rqa.store.doing import Tell
    from rqa.store.report import LoadReport

FULL_DISK = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
FULL_SAYS = re.compile(
    r"no space left|disk full|quota exceeded|file too large|failed to offload|max_temp_directory_size", re.IGNORECASE
)
"""How the engine says that a disk is full: when it writes the store, and when it moves data out of memory."""


def load(
    workspace: str | Path,
    *,
    frames: Mapping[str, Any] | None = None,
    mapping: Mapping[str, Any] | None = None,
    write: bool = True,
    wait: float = WAIT_SECONDS,
    memory: str | None = MEMORY,
    progress: Progress = silent,
    into: str | Path | None = None,
    engine: "Engine" = None,
    buckets: int | None = None,
) -> "LoadReport":
    """Read a workspace's sources, judge every row, and bring its store up to date.

    Parameters:
        workspace: the folder that holds `sources.toml`; the store becomes `depot.duckdb` in it.
        frames: pandas or polars frames by name. A frame named like a table of the contract ("jobs", "steps", …)
            needs no mapping if its columns have the contract's names; another is mapped by a `[[table]]` whose files
            have `format = "frame"`.
        mapping: what `sources.toml` would hold, as plain data, in its place.
        write: False reads and judges everything and keeps nothing.
        wait: seconds to wait for another load of the same store to end.
        memory: the most the engine may use; the rest goes to disk beside the store. None: the engine's own limit.
        progress: is told each `rqa.progress.Stage` as it begins: what is done, how far it is, rows so far.
        into: the folder of a lake, which is brought up to the store when that is loaded: Parquet files in buckets of
            units, of which those are written anew whose rows have changed.
        engine: makes the kept tables of a lake's buckets: an `Executor` of concurrent.futures, a Dask `Client` or a
            `SparkSession`; None makes them here.
        buckets: into how many a new lake is divided, 1 or more; without it, one for each 500,000 jobs.

    Where the mapping brings SQL, or reads Parquet, SQLite or a path whose ending does not tell its format, all of it is
    done in a process of its own: it is ended when its SQL runs on after its limit, and a file that ends it is an error.
    Reading Parquet or SQLite has no limit of time. Values of frames that no other process knows are handed on as texts.

    Returns a `LoadReport`: for each file read = accepted + refused + known + superseded + merged; why rows were
    refused; what was accepted but deserves a look. Printing it gives the summary.

    Raises `MappingError` before any row is read, and `SourceError` when a file cannot be read to its end. Raises
    `StoreError` when the store is locked, damaged or does not add up, or disk or memory do not suffice, and
    `RequestError` for a `wait` or `memory` that is none. In each case the store stays as it was.
    """
    if memory is not None and not SIZE.fullmatch(memory):
        raise RequestError(f"memory is a size such as 1GB or 512MB, not {memory!r}.")
    if not wait >= 0:
        raise RequestError(f"wait is a number of seconds, 0 or more, not {wait!r}.")
    if into is None and (engine is not None or buckets is not None):
        raise RequestError("engine and buckets are about a lake; name its folder with into.")
    if into is not None and not write:
        raise RequestError("into writes a lake, and write=False keeps nothing; leave one of them out.")
    if buckets is not None and buckets < 1:
        raise RequestError(f"buckets is a whole number, 1 or more, not {buckets!r}.")
    report = loaded(
        workspace, frames=frames, mapping=mapping, write=write, wait=wait, memory=memory, progress=progress
    )
    if into is not None:
        from rqa.lake.writing import write_lake

        with _told_plainly(Path(into), memory), ending_cleanly():
            write_lake(report.store, Path(into), engine=engine, buckets=buckets, memory=memory, wait=wait)
    return report


def loaded(
    workspace: str | Path,
    *,
    frames: Mapping[str, Any] | None = None,
    mapping: Mapping[str, Any] | None = None,
    write: bool,
    wait: float = WAIT_SECONDS,
    memory: str | None = MEMORY,
    progress: Progress = silent,
    rows: int = 0,
) -> "LoadReport":
    """Load as `load` does; with `rows` the report holds what is seen beside it, so many rows of each `[[table]]`."""
    folder = Path(workspace)
    with _told_plainly(folder, memory), ending_cleanly():
        from rqa.intake.given import mapping_given

        made = mapping_given(folder, frames, mapping)
        if made.mapping.is_read_apart:
            from rqa.load_apart import load_apart

            return load_apart(
                folder, made=made, frames=frames, write=write, wait=wait, memory=memory, progress=progress,
                rows=rows,
            )
        return _load(folder, made, frames, rows, write=write, wait=wait, memory=memory, progress=progress)


def load_here(
    folder: Path,
    made: "Draft",
    frames: Mapping[str, Any] | None,
    *,
    write: bool,
    wait: float,
    memory: str | None,
    progress: Progress,
    tell: "Tell",
    rows: int = 0,
) -> "LoadReport":
    """Load in this process, whatever the mapping holds; `tell` is told what is read."""
    with _told_plainly(folder, memory):
        return _load(folder, made, frames, rows, write=write, wait=wait, memory=memory, progress=progress, tell=tell)


def _load(folder: Path, made: "Draft", frames: Mapping[str, Any] | None, rows: int, **how: Any) -> "LoadReport":
    from importlib.metadata import version

    from rqa.measures.keep import keep
    from rqa.store.load import Look
    from rqa.store.load import load as load_store

    if rows:
        from rqa.intake.mapping import MAPPING_FILE
        from rqa.outlook import outlook

        path = folder / MAPPING_FILE
        text = path.read_text(encoding="utf-8-sig", errors="replace") if path.is_file() else ""
        how["look"] = Look(rows, partial(outlook, text=text))
    return load_store(folder, version=version("rqa"), keep=keep, prepare=keep, frames=frames, mapping=made, **how)


@contextmanager
def _told_plainly(folder: Path, memory: str | None) -> Iterator[None]:
    """Raise in plain words what the disk, the memory or the engine brings about."""
    try:
        yield
    except Exception as error:
        said = _in_plain_words(error, folder, memory)
        if said is None:
            raise
        raise StoreError(said) from error


def _in_plain_words(error: Exception, folder: Path, memory: str | None) -> str | None:
    """What to tell of a disk or memory that does not suffice, or of an unforeseen error; None to leave it as it is.

    The engine tells of such things while it reads some file, which has nothing to do with it.
    """
    import duckdb

    from rqa.store.damage import damage_told, damaged
    from rqa.store.engine import STORE_FILE

    if not isinstance(error, RqaError | OSError | duckdb.Error):
        return None
    cause = error.__cause__ if isinstance(error, RqaError) else error
    damage = damage_told(cause, folder / STORE_FILE)
    if damage:
        return str(damaged(folder / STORE_FILE, damage))
    if (isinstance(cause, OSError) and cause.errno in FULL_DISK) or (
        isinstance(cause, duckdb.Error) and FULL_SAYS.search(str(cause))
    ):
        return (
            f"the disk is full (or takes no file so large): a load needs room beside the store in {folder}, or in the "
            "folder for temporary files for a mere look. Make room and load again. Nothing was stored."
        )
    if isinstance(cause, duckdb.OutOfMemoryException):
        limit = f"the {memory} it may use" if memory else "what there is"
        return f"the engine needs more memory than {limit}; allow it more (memory=, --memory). Nothing was stored."
    if isinstance(error, RqaError):
        return None
    if isinstance(error, OSError):
        return f"{error.filename or folder}: {error.strerror or error}. Nothing was stored."
    return f"the engine failed: {first_line(error)} Nothing was stored; please report it."
