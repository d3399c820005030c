"""What is written takes the place of what was there in one step: a full disk leaves the old file, and nothing else."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from rqa.answers.core.workbook import write_sheets
from rqa.errors import RequestError
from rqa.intake.own_actions import add_own_action
from rqa.review import ledger
from rqa.written import write_whole

ACTION = {"action_id": "A1", "what": "guide", "started_on": "2026-01-12", "scope": "model=M1"}
WRITERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "a page": ("page.html", lambda path: write_whole(path, b"new")),
    "a workbook": ("page.xlsx", lambda path: write_sheets([("a", ("x",), [(1,)])], path)),
    "the ledger": (ledger.LEDGER, lambda path: ledger.keep(path.parent, (), ledger.Record("k", "2026-01", "", {}))),
    "actions": ("actions.csv", lambda path: add_own_action(path.parent, ACTION)),
}


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_leaves_what_was_there(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    file, write = WRITERS[name]
    path = tmp_path / file
    path.write_text(",".join(ACTION) + "\n")
    old = path.read_bytes()
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises((OSError, RequestError), match=file) as caught:
        write(path)
    assert ".new-" not in str(caught.value)
    assert path.read_bytes() == old
    assert list(tmp_path.iterdir()) == [path]
    monkeypatch.undo()
    write(path)
    assert path.read_bytes() != old
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_and_who_may_read_stay_as_they_are(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_bytes(b"old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640
