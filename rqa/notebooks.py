"""The notebooks: copied into a workspace, pointed at its store and run there; and run anew for the repository.

`python -m rqa.notebooks refresh notebooks` runs each in a fresh kernel and writes it back with its outputs, byte for
byte the same when nothing changed; what is stored is what the tests expect to see again.
"""

import asyncio
import json
import os
import re
import sys
import tempfile
import time
from collections.abc import Callable, Coroutine, Iterable, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVarTuple

from rqa.errors import RqaError, StoreError
from rqa.plots.renderer import VEGA
from rqa.stopping import AGAIN_SECONDS, held, is_stopped
from rqa.written import write_whole

if TYPE_CHECKING:
    from nbformat import NotebookNode

Given = TypeVarTuple("Given")
STILL = "RQA_STILL"
"""Set in a kernel's environment, it has a panel show its charts alone."""
PARAMETER = re.compile(r'^WORKSPACE = ".*"$', re.MULTILINE)
CELL_SECONDS = 120
AT_ONCE = 4
"""Kernels at work together at most; each may need as much memory as a question to the store."""


@dataclass(frozen=True)
class Run:
    """How a notebook ran: in how many seconds, and which cell failed how; an empty `failure` is none."""

    path: Path
    seconds: float
    failure: str = ""

    def __str__(self) -> str:
        """One line about it."""
        if self.failure:
            return f"{self.path.name}: failed in {self.failure}"
        return f"{self.path.name}: ran in {self.seconds:.0f} s"


def _bundled() -> Path:
    """Where the notebooks are: inside an installed package, else in the checkout."""
    here = Path(__file__).parent
    for place in (here / "_bundled" / "notebooks", here.parent / "notebooks"):
        if place.is_dir():
            return place
    raise RqaError("the notebooks are not part of this installation; install rqa again.")


def copy_notebooks(workspace: str | Path, *, as_run: bool = False) -> list[Path]:
    """Copy the notebooks to `notebooks` in a workspace, pointed at its store; returns those that were not there.

    A notebook of the same name that is there already is left as it is, since it may hold somebody's work. They come
    without outputs; `as_run` keeps those of the sample depot, for a workspace that holds exactly that.
    Raises `StoreError` when the workspace has no store yet.
    """
    folder = Path(workspace)
    if not (folder / "depot.duckdb").is_file():
        raise StoreError(f"{folder} has no store yet. Make one with `rqa load {folder}`.")
    target = folder / "notebooks"
    target.mkdir(exist_ok=True)
    copied = []
    for source in sorted(_bundled().glob("*.ipynb")):
        path = target / source.name
        if path.exists():
            continue
        notebook = json.loads(source.read_text(encoding="utf-8"))
        for cell in notebook["cells"]:
            if "parameters" in cell["metadata"].get("tags", []):
                cell["source"] = PARAMETER.sub('WORKSPACE = ".."', "".join(cell["source"]))
            if cell["cell_type"] == "code" and not as_run:
                cell["outputs"], cell["execution_count"] = [], None
        _put(path, notebook)
        copied.append(path)
    return copied


def _put(path: Path, content: dict[str, Any]) -> None:
    """Write a notebook, so that a torn one never stands in its place."""
    write_whole(path, written(content).encode("utf-8"))


def _content(notebook: "NotebookNode") -> dict[str, Any]:
    import nbformat

    content: dict[str, Any] = json.loads(nbformat.writes(notebook))
    return content


def written(content: dict[str, Any]) -> str:
    """A notebook as the text of its file: JSON as usual, but each chart's drawing in one line.

    A drawing has thousands of numbers, each of which would stand in a line of its own; so a change of what a notebook
    says can be read in a diff. What is read back is the same.
    """
    content = json.loads(json.dumps(content))
    drawings: list[str] = []
    for output in (o for cell in content["cells"] for o in cell.get("outputs", [])):
        if VEGA in output.get("data", {}):
            drawings.append(json.dumps(output["data"][VEGA], ensure_ascii=False, separators=(",", ":"), sort_keys=True))
            output["data"][VEGA] = f"\0{len(drawings) - 1}"
    text = json.dumps(content, indent=1, ensure_ascii=False, sort_keys=True)
    return re.sub(r'"\\u0000(\d+)"', lambda mark: drawings[int(mark[1])], text) + "\n"


