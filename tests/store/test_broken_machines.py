"""Disks that are full and folders that are closed: one message that says so, and the store as it was."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

import rqa
from rqa.errors import StoreError
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits, mounts and accounts of POSIX")
MAPPING = '[files.f]\npath = "*.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
IS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0
NOBODY = 65_534

LIMITED = """
import resource, sys
size = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
sys.argv = ["rqa", *sys.argv[2:]]
from rqa.__main__ import run
run()
"""

CLOSED = """
import os, sys
import rqa
from rqa.__main__ import run
from rqa.actions import listed_actions

warm, folder, *commands = sys.argv[1:]
rqa.load(warm)
listed_actions(warm)
import rqa.cli
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
for command in commands:
    sys.argv = ["rqa", command, folder]
    try:
        run()
    except SystemExit as ended:
        print(ended.code)
"""
"""Loads once, so that all of Python that is needed was read, and then becomes an account that owns nothing else."""


def fill(ws: Workspace) -> None:
    ws.write("sources.toml", MAPPING)
    ws.write("1.csv", csv_of(*(job(f"A{n}", unit_id=f"U{n % 9}") for n in range(40))))
    ws.load_as_before()
    ws.write("2.csv", csv_of(job("B"), job("C")))


def run(script: str, *words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", script, *words], capture_output=True, text=True, check=False, timeout=120
    )


def assert_told(done: "subprocess.CompletedProcess[str]", *says: str) -> None:
    assert done.returncode == 1, (done.stdout, done.stderr)
    (line,) = done.stderr.splitlines()
    assert line.startswith("rqa: ")
    assert any(s in line for s in says), line


def assert_loads(ws: Workspace) -> None:
    rqa.load(ws.folder)
    assert ws.one("select count(*) from jobs") == 42


@pytest.mark.parametrize("share", some_slow([0.05, 0.5, 0.95], 1))
def test_a_disk_that_takes_no_file_so_large(ws: Workspace, share: float) -> None:
    fill(ws)
    before, names = ws.digest(), ws.names()
    done = run(LIMITED, str(int(ws.store.stat().st_size * share)), "load", str(ws.folder))
    assert_told(done, "the disk is full (or takes no file so large)")
    assert ws.digest() == before
    assert ws.names() == names
    assert_loads(ws)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 12 MB in memory."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = ["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", str(place)]
    try:
        if not IS_ROOT or subprocess.run(mounted, capture_output=True, check=False).returncode:
            pytest.skip("no disk can be mounted by this account")
    except FileNotFoundError:
        pytest.skip("there is no command to mount a disk")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
def test_a_full_disk(small_disk: Path) -> None:
    """Filled more and more, until not even a copy of the store has room; emptied, the load goes on."""
    ws = Workspace(small_disk / "ws")
    ws.folder.mkdir()
    fill(ws)
    before, names = ws.digest(), ws.names()
    told = 0
    for left in (3_000_000, 1_000_000, 20_000, 0):
        filling = small_disk / "filling"
        with filling.open("wb", buffering=0) as out, suppress(OSError):
            while True:
                out.write(bytes(4096))
        os.truncate(filling, max(0, filling.stat().st_size - left))
        said = ""
        try:
            rqa.load(ws.folder)
        except StoreError as error:
            said = str(error)
        if said:
            assert "the disk is full" in said
            assert ws.digest() == before
            assert ws.names() == names
            told += 1
        before = ws.digest()
        filling.unlink()
    assert told >= 2
    assert_loads(ws)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every account may enter."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


CLOSURES = {
    "store that may not be read": ("depot.duckdb", 0o000, ["load", "action"]),
    "folder that may not be written": (".", 0o555, ["load"]),
    "folder that may not be entered": (".", 0o644, ["load", "action", "inspect"]),
    "file that may not be read": ("2.csv", 0o000, ["load", "inspect"]),
}


@pytest.mark.parametrize("what", some_slow(list(CLOSURES), 1))
def test_what_an_account_may_not_do_is_told(open_folder: Path, tmp_path: Path, what: str) -> None:
    if IS_ROOT and not all(p.stat().st_mode & 0o001 for p in Path(rqa.__file__).resolve().parents):
        pytest.skip("the sources lie in a folder that no other account may enter")
    name, mode, commands = CLOSURES[what]
    warm, ws = Workspace(tmp_path / "warm"), Workspace(open_folder / "ws")
    for each in (warm, ws):
        each.folder.mkdir()
        fill(each)
    ws.store.chmod(0o644)
    if IS_ROOT:
        for path in (ws.folder, *ws.folder.iterdir()):
            os.chown(path, NOBODY, NOBODY)
    before = ws.digest()
    (ws.folder / name).chmod(mode)
    try:
        done = run(CLOSED, str(warm.folder), str(ws.folder), *commands)
    finally:
        (ws.folder / name).chmod(0o755)
    assert done.stdout.split() == ["1"] * len(commands), (done.stdout, done.stderr)
    said = done.stderr.splitlines()
    assert len(said) == len(commands), done.stderr
    for line in said:
        assert line.startswith("rqa: ")
        assert "ermission" in line
        assert "damaged" not in line
    assert ws.digest() == before
    assert not {n for n in ws.names() if ".new" in n}
