"""`rqa inspect --watch`: again after each save, in a process of its own; Ctrl-C ends it with 0."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from rqa.watching import changes
from tests.workspaces import csv_of, job

MAPPING = '[workspace]\nzone = "UTC"\n[files.f]\npath = "1.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
SECONDS = 120


class Watched:
    """A command under way, and what it has said so far."""

    def __init__(self, folder: Path) -> None:
        self.said = ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "rqa", "inspect", str(folder), "--watch"], stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "120"},
        )
        self.thread = threading.Thread(target=self._hear, daemon=True)
        self.thread.start()

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self.thread.join(SECONDS)
        if self.process.stdout is not None:
            self.process.stdout.close()

    def _hear(self) -> None:
        for line in self.process.stdout or ():
            self.said += line

    def heard(self, text: str, times: int = 1) -> None:
        until = time.monotonic() + SECONDS
        while self.said.count(text) < times:
            assert time.monotonic() < until, self.said
            assert self.process.poll() is None, self.said
            time.sleep(0.1)


def test_it_inspects_again_after_each_save_and_ends_at_ctrl_c(tmp_path: Path) -> None:
    (tmp_path / "1.csv").write_text(csv_of(job("A"), job("B", disposition="klaar")))
    mapping = tmp_path / "sources.toml"
    mapping.write_text(MAPPING)
    watched = Watched(tmp_path)
    try:
        watched.heard("to be saved; Ctrl-C ends.")
        assert "NO CODE, so refused: 'klaar' (1)" in watched.said
        mapping.write_text(MAPPING + '[table.columns]\ndisposition = { column = "disposition", values = '
                           '{ klaar = "repaired" } }\n')
        watched.heard("to be saved; Ctrl-C ends.", 2)
        assert "sources.toml was saved: table.1.columns.disposition.column added" in watched.said
        assert "klaar → repaired (1)" in watched.said
        mapping.write_text(MAPPING + "[table.columns\n")
        watched.heard("to be saved; Ctrl-C ends.", 3)
        assert "it is, or was, no valid TOML" in watched.said
        watched.process.send_signal(signal.SIGINT)
        assert watched.process.wait(SECONDS) == 0
    finally:
        watched.close()
    assert "ended; nothing was written." in watched.said
    assert "Traceback" not in watched.said
    assert "\x1b" not in watched.said, "nothing is cleared"
    assert {p.name for p in tmp_path.iterdir()} == {"1.csv", "sources.toml"}


@pytest.mark.parametrize(("before", "after", "said"), [
    (MAPPING, MAPPING + '[table.columns]\njob_id = "Order"\n', "table.1.columns.job_id added"),
    (MAPPING, MAPPING.replace("UTC", "Europe/Lisbon"), "workspace.zone changed"),
    (MAPPING, MAPPING.replace('zone = "UTC"\n', ""), "workspace.zone taken out"),
    (MAPPING, MAPPING + "# a remark\n", "no setting was changed"),
    (MAPPING, "[", "it is, or was, no valid TOML"),
    ("", "".join(f"a{n} = {n}\n" for n in range(8)), "a0 added, a1 added, a2 added, a3 added, a4 added, a5 added "
     "and 2 more changes"),
])
def test_what_was_changed_is_named(before: str, after: str, said: str) -> None:
    assert changes(before, after) == said


def test_a_file_that_is_still_being_written_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An editor empties the file first; what is told is what was changed once all of it is there."""
    from rqa import watching

    path, waits, said, read = tmp_path / "sources.toml", [0], list[str](), list[str]()
    path.write_text(MAPPING)

    def wait() -> None:
        waits[0] += 1
        if waits[0] == 3:
            path.write_text("")
        if waits[0] == 4:
            path.write_text(MAPPING + "[sites.Alder]\nzone = 'UTC'\n")
        if waits[0] > 8:
            raise KeyboardInterrupt

    monkeypatch.setattr(watching, "_wait", wait)
    with pytest.raises(KeyboardInterrupt):
        watching.watched(tmp_path, lambda: read.append(path.read_text()), said.append)
    assert len(read) == 2
    assert next(s for s in said if "was saved" in s).endswith("sources.toml was saved: sites.Alder.zone added\n")
