"""A lake is written in one step: what has not changed stays, and whoever is stopped leaves the old state."""

import signal
import subprocess
import sys
from copy import deepcopy
from pathlib import Path
from typing import Any

import duckdb
import pytest

import rqa
from rqa.errors import RequestError, StoreError
from rqa.intake.literals import literal
from rqa.lake.layout import KEPT_IN_BUCKETS, LOGGED, State, current, orphans
from rqa.lake.store import LakeStore
from rqa.lake.writing import write_lake
from rqa.measures.keep import COUNTS, SHARED
from rqa.store.lock import writing
from tests.lake.lakes import check_same, stored
from tests.measures.depot_rows import ROWS, job, step


def corrected() -> dict[str, list[dict[str, Any]]]:
    """The night after: a job moves to another unit, a log that came first gets its job, one job is withdrawn."""
    rows = deepcopy(ROWS)
    moved = next(r for r in rows["jobs"] if r["job_id"] == "J2")
    moved["unit_id"] = "U90"
    rows["jobs"] = [r for r in rows["jobs"] if r["job_id"] != "J10"] + [job("J99", "U91", "02-01", "02-03")]
    rows["steps"].append(step("J3", 3, "close case"))
    return rows


def held(lake: Path) -> dict[str, list[str]]:
    """All rows of a lake by table, as texts in order; what buckets share, once."""
    state = current(lake)
    assert state is not None
    found = {}
    for table in (*LOGGED, *KEPT_IN_BUCKETS):
        paths = ", ".join(literal(str(lake / f.path)) for f in state.files if f.table == table)
        rows = duckdb.sql(f"from read_parquet([{paths}], hive_partitioning = false)").fetchall() if paths else []
        texts = sorted(map(repr, rows))
        found[table] = sorted(set(texts)) if table in SHARED else texts
    return found


def expected(store: Path, table: str) -> list[str]:
    with duckdb.connect(str(store), read_only=True) as connection:
        return sorted(map(repr, connection.execute(f"from {table}").fetchall()))


@pytest.mark.slow
def test_the_rows_of_all_buckets_are_those_of_the_store(tmp_path: Path) -> None:
    store, lake = stored(tmp_path, ROWS), tmp_path / "lake"
    state = write_lake(store, lake, buckets=3)
    found = held(lake)
    for table in sorted({*LOGGED, *KEPT_IN_BUCKETS} - {*COUNTS}):
        assert found[table] == expected(store, table), table
    for table in COUNTS:
        assert expected(lake / state.once, table) == expected(store, table), table
    assert {f.bucket for f in state.files} <= {0, 1, 2}
    assert {f.path.split("/")[0] for f in state.files} == {"rows", "kept"}
    assert "month=2026-01" in {f.path.split("/")[3] for f in state.files if f.table == "jobs"}
    assert lake.stat().st_mode & 0o077 == 0


@pytest.mark.slow
def test_a_night_writes_what_it_touches(tmp_path: Path) -> None:
    lake, again = tmp_path / "lake", tmp_path / "again"
    first = write_lake(stored(tmp_path, ROWS), lake, buckets=9)
    same_again = write_lake(tmp_path / "depot.duckdb", lake)
    assert {*same_again.files} == {*first.files}
    night = stored(tmp_path, corrected(), "night")
    second = write_lake(night, lake)
    write_lake(night, again, buckets=9)
    assert held(lake) == held(again)
    rows = {f for f in second.files if f.table in LOGGED}
    assert len(rows & {*first.files}) > len(rows - {*first.files}) > 0
    touched = {f.bucket for f in rows ^ {f for f in first.files if f.table in LOGGED}}
    assert {f.bucket for f in {*second.files} - {*first.files}} == touched
    assert touched < set(range(9))
    with rqa.open(night) as whole, LakeStore(lake) as spread:
        for measure in ("comebacks_rows", "unit_history", "loose_ends"):
            check_same(whole._store, spread, measure, ())


def test_a_lake_keeps_its_number_of_buckets(tmp_path: Path) -> None:
    store = stored(tmp_path, {"jobs": ROWS["jobs"][:2]})
    assert write_lake(store, tmp_path / "lake").buckets == 1
    with pytest.raises(RequestError, match="has 1 buckets; load into a new folder"):
        write_lake(store, tmp_path / "lake", buckets=2)
    with writing(tmp_path / "lake" / "lake", wait=0), pytest.raises(StoreError, match="is being loaded by process"):
        write_lake(store, tmp_path / "lake", wait=0)


def is_first(lake: Path, store: Path, first: State) -> bool:
    """Whether a lake is in its first state, and answers as the store that it was made from."""
    with rqa.open(store) as whole, LakeStore(lake) as spread:
        check_same(whole._store, spread, "comebacks_rows", ())
    return current(lake) == first


KILLED = """
import os, signal, sys
from pathlib import Path
from rqa.lake import layout, writing
place, night, lake = sys.argv[1:]
room = layout.Path if place == "replace" else writing
done = getattr(room, place)
def die(*given):
    if place == "replace" and given[0].name != "current.json.new":
        return done(*given)
    if place != "replace":
        done(*given)
    os.kill(os.getpid(), signal.SIGKILL)
setattr(room, place, die)
writing.write_lake(Path(night), Path(lake))
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("place", ["_rows", "_write_once", "_kept", "_sum_counts", "replace"])
def test_killed_it_is_as_it_was(tmp_path: Path, place: str) -> None:
    lake, store, night = tmp_path / "lake", stored(tmp_path, ROWS), stored(tmp_path, corrected(), "night")
    first = write_lake(store, lake, buckets=2)
    done = subprocess.run([sys.executable, "-c", KILLED, place, night, lake], capture_output=True, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert is_first(lake, store, first)
    assert not [*orphans(lake, write_lake(night, lake, wait=5))]


@pytest.mark.slow
def test_who_reads_is_not_disturbed_by_one_load(tmp_path: Path) -> None:
    lake, store, night = tmp_path / "lake", stored(tmp_path, ROWS), stored(tmp_path, corrected(), "night")
    write_lake(store, lake, buckets=2)
    with rqa.open(store) as whole, rqa.open(lake) as opened:
        write_lake(night, lake)
        check_same(whole._store, opened._store, "comebacks_rows", ())
        assert opened.newer
        with rqa.open(lake) as fresh:
            assert not fresh.newer
            assert fresh.query("select count(*) as n from jobs where unit_id = 'U90'").item() == 1
            assert opened.query("select count(*) as n from jobs where unit_id = 'U90'").item() == 0


def test_what_is_no_lake_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no lake"):
        LakeStore(tmp_path)
    (tmp_path / "current.json").write_text("{}", encoding="utf-8")
    with pytest.raises(StoreError, match=r"current\.json cannot be read"):
        rqa.open(tmp_path)
    with pytest.raises(RequestError, match="is no lake"):
        rqa.open(tmp_path / "elsewhere", engine=1)


def test_a_query_of_ones_own_reads_no_other_file(tmp_path: Path) -> None:
    """SQL that a user brings is kept from other files in a lake as in a store."""
    other = tmp_path / "other.csv"
    other.write_text("a\n1\n", encoding="utf-8")
    write_lake(stored(tmp_path, {"jobs": ROWS["jobs"][:3]}), tmp_path / "lake", buckets=2)
    with rqa.open(tmp_path / "lake") as depot:
        assert depot.query("select count(*) as n from jobs").item() == 3
        for read in (f"select * from read_csv({literal(str(other))})", f"from jobs, read_csv({literal(str(other))})"):
            with pytest.raises(RequestError, match=r"Permission Error|disabled"):
                depot.query(read)
