"""Writing a lake from a store: its rows by bucket of units, what is kept of them, and what stands beside the buckets.

Only files whose rows are others than before are written, and the kept tables of their buckets alone are made anew.
"""

import os
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from rqa.errors import RequestError
from rqa.intake.literals import literal
from rqa.intake.names import quoted
from rqa.lake.bucket import Task, unpacked
from rqa.lake.engines import spread
from rqa.lake.layout import (
    KEPT_IN_BUCKETS,
    LOGGED,
    LakeFile,
    State,
    by_table,
    contents,
    current,
    orphans,
    publish,
)
from rqa.measures.keep import COUNTS, DECLARED, edition, make_all_concepts
from rqa.store.engine import SAFE
from rqa.store.limits import MEMORY, WAIT_SECONDS
from rqa.store.lock import writing

if TYPE_CHECKING:
    from rqa.lake.engines import Engine

JOBS_OF_BUCKET = 500_000
"""As many jobs a bucket has at most when a lake is begun, unless the number of buckets is given."""
BESIDE = (*DECLARED, "refused", "clocks")
"""What stands beside the buckets and kept tables draw on: where it is changed, all are made anew."""


def write_lake(
    store: Path, lake: Path, *, engine: "Engine" = None, buckets: int | None = None, memory: str | None = MEMORY,
    wait: float = WAIT_SECONDS,
) -> State:
    """Bring a lake up to what a store holds; the state that it is in then.

    `buckets` is how many a new lake has; one that is there keeps its number. Raises `StoreError` while another writes.
    """
    if not lake.exists():
        # Like a new store, a new lake can be read by its owner alone.
        lake.mkdir(mode=0o700, parents=True)
    with writing(lake / "lake", wait=wait):
        before = current(lake)
        if before and buckets not in (None, before.buckets):
            raise RequestError(f"{lake} has {before.buckets} buckets; load into a new folder for another number.")
        for left in orphans(lake, before):
            left.unlink()
        number = before.state + 1 if before else 1
        with _reading(store, lake, memory) as connection:
            ((jobs,),) = connection.execute("select count(*) from jobs").fetchall()
            many = before.buckets if before else buckets or max(1, -(-jobs // JOBS_OF_BUCKET))
            _homes(connection, many)
            files, touched = _rows(connection, lake, before, number)
            once = f"once/{number}.duckdb"
            beside = _beside(connection)
            _write_once(connection, lake / once)
        anew = before is None or beside != before.beside or edition() != before.kept_by
        files += _kept(lake, once, files, set(range(many)) if anew else touched, before, number, engine)
        _sum_counts(lake, once, files)
        state = State(number, many, once, edition(), beside, tuple(files))
        gone = () if before is None else tuple(sorted(before.paths - state.paths))
        for path in sorted(state.paths - (before.paths if before else frozenset())):
            with (lake / path).open("rb+") as stream:
                os.fsync(stream.fileno())
        state = replace(state, before=gone)
        publish(lake, state)
        return state


@contextmanager
def _reading(store: Path, lake: Path, memory: str | None) -> Iterator[duckdb.DuckDBPyConnection]:
    """An engine that reads the store by plain names."""
    config: dict[str, Any] = {**SAFE, "threads": 1, "temp_directory": str(lake / "scratch")}
    if memory is not None:
        config["memory_limit"] = memory
    connection = duckdb.connect(config=config)
    try:
        connection.execute("set TimeZone = 'UTC'")
        connection.execute(f"attach {literal(str(store))} as depot (read_only)")
        connection.execute("use depot")
        yield connection
    finally:
        connection.close()
        with suppress(OSError):
            (lake / "scratch").rmdir()


def _bucket(text: str, many: int) -> str:
    """The bucket of an id: the same in every version of every engine that knows MD5."""
    return f"cast(md5_number({text}) % {many} as integer)"


def _homes(connection: duckdb.DuckDBPyConnection, many: int) -> None:
    """Where each job lies: with its unit, in the month in which it was opened. What names no job lies by itself."""
    connection.execute(
        f"create temp table homes as select job_id, {_bucket('coalesce(unit_id, job_id)', many)} as bucket, "
        "coalesce(strftime(opened_on, '%Y-%m'), 'none') as month from jobs"
    )
    connection.execute(
        f"create temp view placed_retirements as select *, {_bucket('unit_id', many)} as bucket, 'none' as month "
        "from retirements"
    )
    for table in LOGGED[:-1]:
        connection.execute(
            f"create temp view placed_{table} as "
            f"select t.*, coalesce(h.bucket, {_bucket('t.job_id', many)}) as bucket, "
            f"coalesce(h.month, 'none') as month from {table} as t left join homes as h on h.job_id = t.job_id"
        )


def _rows(
    connection: duckdb.DuckDBPyConnection, lake: Path, before: State | None, number: int
) -> tuple[list[LakeFile], set[int]]:
    """Write the rows of every bucket and month in which they are others than before; the files, and these buckets."""
    were = contents(before)
    files: list[LakeFile] = []
    touched: set[int] = set()
    for table in LOGGED:
        found = connection.execute(
            f"select bucket, month, count(*), cast(sum(hash(t)) as varchar) from placed_{table} as t "
            "group by bucket, month order by bucket, month"
        ).fetchall()
        fresh = {}
        for bucket, month, rows, content in found:
            old = were.get((table, bucket, month), [])
            if sum(f.rows for f in old) == rows and {f.content for f in old} == {content}:
                files += old
            else:
                fresh[bucket, month] = (rows, content)
        gone = {(b, m) for t, b, m in were if t == table} - {(b, m) for b, m, *_ in found}
        touched |= {bucket for bucket, _ in (*fresh, *gone)}
        files += _write_rows(connection, lake, table, fresh, number)
    return files, touched


def _write_rows(
    connection: duckdb.DuckDBPyConnection, lake: Path, table: str, fresh: dict[tuple[int, str], tuple[int, str]],
    number: int,
) -> Iterator[LakeFile]:
    if not fresh:
        return
    connection.execute("create or replace temp table fresh (bucket integer, month varchar)")
    connection.executemany("insert into fresh values (?, ?)", [list(place) for place in fresh])
    (lake / "rows").mkdir(exist_ok=True)
    connection.execute(
        f"copy (select t.* replace (lpad(cast(bucket as varchar), 3, '0') as bucket) from placed_{table} as t "
        f"semi join fresh using (bucket, month)) to {literal(str(lake / 'rows' / table))} (format parquet, "
        f"compression zstd, partition_by (bucket, month), overwrite_or_ignore, filename_pattern '{number}_{{i}}')"
    )
    for (bucket, month), (rows, content) in fresh.items():
        folder = lake / "rows" / table / f"bucket={bucket:03}" / f"month={month}"
        for place, path in enumerate(sorted(folder.glob(f"{number}_*.parquet"))):
            said = path.relative_to(lake).as_posix()
            yield LakeFile(table, bucket, month, said, 0 if place else rows, content)


def _beside(connection: duckdb.DuckDBPyConnection) -> str:
    """What tells the content of the tables beside the buckets on which kept tables draw."""
    said = []
    for table in BESIDE:
        said += connection.execute(f"select count(*), cast(sum(hash(t)) as varchar) from {table} as t").fetchall()
    return str(said)


def _write_once(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Write what stands beside the buckets: all of the store, of tables in buckets their columns alone."""
    path.parent.mkdir(exist_ok=True)
    connection.execute(f"attach {literal(str(path))} as made")
    tables = connection.execute("select table_name from duckdb_tables() where database_name = 'depot'").fetchall()
    for (table,) in tables:
        empty = " limit 0" if table in LOGGED or table in KEPT_IN_BUCKETS else ""
        connection.execute(f"create table made.main.{quoted(table)} as select * from depot.main.{quoted(table)}{empty}")
    connection.execute("use made")
    make_all_concepts(connection)
    connection.execute("use depot; detach made")


def _kept(
    lake: Path, once: str, files: Collection[LakeFile], buckets: set[int], before: State | None, number: int,
    engine: "Engine",
) -> list[LakeFile]:
    """Have the kept tables of these buckets made anew, and take over those of the others."""
    kept = [f for f in (before.files if before else ()) if f.table not in LOGGED and f.bucket not in buckets]
    order = sorted(buckets & {f.bucket for f in files})
    tasks = [
        Task(str(lake), once, tuple(by_table(f for f in files if f.bucket == b).items()),
             kept=f"bucket={b:03}/{number}.parquet")
        for b in order
    ]
    for bucket, made in zip(order, spread(engine, tasks), strict=True):
        kept += [LakeFile(r["table"], bucket, "", r["path"], r["rows"]) for r in unpacked(made).to_pylist()]
    return kept


def _sum_counts(lake: Path, once: str, files: Iterable[LakeFile]) -> None:
    """Put the kept counts of all buckets together, beside them."""
    paths = by_table(files)
    with duckdb.connect(str(lake / once), config={**SAFE, "threads": 1}) as connection:
        for table, counted in COUNTS.items():
            listed = ", ".join(literal(str(lake / path)) for path in paths.get(table, ()))
            if not listed:
                continue
            columns = [name for name, *_ in connection.execute(f"describe {table}").fetchall()]
            sums = ", ".join(
                f"cast(sum({quoted(c)}) as bigint)" if c in counted else quoted(c) for c in columns
            )
            connection.execute(
                f"insert into {table} select {sums} from read_parquet([{listed}], hive_partitioning = false) "
                "group by all order by all"
            )
