"""What is kept beside a store: for that file and this program alone, and gone with it."""

import stat
import sys
from pathlib import Path

import pytest

import rqa
from rqa.store.kept_beside import KeptBeside, beside, made_by
from tests.depots import make_store
from tests.workspaces import Workspace, csv_of, job


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "depot.duckdb"
    path.write_bytes(b"rows")
    return path


def test_what_is_kept_is_found_by_the_next_who_asks(store: Path) -> None:
    one = KeptBeside(store)
    assert one.get(b"a") is None
    one.put(b"a", b"first")
    KeptBeside(store).put(b"b", b"")
    kept = KeptBeside(store)
    assert kept.get(b"a") == b"first"
    assert kept.get(b"b") == b""
    assert kept.get(b"c") is None
    assert sorted(path.name for path in store.parent.iterdir()) == ["depot.duckdb", "depot.duckdb.answers"]


def test_it_holds_for_one_file_alone(store: Path) -> None:
    """Another file in the store's place has none of it, and what was worked out of the old one is not kept with it."""
    old = KeptBeside(store)
    old.put(b"a", b"of old rows")
    fresh = store.with_name("fresh")
    fresh.write_bytes(b"row2")
    fresh.replace(store)
    assert KeptBeside(store).get(b"a") is None
    old.put(b"b", b"of old rows")
    assert KeptBeside(store).get(b"b") is None
    KeptBeside(store).put(b"b", b"of new rows")
    assert KeptBeside(store).get(b"b") == b"of new rows"
    assert b"of old rows" not in beside(store).read_bytes()


def test_another_program_begins_anew(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    KeptBeside(store).put(b"a", b"by this one")
    monkeypatch.setattr("rqa.store.kept_beside.made_by", lambda: b"another")
    assert KeptBeside(store).get(b"a") is None
    KeptBeside(store).put(b"a", b"by another")
    monkeypatch.setattr("rqa.store.kept_beside.made_by", made_by)
    assert KeptBeside(store).get(b"a") is None


@pytest.mark.parametrize("cut", range(0, 260, 13))
def test_what_is_cut_off_or_changed_counts_for_nothing(store: Path, cut: int) -> None:
    kept = KeptBeside(store)
    kept.put(b"a", b"first" * 3)
    first = len(beside(store).read_bytes())
    kept.put(b"b", b"second" * 3)
    whole = beside(store).read_bytes()
    beside(store).write_bytes(whole[:cut])
    assert KeptBeside(store).get(b"a") in (None, b"first" * 3)
    assert KeptBeside(store).get(b"b") in (None, b"second" * 3)
    assert (KeptBeside(store).get(b"a") is not None) == (cut >= first)
    place = min(cut, len(whole) - 1)
    beside(store).write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
    assert KeptBeside(store).get(b"a") in (None, b"first" * 3)
    assert KeptBeside(store).get(b"b") in (None, b"second" * 3)
    # The next that is kept is found all the same, or nothing is.
    KeptBeside(store).put(b"c", b"third")
    assert KeptBeside(store).get(b"c") in (None, b"third")


@pytest.mark.skipif(sys.platform == "win32", reason="modes and links of POSIX")
def test_it_is_for_its_owner_alone_and_follows_no_link(store: Path, tmp_path: Path) -> None:
    KeptBeside(store).put(b"a", b"first")
    assert stat.S_IMODE(beside(store).stat().st_mode) == 0o600
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_bytes(beside(store).read_bytes())
    beside(store).unlink()
    Path(beside(store)).symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    kept = KeptBeside(store)
    kept.put(b"b", b"second")
    assert kept.get(b"a") is None
    assert elsewhere.read_bytes() == before


def test_a_load_removes_what_was_kept_of_the_old_rows(ws: Workspace) -> None:
    mapping = {"workspace": {}, "files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping)
    with rqa.open(ws.store) as depot:
        depot._store.keep(b"a", b"first")
    assert beside(ws.store).exists()
    ws.write("2.csv", csv_of(job("B")))
    ws.load(mapping)
    assert not beside(ws.store).exists()


def test_a_store_that_forgets_works_everything_out_anew(tmp_path: Path) -> None:
    path = make_store(tmp_path / "depot.duckdb", {"jobs": [{"job_id": "A"}]})
    with rqa.open(path) as depot:
        depot._store.keep(b"a", b"first")
    with rqa.open(path) as depot:
        assert depot._store.kept(b"a") == b"first"
        depot._store.forget()
        assert depot._store.kept(b"a") is None
