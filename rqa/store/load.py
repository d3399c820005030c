"""A load: from a workspace's sources to a store that holds either all of them or none.

The open store is never written. A load works on a sibling copy, proves that every row is accounted for, reads the copy
back, and then puts it in the old file's place in one step; readers keep what they opened. Killed at any moment, the old
file is whole, and what is left of the copy is removed by the next load.
"""

import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from collections.abc import Mapping as MappingType
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from rqa.contract import TABLES
from rqa.errors import StoreError
from rqa.intake.copies import IN_MEMORY
from rqa.intake.draft import Draft
from rqa.intake.faults import Faults
from rqa.intake.given import mapping_given
from rqa.intake.mapping import Mapping
from rqa.progress import Progress, silent
from rqa.stopping import held, interruptible, released
from rqa.store.account import SELECTED, Account, named_files
from rqa.store.changed_jobs import begin
from rqa.store.doing import Tell, untold
from rqa.store.empty_files import write_empty_remarks
from rqa.store.engine import STORE_FILE, Store, attach, beside, connect, identity, open_store
from rqa.store.first_rows import first_rows
from rqa.store.first_store import Prepare, bare, first_store
from rqa.store.known_names import with_known_names
from rqa.store.limits import MEMORY, SQL_MINUTES, WAIT_SECONDS
from rqa.store.linked import forms, links, units
from rqa.store.load_log import (
    Outcome,
    files_loaded,
    held_back,
    held_files,
    keep_books,
    keep_held,
    one,
    outcome,
)
from rqa.store.lock import writing
from rqa.store.mapping_sql import sql_faults
from rqa.store.order import StoredFile
from rqa.store.patterns import pattern_faults
from rqa.store.place import prove, put_in_place, real_file
from rqa.store.planned import Plan, plan
from rqa.store.remarks import write_remarks
from rqa.store.report import LoadReport
from rqa.store.seen import Seen
from rqa.store.stage import Stager
from rqa.store.tables import Tables
from rqa.store.word_counts import word_counts

Keep = Callable[[duckdb.DuckDBPyConnection, str | None], None]
"""Makes the kept tables; is told under which name the store as it was is attached, if there was one."""
BEFORE = "before"


@dataclass(frozen=True)
class Look:
    """What is to be shown of a load: so many rows of each entry, and what `of_store` adds of the store it makes."""

    rows: int
    of_store: Callable[[Store, Seen, Mapping], Seen]


def load(
    workspace: str | Path,
    *,
    version: str,
    keep: Keep,
    prepare: Prepare = bare,
    frames: MappingType[str, Any] | None = None,
    mapping: MappingType[str, Any] | Draft | None = None,
    write: bool = True,
    wait: float = WAIT_SECONDS,
    memory: str | None = MEMORY,
    progress: Progress = silent,
    tell: Tell = untold,
    look: Look | None = None,
) -> LoadReport:
    """Load a workspace; `keep` makes the kept tables in the same load, `prepare` what a store without rows has of them.

    `frames` are pandas or polars frames by name: a name of the contract's own tables needs no mapping, another is
    mapped by a [[table]] whose files have format "frame". `mapping` replaces `sources.toml`. With `write=False`
    everything is read and judged and nothing is kept. `wait` is how long, in seconds, to wait for another load.
    `memory` limits the engine's memory, e.g. "1GB". `tell` is told which source is read, under which limit. `look`
    has the report show what is seen of the rows, too.

    Raises `MappingError` before any row is read, `SourceError` for a file that cannot be read, `StoreError` when the
    store is locked, damaged or does not add up; the store is unchanged in each case.
    """
    started = time.monotonic()
    folder = Path(workspace)
    seen: Seen | None = None
    made = mapping if isinstance(mapping, Draft) else mapping_given(folder, frames, mapping)
    rules = made.mapping
    unsafe = sql_faults(rules)
    faults = Faults([*made.faults, *(f for of_entry in unsafe.values() for f in of_entry), *pattern_faults(rules)])
    named = folder / STORE_FILE
    store = real_file(named)
    looked_at = identity(store)
    loaded = files_loaded(store) if looked_at else set()
    items = plan(made, folder, frames or {}, loaded, faults)
    minutes = rules.workspace.sql_minutes or SQL_MINUTES
    if faults.said:
        _bind_alone([i for i in items if i.entry.number not in unsafe], faults, minutes, tell)
        faults.stop()
    if frames and write:
        folder.mkdir(parents=True, exist_ok=True)
    with _scratch(store, write=write, wait=wait) as scratch:
        fresh = scratch / STORE_FILE
        with released():
            first = not store.exists()
            if first:
                first_store(prepare, fresh)
            else:
                if rules.held_back or identity(store) != looked_at:
                    with open_store(store) as opened:
                        held_back(rules, opened)
                shutil.copyfile(store, fresh)
            connection = _connect(scratch, items, memory, beside(store), watched=progress is not silent)
            try:
                sources = Stager(connection, scratch, sql_minutes=minutes, memory=memory, tell=tell)
                with interruptible(connection), closing(sources) as stager:
                    before = None if first else store
                    report = _load_into(connection, stager, rules, items, keep, version, folder, before, progress)
                    if look is not None:
                        seen = _seen(connection, stager, items, look.rows, scratch)
                    connection.execute("checkpoint")
                if write:
                    prove(connection, fresh, store)
            finally:
                connection.close()
            if look is not None and seen is not None:
                with open_store(fresh) as opened:
                    seen = look.of_store(opened, seen, rules)
        if write:
            put_in_place(fresh, store, rules.workspace.store_readers)
    files, refusals, remarks, load_id, alarms = report
    selects = {i.label: tuple(i.files) for i in items if i.source is None}
    seconds = time.monotonic() - started
    return LoadReport(named, write, files, refusals, remarks, seconds, load_id, selects, alarms, seen)


