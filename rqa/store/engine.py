"""The one door to the engine: who connects, how a question is put to it, and how its errors are told.

A reader attaches the store to an engine of its own instead of opening the file directly: the engine keeps one instance
per path in a process, and would go on answering from a file that a load has since replaced.
"""

import atexit
import pickle
import re
import shutil
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cache
from os import getpid
from os.path import lexists, realpath
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Any, TypeVar

import duckdb

from rqa.errors import RequestError, StoreError
from rqa.intake.literals import literal, literal_path
from rqa.intake.names import inner
from rqa.shown import first_line, told
from rqa.stopping import interruptible
from rqa.store.damage import damage_told, damaged, next_step, unreadable
from rqa.store.ddl import FORMAT_VERSION
from rqa.store.kept_beside import KeptBeside
from rqa.store.limits import MEMORY

if TYPE_CHECKING:
    import polars as pl

Asked = TypeVar("Asked")
Made = TypeVar("Made")
STORE_FILE = "depot.duckdb"
TECHNICIAN = "technician"
ATTACHED = "depot"
"""The name under which a reader's engine knows the store."""
WRITTEN = inner("store")
"""The name under which a load's engine knows the store that it writes."""

SAFE = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
}
"""No extension is ever fetched or loaded: answers must not depend on what a machine can reach."""

PLAIN_TYPES = {"HUGEINT": "BIGINT", "UBIGINT": "BIGINT", "UHUGEINT": "BIGINT", "TIMESTAMP WITH TIME ZONE": "TIMESTAMP"}
"""Types that frames and charts cannot hold safely, and what they are turned into."""

VACUUM_TASKS = 4
"""How much of a store is put together anew at the end of a load, as the engine counts it."""

KEPT_COUNTS = 512
KEPT_ROWS = 1_000
"""So many results are kept while a store is open, each of so many rows at most."""
KEPT_MADE = 512
"""So many things made of what was counted are kept, of each kind."""

SMALL = 20_000_000
"""A store of fewer bytes is read by one thread: to share out so little work costs more than it saves."""

_HOLDER = re.compile(r"held in (?P<program>.+?)(?: \(deleted\))? \(PID (?P<pid>\d+)\)")


def connect(
    path: str | Path,
    *,
    read_only: bool,
    scratch: Path | None = None,
    memory: str | None = None,
    reads: Iterable[Path] = (),
    watched: bool = False,
    spill: bool = True,
) -> duckdb.DuckDBPyConnection:
    """Open the store at `path`; the only place that does.

    A writer works on the file itself. A reader gets the file attached as `depot`. `scratch` is the folder for what
    does not fit in memory, `memory` a limit such as "1GB". Apart from the store and `scratch` the engine can reach no
    file but those of `reads`, and its settings are final; without `spill` nothing is put on disk for want of memory,
    and what does not fit fails. If `watched`, `query_progress` tells how far the engine is
    with what it is asked. Raises `StoreError` when it cannot be opened.
    """
    path = Path(path)
    config: dict[str, Any] = dict(SAFE)
    if scratch is not None:
        config["temp_directory"] = str(scratch) if spill else ""
    if memory is not None:
        config["memory_limit"] = memory
    if read_only and not path.is_file():
        if not path.parent.is_dir():
            raise StoreError(
                f"{path.parent}: there is no such folder. Name a workspace: a folder with a sources.toml, or one that "
                "`rqa demo FOLDER` makes."
            )
        if lexists(path):
            what = "a folder" if path.is_dir() else "no plain file, or a link to one that does not exist"
            raise StoreError(f"{path} is {what}, and the store belongs there. Move it away, then load again.")
        raise StoreError(f"{path}: there is no store. Make one with `rqa load {path.parent}`.")
    if read_only and path.stat().st_size < SMALL:
        config["threads"] = 1
    try:
        connection = duckdb.connect(":memory:", config=config)
        try:
            connection.execute("set TimeZone = 'UTC'")
            # The engine's own bar would be drawn into a program's output. In a notebook without widgets it is off, and
            # the engine refuses to be told so.
            if connection.execute("select current_setting('enable_progress_bar')").fetchall() != [(False,)]:
                connection.execute("set enable_progress_bar = false")
            if watched:
                _watch(connection)
            # A mistyped table must be an error, not a Python variable of that name.
            connection.execute("set python_enable_replacements = false")
            if read_only:
                attach(connection, path, ATTACHED)
            else:
                # What is written is a copy that nobody reads before it is whole, so no log is kept to mend it with.
                connection.execute(f"attach {literal(str(path))} as {WRITTEN} (recovery_mode no_wal_writes)")
                connection.execute(f"use {WRITTEN}")
                # Row ids place the rows of a load in their files; they stay what they are until a checkpoint.
                connection.execute("set checkpoint_threshold = '1TB'")
                # What deleted rows have left is used again little by little: at a checkpoint the engine would write
                # every table anew whose parts are not full, those that no load has touched, too.
                connection.execute(f"set max_vacuum_tasks = {VACUUM_TASKS}")
            close_access(connection, files=reads, folders=[] if scratch is None else [scratch])
        except duckdb.Error:
            connection.close()
            raise
    except duckdb.Error as error:
        raise _why_not_opened(path, error) from error
    return connection


