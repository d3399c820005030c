"""The door to the engine: what it opens, what it refuses, and how it says so."""

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from unittest.mock import patch

import duckdb
import pytest

import rqa
from rqa.errors import StoreError
from rqa.store import engine
from rqa.store.engine import KEPT_ROWS, connect, open_store
from tests.depots import make_store
from tests.measures.depot_rows import ROWS
from tests.workspaces import Workspace, csv_of, job


def test_no_more_is_kept_than_said_and_nothing_once_it_is_forgotten(tmp_path: Path) -> None:
    with open_store(make_store(tmp_path / "depot.duckdb", {})) as store:
        made = list[int]()

        def make(n: int) -> int:
            return store.once("squares", n, lambda: (made.append(n), n * n)[1], most=3)

        assert [make(n) for n in (1, 2, 3, 2, 4, 2, 1)] == [1, 4, 9, 4, 16, 4, 1]
        assert made == [1, 2, 3, 4, 1], "the oldest goes first"
        assert store.once("cubes", 2, lambda: 8) == 8
        store.forget()
        assert (make(4), made[5:]) == (16, [4])
    assert (make(4), made[6:]) == (16, [4]), "a closed store has let go of it"


def test_threads_may_ask_and_forget_at_once(tmp_path: Path) -> None:
    """More questions than are kept, by several threads, while another has all of it forgotten."""
    with open_store(make_store(tmp_path / "depot.duckdb", {})) as store, patch.object(engine, "KEPT_COUNTS", 2):
        over = threading.Event()

        def forget() -> None:
            while not over.is_set():
                store.forget()

        def ask(start: int) -> list[int]:
            numbers = [(start + n) % 5 for n in range(60)]
            return [store.counts("n.sql", "select $n::int as n", {"n": n})["n"].item() - n for n in numbers]

        with ThreadPoolExecutor(5) as pool:
            forgetting = pool.submit(forget)
            try:
                assert [sum(map(abs, off)) for off in pool.map(ask, range(4))] == [0] * 4
            finally:
                over.set()
            forgetting.result()


def test_a_replaced_store_is_announced_and_seen_by_the_next_open(tmp_path: Path) -> None:
    """In one process too: the old reader keeps what it opened, a new one sees the new file."""
    path = make_store(tmp_path / "depot.duckdb", {"jobs": ROWS["jobs"][:1]})
    with rqa.open(path) as old:
        assert not old.newer
        make_store(tmp_path / "other.duckdb", {"jobs": ROWS["jobs"]})
        (tmp_path / "other.duckdb").replace(path)
        assert old.newer
        count = "select count(*) as n from jobs"
        assert old.query(count)["n"].item() == 1
        with rqa.open(tmp_path) as new:
            assert new.query(count)["n"].item() == len(ROWS["jobs"])
            assert not new.newer
        assert old.query(count)["n"].item() == 1


def test_no_store(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"there is no store\. Make one with `rqa load"):
        rqa.open(tmp_path)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError) as caught:
        rqa.open(tmp_path / "nowhere")
    said = str(caught.value)
    assert said.startswith(f"{tmp_path / 'nowhere'}: there is no such folder. Name a workspace")
    assert "rqa load" not in said


def test_not_a_store(tmp_path: Path) -> None:
    (tmp_path / "a.duckdb").write_text("not a database, but long enough to be read as one" * 400)
    with pytest.raises(
        StoreError, match=r"not a store, or its beginning is damaged\. Restore it from a copy; or move it away"
    ):
        rqa.open(tmp_path / "a.duckdb")
    duckdb.connect(str(tmp_path / "b.duckdb")).close()
    with pytest.raises(StoreError, match="no store of rqa"):
        rqa.open(tmp_path / "b.duckdb")


def test_another_format(tmp_path: Path) -> None:
    path = make_store(tmp_path / "depot.duckdb", {})
    with connect(path, read_only=False) as c:
        c.execute("update about set value = '0' where name = 'format_version'")
    with pytest.raises(StoreError, match=r"store format '0'.*Move the file away and load anew with `rqa load "):
        rqa.open(path)
    with connect(path, read_only=False) as c:
        c.execute("update about set value = ? where name in ('format_version', 'rqa_version')", ["\x1b[2J\n" * 9_999])
    with pytest.raises(StoreError) as raised:
        rqa.open(path)
    said = str(raised.value)
    assert said.isprintable()
    assert len(said) < 800 + len(str(tmp_path)) * 2


