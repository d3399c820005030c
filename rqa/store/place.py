"""Putting a new store in its place: read back first, then in one step, for the owner and readers of the old one."""

import os
import stat
from collections.abc import Sequence
from pathlib import Path

import duckdb

from rqa.errors import StoreError
from rqa.stopping import interruptible
from rqa.store.damage import damage_told, damaged, unreadable
from rqa.store.engine import ATTACHED, attach, let_go, open_store
from rqa.store.kept_beside import forget

READERS = {"owner": 0o600, "group": 0o640, "all": 0o644}
"""Whose accounts may read a store, as a mapping says it, and the mode that allows it."""


def real_file(store: Path) -> Path:
    """The store's own file: where the name is a link, what the link leads to.

    Raises `StoreError` for a link that leads into no folder, or in a circle.
    """
    if not store.is_symlink():
        return store
    try:
        real = store.resolve()
    except (OSError, RuntimeError) as error:
        raise StoreError(f"{store} is a link that leads in a circle; remove it, or point it to a file.") from error
    if not real.parent.is_dir():
        raise StoreError(
            f"{store} is a link to {real}, and there is no folder {real.parent}; make it, or mend the link."
        )
    return real


def prove(connection: duckdb.DuckDBPyConnection, fresh: Path, store: Path) -> None:
    """Read all of a new store before it is put in place, by the engine that wrote it: it lets go of it and begins anew.

    A load carries over what it does not read again, so damage in the old file would be handed on with it.
    """
    let_go(connection)
    try:
        attach(connection, fresh, ATTACHED)
        with interruptible(connection):
            what = unreadable(connection, ATTACHED, fresh)
    except duckdb.Error as error:
        what = damage_told(error, fresh)
        if what is None:
            raise
    if what is None:
        return
    if store.exists():
        with open_store(store) as old:
            found = old.unreadable()
        if found is not None:
            raise damaged(store, found)
    raise StoreError(
        f"what was written beside {store} cannot be read back: {what}. The disk may be failing; check it, and load "
        "again. The store was not changed."
    )


def put_in_place(fresh: Path, store: Path, readers: str | None = None) -> None:
    """Put a new file in the place of a store, in one step, and have the disk keep both.

    It gets the old file's owner, group and mode; a new store can be read by its owner alone. `readers` says otherwise.
    """
    _for_the_same(fresh, store, None if readers is None else READERS[readers])
    with fresh.open("rb+") as stream:
        os.fsync(stream.fileno())
    fresh.replace(store)
    forget(store)
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(store.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _for_the_same(fresh: Path, store: Path, wanted: int | None) -> None:
    if not store.exists():
        fresh.chmod(READERS["owner"] if wanted is None else wanted)
        return
    old = store.stat()
    mode = stat.S_IMODE(old.st_mode) if wanted is None else wanted
    if hasattr(os, "chown") and not _owned(fresh, [(old.st_uid, old.st_gid), (-1, old.st_gid)]):
        # The old file's group is none of ours: what it may do must not be what another group may do.
        mode &= ~stat.S_IRWXG
    # Whoever owns the file now must be able to load again, whatever the mode was.
    fresh.chmod(mode | stat.S_IRUSR | stat.S_IWUSR)


def _owned(path: Path, owners: Sequence[tuple[int, int]]) -> bool:
    """Give a file the first of these owners and groups that this account may give it; whether there was one."""
    for user, group in owners:
        try:
            os.chown(path, user, group)
        except PermissionError:
            continue
        return True
    return False
