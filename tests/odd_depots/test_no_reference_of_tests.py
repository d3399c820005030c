"""What was run is shown, whether or not a table says what it covers: notebook 09 without a usable table `tests`."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import rqa
from rqa.answers.core.result import Answer
from tests.cases import some_slow
from tests.odd_depots.cells import NOTEBOOKS, run_cells
from tests.odd_depots.depots import write_workspace
from tests.odd_depots.questions import Remembering
from tests.odd_depots.workshop import MEASURED, TESTS

DIAGNOSTICS = next(path for path in NOTEBOOKS if path.stem == "09_diagnostics")


def renamed(workspace: Path) -> None:
    """The table of tests names none that was run."""
    path = workspace / "tests.csv"
    text = path.read_text(encoding="utf-8")
    for name in TESTS:
        text = text.replace(name, name.upper())
    path.write_text(text, encoding="utf-8")


def asked_by_the_notebook(workspace: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Answer]:
    with rqa.open(workspace) as opened:
        depot: Any = Remembering(opened)
        with monkeypatch.context() as patch:
            patch.setattr(rqa, "open", lambda folder, **how: depot, raising=False)
            patch.setattr(rqa, "plot", lambda answer, **how: None, raising=False)
            assert list(run_cells(DIAGNOSTICS, workspace))
        yield from (answer for answer in depot.answers if isinstance(answer, Answer))


@pytest.mark.parametrize("name", some_slow(["no tests", "healthy"], 1))
def test_every_test_that_was_run_is_shown(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    workspace = write_workspace(name, tmp_path)
    if name == "healthy":
        renamed(workspace)
    rqa.load(workspace)
    asked = list(asked_by_the_notebook(workspace, monkeypatch))
    empty = [a for a in asked if isinstance(w := a.settings.get("where"), dict) and not all(w.values())]
    assert [(type(a).__name__, a.settings["where"]) for a in empty] == []
    for question, those in (
        ("Outcomes of diagnostics", set(TESTS)), ("Retest passes", set(TESTS)), ("Measured values", set(MEASURED))
    ):
        first = next(a for a in asked if a.question == question)
        assert set(first.table["test"]) == those, question


def test_a_filter_that_keeps_no_value_is_told(tmp_path: Path) -> None:
    workspace = write_workspace("healthy", tmp_path)
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        for answer in (depot.tests.outcomes(where={"test": []}), depot.comebacks(where={"site": [], "model": []})):
            said = str(answer.notes[0])
            assert said.startswith("Cannot be told: ")
            assert "in the filter" in said
            assert "out of where= to ask about all" in said
