"""One bucket of units as a store of its own: what every process does that counts for a lake.

A bucket's files are read where they lie, through views in an engine in memory; with the views and macros that all
questions share, it answers every file as a store does. Nothing here depends on who runs it.
"""

import io
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from rqa.intake.literals import literal
from rqa.intake.names import quoted
from rqa.lake.layout import BY_BUCKET, KEPT_IN_BUCKETS, LOGGED
from rqa.measures.keep import KEPT, SHARED, keep_of_bucket, make_all_concepts
from rqa.stopping import interruptible
from rqa.store.engine import SAFE, close_access, overflow
from rqa.store.limits import MEMORY

if TYPE_CHECKING:
    import pyarrow as pa

OPEN = 8
"""So many buckets a process keeps open: to open one takes longer than many a count."""


@dataclass(frozen=True)
class Task:
    """A query to be run over some files of a lake: those of one bucket, or of all.

    `files` are those of tables in buckets, `once` what stands beside them, `given` tables that the query reads, too.
    """

    lake: str
    once: str
    files: tuple[tuple[str, tuple[str, ...]], ...]
    sql: str = ""
    values: Mapping[str, object] = field(default_factory=dict)
    given: Mapping[str, bytes] = field(default_factory=dict)
    whole: bool = False
    """Over all buckets at once: counts then come from beside them."""
    kept: str = ""
    """Not a query, but to make the kept tables, into files of that name."""


def run(task: Task) -> bytes:
    """Do what a task says; the rows it gives, as an Arrow stream."""
    if task.kept:
        return make_kept(task)
    with opened(task.lake, task.once, task.files, task.whole).cursor() as cursor:
        for name, table in task.given.items():
            cursor.register(name, unpacked(table))
        with interruptible(cursor):
            return packed(cursor.sql(task.sql, params=dict(task.values)).to_arrow_table())


def packed(table: "pa.Table") -> bytes:
    """A table as an Arrow stream."""
    import pyarrow as pa

    stream = io.BytesIO()
    with pa.ipc.new_stream(stream, table.schema) as writer:
        writer.write_table(table)
    return stream.getvalue()


def unpacked(stream: bytes) -> "pa.Table":
    """The table of an Arrow stream."""
    import pyarrow as pa

    return pa.ipc.open_stream(stream).read_all()


@lru_cache(OPEN)
def opened(
    lake: str, once: str, files: tuple[tuple[str, tuple[str, ...]], ...], whole: bool
) -> duckdb.DuckDBPyConnection:
    """An engine in which plain names are the tables, views and macros of a store that holds these files alone."""
    in_files = (*LOGGED, *BY_BUCKET) if whole else (*LOGGED, *KEPT_IN_BUCKETS)
    connection = _engine(lake, once, dict(files), in_files, whole=whole)
    make_all_concepts(connection)
    return connection


def _engine(
    lake: str, once: str, files: Mapping[str, tuple[str, ...]], in_files: Collection[str], *, whole: bool = False,
    without: Collection[str] = (),
) -> duckdb.DuckDBPyConnection:
    """An engine with a view of each table: those `in_files` are read there, others beside the buckets."""
    config: dict[str, Any] = {**SAFE, "memory_limit": MEMORY, "temp_directory": str(overflow())}
    connection = duckdb.connect(config=config if whole else {**config, "threads": 1})
    for setting in ("TimeZone = 'UTC'", "python_enable_replacements = false"):
        connection.execute(f"set {setting}")
    connection.execute(f"attach {literal(str(Path(lake, once)))} as once (read_only)")
    names = connection.execute("select table_name from duckdb_tables() where database_name = 'once'").fetchall()
    for (name,) in names:
        if name in without:
            continue
        source = f"select * from once.main.{quoted(name)}"
        if name in in_files:
            # Of what lies in files, the columns alone stand beside the buckets.
            none = f"select *, rowid from once.main.{quoted(name)}" if name == "jobs" else f"{source} where false"
            source = _read(lake, name, files[name], whole) if files.get(name) else none
        connection.execute(f"create view {quoted(name)} as {source}")
    close_access(connection, files=(), folders=[Path(lake), overflow()])
    return connection


def _read(lake: str, name: str, paths: tuple[str, ...], whole: bool) -> str:
    """A SELECT of what these files hold. Some questions name a job by where it is stored, as that is the shortest."""
    listed = ", ".join(literal(str(Path(lake, path))) for path in paths)
    # What many rows share stands in each bucket that has such rows.
    what = "distinct *" if whole and name in SHARED else "*"
    what = "*, (file_index << 40) + file_row_number as rowid" if name == "jobs" else what
    return f"select {what} from read_parquet([{listed}], hive_partitioning = false)"


def make_kept(task: Task) -> bytes:
    """Make the kept tables of a bucket from its rows, and write them; what was written, with the rows of each file."""
    import pyarrow as pa

    connection = _engine(task.lake, task.once, dict(task.files), LOGGED, without=KEPT)
    with interruptible(connection):
        keep_of_bucket(connection)
    made = []
    for name in KEPT_IN_BUCKETS:
        path = f"kept/{name}/{task.kept}"
        Path(task.lake, path).parent.mkdir(parents=True, exist_ok=True)
        to = literal(str(Path(task.lake, path)))
        ((rows,),) = connection.execute(f"copy main.{name} to {to} (format parquet, compression zstd)").fetchall()
        made.append({"table": name, "path": path, "rows": rows})
    connection.close()
    return packed(pa.Table.from_pylist(made))
