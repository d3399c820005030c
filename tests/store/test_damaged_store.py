"""A store with a spoilt byte is never carried on: whatever asks it answers rightly, or says that it is damaged."""

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

import rqa
from rqa.contract import TABLES
from rqa.errors import StoreError
from rqa.measures.keep import KEPT
from rqa.store import place
from rqa.store.engine import let_go, open_store
from tests.cases import some_slow
from tests.made_once import Shelf
from tests.workspaces import Workspace, csv_of, job

HEADERS, BLOCK = 3 * 4096, 262_144
"""A store begins with three headers; then come blocks, each with a checksum of its own (engine 2.0.1)."""
MAPPING = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
SAID = r"^the store .*depot\.duckdb is damaged: .*Restore it from a copy; or move it away and load anew with `rqa load "


def places(size: int, most: int, seed: int = 1) -> list[int]:
    """Bytes to spoil: one of each header, and one of each of so many blocks."""
    chance = random.Random(seed)
    blocks = range(HEADERS, size, BLOCK)
    drawn = sorted(chance.sample(blocks, min(most, len(blocks))))
    return [chance.randrange(n, n + 4096) for n in (0, 4096, 8192)] + [
        chance.randrange(n, min(n + BLOCK, size)) for n in drawn
    ]


def each_spoilt(store: Path, most: int, seed: int = 1) -> Iterator[int]:
    """The store with one bit of it turned, again and again; whole again at the end."""
    whole = store.read_bytes()
    for at in places(len(whole), most, seed):
        spoilt = bytearray(whole)
        spoilt[at] ^= 0x10
        store.write_bytes(spoilt)
        yield at
    store.write_bytes(whole)


def loaded(ws: Workspace) -> str | None:
    """A load, with what it says if it cannot be."""
    try:
        rqa.load(ws.folder, mapping=MAPPING)
    except StoreError as error:
        return str(error)
    return None


def standing(ws: Workspace) -> Workspace:
    """A workspace with a store, and a second file to load."""
    ws.write("1.csv", csv_of(*(job(f"A{n}", unit_id=f"U{n}") for n in range(50))))
    ws.load_as_before(MAPPING)
    ws.write("2.csv", csv_of(job("B")))
    return ws


def is_whole(store: Path) -> bool:
    with open_store(store) as opened:
        return opened.unreadable() is None


def is_stopped_or_sound(ws: Workspace) -> bool:
    """Load a store that may be damaged: True if it is told and left alone, False if a sound store comes of it."""
    before, names = ws.digest(), ws.names()
    said = loaded(ws)
    assert ws.names() == names
    if said is None:
        assert is_whole(ws.store)
        assert ws.one("select count(*) from jobs") == 51
        return False
    assert "damaged" in said
    assert "\n" not in said
    assert "refuses locks" not in said
    assert ws.digest() == before
    return True


def stopped(ws: Workspace, most: int, seed: int = 1) -> int:
    """How many loads of a store that is spoilt, each time elsewhere, were stopped."""
    return sum(is_stopped_or_sound(ws) for _ in each_spoilt(ws.store, most, seed))


@pytest.mark.slow
def test_a_load_hands_on_no_damage(ws: Workspace) -> None:
    assert stopped(standing(ws), 9) >= 6
    assert loaded(ws) is None
    assert ws.one("select count(*) from jobs") == 51


@pytest.mark.long
def test_a_load_hands_on_no_damage_in_any_block(ws: Workspace) -> None:
    standing(ws)
    assert sum(stopped(ws, 10_000, seed) for seed in range(2, 12)) > 60


def test_a_load_finds_the_damage_that_it_does_not_read_itself(ws: Workspace) -> None:
    """Tables that have no new rows are carried over unread, and so is what is spoilt in them."""
    ws.write("refs.csv", "test,subsystem\n" + "".join(f"t{n},s\n" for n in range(99)))
    mapping = {
        "files": {"f": {"path": "[0-9].csv"}, "r": {"path": "refs.csv"}},
        "table": [{"table": "jobs", "from": "f"}, {"table": "tests", "from": "r"}],
    }
    ws.write("1.csv", csv_of(job("A")))
    rqa.load(ws.folder, mapping=mapping)
    whole = ws.store.read_bytes()
    with duckdb.connect(str(ws.store), read_only=True) as connection:
        ((block, offset),) = connection.execute(
            "select block_id, block_offset from pragma_storage_info('tests') where column_name = 'test' "
            "and segment_type = 'VARCHAR'"
        ).fetchall()
    spoilt = bytearray(whole)
    spoilt[HEADERS + block * BLOCK + 8 + offset + 5] ^= 1
    ws.store.write_bytes(spoilt)
    ws.write("2.csv", csv_of(job("B")))
    with pytest.raises(StoreError, match=SAID):
        rqa.load(ws.folder, mapping=mapping)
    assert ws.store.read_bytes() == spoilt
    with rqa.open(ws.folder) as depot, pytest.raises(StoreError, match=SAID):
        depot.query("select * from tests")


