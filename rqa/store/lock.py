"""One writer at a time: a lock file beside the store, naming who holds it; freed by the system if its holder dies."""

import os
import re
import stat
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from rqa.errors import StoreError
from rqa.stopping import released

RETRY_SECONDS = 0.1
HOLDER = re.compile(r"process \d{1,10} since [\d: -]{19} UTC")
"""What a writer says of itself in the lock file; whatever else stands there is not repeated."""


def _take(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _for_the_same(handle: int, store: Path) -> None:
    """Give the lock file the owner, group and mode of the store: whoever may write the one may lock it, nobody else."""
    if not hasattr(os, "fchown"):
        return
    with suppress(OSError):
        found = store.stat()
        with suppress(PermissionError):
            os.fchown(handle, found.st_uid, found.st_gid)
        os.fchmod(handle, stat.S_IMODE(found.st_mode))


@contextmanager
def writing(store: Path, *, wait: float) -> Iterator[None]:
    """Hold the store's write lock; waits up to `wait` seconds, then raises `StoreError` naming the holder.

    The lock is the system's (it needs a local disk), so a writer that is killed frees it.
    """
    path = store.with_name(store.name + ".lock")
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StoreError(
            f"{path.parent}: cannot be written to ({error.strerror}). Check the permissions of the folder and of "
            f"{path.name} in it."
        ) from error
    try:
        until = time.monotonic() + wait
        try:
            while not _take(handle):
                if time.monotonic() >= until:
                    said = path.read_text(encoding="utf-8", errors="replace").strip()
                    holder = said if HOLDER.fullmatch(said) else "another process"
                    raise StoreError(
                        f"{store.name} is being loaded by {holder}; waited {wait:g} s. "
                        "Try again when that load has ended."
                    )
                with released():
                    time.sleep(RETRY_SECONDS)
        except OSError as error:
            raise StoreError(
                f"{path.parent} refuses locks ({error.strerror}); keep the store on a local disk."
            ) from error
        os.ftruncate(handle, 0)
        os.write(handle, f"process {os.getpid()} since {datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC".encode())
        _for_the_same(handle, store)
        yield
        _for_the_same(handle, store)
        with suppress(OSError):
            os.ftruncate(handle, 0)
    finally:
        os.close(handle)
