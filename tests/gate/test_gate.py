"""The parts of the gate that are no tests of behaviour: style, types, layers, packaging."""

import json
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[2]
BIN = Path(sys.executable).parent

CHECKS = {
    "ruff check": [sys.executable, "-m", "ruff", "check", "."],
    "mypy": [sys.executable, "-m", "mypy"],
    "layers": [str(BIN / "lint-imports"), "--no-cache"],
}


@pytest.mark.parametrize("name", CHECKS)
def test_gate(name: str) -> None:
    done = subprocess.run(CHECKS[name], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{name}:\n{done.stdout}\n{done.stderr}"


def test_constraints_name_no_host() -> None:
    text = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    assert "==" in text
    assert "://" not in text
    assert " @ " not in text


def test_top_level_is_as_agreed() -> None:
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode:
        pytest.skip("not a git checkout")
    top = {p.split("/")[0] for p in tracked.stdout.split("\0") if p and not p.startswith(".")}
    rooms = {"README.md", "DEVELOPERS.md", "pyproject.toml", "rqa", "notebooks", "sample_data", "tests", "shared"}
    assert top <= rooms


def test_import_is_light() -> None:
    """`import rqa` brings in none of the heavy libraries; they are imported where they are used."""
    code = "import sys, json, rqa; print(json.dumps(sorted(m for m in sys.modules if '.' not in m)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"numpy", "scipy", "pandas", "polars", "duckdb", "altair", "pyarrow", "vl_convert", "statsmodels"}
    assert not heavy & set(json.loads(done.stdout))


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Imports within functions count, those for types alone do not: of any two modules one can be read first."""
    graph = grimp.build_graph("rqa", exclude_type_checking_imports=True, cache_dir=None)
    imports = {module: graph.find_modules_directly_imported_by(module) for module in graph.modules}
    assert len(imports) > 100
    TopologicalSorter(imports).prepare()
