"""Names out of data cannot steer a terminal: whatever a command writes holds no sign that does, wherever it stood."""

import ast
from pathlib import Path

import pytest
from click.testing import CliRunner

import rqa.commands
from rqa.cli import main
from rqa.progress import Stage
from rqa.progress_line import Pace, line_of
from rqa.shown import UNSHOWN, shown
from tests.workspaces import csv_of, job

STEERS = "\x1b[31m\x07\x9b2J\u202e\u2066\x7f"
"""A colour, a bell, the eight-bit sign that clears a screen, an override and an isolate of direction, a delete."""
MAPPING = """
[files.jobs]
path = "jobs*.csv"
[[table]]
table = "jobs"
from = "jobs"
[[table]]
table = "actions"
from = "actions"
[files.actions]
path = "actions-of-depot.csv"
"""
ACTIONS = 'action_id,started_on,what,scope\nACT-1{0},2024-01-01,cable{0} guide,"model=Quern{0}"\n'


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    """Rows that are accepted and that are refused, unknown columns, actions: the signs in every name."""
    folder = tmp_path / f"ws{STEERS}"
    folder.mkdir()
    rows = [job(f"J{n}{STEERS}", model=f"Quern{STEERS}", unit_id=f"U{n // 2}", site=f"Alder{STEERS}") for n in range(6)]
    rows.append(job("bad", opened_at=f"soon{STEERS}"))
    text = csv_of(*(row | {f"extra{STEERS}": "1"} for row in rows))
    (folder / f"jobs{STEERS}.csv").write_text(text, encoding="utf-8")
    (folder / "actions-of-depot.csv").write_text(ACTIONS.format(STEERS), encoding="utf-8")
    (folder / "sources.toml").write_text(MAPPING, encoding="utf-8")
    return folder


def said_by(*words: str) -> str:
    done = CliRunner().invoke(main, list(words))
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert not UNSHOWN.search(done.stdout), f"stdout: {done.stdout!a}"
    assert not UNSHOWN.search(done.stderr), f"stderr: {done.stderr!a}"
    return done.output


def test_no_command_writes_what_steers_a_terminal(workspace: Path) -> None:
    place = str(workspace)
    for command in ("inspect", "load"):
        assert shown(f"jobs{STEERS}.csv") in said_by(command, place, "--all")
    assert shown(f"cable{STEERS} guide") in said_by("action", place)
    assert shown(STEERS) in said_by("review", place)
    said_by("review", place, "--format", "xlsx", "--month", "2024-03")
    said_by("notebooks", place, "--no-run")


@pytest.mark.parametrize(
    "words",
    [
        (f"lo{STEERS}ad",), ("load", f"--{STEERS}"), ("load", "{}", "--memory", STEERS),
        ("load", "{}", "--wait", STEERS),
        ("load", f"{{}}{STEERS}"), ("review", "{}", "--month", STEERS), ("review", "{}", "--as-of", STEERS),
        ("action", "{}", "--what", STEERS, "--started-on", STEERS, "--scope", STEERS),
        ("action", "{}", "--what", "cable", "--started-on", "2024-01-01", "--scope", f"model=Q{STEERS}"),
        ("demo", "{}"),
    ],
)
def test_no_message_of_a_mistake_does(workspace: Path, words: tuple[str, ...]) -> None:
    said_by("load", str(workspace))
    assert "rror: " in (said := said_by(*(w.format(workspace) for w in words))) or said.startswith("rqa: ")


@pytest.mark.parametrize("fault", ['"{}" = 1', 'title = "{}"\nx{}', '[files."{}"]\npath = "none"', 'zone = "{}"'])
def test_no_fault_of_a_mapping_does(workspace: Path, fault: str) -> None:
    escaped = "".join(f"\\u{ord(sign):04x}" for sign in STEERS)
    mapping = workspace / "sources.toml"
    mapping.write_text(fault.replace("{}", escaped) + MAPPING, encoding="utf-8")
    assert said_by("inspect", str(workspace)).startswith("rqa: ")


def test_a_line_end_in_a_name_makes_no_line(workspace: Path) -> None:
    (workspace / "jobs\nStored in a place that is not.csv").write_text(csv_of(job("J9")), encoding="utf-8")
    for command in ("inspect", "load"):
        assert "\nStored in a place" not in said_by(command, str(workspace), "--all")


@pytest.mark.parametrize("width", [5, 30, 80, 300])
def test_the_progress_line_does_not(width: int) -> None:
    stage = Stage(f"reading {STEERS}\n.csv", 1.0, 2.0, count=10)
    line = line_of(stage, Pace(0.0), 5.0, width=width)
    assert line
    assert len(line) < width
    assert not UNSHOWN.search(line)
    assert "\n" not in line


def test_the_commands_write_through_one_door() -> None:
    """`say` alone calls the library that writes, so nothing is written that was not looked at."""
    trees = [ast.parse(f.read_text(encoding="utf-8")) for f in Path(rqa.commands.__file__).parent.glob("*.py")]
    assert len(trees) > 4
    parts = [n for tree in trees for n in ast.walk(tree)]
    echoes = [n for n in parts if isinstance(n, ast.Attribute) and n.attr in ("echo", "secho", "stdout")]
    assert len(echoes) == 1
