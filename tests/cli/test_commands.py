"""The commands as a person runs them: exit codes, messages without tracebacks, files that were promised."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from rqa.cli import main
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, list(words))
    return result.exit_code, result.output


@pytest.mark.parametrize("command", ["", "load", "inspect", "review", "notebooks", "records", "jobs", "demo", "map"])
def test_help_has_an_example(command: str) -> None:
    code, said = run(*([command] if command else []), "--help")
    assert code == 0
    assert "rqa " in said


def test_module_and_command_are_the_same() -> None:
    done = subprocess.run([sys.executable, "-m", "rqa", "--version"], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout.startswith("rqa, version ")


@pytest.mark.parametrize("command", ["load", "inspect", "review", "notebooks", "map"])
def test_a_folder_that_is_no_workspace_is_a_plain_message(command: str, tmp_path: Path) -> None:
    code, said = run(command, str(tmp_path))
    assert code == 1
    assert said.startswith("rqa: ")
    assert "Traceback" not in said
    assert str(tmp_path) in said


@pytest.mark.parametrize(
    "words",
    [
        "load", "lood here", "--lood", "load here --wait soon", "load here --wait -1", "demo here --jobs 5",
        "load here --memory lots", "inspect here --memory 0", "review here --as-of soon", "load README.md",
    ],
)
def test_every_mistake_ends_with_1_and_a_message(words: str) -> None:
    done = CliRunner().invoke(main, words.split(" "))
    assert done.exit_code == 1
    assert isinstance(done.exception, SystemExit)
    assert "rror: " in done.stderr or done.stderr.startswith("rqa: ")


def test_a_folder_that_cannot_be_made_is_a_plain_message(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    code, said = run("demo", str(tmp_path / "file" / "out"))
    assert code == 1
    assert said == f"rqa: {tmp_path / 'file' / 'out'}: Not a directory.\n"


def test_demo_refuses_a_folder_with_other_files(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    code, said = run("demo", str(tmp_path))
    assert code == 1
    assert "holds other files" in said
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Path], int, str]:
    """What `rqa demo` made, the notebooks that it ran, how it ended and what it said.

    Its notebooks are run, which `tests/release/wheel_trial.py` waits for.
    """
    ran: list[Path] = []
    folder = tmp_path_factory.mktemp("demo") / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("rqa.notebooks.run_notebooks", lambda paths, told: ran.extend(paths) or [])
        code, said = run("demo", str(folder), "--jobs", "300")
    return folder, ran, code, said


def test_the_demo_is_a_workspace_with_its_page_and_notebooks(demo: tuple[Path, list[Path], int, str]) -> None:
    folder, ran, code, said = demo
    assert code == 0, said
    assert {*ran} == {*(folder / "notebooks").glob("*.ipynb")}
    assert len(ran) > 5
    assert "every row accounted for" in said
    pages = sorted(folder.glob("*.html"))
    assert len(pages) == 1
    assert str(pages[0]) in said
    shipped = Path(__file__).parents[2] / "notebooks"
    assert {p.name for p in (folder / "notebooks").glob("*.ipynb")} == {p.name for p in shipped.glob("*.ipynb")}
    code, said = run("load", str(folder))
    assert code == 0
    assert " of 60 files and 2 SELECTs of the mapping unchanged since loaded; not read again" in said
    assert "jobs_2025-01.csv" not in said


@pytest.mark.slow
def test_every_other_command_works_on_the_demo(demo: tuple[Path, list[Path], int, str]) -> None:
    folder = demo[0]
    code, said = run("inspect", str(folder))
    assert code == 0
    assert "Nothing written" in said
    code, said = run("load", str(folder), "--all")
    assert code == 0
    assert "(unchanged since it was loaded)" in said
    code, said = run("review", str(folder), "--month", "2099-01")
    assert code == 1
    assert "2099" in said
    code, said = run("review", str(folder), "--month", "not a month")
    assert code == 1
    code, said = run("notebooks", str(folder), "--no-run")
    assert code == 0


def test_the_load_report_lists_what_changed_and_counts_the_rest(ws: Workspace) -> None:
    mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    for number in range(3):
        ws.write(f"{number}.csv", csv_of(job(f"A{number}", unit_id=f"U{number}")))
    ws.load(mapping)
    ws.write("1.csv", csv_of(job("A1", unit_id="U9")))
    report = ws.load(mapping)
    lines = report.text().splitlines()
    assert [line.split()[-1] for line in lines if line.startswith("jobs ")] == ["1.csv"]
    assert any(line.split()[:5] == ["2", "rows", "of", "2", "files"] for line in lines)
    (everything,) = (line.split() for line in lines if line.startswith("all "))
    assert everything[1] == "3"
    every = [line for line in report.text(every_file=True).splitlines() if line.startswith("jobs ")]
    named = [next(word for word in line.split() if word.endswith(".csv")) for line in every]
    assert sorted(named) == ["0.csv", "1.csv", "2.csv"]


def test_a_mistyped_mapping_names_the_place(tmp_path: Path) -> None:
    (tmp_path / "sources.toml").write_text('[files.a]\npaht = "x.csv"\n', encoding="utf-8")
    code, said = run("load", str(tmp_path))
    assert code == 1
    assert "files.a.paht" in said
    assert "'path'" in said


@pytest.mark.parametrize(
    ("closed", "told"), some_slow([("2098-12-03 10:00:00", True), ("2024-03-02 10:00:00", False)], 1)
)
def test_a_page_as_of_a_day_to_come_is_told(tmp_path: Path, closed: str, told: bool) -> None:
    """Day and month swapped make dates of the future, up to which every job then looks followed."""
    (tmp_path / "jobs.csv").write_text(csv_of(job("A"), job("B", closed_at=closed)), encoding="utf-8")
    table = '[files.f]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
    (tmp_path / "sources.toml").write_text(table, encoding="utf-8")
    run("load", str(tmp_path))
    code, said = run("review", str(tmp_path))
    assert code == 0, said
    assert ("CAUTION: the page looks at the depot as of 2098-12-03" in said) is told


@pytest.mark.skipif(os.name != "posix", reason="a limit of the size of files is set by the shell")
def test_a_limit_of_the_size_of_files_is_told(tmp_path: Path) -> None:
    """The system names no file then, so the message says what to look at."""
    command = f"ulimit -f 0; exec {sys.executable} -B -m rqa demo {tmp_path / 'out'}"
    # From here, so that the package is found; nothing can be written anyway.
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.startswith("rqa: ")
    assert done.stderr.count("\n") == 1
    assert "a file:" not in done.stderr
    assert done.stderr.endswith("See whether the disk is full, or the size of files is limited (ulimit -f).\n")
