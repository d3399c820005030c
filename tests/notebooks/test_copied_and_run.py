"""Notebooks in a workspace: copied, run there side by side, and those that fail named while the others run."""

import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest
from click.testing import CliRunner

from rqa.answers.core.result import Answer
from rqa.cli import main
from rqa.errors import RqaError
from rqa.notebooks import Run, copy_notebooks, not_run, run_notebooks
from tests.odd_depots.cells import ALL, run_cells
from tests.odd_depots.depots import write_workspace
from tests.sample_store import SAMPLE, fresh_store


def written(folder: Path, name: str, *code: str) -> Path:
    cells = [nbformat.v4.new_code_cell(source, id=f"cell-{n}") for n, source in enumerate(code)]
    nbformat.write(nbformat.v4.new_notebook(cells=cells), folder / name)
    return folder / name


def outputs(path: Path) -> list[Any]:
    return [cell.get("outputs") for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]]


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    import rqa

    rqa.load(write_workspace("nothing at all", tmp_path))
    return tmp_path


def test_one_that_fails_is_named_with_its_cell_and_the_others_run(tmp_path: Path) -> None:
    sound = written(tmp_path, "b.ipynb", "1 + 1")
    broken = written(tmp_path, "a.ipynb", "'before'", "1 / 0", "'after'")
    heard: list[Run] = []
    runs = run_notebooks([broken, sound], told=heard.append, at_once=2)
    assert [run.path for run in runs] == [broken, sound]
    assert set(heard) == set(runs)
    assert str(runs[0]) == "a.ipynb: failed in cell 2 (cell-1): ZeroDivisionError: division by zero"
    assert str(runs[1]).startswith("b.ipynb: ran in ")
    assert outputs(sound)[0][0]["data"]["text/plain"] == ["2"]
    assert [bool(shown) for shown in outputs(broken)] == [True, True, False]
    assert not_run(tmp_path) == []


@pytest.mark.parametrize("text", ["", '{"cells": [', "[]", "{}", '"text"', "\xff"])
def test_a_file_that_is_no_notebook_is_named(workspace: Path, text: str) -> None:
    (workspace / "notebooks").mkdir()
    (workspace / "notebooks" / "half.ipynb").write_bytes(text.encode("latin-1"))
    with pytest.raises(RqaError, match=r"half\.ipynb is no notebook.*Move it away"):
        not_run(workspace)


def test_the_command_counts_what_it_copied_and_what_was_there(workspace: Path) -> None:
    target = workspace / "notebooks"
    said = [
        CliRunner().invoke(main, ["notebooks", str(workspace), "--no-run"]).output.splitlines()[0] for _ in range(2)
    ]
    number = len(list(target.glob("*.ipynb")))
    assert said[0] == f"{number} notebooks copied to {target}."
    assert said[1] == f"0 notebooks copied to {target}. {number} notebooks there already were left unchanged."


def test_a_copy_that_cannot_be_written_leaves_no_torn_notebook(
    workspace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        copy_notebooks(workspace)
    assert list((workspace / "notebooks").iterdir()) == []


def test_what_was_run_or_changed_is_left_as_it_is(workspace: Path) -> None:
    copied = copy_notebooks(workspace)
    assert [path.name for path in copied] == [path.name for path in ALL]
    assert not_run(workspace) == copied
    mine = written(workspace / "notebooks", ALL[0].name, "'mine'")
    assert run_notebooks([mine])[0].failure == ""
    before = mine.read_bytes()
    assert copy_notebooks(workspace) == []
    assert not_run(workspace) == copied[1:]
    assert mine.read_bytes() == before


def test_the_sample_depot_has_its_notebooks_as_they_were_run(workspace: Path) -> None:
    """The demo by default makes the sample's files (tests/demo), so its outputs are those that are stored."""
    for stored, path in zip(ALL, copy_notebooks(workspace, as_run=True), strict=True):
        assert outputs(path) == outputs(stored)
        assert 'WORKSPACE = ".."' in path.read_text(encoding="utf-8").replace('\\"', '"')
    assert not_run(workspace) == []


def test_without_what_runs_notebooks_they_are_copied_and_the_message_says_what_to_install(
    workspace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("nbformat", "nbclient", "ipykernel"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(RqaError, match=r"ipykernel is not installed.*pip install ipykernel\..*--no-run"):
        run_notebooks([workspace / "any.ipynb"])
    done = CliRunner().invoke(main, ["notebooks", str(workspace)])
    assert done.exit_code == 1
    assert "ipykernel is not installed" in done.stderr
    assert len(list((workspace / "notebooks").glob("*.ipynb"))) == len(ALL)
    done = CliRunner().invoke(main, ["notebooks", str(workspace), "--no-run"])
    assert done.exit_code == 0, done.output


def test_the_command_runs_those_that_were_never_run(workspace: Path) -> None:
    """One copied notebook is replaced by one that fails; the rest were run before."""
    for path in copy_notebooks(workspace, as_run=True)[:2]:
        path.unlink()
    written(workspace / "notebooks", ALL[0].name, "1 / 0")
    written(workspace / "notebooks", ALL[1].name, "1 + 1")
    done = CliRunner().invoke(main, ["notebooks", str(workspace)])
    assert done.exit_code == 1
    assert "0 notebooks copied" in done.stdout
    assert "Running 2 notebooks:" in done.stdout
    assert f"{ALL[0].name}: failed in cell 1 (cell-0): ZeroDivisionError: division by zero" in done.stdout
    assert f"{ALL[1].name}: ran in " in done.stdout
    assert f"rqa: 1 of 2 notebooks failed: {ALL[0].name}." in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(("number", "windows"), [("02", [60, 90]), ("11", [60, 60])])
def test_settings_are_honoured(number: str, windows: list[int]) -> None:
    """With one site, model and months alone, each cell runs; what is asked of come-backs is asked of these jobs."""
    from rqa.answers.comebacks.rate import Comebacks

    fresh_store()
    notebook = next(path for path in ALL if path.stem.startswith(number))
    chosen = {"SITE": "Alder", "MODEL": ["Marl-8", "Marl-10"], "WINDOW": 60, "MONTHS": ("2025-03", "2026-02")}
    asked = [shown for _, shown in run_cells(notebook, SAMPLE, **chosen) if isinstance(shown, Answer)]
    assert asked
    for answer in asked:
        where = answer.settings.get("where", {"site": ("Alder",)})
        assert isinstance(where, Mapping)
        assert where.get("site") == ("Alder",), answer.question
    assert [answer.settings["window"] for answer in asked if isinstance(answer, Comebacks)] == windows


@pytest.mark.long
@pytest.mark.parametrize("name", ["nothing at all", "jobs only", "no procedures"])
def test_all_run_in_kernels_on_odd_depots(name: str, tmp_path: Path) -> None:
    import rqa

    rqa.load(write_workspace(name, tmp_path))
    done = CliRunner().invoke(main, ["notebooks", str(tmp_path)])
    assert done.exit_code == 0, done.output
