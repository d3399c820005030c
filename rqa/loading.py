"""Loading a workspace: the store's load with the kept tables of the measures made in the same transaction."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.store.limits import MEMORY, WAIT_SECONDS

if TYPE_CHECKING:
    from rqa.store.report import LoadReport
    from rqa.store.stage import Progress


def load(
    workspace: str | Path,
    *,
    frames: Mapping[str, Any] | None = None,
    mapping: Mapping[str, Any] | None = None,
    write: bool = True,
    wait: float = WAIT_SECONDS,
    memory: str | None = MEMORY,
    progress: "Progress | None" = None,
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
        progress: called with what is being done and the share done, 0 to 1.

    Returns a `LoadReport`: for each file read = accepted + refused + known + superseded; why rows were refused; what
    was accepted but deserves a look. Printing it gives the summary.

    Raises `MappingError` before any row is read, `SourceError` when a file cannot be read to its end, `StoreError`
    when the store is locked, damaged or does not add up. In each case the store stays as it was.
    """
    from importlib.metadata import version

    from rqa.measures.keep import keep
    from rqa.store.load import load as load_store

    return load_store(
        workspace,
        version=version("rqa"),
        keep=keep,
        frames=frames,
        mapping=mapping,
        write=write,
        wait=wait,
        memory=memory,
        progress=progress,
    )
