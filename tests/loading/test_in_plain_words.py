"""A disk or a memory that does not suffice is told as that, not as a fault of the file that was being read."""

import errno
from pathlib import Path
from typing import Any

import duckdb
import pytest

import rqa
from rqa.errors import RequestError, SourceError, StoreError
from rqa.store.limits import MEMORY
from tests.workspaces import Workspace, csv_of, job

MAPPING = {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f"}]}


def caused(error: Exception, cause: Exception) -> Exception:
    error.__cause__ = cause
    return error


# What was seen on a disk of 30 MB with 1 to 20 MB left, engine 2.0.1.
TROUBLES = [
    (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
    (caused(SourceError("f.csv: cannot be read to its end"), duckdb.IOException("write: No space left on device")),
     "the disk is full"),
    (caused(StoreError("f.csv: the engine could not read it"),
            duckdb.OutOfMemoryException("failed to offload data block of size 256.0 KiB")), "the disk is full"),
    (duckdb.OutOfMemoryException("failed to allocate data of size 2.0 MiB"), f"needs more memory than the {MEMORY}"),
    (PermissionError(errno.EACCES, "Permission denied", "x/depot.duckdb"), "x/depot.duckdb: Permission denied"),
    (duckdb.InternalException("something new"), "the engine failed: something new"),
]


@pytest.mark.parametrize(("trouble", "said"), TROUBLES)
def test_what_is_said(ws: Workspace, monkeypatch: pytest.MonkeyPatch, trouble: Exception, said: str) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise trouble

    monkeypatch.setattr("rqa.store.load._load_into", fail)
    ws.write("jobs.csv", csv_of(job("A")))
    with pytest.raises(StoreError) as raised:
        rqa.load(ws.folder, mapping=MAPPING)
    assert str(raised.value).startswith(said) or said in str(raised.value)
    assert "\n" not in str(raised.value)
    assert not (ws.folder / "depot.duckdb").exists()


def test_a_file_that_really_is_cut_short_is_told_as_before(ws: Workspace) -> None:
    ws.write("jobs.csv.gz", b"\x1f\x8b\x08\x00not a gzip file")
    mapping = {**MAPPING, "files": {"f": {"path": "jobs.csv.gz"}}}
    with pytest.raises(SourceError, match=r"jobs\.csv\.gz"):
        rqa.load(ws.folder, mapping=mapping)


@pytest.mark.parametrize(("how", "said"), [({"memory": "lots"}, "memory is a size"), ({"wait": -1}, "wait is a number"),
                                           ({"wait": float("nan")}, "wait is a number")])
def test_settings_that_are_none(tmp_path: Path, how: dict[str, Any], said: str) -> None:
    with pytest.raises(RequestError, match=said):
        rqa.load(tmp_path, mapping=MAPPING, **how)