def _watch(connection: duckdb.DuckDBPyConnection) -> None:
    for setting in ("enable_progress_bar_print = false", "progress_bar_time = 0", "enable_progress_bar = true"):
        # In a notebook without widgets the engine refuses this; then there is nothing to tell.
        with suppress(duckdb.Error):
            connection.execute(f"set {setting}")


def close_access(connection: duckdb.DuckDBPyConnection, *, files: Iterable[Path], folders: Iterable[Path]) -> None:
    """Leave the engine these files and folders alone, and lock its configuration for good.

    SQL that a mapping or a user brings can then open no other file, no server and no extension, whatever it holds.
    """
    paths = [text for f in files for text in dict.fromkeys((str(f), literal_path(f)))]
    whole = [text for f in folders for text in dict.fromkeys((str(f), literal_path(f)))]
    connection.execute(f"set allowed_paths = [{', '.join(map(literal, paths))}]")
    connection.execute(f"set allowed_directories = [{', '.join(map(literal, whole))}]")
    connection.execute("set enable_external_access = false")
    connection.execute("set lock_configuration = true")


def attach(connection: duckdb.DuckDBPyConnection, path: Path, name: str) -> None:
    """Attach a store for reading under a name of its own."""
    connection.execute(f"attach {literal(str(path))} as {name} (read_only)")


def let_go(connection: duckdb.DuckDBPyConnection) -> None:
    """Have a writer's engine close the store and forget what it has of it in memory."""
    connection.execute("use memory")
    connection.execute(f"detach {WRITTEN}")


def beside(store: Path) -> list[Path]:
    """The files the engine may look for when it attaches a store."""
    return [store.with_name(store.name + end) for end in ("", ".wal", ".wal.recovery", ".wal.checkpoint")]


def _why_not_opened(path: Path, error: duckdb.Error) -> StoreError:
    said, damage = first_line(error), damage_told(error, path)
    holder = _HOLDER.search(str(error))
    if holder:
        return StoreError(
            f"{path.name} is open for writing in another program (PID {holder['pid']}, {told(holder['program'])}); "
            "close it there and try again."
        )
    if damage:
        return damaged(path, damage)
    if "not a valid DuckDB" in said:
        return StoreError(f"{path} is not a store, or its beginning is damaged. {next_step(path)}")
    if "set lock on file" in said or "locks are not supported" in said:
        return StoreError(f"{path}: the disk refuses locks; keep the store on a local disk. ({said})")
    if "storage version" in said or "serializ" in said.lower():
        return StoreError(f"{path} was written by another version of the engine ({said}). {next_step(path)}")
    return StoreError(f"{path} cannot be opened: {said}")


def store_path(place: str | Path) -> Path:
    """The store's file, from a workspace folder or from the file itself."""
    path = Path(place)
    return path if path.is_file() or path.suffix == Path(STORE_FILE).suffix else path / STORE_FILE


