"""Whose a store is and where: a load keeps owner, readers and links, and a new store is for its owner alone."""

import os
import stat
import sys
from pathlib import Path

import pytest

import rqa
from rqa.errors import MappingError, StoreError
from rqa.store import place
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="modes, owners and links of POSIX")


def mapping(**workspace: str) -> dict[str, object]:
    return {
        "workspace": workspace, "files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}],
    }


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.fixture(params=some_slow([0o022, 0o000, 0o077], 1))
def umask(request: pytest.FixtureRequest) -> int:
    given: int = request.param
    before = os.umask(given)
    try:
        yield given
    finally:
        os.umask(before)


def test_a_new_store_is_for_its_owner_alone(ws: Workspace, umask: int) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping())
    assert mode(ws.store) == 0o600
    assert mode(Path(f"{ws.store}.lock")) == 0o600


@pytest.mark.parametrize("given", some_slow([0o600, 0o640, 0o660, 0o644, 0o400], 2))
def test_a_load_keeps_the_mode(ws: Workspace, given: int) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping())
    ws.store.chmod(given)
    ws.write("2.csv", csv_of(job("B")))
    ws.load(mapping())
    assert mode(ws.store) == mode(Path(f"{ws.store}.lock")) == given | 0o600
    assert ws.one("select count(*) from jobs") == 2


@pytest.mark.parametrize(("readers", "given"), [("owner", 0o600), ("group", 0o640), ("all", 0o644)])
def test_the_mapping_may_say_who_reads(ws: Workspace, umask: int, readers: str, given: int) -> None:
    """For a new store, and for one that was there with another mode."""
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping(store_readers=readers))
    assert mode(ws.store) == given
    ws.store.chmod(0o606)
    ws.load(mapping(store_readers=readers))
    assert mode(ws.store) == given
    with pytest.raises(MappingError, match="store_readers"):
        ws.load(mapping(store_readers="nobody"))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root may give a file away")
def test_a_load_keeps_owner_and_group(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping())
    os.chown(ws.store, 12_345, 23_456)
    ws.store.chmod(0o640)
    ws.load(mapping())
    found = ws.store.stat()
    assert (found.st_uid, found.st_gid, mode(ws.store)) == (12_345, 23_456, 0o640)


@pytest.mark.parametrize(("may", "left"), [("nothing", 0o604), ("group", 0o664)])
def test_a_group_that_cannot_be_kept_gives_its_rights_to_no_other(
    ws: Workspace, monkeypatch: pytest.MonkeyPatch, may: str, left: int
) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(mapping())
    ws.store.chmod(0o664)

    def refuse(_: Path, user: int, __: int) -> None:
        if may == "nothing" or user != -1:
            raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(place.os, "chown", refuse)
    ws.load(mapping())
    assert mode(ws.store) == left


@pytest.mark.parametrize("there", [False, True])
def test_a_link_is_followed(ws: Workspace, tmp_path: Path, there: bool) -> None:
    """The store stands where the link leads, and nothing but the lock file is left beside it."""
    real = tmp_path / "large disk" / "store.duckdb"
    real.parent.mkdir()
    ws.write("1.csv", csv_of(job("A")))
    if there:
        ws.load(mapping())
        ws.store.rename(real)
        real.chmod(0o640)
    ws.store.symlink_to(real)
    ws.write("2.csv", csv_of(job("B")))
    report = ws.load(mapping())
    assert report.store == ws.store
    assert ws.store.is_symlink()
    assert not real.is_symlink()
    assert mode(real) == (0o640 if there else 0o600)
    assert {p.name for p in real.parent.iterdir()} == {"store.duckdb", "store.duckdb.lock"}
    assert ws.names() <= {"1.csv", "2.csv", "depot.duckdb", "depot.duckdb.lock"}
    with rqa.open(ws.folder) as depot:
        assert depot.query("select job_id from jobs order by 1")["job_id"].to_list() == ["A", "B"]
    (ws.folder / "1.csv").unlink()
    assert ws.load(mapping(vanished="withdraw")).total("withdrawn") == 1


def test_a_link_that_leads_nowhere_is_told(ws: Workspace, tmp_path: Path) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.store.symlink_to(tmp_path / "gone" / "store.duckdb")
    with pytest.raises(StoreError, match=r"is a link to .*gone/store\.duckdb, and there is no folder .*gone; make it"):
        ws.load(mapping())
    ws.store.unlink()
    ws.store.symlink_to(ws.store)
    with pytest.raises(StoreError, match="a link that leads in a circle"):
        ws.load(mapping())
