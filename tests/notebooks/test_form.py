"""The notebooks' form: every code cell was run, in order, says nothing of when or where, and calls the library."""

import ast
import json
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest

from rqa.demo.catalogue import (
    BENCHES,
    MODELS,
    PROCEDURE_NAMES,
    SITES,
    STEP_NAMES,
    SUBSYSTEMS,
    TECHNICIANS,
    TOOLS,
)
from rqa.notebooks import written
from rqa.plots.renderer import VEGA

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
LONGEST_DEFINITION = 5
SETTINGS = """WORKSPACE = "../sample_data"
SITE = MODEL = PROCEDURE = None  # None is all; or one name, or several: ["one", "other"]
WINDOW = 30  # days after closing within which a return counts as a come-back
MONTHS = None  # None is all; or one closing month, "2026-05"; or the first and last: ("2026-01", "2026-05")"""
OPENING = """import rqa

rqa.notebook()
depot = rqa.open(WORKSPACE).limited_to(site=SITE, model=MODEL, procedure=PROCEDURE, window=WINDOW, months=MONTHS)
depot"""
MOST_CELLS = {"00_start_here": 10, "02_come_backs": 30}
"""What is read first, and the monthly reading, have no more."""
OF_THE_SAMPLE = {
    name.replace("-", " ").replace("_", " ").casefold()
    for name in (
        *MODELS, *(site.name for site in SITES), *BENCHES, *TECHNICIANS, *TOOLS,
        *(name for name in (*PROCEDURE_NAMES, *STEP_NAMES) if " " in name),
        *(name for name in SUBSYSTEMS if name not in ("battery", "case", "port")),
        "in the sample", "the sample depot", "of the sample", "the sample was", "the demo",
    )
}
"""Names that only the sample has, and words on it; a battery, a case and a port are words of the trade."""


def read(path: Path) -> Any:
    return nbformat.read(path, as_version=4)