@pytest.mark.parametrize("where", some_slow(["its table jobs", "as a whole"], 1))
def test_what_cannot_be_read_back_is_not_put_in_place(
    ws: Workspace, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    """A disk that keeps something else than was written: the old store is whole, and stays."""
    standing(ws)
    before = ws.digest()

    def spoil(connection: duckdb.DuckDBPyConnection) -> None:
        let_go(connection)
        (fresh,) = ws.folder.glob("depot.duckdb.new-*/depot.duckdb")
        content = bytearray(fresh.read_bytes())
        with duckdb.connect(str(fresh), read_only=True) as other:
            at = "select block_id from pragma_storage_info('jobs') where column_name = 'job_id' and block_id >= 0"
            block, *_ = other.execute(at).fetchone() or (0,)
        blocks = range(len(content) // BLOCK) if where == "as a whole" else [block]
        for number in blocks:
            content[HEADERS + number * BLOCK + 100] ^= 1
        fresh.write_bytes(content)

    monkeypatch.setattr(place, "let_go", spoil)
    said = "its table jobs cannot be read .*" if where == "its table jobs" else ""
    with pytest.raises(StoreError, match=rf"cannot be read back: {said}.*not those that.*The disk may be failing"):
        ws.load(MAPPING)
    assert ws.digest() == before


@pytest.mark.parametrize("share", some_slow([0.001, 0.2, 0.5, 0.99], [0.5]))
def test_a_store_cut_short_is_told(ws: Workspace, share: float) -> None:
    standing(ws)
    content = ws.store.read_bytes()
    right = {name: rows_of(ws, name) for name in (*TABLES, *KEPT)}
    ws.store.write_bytes(content[: int(len(content) * share)])
    said = []
    for name in right:
        try:
            assert rows_of(ws, name) == right[name]
        except StoreError as error:
            said.append(str(error))
    assert said or share > 0.9
    assert all("damaged" in s for s in said)
    is_stopped_or_sound(ws)


def rows_of(ws: Workspace, name: str) -> object:
    with rqa.open(ws.folder) as depot:
        return depot.query(f"select * from {name} order by all").rows()


def answers(folder: Path) -> list[object]:
    """What readers ask: rows, and measures."""
    with rqa.open(folder) as depot:
        rows = [depot.query(f"select * from {n} order by all limit 50").rows() for n in ("jobs", "loads", "refused")]
        return [*rows, depot.comebacks(window=30).table.rows(), depot.about]


def asked(ws: Workspace, most: int, ask: Callable[[Path], object]) -> tuple[int, int]:
    """How often a spoilt store gave the right answer, and how often it was said to be damaged."""
    right, well, told = ask(ws.folder), 0, 0
    for at in each_spoilt(ws.store, most):
        try:
            assert ask(ws.folder) == right, at
            well += 1
        except StoreError as error:
            told += "damaged" in str(error)
    assert well + told == len(places(ws.store.stat().st_size, most))
    return well, told


def test_readers_answer_rightly_or_say_that_the_store_is_damaged(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(*(job(f"A{n}", unit_id=f"U{n % 7}") for n in range(50)), job("X", site="")))
    ws.write("sources.toml", '[files.f]\npath = "1.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n')
    rqa.load(ws.folder)
    well, told = asked(ws, 20, answers)
    assert well
    assert told > 6


@pytest.mark.long
def test_the_page_is_right_or_the_store_is_said_to_be_damaged(shelf: Shelf, tmp_path: Path) -> None:
    from rqa.review import write_page

    shutil.copytree(shelf.demo(300), tmp_path / "out")

    def page(folder: Path) -> str:
        with rqa.open(folder) as depot:
            return write_page(depot, tmp_path / "page.html").headline

    well, told = asked(Workspace(tmp_path / "out"), 40, page)
    assert well
    assert told
