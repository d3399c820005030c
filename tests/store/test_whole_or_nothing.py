"""A load is all or nothing: killed, locked out, looked at or failing, the store stays whole and readers undisturbed."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import duckdb
import pytest

from rqa.errors import MappingError, StoreError
from rqa.store import lock
from rqa.store.ddl import FORMAT_VERSION
from rqa.store.engine import open_store
from rqa.store.load import load
from rqa.store.lock import writing
from tests.workspaces import Workspace, csv_of, job

MAPPING = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}

KILLED = """
import os, signal, sys
from pathlib import Path
from rqa.store.load import load

folder, moment = sys.argv[1:]
mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

def progress(stage):
    if stage.what.startswith(moment):
        die()

if moment == "before the swap":
    Path.replace = die
if moment == "after the swap":
    swap = Path.replace
    Path.replace = lambda *a: (swap(*a), die())
load(folder, version="0", mapping=mapping, keep=die if moment == "keep" else lambda c, before: None, progress=progress)
"""


def standing(ws: Workspace) -> Workspace:
    """A workspace with a store of one job, and a second file to load."""
    ws.write("1.csv", csv_of(job("A")))
    ws.load(MAPPING)
    ws.write("2.csv", csv_of(job("B"), job("C")))
    return ws


def ids(ws: Workspace) -> list[str]:
    return [i for (i,) in ws.rows("select job_id from jobs order by 1")]


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
@pytest.mark.parametrize("moment", ["reading", "checking", "keep", "before the swap", "after the swap"])
def test_killed_load_leaves_all_or_nothing(ws: Workspace, moment: str) -> None:
    standing(ws)
    before = ws.digest()
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(ws.folder), moment], capture_output=True, check=False, timeout=60
    )
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    if moment == "after the swap":
        assert ids(ws) == ["A", "B", "C"]
    else:
        assert ws.digest() == before
        assert ids(ws) == ["A"]
    with open_store(ws.store) as store:
        assert store.about["format_version"] == FORMAT_VERSION
    ws.load(MAPPING)
    assert ids(ws) == ["A", "B", "C"]
    assert ws.names() == {"1.csv", "2.csv", "depot.duckdb", "depot.duckdb.lock"}


def test_error_while_loading_leaves_the_store_and_nothing_else(ws: Workspace) -> None:
    standing(ws)
    before, names = ws.digest(), ws.names()

    def fail(_: duckdb.DuckDBPyConnection, before: str | None) -> None:
        raise RuntimeError("no")

    with pytest.raises(RuntimeError):
        ws.load(MAPPING, keep=fail)
    assert ws.digest() == before
    assert ws.names() == names
    ws.load(MAPPING)
    assert ids(ws) == ["A", "B", "C"]


def test_second_writer_waits_its_turn(ws: Workspace) -> None:
    standing(ws)
    holding, free = threading.Event(), threading.Event()

    def hold() -> None:
        with writing(ws.store, wait=0):
            holding.set()
            free.wait(10)

    other = threading.Thread(target=hold)
    other.start()
    assert holding.wait(10)
    began = time.monotonic()
    with pytest.raises(StoreError) as caught:
        ws.load(MAPPING, wait=0.3)
    assert time.monotonic() - began >= 0.3
    said = str(caught.value)
    assert f"depot.duckdb is being loaded by process {os.getpid()} since " in said
    assert "waited 0.3 s" in said
    assert "\n" not in said
    assert ids(ws) == ["A"]
    threading.Timer(0.2, free.set).start()
    ws.load(MAPPING, wait=10)
    other.join()
    assert ids(ws) == ["A", "B", "C"]


def test_lock_of_a_killed_writer_is_free(ws: Workspace) -> None:
    standing(ws)
    ws.write("depot.duckdb.lock", "process 1 since 2024-01-01 00:00:00 UTC")
    ws.load(MAPPING, wait=0)
    assert ids(ws) == ["A", "B", "C"]


def test_reader_keeps_what_it_opened_and_does_not_block(ws: Workspace) -> None:
    standing(ws)
    count = "select count(*) as n from jobs"
    seen: list[int] = []

    def look(_: duckdb.DuckDBPyConnection, before: str | None) -> None:
        with open_store(ws.store) as during:
            seen.append(during.counts("n", count).item())

    with open_store(ws.store) as reader:
        assert not reader.newer
        ws.load(MAPPING, keep=look)
        assert seen == [1]
        assert reader.counts("n", count).item() == 1
        assert reader.newer
    with open_store(ws.store) as reader:
        assert reader.counts("n", count).item() == 3


def test_look_without_writing_leaves_no_trace(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("B", site="")))
    report = ws.load(MAPPING, write=False)
    assert (report.total("accepted"), report.total("refused"), report.written) == (1, 1, False)
    assert "Nothing written" in str(report)
    assert ws.names() == {"1.csv"}
    ws.load(MAPPING)
    before, names = ws.digest(), ws.names()
    ws.write("2.csv", csv_of(job("C")))
    assert ws.load(MAPPING, write=False).total("accepted") == 1
    assert ws.digest() == before
    assert ws.names() == names | {"2.csv"}


def test_look_needs_no_turn(ws: Workspace) -> None:
    standing(ws)
    with writing(ws.store, wait=0):
        assert ws.load(MAPPING, write=False, wait=0).total("accepted") == 2


def test_folder_that_cannot_be_written_to(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    standing(ws)

    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(lock.os, "open", refuse)
    with pytest.raises(StoreError, match=r"cannot be written to .*Permission denied"):
        ws.load(MAPPING)


def test_disk_that_refuses_locks(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    standing(ws)

    def refuse(_: int) -> bool:
        raise OSError(37, "No locks available")

    monkeypatch.setattr(lock, "_take", refuse)
    with pytest.raises(StoreError, match=r"refuses locks .*local disk"):
        ws.load(MAPPING)


def damage(path: Path, how: str) -> None:
    if how == "other bytes":
        path.write_bytes(b"not a store" * 1_000)
    elif how == "cut short":
        path.write_bytes(path.read_bytes()[:20_000])
    elif how == "empty":
        path.write_bytes(b"")
    else:
        path.unlink()
        with duckdb.connect(str(path)) as connection:
            if how == "another database":
                connection.execute("create table t (a int)")
            else:
                connection.execute("create table about as select 'format_version' as name, '0' as value")


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize("how", ["other bytes", "cut short", "empty", "another database", "another version"])
def test_damaged_or_foreign_store_is_told_and_left_alone(ws: Workspace, how: str, write: bool) -> None:
    standing(ws)
    damage(ws.store, how)
    before, names = ws.digest(), ws.names()
    with pytest.raises(StoreError, match=r"depot\.duckdb") as caught:
        ws.load(MAPPING, write=write)
    assert "\n" not in str(caught.value)
    assert ws.digest() == before
    assert ws.names() == names


def test_store_open_for_writing_elsewhere(ws: Workspace) -> None:
    standing(ws)
    script = "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('open', flush=True); sys.stdin.read()"
    command = [sys.executable, "-c", script, str(ws.store)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        with pytest.raises(StoreError, match=f"PID {other.pid}"):
            ws.load(MAPPING)
        other.communicate()


def test_frames_may_make_a_new_workspace(tmp_path: Path) -> None:
    import polars as pl

    folder = tmp_path / "new" / "ws"
    load(folder, version="0", keep=lambda c, before: None, frames={"jobs": pl.DataFrame([job("A")])})
    assert ids(Workspace(folder)) == ["A"]
    other = tmp_path / "look"
    with pytest.raises(MappingError):
        load(other, version="0", keep=lambda c, before: None, frames={"jobs": pl.DataFrame({"a": [1]})}, write=False)
    assert not other.exists()


def test_report_is_a_summary_to_act_on(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("B", site=""), job("C", site="", disposition="gone")))
    said = str(ws.load(MAPPING))
    assert "jobs 3 1 2 0 0 1.csv" in " ".join(said.split())
    assert "2 × jobs.site: missing; first in 1.csv, row 3" in said
    assert "1 × jobs.disposition: not one of repaired" in said
    assert "first 'gone' in 1.csv, row 4" in said
    assert f"Stored in {ws.store}" in said


def test_a_load_writes_each_row_once_and_keeps_no_log_beside_the_copy(ws: Workspace) -> None:
    """A log would hold all that is written a second time; the copy is read by nobody before it is whole."""
    found: dict[str, int] = {}

    def look(connection: duckdb.DuckDBPyConnection, before: str | None) -> None:
        found.update({p.name: p.stat().st_size for p in ws.folder.glob("depot.duckdb.new-*/*")})

    ws.write("1.csv", csv_of(*(job(f"J{n}") for n in range(500))))
    ws.load(MAPPING, keep=look)
    assert "depot.duckdb" in found
    logs = [size for name, size in found.items() if ".wal" in name]
    assert sum(logs) < 1_000
    assert ws.one("select count(*) from jobs") == 500
