"""The notebooks: copied into a workspace and pointed at its store, and run anew for the repository.

`python -m rqa.notebooks refresh notebooks` runs each in a fresh kernel and writes it back with its outputs, byte for
byte the same when nothing changed; what is stored is what the tests expect to see again.
"""

import os
import re
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import RqaError, StoreError

if TYPE_CHECKING:
    from nbformat import NotebookNode

PARAMETER = re.compile(r'^WORKSPACE = ".*"$', re.MULTILINE)
CELL_SECONDS = 120


def _bundled() -> Path:
    """Where the notebooks are: inside an installed package, else in the checkout."""
    here = Path(__file__).parent
    for place in (here / "_bundled" / "notebooks", here.parent / "notebooks"):
        if place.is_dir():
            return place
    raise RqaError("the notebooks are not part of this installation; install rqa again.")


def copy_notebooks(workspace: str | Path) -> list[Path]:
    """Copy the notebooks to `notebooks` in a workspace, pointed at its store; returns where they went.

    A notebook of the same name that is there already is left as it is, since it may hold somebody's work.
    Raises `StoreError` when the workspace has no store yet.
    """
    import nbformat

    folder = Path(workspace)
    if not (folder / "depot.duckdb").is_file():
        raise StoreError(f"{folder} has no store yet. Make one with `rqa load {folder}`.")
    target = folder / "notebooks"
    target.mkdir(exist_ok=True)
    copied = []
    for source in sorted(_bundled().glob("*.ipynb")):
        path = target / source.name
        if not path.exists():
            notebook = nbformat.read(source, as_version=4)
            for cell in notebook.cells:
                if "parameters" in cell.metadata.get("tags", []):
                    cell.source = PARAMETER.sub('WORKSPACE = ".."', cell.source)
                if cell.cell_type == "code":
                    cell.outputs, cell.execution_count = [], None
            nbformat.write(notebook, path)
        copied.append(path)
    return copied


def opened_with(folder: str | Path) -> str:
    """The command that opens the notebooks of a folder, and how to get it where it is not installed."""
    command = f"jupyter lab {folder}"
    return command if find_spec("jupyterlab") else f"{command} (to install it: pip install jupyterlab)"


def refresh(folder: str | Path) -> list[Path]:
    """Run every notebook of a folder in a fresh kernel and write it back with its outputs.

    Nothing is written if any cell of any notebook fails; then `RqaError` names the notebook and the cell's error.
    """
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    done: dict[Path, NotebookNode] = {}
    os.environ["TZ"] = "UTC"
    for path in sorted(Path(folder).glob("*.ipynb")):
        notebook = nbformat.read(path, as_version=4)
        _strip(notebook)
        client = NotebookClient(
            notebook,
            timeout=CELL_SECONDS,
            kernel_name="python3",
            record_timing=False,
            resources={"metadata": {"path": str(path.parent)}},
        )
        try:
            client.execute()
        except CellExecutionError as error:
            raise RqaError(f"{path.name}: {error}") from error
        _strip(notebook)
        nbformat.validate(notebook)
        done[path] = notebook
    for path, notebook in done.items():
        nbformat.write(notebook, path)
    return list(done)


def _strip(notebook: Any) -> None:
    """Keep of the metadata what a reader needs: the kernel and the cells' tags."""
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    notebook.metadata = type(notebook.metadata)({"kernelspec": kernel, "language_info": {"name": "python"}})
    for cell in notebook.cells:
        tags = cell.metadata.get("tags", [])
        cell.metadata = type(cell.metadata)({"tags": tags} if tags else {})


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[1] != "refresh":
        sys.exit("usage: python -m rqa.notebooks refresh FOLDER")
    refresh(sys.argv[2])