def _seen(
    connection: duckdb.DuckDBPyConnection, stager: Stager, items: Sequence[Plan], most: int, scratch: Path
) -> Seen:
    """What is to be seen of the rows that were loaded, and of the files that they come from."""
    linked = links(connection)
    words = word_counts(connection, stager, items)
    rows = first_rows(connection, stager, items, most, scratch)
    return Seen(tuple(rows), tuple(words), tuple(linked), tuple(forms(connection, linked)), units(connection))


@contextmanager
def _scratch(store: Path, *, write: bool, wait: float) -> Iterator[Path]:
    """A folder to work in: beside the store, alone there, for a load; anywhere, for a mere look.

    No signal tears its making and removal apart, nor what is done in it, unless that is `released`.
    """
    with held():
        if not write:
            with tempfile.TemporaryDirectory(prefix="rqa-") as folder:
                yield Path(folder)
            return
        with writing(store, wait=wait):
            for left in store.parent.glob(f"{store.name}.new*"):
                with suppress(OSError):
                    left.unlink() if left.is_file() else shutil.rmtree(left)
            with tempfile.TemporaryDirectory(prefix=f"{store.name}.new-", dir=store.parent) as folder:
                yield Path(folder)


def _bind_alone(items: Sequence[Plan], faults: Faults, minutes: float, tell: Tell) -> None:
    """Hold the mapping against the files of a load that cannot be, for the faults that are still to be told."""
    with tempfile.TemporaryDirectory(prefix="rqa-") as name:
        folder = Path(name)
        with (
            closing(_connect(folder, items, MEMORY)) as connection,
            closing(Stager(connection, folder, sql_minutes=minutes, tell=tell)) as stager,
        ):
            for item in items:
                with faults.gathered(item.entry.place):
                    stager.bind(item)


def clear(store: Path) -> None:
    """Remove what a load that was ended has left beside a store, as the next load does; not while another load runs.

    It raises nothing: a disk that is full must not hide why the load was ended.
    """
    with suppress(StoreError, OSError), _scratch(real_file(store), write=True, wait=0):
        pass


def _connect(
    scratch: Path, items: Sequence[Plan], memory: str | None, more: Iterable[Path] = (), *, watched: bool = False
) -> duckdb.DuckDBPyConnection:
    """The engine of a load; where names become pseudonyms, nothing that it reads goes to disk for want of memory."""
    spill = not any(i.entry.guard.sealed for i in items)
    reads = [*_paths(items), *more]
    fresh = scratch / STORE_FILE
    return connect(fresh, read_only=False, scratch=scratch, memory=memory, reads=reads, watched=watched, spill=spill)


def _paths(items: Sequence[Plan]) -> list[Path]:
    """The files that a load reads: the sources, the keys of pseudonyms, and copies of sources in memory."""
    keys = [Path(key).expanduser().resolve() for i in items for key in i.entry.spec.key_files]
    read = [f.path for i in items for f in i.sources if f.format != "frame"]
    return list(dict.fromkeys([*read, *keys, *([IN_MEMORY] if keys else [])]))


def _load_into(
    connection: duckdb.DuckDBPyConnection,
    stager: Stager,
    rules: Mapping,
    items: Sequence[Plan],
    keep: Keep,
    version: str,
    folder: Path,
    store: Path | None,
    progress: Progress,
) -> Outcome:
    started = datetime.now(UTC).replace(tzinfo=None)
    load_id = one(connection, "select coalesce(max(load_id), 0) + 1 from loads")
    begin(connection)
    if "texts" in rules.held_back:
        items = with_known_names(stager, items)
    tables = Tables(connection, stager, items, load_id, progress)
    todo = tables.plan(held_files(connection), folder, keep=rules.workspace.vanished == "keep")
    tables.bind({name: what.any for name, what in todo.items()})
    counts: Account = []
    files: dict[str, MappingType[str, StoredFile]] = {}
    for table in TABLES.values():
        # A table is read and settled before the next is read, so that only one is held in temporary storage.
        account, files[table.name] = tables.settle(table, todo[table.name])
        counts += account
    kept = {label for what in todo.values() for label in what.kept}
    named, earlier = stager.named.done.values(), tables.earlier.get(SELECTED, {})
    counts += named_files(connection, named, items, earlier, kept, load_id)
    keep_books(connection, rules, counts, load_id, version, started)
    keep_held(connection, files)
    write_remarks(connection, rules, started, load_id)
    read = [c for f, c in counts if f.file_no >= 0 or c.table == SELECTED]
    over = {item.label: item.files for item in items if item.source is None}
    write_empty_remarks(connection, read, over, load_id)
    tables.meter.counting()
    if store is None:
        keep(connection, None)
    else:
        attach(connection, store, BEFORE)
        keep(connection, BEFORE)
        connection.execute(f"detach {BEFORE}")
    tables.meter.proving()
    return outcome(connection, [c for _, c in counts], load_id)