def code_cells(path: Path) -> list[Any]:
    return [c for c in read(path).cells if c.cell_type == "code"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_diff_can_be_read(path: Path) -> None:
    """Each drawing stands in one line: what a notebook says is not lost among its numbers."""
    text = path.read_text(encoding="utf-8")
    assert text == written(json.loads(text)), "run: python -m rqa.notebooks refresh notebooks"
    lines = text.count(f'"{VEGA}": {{')
    outputs = [o for cell in code_cells(path) for o in cell.outputs]
    # A drawing may have a line of its own that says how it is shown.
    assert lines == sum(VEGA in o.get(part, {}) for o in outputs for part in ("data", "metadata"))
    assert text.count("\n") < 2_000


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_no_cell_of_a_table_is_cut(path: Path) -> None:
    tables = ["".join(o.data.get("text/html", "")) for cell in code_cells(path) for o in cell.outputs if "data" in o]
    cut = [text for table in tables for text in re.findall(r"[^<>]*…(?:&quot;)?(?=</td>)", table) if text != "…"]
    assert cut == []


def test_what_is_written_is_read_back() -> None:
    drawing = {"title": "a \\u00000 and a\nline", "marks": [1, 0.5, None]}
    output = {"output_type": "display_data", "metadata": {}, "data": {VEGA: drawing, "text/plain": ["\\u00000"]}}
    cell = {"cell_type": "code", "metadata": {}, "source": [], "outputs": [output, output], "execution_count": 1}
    content = {"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    text = written(content)
    assert json.loads(text) == content
    assert len([line for line in text.splitlines() if '"marks"' in line and '"title"' in line]) == 2


def test_the_agreed_notebooks_are_there() -> None:
    agreed = (
        "00_map_your_logs",
        "00_start_here",
        "01_what_was_loaded",
        "02_come_backs",
        "03_first_pass_yield",
        "04_risky_steps",
        "05_control_charts",
        "06_people_and_places",
        "07_did_it_work",
        "08_month",
        "09_diagnostics",
        "10_published_examples",
        "11_statistics_in_depth",
    )
    assert set(agreed) <= {p.stem for p in NOTEBOOKS}


def test_the_monthly_reading_is_short() -> None:
    for name, most in MOST_CELLS.items():
        assert len(read(FOLDER / f"{name}.ipynb").cells) <= most, name


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
class TestForm:
    def test_every_code_cell_was_run_in_order(self, path: Path) -> None:
        counts = [c.execution_count for c in code_cells(path)]
        assert counts == list(range(1, len(counts) + 1))

    def test_nothing_failed_and_nothing_was_said_on_the_side(self, path: Path) -> None:
        kinds = {o.output_type for c in code_cells(path) for o in c.outputs}
        assert kinds <= {"execute_result", "display_data"}

    def test_ids_are_names(self, path: Path) -> None:
        ids = [c.id for c in read(path).cells]
        assert len(set(ids)) == len(ids)
        assert all(re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", i) for i in ids)

    def test_metadata_is_the_kernel_and_tags(self, path: Path) -> None:
        notebook = read(path)
        nbformat.validate(notebook)
        assert set(notebook.metadata) <= {"kernelspec", "language_info"}
        assert notebook.metadata.kernelspec.name == "python3"
        assert all(set(c.metadata) <= {"tags"} for c in notebook.cells)

    def test_the_first_cells_are_the_agreed_ones(self, path: Path) -> None:
        """The same settings in each, and a depot limited to them; the window alone may differ."""
        first, parameters, opening = read(path).cells[:3]
        assert first.cell_type == "markdown"
        assert parameters.metadata.tags == ["parameters"]
        assert re.sub("WINDOW = [0-9]+", "WINDOW = 30", parameters.source) == SETTINGS
        assert opening.source == OPENING

    def test_sql_stands_in_the_example_of_it_alone(self, path: Path) -> None:
        asked = [cell.id for cell in code_cells(path) if "query(" in cell.source or "select " in cell.source]
        assert asked == (["refused-rows"] if path.stem == "01_what_was_loaded" else [])

    def test_cells_call_the_library_and_define_nothing_long(self, path: Path) -> None:
        for cell in code_cells(path):
            for node in ast.walk(ast.parse(cell.source)):
                if isinstance(node, ast.FunctionDef | ast.ClassDef):
                    assert (node.end_lineno or 0) - node.lineno < LONGEST_DEFINITION
                if isinstance(node, ast.Import | ast.ImportFrom):
                    assert {a.name.split(".")[0] for a in node.names} <= {"rqa", "polars", "timedelta"}
            assert not re.search(r"%%?time|\bopen\([^W]|write_|to_csv|savefig|\.save\(", cell.source)

    def test_outputs_say_nothing_of_when_and_where(self, path: Path) -> None:
        stored = path.read_text(encoding="utf-8")
        assert not re.search(r"iopub|0x[0-9a-f]{8,}|/home/|/tmp/|\\\\Users", stored)
        for cell in code_cells(path):
            for output in cell.outputs:
                assert "text/plain" in output.data

    def test_charts_are_kept_in_a_form_that_opens_offline(self, path: Path) -> None:
        charts = [o.data for c in code_cells(path) if "rqa.plot" in c.source for o in c.outputs]
        for data in charts:
            assert {"application/vnd.vega.v5+json", "image/svg+xml"} <= set(data)

    def test_nothing_is_said_or_asked_of_the_sample_alone(self, path: Path) -> None:
        """They are copied into other workspaces, where a sentence on the sample or a name out of it is not true."""
        for cell in read(path).cells[2:]:
            written = cell.source.replace("-", " ").replace("_", " ").casefold()
            assert not [name for name in OF_THE_SAMPLE if re.search(rf"\b{re.escape(name)}\b", written)], cell.source

    def test_the_text_ends_with_the_cautions(self, path: Path) -> None:
        last = read(path).cells[-1].source
        assert "Battery, ESD and sharp-edge work follows" in last
        assert "Figures about people are for coaching" in last
