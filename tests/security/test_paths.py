"""What a `path` of the mapping may lead to: plain files of the workspace and of the folders it names as outside."""

import os
import socket
from pathlib import Path
from typing import Any

import pytest

from rqa.errors import MappingError
from tests.workspaces import Workspace, csv_of, job


def _mapping(path: str, **workspace: Any) -> dict[str, Any]:
    return {
        "workspace": workspace,
        "files": {"log": {"path": path, "format": "csv"}},
        "table": [{"table": "jobs", "from": "log"}],
    }


@pytest.fixture
def elsewhere(ws: Workspace) -> Path:
    """A folder beside the workspace, with a file that could be read as jobs."""
    folder = ws.folder.parent / "elsewhere"
    folder.mkdir()
    (folder / "jobs.csv").write_text(csv_of(job()))
    return folder


@pytest.mark.parametrize("path", ["../elsewhere/jobs.csv", "../*/jobs.csv", "in/../../elsewhere/jobs.csv"])
def test_a_path_that_leaves_the_workspace_needs_its_folder_named(ws: Workspace, elsewhere: Path, path: str) -> None:
    (ws.folder / "in").mkdir()
    with pytest.raises(MappingError, match=r"files\.log\.path: .*lies outside of the workspace; name its folder in"):
        ws.load(_mapping(path))
    for named in ("../elsewhere", str(elsewhere)):
        ws.store.unlink(missing_ok=True)
        ws.load(_mapping(path, outside=[named]))
        assert ws.rows("select source_file from jobs") == [("../elsewhere/jobs.csv",)]


def test_a_link_that_leaves_the_workspace_is_refused_and_one_within_is_followed(ws: Workspace, elsewhere: Path) -> None:
    (ws.folder / "out.csv").symlink_to(elsewhere / "jobs.csv")
    (ws.folder / "folder").symlink_to(elsewhere)
    ws.write("real.csv", csv_of(job()))
    (ws.folder / "within.csv").symlink_to(ws.folder / "real.csv")
    (ws.folder / "broken.csv").symlink_to(ws.folder / "gone.csv")
    for path in ("out.csv", "folder/jobs.csv", "ou*.csv"):
        with pytest.raises(MappingError, match=r"lies outside of the workspace, as a link leads to '.*/elsewhere/jobs"):
            ws.load(_mapping(path))
    with pytest.raises(MappingError, match=r"'broken\.csv' is a link to a file that does not exist"):
        ws.load(_mapping("broken.csv"))
    ws.load(_mapping("within.csv"))
    assert ws.rows("select source_file from jobs") == [("within.csv",)]


def test_what_is_no_plain_file_is_refused_at_once(ws: Workspace) -> None:
    os.mkfifo(ws.folder / "pipe.csv")
    (ws.folder / "folder.csv").mkdir()
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(ws.folder / "socket.csv"))
        for path in ("pipe.csv", "socket.csv", "p*.csv"):
            with pytest.raises(MappingError, match=r"is no plain file \(a pipe, a socket or a device\)"):
                ws.load(_mapping(path))
        for path in (".", "folder.csv"):
            with pytest.raises(MappingError, match=r"is a folder; name its files, such as '.*\*\.csv'"):
                ws.load(_mapping(path))
    with pytest.raises(MappingError, match=r"'/dev/zero' is absolute"):
        ws.load(_mapping("/dev/zero"))
    with pytest.raises(MappingError, match=r"'a\*\*b' is no path"):
        ws.load(_mapping("a**b"))