def opened_with(folder: str | Path) -> str:
    """The command that opens the notebooks of a folder, and how to get it where it is not installed."""
    command = f"jupyter lab {folder}"
    return command if find_spec("jupyterlab") else f"{command} (to install it: pip install jupyterlab)"


def not_run(workspace: str | Path) -> list[Path]:
    """The notebooks of a workspace of which no cell was ever run; raises `RqaError` for a file that is none."""
    found = []
    for path in sorted((Path(workspace) / "notebooks").glob("*.ipynb")):
        try:
            cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        except (ValueError, KeyError, TypeError) as error:
            raise RqaError(f"{path} is no notebook: it is cut short, or holds something else. Move it away.") from error
        if not any(cell.get("execution_count") for cell in cells):
            found.append(path)
    return found


def run_notebooks(
    paths: Sequence[Path], *, told: Callable[[Run], None] = lambda run: None, at_once: int | None = None
) -> list[Run]:
    """Run notebooks, each in a kernel of its own and some at once, and write them back with their outputs.

    `told` hears of each as it ends. One that fails keeps what it showed up to the cell that failed, and the others run
    all the same. A signal ends those that run, and leaves their files as they were. Raises `RqaError` before any runs
    where what it takes is not installed.
    """
    if not paths:
        return []
    _nbclient()
    at_once = at_once or max(1, min(AT_ONCE, os.cpu_count() or 1))
    # What is raised within a loop of events may be lost in it: a signal is looked for there, and raised afterwards.
    with held(), asyncio.Runner(loop_factory=_Loop) as runner:
        return runner.run(_until_stopped(_run_all(paths, told, at_once)))


class _Loop(asyncio.SelectorEventLoop):
    """A loop that leaves signals to those who have them: the library that runs notebooks would take them for itself."""

    def add_signal_handler(self, sig: int, callback: Callable[[*Given], object], *args: *Given) -> None:
        """Do what a system does on which a loop cannot hear of signals."""
        raise NotImplementedError


async def _until_stopped(work: Coroutine[Any, Any, list[Run]]) -> list[Run]:
    """Do the work, or end it at a signal, its kernels too; then there are no runs to tell of."""
    task = asyncio.ensure_future(work)
    while not task.done() and not is_stopped():
        await asyncio.wait([task], timeout=AGAIN_SECONDS)
    # Once, as a second time would end the ending of the kernels.
    task.cancel()
    await asyncio.wait([task])
    return [] if task.cancelled() else task.result()


async def _run_all(paths: Sequence[Path], told: Callable[[Run], None], at_once: int) -> list[Run]:
    gate = asyncio.Semaphore(at_once)

    async def one(path: Path) -> Run:
        async with gate:
            run = await _run(path)
        told(run)
        return run

    # Each is waited for, whatever becomes of the others, so that no kernel outlives them.
    found = await asyncio.gather(*(one(path) for path in paths), return_exceptions=True)
    for run in found:
        if isinstance(run, BaseException):
            raise run
    return [run for run in found if isinstance(run, Run)]


async def _run(path: Path) -> Run:
    import nbformat

    nbclient = _nbclient()
    started = time.monotonic()
    notebook = nbformat.read(path, as_version=4)
    client = nbclient.NotebookClient(
        notebook, timeout=None, kernel_name="python3", record_timing=False,
        resources={"metadata": {"path": str(path.parent)}},
    )
    failure = ""
    try:
        with tempfile.TemporaryDirectory(prefix="rqa-") as private:
            _talk_within(client.create_kernel_manager(), private)
            await _executed(client)
    except nbclient.exceptions.CellExecutionError as error:
        failure = f"{_failed_cell(notebook.cells)}: {error.ename}: {error.evalue.strip().partition(chr(10))[0]}"
    except (nbclient.exceptions.DeadKernelError, RuntimeError) as error:
        failure = f"{_failed_cell(notebook.cells)}: the kernel ended: {error}"
    _put(path, _content(notebook))
    return Run(path, time.monotonic() - started, failure)


