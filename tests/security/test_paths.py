"""What a `path` of the mapping may lead to: plain files of the workspace and of the folders it names as outside."""

import os
import socket
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from rqa.errors import MappingError
from rqa.store.engine import open_store
from tests.cases import some_slow
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


def _fits(ws: Workspace, names: list[str], pattern: str) -> list[str]:
    for number, name in enumerate(names):
        ws.write(name, csv_of(job(f"J{number}")))
    ws.load(_mapping(pattern))
    return sorted(name for (name,) in ws.rows("select source_file from jobs"))


@pytest.mark.parametrize("name", ["*.csv", "?.csv", "[!x].csv"])
def test_a_file_named_like_a_pattern_hides_no_other(ws: Workspace, name: str) -> None:
    """A pattern means every file that it meets, whatever they are called."""
    if name == "[!x].csv":
        with pytest.raises(MappingError, match="is the name of a file"):
            _fits(ws, [name, "b.csv"], name)
    else:
        assert _fits(ws, [name, "b.csv"], name) == [name, "b.csv"]


@pytest.mark.parametrize(("name", "other"), [("jobs[1].csv", "jobs1.csv"), ("[ab].csv", "b.csv")])
def test_a_name_that_means_other_files_as_a_pattern_is_told(ws: Workspace, name: str, other: str) -> None:
    escaped = name.replace("[", "[[]")
    with pytest.raises(MappingError, match=r"is the name of a file, and as a pattern it means other files") as caught:
        _fits(ws, [name, other], name)
    assert repr(escaped) in str(caught.value)
    assert repr(other) in str(caught.value)
    assert _fits(ws, [name, other], escaped) == [name]
    (ws.folder / other).unlink()
    ws.store.unlink()
    assert _fits(ws, [name], name) == [name], "it can mean no other now"


def test_a_link_in_a_circle_is_told(ws: Workspace) -> None:
    (ws.folder / "a.csv").symlink_to("b.csv")
    (ws.folder / "b.csv").symlink_to("a.csv")
    for path in ("a.csv", "*.csv"):
        with pytest.raises(MappingError, match=r"'a\.csv' is a link that leads in a circle"):
            ws.load(_mapping(path))


def test_a_name_that_is_no_text_is_told(ws: Workspace) -> None:
    (Path(os.fsdecode(os.fsencode(ws.folder) + b"/\xff\xfe.csv"))).write_text(csv_of(job()))
    ws.write("b.csv", csv_of(job()))
    with pytest.raises(
        MappingError, match=r"the name of the file '\\xff\\xfe\.csv' is no UTF-8 text.*; rename the file"
    ):
        ws.load(_mapping("*.csv"))
    ws.load(_mapping("b*.csv"))


@pytest.mark.parametrize("way", some_slow([
    "../elsewhere/{}.csv", "../elsewhere/{}*.csv", "folder/{}.csv", "folder/*{}.csv", "../elsewhere/in/{}.csv",
], 2))
def test_nothing_is_told_of_what_lies_outside(ws: Workspace, elsewhere: Path, way: str) -> None:
    """The same is said whether or not a file is there, and no name of what else is there."""
    (elsewhere / "in").mkdir()
    (elsewhere / "in" / "jobs.csv").write_text(csv_of(job()))
    (elsewhere / "secret.txt").write_text("")
    (ws.folder / "folder").symlink_to(elsewhere)
    said = []
    for name in ("jobs", "none"):
        with pytest.raises(MappingError) as caught:
            ws.load(_mapping(way.format(name)))
        said.append(str(caught.value).replace(name, "…"))
    assert said[0] == said[1]
    assert "lies outside of the workspace" in said[0]
    assert "secret" not in said[0]


def test_a_wildcard_cannot_turn_back(ws: Workspace, elsewhere: Path) -> None:
    (ws.folder / "in").mkdir()
    for name in ("elsewhere", "nowhere"):
        with pytest.raises(MappingError, match=r"'\.\.' cannot stand behind a wildcard"):
            ws.load(_mapping(f"i*/../../{name}/jobs.csv"))


@pytest.mark.parametrize("place", some_slow(["ws/key", "ws/in/key", "ws/jobs.csv", "ws/link/../key", "other/link"], 2))
def test_a_key_lies_outside_of_the_workspace(ws: Workspace, tmp_path: Path, place: str) -> None:
    (ws.folder / "in").mkdir()
    (ws.folder / "link").mkdir()
    (tmp_path / "other").mkdir()
    ws.write("jobs.csv", csv_of(job()))
    for path in ("key", "in/key"):
        ws.write(path, b"a key for the tests alone")
    (tmp_path / "other" / "link").symlink_to(ws.folder / "key")
    mapping = _mapping("jobs.csv")
    mapping["table"][0]["columns"] = {"technician": {"column": "model", "key_file": str(tmp_path / place)}}
    with pytest.raises(
        MappingError, match=r"table\.1 \(jobs\): columns\.technician\.key_file: .* lies in the workspace"
    ):
        ws.load(mapping)
    assert not ws.store.exists()


@pytest.mark.parametrize("way", ["itself", "a link", "another name"])
def test_a_key_is_no_file_that_is_read(ws: Workspace, elsewhere: Path, tmp_path: Path, way: str) -> None:
    key = {"itself": elsewhere / "jobs.csv", "a link": tmp_path / "link", "another name": tmp_path / "name"}[way]
    if way == "a link":
        key.symlink_to(elsewhere / "jobs.csv")
    elif way == "another name":
        key.hardlink_to(elsewhere / "jobs.csv")
    mapping = _mapping("../elsewhere/jobs.csv", outside=["../elsewhere"])
    mapping["table"][0]["columns"] = {"technician": {"column": "model", "key_file": str(key)}}
    with pytest.raises(MappingError, match=r"columns\.technician\.key_file: .* is one of the files that are read"):
        ws.load(mapping)
    assert not ws.store.exists()


def test_a_reader_has_a_folder_of_its_own_for_what_does_not_fit(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job()))
    ws.load(_mapping("jobs.csv"))
    asked = (
        "import rqa, sys; d = rqa.open(sys.argv[1]); "
        "print(d.query(\"select current_setting('temp_directory') as f\")['f'][0])"
    )
    folders = [
        Path(subprocess.run([sys.executable, "-c", asked, str(ws.folder)], capture_output=True, text=True,
                            check=True).stdout.strip())
        for _ in range(2)
    ]
    assert not any(f.exists() for f in folders)
    assert folders[0] != folders[1]
    with open_store(ws.folder) as opened:
        (folder,) = opened.ask("select current_setting('temp_directory') as f")["f"]
    assert stat.S_IMODE(Path(folder).stat().st_mode) == 0o700
