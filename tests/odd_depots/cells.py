"""The notebooks' cells run within the test's own process, on any workspace: far cheaper than a kernel each."""

import ast
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ALL = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
NOTEBOOKS = [path for path in ALL if path.stem not in ("00_map_your_logs", "10_published_examples")]
"""Those that ask a depot; the mapping of exports and the published examples are the same beside any."""


def code_cells(notebook: Path) -> list[tuple[str, str]]:
    """(id, source) of the code cells but for the one that names the workspace."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    return [(c["id"], "".join(c["source"])) for c in code if "parameters" not in c["metadata"].get("tags", [])]


def settings_of(notebook: Path) -> dict[str, Any]:
    """What the cell of settings sets."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    names: dict[str, Any] = {}
    for cell in cells:
        if "parameters" in cell["metadata"].get("tags", []):
            exec(compile("".join(cell["source"]), f"{notebook.stem}:settings", "exec"), names)
    return {name: value for name, value in names.items() if name.isupper()}


def run_cells(notebook: Path, workspace: Path, **settings: Any) -> Iterator[tuple[str, Any]]:
    """Each cell's id and the value of its last expression, in order, as a notebook would show it."""
    names: dict[str, Any] = settings_of(notebook) | settings | {"WORKSPACE": str(workspace), "__name__": "__main__"}
    for cell, source in code_cells(notebook):
        tree = ast.parse(source, filename=f"{notebook.stem}:{cell}")
        last = tree.body[-1] if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        if last is not None:
            tree.body.pop()
        exec(compile(tree, f"{notebook.stem}:{cell}", "exec"), names)
        shown = eval(compile(ast.Expression(last.value), f"{notebook.stem}:{cell}", "eval"), names) if last else None
        yield cell, shown
    names["depot"].close()
