"""The check of the notebooks really checks: one changed count, or one changed mark of a chart, fails it."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import nbformat
import pytest

from rqa.notebooks import opened_with, refresh
from rqa.plots.renderer import VEGA

SECONDS = 240
CODE = {
    "parameters": "WORKSPACE = None",
    "answer": (
        "import sys\nsys.path.insert(0, {plots!r})\nimport rqa\nfrom made_answers import by_model\n\n"
        "rqa.notebook()\nby_model()"
    ),
    "chart": "rqa.plot(by_model())",
}
PLOTS = str(Path(__file__).resolve().parents[1] / "plots")
CONFTEST = Path(__file__).resolve().parents[2] / "notebooks" / "conftest.py"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one small notebook that was run, and the hooks of the real ones without their store."""
    made = tmp_path_factory.mktemp("book")
    notebook = nbformat.v4.new_notebook()
    for name, code in CODE.items():
        notebook.cells.append(nbformat.v4.new_code_cell(code.format(plots=PLOTS), id=name))
    nbformat.write(notebook, made / "small.ipynb")
    refresh(made)
    text = CONFTEST.read_text(encoding="utf-8")
    (made / "conftest.py").write_text(text.split("@pytest.hookimpl")[0], encoding="utf-8")
    return made


def checked(made: Path, **stored: dict[str, Any]) -> dict[str, list[str]]:
    """What strict comparison says of each cell of notebooks stored like this; nothing of one that is as it was."""
    folder = made / "checked"
    folder.mkdir()
    shutil.copy(made / "conftest.py", folder)
    for name, notebook in stored.items():
        (folder / f"{name}.ipynb").write_text(json.dumps(notebook), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:randomly", "--nbval", "--nbval-current-env"]
    told = [*(f"{name}.ipynb" for name in stored), "--junitxml", "said.xml"]
    done = subprocess.run(
        [*command, *told, "-c", "/dev/null", "--rootdir", str(folder)],
        capture_output=True, text=True, check=False, timeout=SECONDS, cwd=folder,
    )
    assert done.returncode in (0, 1), done.stdout
    said: dict[str, list[str]] = {name: [] for name in stored}
    for case in ElementTree.parse(folder / "said.xml").iter("testcase"):
        failure = case.find("failure")
        said[case.attrib["classname"].removesuffix(".ipynb")].append("" if failure is None else str(failure.text))
    return said


def cell(stored: dict[str, Any], name: str) -> dict[str, Any]:
    return next(c for c in stored["cells"] if c["id"] == name)


@pytest.mark.slow
def test_a_changed_number_or_mark_fails(folder: Path) -> None:
    kept = (folder / "small.ipynb").read_text(encoding="utf-8")
    number = json.loads(kept)
    data = cell(number, "answer")["outputs"][0]["data"]
    data["text/html"] = json.loads(json.dumps(data["text/html"]).replace(">24</td>", ">25</td>"))
    assert number != json.loads(kept)
    mark = json.loads(kept)
    vega = cell(mark, "chart")["outputs"][0]["data"][VEGA]
    cell(mark, "chart")["outputs"][0]["data"][VEGA] = json.loads(json.dumps(vega).replace('"symbol"', '"rect"'))
    assert mark != json.loads(kept)

    said = checked(folder, kept=json.loads(kept), number=number, mark=mark)
    assert said["kept"] == ["", "", ""]
    assert [("mismatch 'text/html'" in each, bool(each)) for each in said["number"]] == [
        (False, False), (True, True), (False, False)
    ]
    assert [(f"mismatch '{VEGA}'" in each, bool(each)) for each in said["mark"]] == [
        (False, False), (False, False), (True, True)
    ]


def test_two_refreshes_are_equal_byte_for_byte(folder: Path) -> None:
    """The first refresh made the folder."""
    first = (folder / "small.ipynb").read_bytes()
    refresh(folder)
    assert (folder / "small.ipynb").read_bytes() == first


def test_nothing_is_written_when_a_cell_fails(folder: Path, tmp_path: Path) -> None:
    from rqa.errors import RqaError

    shutil.copy(folder / "small.ipynb", tmp_path / "a.ipynb")
    broken = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1 / 0", id="broken")])
    nbformat.write(broken, tmp_path / "b.ipynb")
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(RqaError, match=r"b\.ipynb: .*"):
        refresh(tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize("there", [True, False])
def test_the_command_that_opens_them_says_how_to_get_it(there: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rqa.notebooks.find_spec", lambda name: object() if there else None)
    assert opened_with("out/notebooks").startswith("jupyter lab out/notebooks")
    assert ("pip install jupyterlab" in opened_with("out")) is not there