async def _executed(client: Any) -> None:
    """Run the cells; where that is cancelled the kernel is killed: one asked to end would complain on the terminal."""
    running = asyncio.ensure_future(client.async_execute(env=_alone()))
    try:
        await asyncio.shield(running)
    except asyncio.CancelledError:
        client.shutdown_kernel = "immediate"
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        raise


def _alone() -> dict[str, str]:
    """The environment of a kernel that runs cells for nobody: a panel shows its charts without selectors."""
    return {**os.environ, STILL: "1"}


def _talk_within(kernel: Any, folder: str) -> None:
    """Let a kernel talk by sockets in a folder that only its owner can read, where the system has such sockets."""
    if os.name == "posix":
        kernel.transport, kernel.ip = "ipc", f"{folder}/kernel"


def _failed_cell(cells: Iterable[Any]) -> str:
    """The last code cell that was begun, by its number among all cells and its id."""
    begun = [(n, cell) for n, cell in enumerate(cells, start=1) if cell.cell_type == "code" and cell.execution_count]
    failed = [(n, cell) for n, cell in begun if any(out.output_type == "error" for out in cell.outputs)]
    n, cell = (failed or begun or [(1, next(iter(cells)))])[-1]
    return f"cell {n} ({cell.id})"


def _nbclient() -> Any:
    """The library that runs notebooks, or `RqaError` saying how to have it."""
    try:
        import ipykernel  # noqa: F401
        import nbclient
    except ImportError as error:
        raise RqaError(
            f"the notebooks cannot be run, as {error.name} is not installed. Install it: pip install {error.name}. "
            "Or leave them without outputs: rqa notebooks WORKSPACE --no-run"
        ) from error
    return nbclient


def refresh(folder: str | Path, only: str = "*") -> list[Path]:
    """Run every notebook of a folder in a fresh kernel and write it back with its outputs; `only` names one of them.

    Nothing is written if any cell of any notebook fails; then `RqaError` names the notebook and the cell's error.
    """
    import nbformat

    nbclient = _nbclient()
    done: dict[Path, NotebookNode] = {}
    os.environ["TZ"] = "UTC"
    for path in sorted(Path(folder).glob(f"{only}.ipynb")):
        notebook = nbformat.read(path, as_version=4)
        _strip(notebook)
        client = nbclient.NotebookClient(
            notebook,
            timeout=CELL_SECONDS,
            kernel_name="python3",
            record_timing=False,
            resources={"metadata": {"path": str(path.parent)}},
        )
        try:
            with tempfile.TemporaryDirectory(prefix="rqa-") as private:
                _talk_within(client.create_kernel_manager(), private)
                client.execute(env=_alone())
        except nbclient.exceptions.CellExecutionError as error:
            raise RqaError(f"{path.name}: {error}") from error
        _strip(notebook)
        nbformat.validate(notebook)
        done[path] = notebook
    for path, notebook in done.items():
        _put(path, _content(notebook))
    return list(done)


def _strip(notebook: Any) -> None:
    """Keep of the metadata what a reader needs: the kernel and the cells' tags."""
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    notebook.metadata = type(notebook.metadata)({"kernelspec": kernel, "language_info": {"name": "python"}})
    for cell in notebook.cells:
        tags = cell.metadata.get("tags", [])
        cell.metadata = type(cell.metadata)({"tags": tags} if tags else {})


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4) or sys.argv[1] != "refresh":
        sys.exit("usage: python -m rqa.notebooks refresh FOLDER [NAME]")
    refresh(*sys.argv[2:])
