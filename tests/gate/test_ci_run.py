"""`.ci/run` runs every part, and any part that fails fails the whole: with stand-ins for Python and pip."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PARTS = {
    "-m pytest": "the gate",
    "-m pytest -m (slow or hypothesis) and not long --hypothesis-profile=whole": "slow tests, all examples",
    "tests/release/wheel_trial.py": "the wheel alone",
    "tests/release/second_kernel.py": "a second kernel",
}
STAND_IN = """#!/bin/sh
echo "$0 $*" >> calls
case "$*" in {failing}) exit 3;; esac
"""


def run(folder: Path, failing: str) -> tuple[int, str, list[str]]:
    """Its exit code, what it said, and the calls it made; a call whose arguments `failing` matches fails."""
    (folder / ".ci").mkdir()
    (folder / ".cache" / "package").mkdir(parents=True)
    (folder / ".cache" / "package" / "axe.min.js").touch()
    shutil.copy(ROOT / ".ci" / "run", folder / ".ci" / "run")
    text = STAND_IN.format(failing=failing or "nothing")
    for name in (".venv/bin/python", ".venv/bin/pip", "path/chromium", "path/java"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
        (folder / name).chmod(0o755)
    told = os.environ | {"PATH": f"{folder / 'path'}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run(
        [folder / ".ci" / "run"], env=told, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout, (folder / "calls").read_text("utf-8").splitlines()


@pytest.mark.skipif(os.name == "nt", reason="a shell script")
@pytest.mark.parametrize("failing", ["", *PARTS])
def test_every_part_runs_and_each_can_fail_the_whole(failing: str, tmp_path: Path) -> None:
    code, said, calls = run(tmp_path, f"'{failing}'" if failing else "")
    for call, name in PARTS.items():
        assert sum(c.endswith(f"/python {call}") for c in calls) == 1
        assert f"== {name}\n" in said
    assert code == (1 if failing else 0)
    assert said.endswith(f"failed: {PARTS[failing]}\n") if failing else "failed" not in said


@pytest.mark.skipif(os.name == "nt", reason="a shell script")
def test_without_its_libraries_nothing_is_run(tmp_path: Path) -> None:
    code, _, calls = run(tmp_path, "*install*")
    assert code != 0
    assert len(calls) == 1
