"""What was worked out of a store, kept in a file beside it, so that page, notebooks and commands work it out once.

The file has the life of its store: it holds for that file and this program alone, and whoever puts a new store in place
removes it. It is added to, never changed; a record that is damaged or cut off counts for nothing, and so does a file of
another account. A folder that cannot be written to is no loss: things are then worked out each time.
"""

import hashlib
import os
import platform
import stat
from contextlib import suppress
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from pathlib import Path

MAGIC = b"rqa answers 1\n"
SUM = hashlib.sha256().digest_size
MOST = 32 * 1024 * 1024
"""Bytes of a file to which nothing more is added."""
ENGINES = ("duckdb", "numpy", "polars", "scipy", "statsmodels")
"""Libraries on which the last digit of an answer can hang."""


def beside(store: Path) -> Path:
    """Where it is kept."""
    return store.with_name(f"{store.name}.answers")


def forget(store: Path) -> None:
    """Remove what is kept of a store that is no longer there."""
    with suppress(OSError):
        beside(store).unlink(missing_ok=True)


@cache
def made_by() -> bytes:
    """What tells this program from another: its files as they stand, and the libraries it reckons with."""
    told = [platform.machine(), platform.python_version()]
    for name in ENGINES:
        with suppress(PackageNotFoundError):
            told.append(f"{name} {version(name)}")
    rooms = [Path(str(files("rqa")))]
    while rooms:
        with os.scandir(rooms.pop()) as entries:
            for entry in entries:
                if entry.is_dir(follow_symlinks=False):
                    rooms.append(Path(entry.path))
                elif entry.name.endswith((".py", ".sql")):
                    found = entry.stat()
                    told.append(f"{entry.path} {found.st_size} {found.st_mtime_ns}")
    return hashlib.sha256("\n".join(sorted(told)).encode("utf-8", "surrogateescape")).digest()


def _seen(store: Path) -> str:
    """What tells the file of a store from one that takes its place; nothing where there is none."""
    try:
        found = store.stat()
    except OSError:
        return ""
    return f"{found.st_dev} {found.st_ino} {found.st_size} {found.st_mtime_ns}"


class KeptBeside:
    """What is kept of one store, by key: read when something is first asked for."""

    def __init__(self, store: Path) -> None:
        self._store, self._file, self._seen = store, beside(store), _seen(store)
        self._found: dict[bytes, bytes] | None = None

    @property
    def _head(self) -> bytes:
        """How the file begins that is kept beside the store as it was when it was opened."""
        return MAGIC + hashlib.sha256(made_by() + self._seen.encode()).digest()

    def get(self, key: bytes) -> bytes | None:
        """What is kept under a key; None where nothing is."""
        if self._found is None:
            self._found = self._read()
        return self._found.get(hashlib.sha256(key).digest())

    def put(self, key: bytes, content: bytes) -> None:
        """Keep something under a key, unless another file has taken the place of the store it was made of."""
        named = hashlib.sha256(key).digest()
        record = len(content).to_bytes(8, "big") + named + hashlib.sha256(named + content).digest() + content
        if self._seen and _seen(self._store) == self._seen:
            with suppress(OSError):
                self._add(self._head, record)

    def _add(self, head: bytes, record: bytes) -> None:
        handle = _opened(self._file, os.O_RDWR | os.O_APPEND)
        if handle is not None:
            with os.fdopen(handle, "rb+", buffering=0) as stream:
                size = os.fstat(handle).st_size
                if stream.read(len(head)) == head and size <= MOST:
                    # In one call, so that what two add at a time stands one after the other.
                    stream.write(record)
                    return
                if size > MOST:
                    return
            self._file.unlink()
        handle = os.open(self._file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb", buffering=0) as stream:
            stream.write(head + record)

    def _read(self) -> dict[bytes, bytes]:
        try:
            handle = _opened(self._file, os.O_RDONLY)
            if handle is None:
                return {}
            with os.fdopen(handle, "rb") as stream:
                return _records(stream.read(2 * MOST), self._head)
        except OSError:
            return {}


def _opened(path: Path, how: int) -> int | None:
    """The file, if there is one that is plain and this account's own."""
    try:
        handle = os.open(path, how | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        return None
    found = os.fstat(handle)
    own = not hasattr(os, "getuid") or found.st_uid == os.getuid()
    if stat.S_ISREG(found.st_mode) and own:
        return handle
    os.close(handle)
    raise OSError("what is kept beside the store is not this account's own")


def _records(whole: bytes, head: bytes) -> dict[bytes, bytes]:
    """The records of a file that begins as it should, up to the first that is not whole."""
    found: dict[bytes, bytes] = {}
    place = len(head)
    if whole[:place] != head:
        return found
    while place + 8 + 2 * SUM <= len(whole):
        length = int.from_bytes(whole[place : place + 8], "big")
        named = whole[place + 8 : place + 8 + SUM]
        begun = place + 8 + 2 * SUM
        content = whole[begun : begun + length]
        if len(content) < length or hashlib.sha256(named + content).digest() != whole[begun - SUM : begun]:
            break
        found[named] = content
        place = begun + length
    return found