def open_store(place: str | Path) -> "Store":
    """Open a store for reading: a workspace folder or a `.duckdb` file."""
    return Store(store_path(place))


class Store:
    """A store open for reading. It answers from the file as it was when opened, also after a load has replaced it."""

    _beside: KeptBeside | None = None

    def __init__(self, path: Path) -> None:
        self.path = path
        self._counted: dict[bytes, pl.DataFrame] = {}
        self._made: dict[str, dict[Hashable, Any]] = {}
        self._seen = identity(path)
        self._beside = KeptBeside(Path(realpath(path)))
        self._connection: duckdb.DuckDBPyConnection | None = connect(
            path, read_only=True, scratch=overflow(), memory=MEMORY
        )
        try:
            self.about = self._read_about()
            self._check_version()
            self.people = self._read_people()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<store {self.path}{' (closed)' if self._connection is None else ''}>"

    def _open(self) -> duckdb.DuckDBPyConnection:
        if self._connection is None:
            raise StoreError(f"{self.path} was closed; open it again with rqa.open.")
        return self._connection

    def _cursor(self) -> duckdb.DuckDBPyConnection:
        """A cursor for which plain names are the store's tables; views of these would cost half as much time again."""
        cursor = self._open().cursor()
        cursor.execute(f"use {ATTACHED}").fetchall()
        return cursor

    def _cursor_for(self, _sql: str) -> duckdb.DuckDBPyConnection:
        """A cursor for a query of a user's own."""
        return self._cursor()

    def _read_about(self) -> dict[str, str]:
        try:
            rows = self._open().execute(f"select name, value from {ATTACHED}.main.about order by name").fetchall()
        except duckdb.Error as error:
            self._damaged(error)
            raise StoreError(
                f"{self.path} is a database, but no store of rqa; load a workspace to make one."
            ) from error
        return {str(name): str(value) for name, value in rows}

    def _check_version(self) -> None:
        found = self.about.get("format_version")
        if found != FORMAT_VERSION:
            writer = self.about.get("rqa_version", "unknown")
            raise StoreError(
                f"{self.path} has store format {told(found)}, written by rqa {told(writer)}; this rqa reads "
                f"format {told(FORMAT_VERSION)}. Move the file away and load anew with `rqa load {self.path.parent}`; "
                "the old file keeps what it holds of source files that are gone."
            )

    def _read_people(self) -> frozenset[str]:
        """The names of columns that name people: the technicians, and what the mapping marks."""
        try:
            rows = self._open().execute(f"select distinct column_name from {ATTACHED}.main.person_columns").fetchall()
        except duckdb.Error as error:
            self._damaged(error)
            raise
        return frozenset({TECHNICIAN, *(str(name) for (name,) in rows)})

    def _damaged(self, error: duckdb.Error) -> None:
        """Raise the error that tells of a damaged store, if that is what the engine's error is about."""
        what = damage_told(error, self.path)
        if what:
            raise damaged(self.path, what) from error

    def unreadable(self) -> str | None:
        """Read all of the store, and say what of it is damaged; None if nothing is."""
        connection = self._open()
        with interruptible(connection):
            return unreadable(connection, ATTACHED, self.path)

    @property
    def newer(self) -> bool:
        """Whether a load has put a newer file in this one's place since it was opened."""
        return identity(self.path) != self._seen

    def counts(self, sql_name: str, sql: str, params: Mapping[str, object] | None = None) -> "pl.DataFrame":
        """Run one query with `$name` values bound, and return all of its rows.

        What was counted before is not counted again, as long as the store is open: a page asks half of its queries
        twice or more. `sql_name` names the measure in an error. Raises `StoreError`, with the SQL and the values, when
        the engine cannot answer.
        """
        given = dict(params or {})
        asked = pickle.dumps((sql, given))
        known = self._counted.get(asked)
        if known is not None:
            return known.clone()
        try:
            counted = self._count(sql, given)
        except duckdb.Error as error:
            self._damaged(error)
            raise StoreError(f"{sql_name}: {_first_line(error)}\nvalues: {given}\nSQL:\n{sql}") from error
        if counted.height <= KEPT_ROWS:
            _keep(self._counted, asked, counted.clone(), KEPT_COUNTS)
        return counted

    def _count(self, sql: str, given: Mapping[str, object]) -> "pl.DataFrame":
        cursor = self._cursor()
        try:
            with interruptible(cursor):
                return cursor.sql(sql, params=dict(given)).pl()
        finally:
            cursor.close()

    def once(self, kind: str, asked: Hashable, make: Callable[[], Made], most: int = KEPT_MADE) -> Made:
        """What `make` makes of this store, made once while it is open; of each kind the latest `most` are kept.

        What is handed out is what is kept: it must be frozen, or be copied by whoever hands it on.
        """
        made = self._made.setdefault(kind, {})
        known: Made | None = made.get(asked)
        if known is None:
            known = make()
            _keep(made, asked, known, most)
        return known

    def kept(self, key: bytes) -> bytes | None:
        """What was worked out of this store's file before and kept beside it under a key; None where nothing was."""
        return None if self._beside is None else self._beside.get(key)

    def keep(self, key: bytes, content: bytes) -> None:
        """Keep what was worked out of this store's file beside it, as long as the file is in its place."""
        if self._beside is not None:
            self._beside.put(key, content)

    def forget(self) -> None:
        """Count and make anew whatever is asked from now on; for measuring how long that takes."""
        self._counted.clear()
        self._made.clear()
        self._beside = None

    def ask(self, sql: str, params: Mapping[str, object] | Sequence[object] | None = None) -> "pl.DataFrame":
        """Run one SELECT of a user's own; results are turned into types that frames and charts can hold.

        Whole numbers become 64-bit, decimals doubles, zoned times UTC. Raises `RequestError` for anything but one
        SELECT, or for SQL the engine does not accept.
        """
        given = params if params is None or isinstance(params, Mapping) else list(params)
        try:
            statements = duckdb.extract_statements(sql)
            if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
                raise RequestError("query takes one SELECT; the store is read-only.")
            body = statements[0].query.strip().rstrip(";")
            cursor = self._cursor_for(body)
            try:
                types = [(row[0], row[1]) for row in cursor.execute(f"describe {body}", given).fetchall()]
                with interruptible(cursor):
                    return cursor.sql(_plain(body, types), params=given).pl()
            finally:
                cursor.close()
        except duckdb.Error as error:
            self._damaged(error)
            raise RequestError(f"query: {_first_line(error)}") from error

    def close(self) -> None:
        """Let go of the file; closing twice does nothing."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None
            self.forget()


def _keep(kept: dict[Asked, Made], asked: Asked, made: Made, most: int) -> None:
    """Keep one more, and no more than so many: the oldest go. Several threads may do so at a time."""
    for oldest in list(kept)[: max(0, len(kept) - most + 1)]:
        kept.pop(oldest, None)
    kept[asked] = made


def overflow() -> Path:
    """The folder of this process for what does not fit in memory."""
    return _overflow(getpid())


@cache
def _overflow(process: int) -> Path:
    """A folder of this process, closed to others, for what does not fit in memory; it is removed at its end."""
    folder = Path(mkdtemp(prefix=f"rqa-{process}-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _plain(body: str, types: Sequence[tuple[str, str]]) -> str:
    """The query with unsafe result types cast; unchanged if there are none."""
    changed = []
    for name, kind in types:
        if kind == "INTERVAL":
            raise RequestError(
                f"query: column \"{name}\" is an INTERVAL; ask for a number, e.g. date_diff('minute', a, b)."
            )
        target = "DOUBLE" if kind.startswith("DECIMAL") else PLAIN_TYPES.get(kind)
        quoted = '"' + name.replace('"', '""') + '"'
        if target:
            changed.append(f"{quoted}::{target} as {quoted}")
    if not changed:
        return body
    return f"select * replace ({', '.join(changed)}) from (\n{body}\n) as asked"


def _first_line(error: Exception) -> str:
    return str(error).split("\n\nLINE")[0].strip()


def identity(path: Path) -> tuple[int, int, int] | None:
    """What tells a store's file from one that is put in its place; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return (found.st_dev, found.st_ino, found.st_mtime_ns)
