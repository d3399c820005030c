"""Copies of source files that the engine reads in their place: in a load's folder, or in memory.

The engine takes some encodings, line ends and broken quotes only after they were mended. Such a copy holds the file as
it is, so where the mapping makes pseudonyms it must not reach a disk: the folder then holds a link to memory alone.
"""

import os
from pathlib import Path

from rqa.errors import SourceError
from rqa.intake.sources import SourceFile

MEMORY = "rqa-copy"
IN_MEMORY = Path(f"/memfd:{MEMORY} (deleted)")
"""What the engine takes every copy in memory for, when it is told which files it may read."""


class Copies:
    """The copies that one load has made, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.held: dict[Path, int] = {}

    def place(self, source: SourceFile, name: str) -> Path:
        """Where a copy of the source goes; raises `SourceError` where it must stay in memory and cannot."""
        path = self.folder / name
        if not source.sealed:
            return path
        if not hasattr(os, "memfd_create"):
            raise SourceError(
                f"{source.label}: it must be copied to be read, and this system can hold no copy in memory; with a "
                "key_file none is written to disk. Save it as UTF-8 with one kind of line end and closed quotes. "
                "Nothing was loaded."
            )
        handle = os.memfd_create(MEMORY)
        path.symlink_to(f"/proc/{os.getpid()}/fd/{handle}")
        self.held[path] = handle
        return path

    def drop(self) -> None:
        """Let go of what is in memory; nothing reads it any more."""
        while self.held:
            path, handle = self.held.popitem()
            path.unlink(missing_ok=True)
            os.close(handle)