def test_what_a_store_of_an_older_format_asks_for_helps(ws: Workspace) -> None:
    """Its tables may be others than ours, and what the message says to do leads to a store that can be read."""
    ws.write("1.csv", csv_of(job("A")))
    mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    duckdb.connect(str(ws.store)).execute(
        "create table about as select * from (values ('format_version', '3'), ('rqa_version', '0.0.9')) v(name, value)"
    ).close()
    for ask in (lambda: ws.load(mapping), lambda: ws.load(mapping, write=False), lambda: rqa.open(ws.folder)):
        with pytest.raises(
            StoreError, match=r"store format '3', written by rqa '0\.0\.9'.*Move the file away and load"
        ):
            ask()
    ws.store.rename(ws.folder / "old.duckdb")
    ws.load(mapping)
    assert ws.one("select count(*) from jobs") == 1


def test_a_lock_is_explained_in_one_line(tmp_path: Path) -> None:
    path = make_store(tmp_path / "depot.duckdb", {})
    hold = f"import duckdb, sys; c = duckdb.connect({str(path)!r}); print('ready', flush=True); sys.stdin.read()"
    holder = subprocess.Popen([sys.executable, "-c", hold], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(StoreError) as raised:
            rqa.open(path)
        assert f"PID {holder.pid}" in str(raised.value)
        assert "\n" not in str(raised.value)
    finally:
        holder.communicate("")


def test_a_closed_depot_says_so(tmp_path: Path) -> None:
    depot = rqa.open(make_store(tmp_path / "depot.duckdb", ROWS))
    depot.close()
    depot.close()
    with pytest.raises(StoreError, match="was closed"):
        depot.comebacks()


def test_an_engine_error_carries_the_question(tmp_path: Path) -> None:
    with open_store(make_store(tmp_path / "depot.duckdb", {})) as store, pytest.raises(StoreError) as raised:
        store.counts("nothing.sql", "select * from nowhere where a = $a", {"a": 7})
    said = str(raised.value)
    assert said.startswith("nothing.sql: ")
    assert "{'a': 7}" in said
    assert "from nowhere" in said
    assert isinstance(raised.value.__cause__, duckdb.Error)


def test_readers_cannot_write_nor_see_python_variables(tmp_path: Path) -> None:
    path = make_store(tmp_path / "depot.duckdb", {})
    rogue = rqa.open(path).query("select 1 as a")
    with rqa.open(path) as depot, pytest.raises(rqa.errors.RequestError, match="rogue"):
        depot.query("select * from rogue")
    assert rogue.height == 1


@pytest.mark.parametrize("given", ["tomorrow", "2026-13-01", 5])
def test_as_of_must_be_a_day(tmp_path: Path, given: object) -> None:
    path = make_store(tmp_path / "depot.duckdb", {})
    with pytest.raises(rqa.errors.RequestError, match="as_of"):
        rqa.open(path, as_of=given)  # type: ignore[arg-type]


def test_what_was_counted_is_not_asked_again(tmp_path: Path) -> None:
    """The answer is the same, what a caller does to it stays with that caller, and other values are other questions."""
    with open_store(make_store(tmp_path / "depot.duckdb", {})) as store:
        sql = "select range as n from range($most) order by n"
        first = store.counts("numbers.sql", sql, {"most": 3})
        first.insert_column(0, first["n"].alias("more"))
        with patch.object(store, "_cursor", side_effect=AssertionError("asked again")):
            again = store.counts("numbers.sql", sql, {"most": 3})
        assert again.to_dict(as_series=False) == {"n": [0, 1, 2]}
        assert store.counts("numbers.sql", sql, {"most": 2}).height == 2
        many = store.counts("numbers.sql", sql, {"most": KEPT_ROWS + 1})
        with pytest.raises(AssertionError, match="asked again"), patch.object(
            store, "_cursor", side_effect=AssertionError("asked again")
        ):
            store.counts("numbers.sql", sql, {"most": many.height})
