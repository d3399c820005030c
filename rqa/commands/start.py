"""Commands to begin with: a demo depot, and the notebooks."""

from pathlib import Path

import click

from rqa.commands.base import FOLDER, loaded, main, say
from rqa.errors import RqaError
from rqa.progress_line import progress_line
from rqa.words import counted, plural

SAMPLE = (3000, 1)
"""Jobs and seed of the sample depot, beside which the stored notebooks were run."""


def _run_notebooks(workspace: Path) -> None:
    """Run those that were never run, a line for each as it ends."""
    from rqa.notebooks import not_run, run_notebooks

    paths = not_run(workspace)
    if paths:
        say(f"Running {counted(len(paths), 'notebook')}:")
    runs = run_notebooks(paths, told=lambda run: say(f"  {run}"))
    failed = [run.path.name for run in runs if run.failure]
    if failed:
        raise RqaError(
            f"{len(failed)} of {counted(len(runs), 'notebook')} failed: {', '.join(failed)}. Open them to see the "
            "error below its cell; the others were run."
        )


@main.command(epilog="Example: rqa notebooks depot-2026, then: jupyter lab depot-2026/notebooks")
@click.argument("workspace", type=FOLDER)
@click.option("--no-run", is_flag=True, help="Copy them without running them; they are blank until they are run.")
def notebooks(workspace: Path, no_run: bool) -> None:
    """Copy the notebooks into the workspace, pointed at its store, and run them.

    One that is there already is left as it is; it is run only if none of its cells ever was.
    """
    from rqa.notebooks import copy_notebooks, opened_with

    copied = copy_notebooks(workspace)
    target = workspace / "notebooks"
    others = len(list(target.glob("*.ipynb"))) - len(copied)
    left = (
        f" {counted(others, 'notebook')} there already {plural(others, 'was', 'were')} left unchanged."
        if others
        else ""
    )
    say(f"{counted(len(copied), 'notebook')} copied to {target}.{left}")
    if not no_run:
        _run_notebooks(workspace)
    say(f"\nOpen them with: {opened_with(target)}")


@main.command(epilog="Example: rqa demo out")
@click.argument("folder", type=FOLDER, default=Path("rqa-demo"))
@click.option(
    "--jobs", default=SAMPLE[0], show_default=True, type=click.IntRange(min=200), help="How many repair jobs."
)
@click.option(
    "--seed", default=SAMPLE[1], show_default=True, help="The scenario's seed; the same seed gives the same files."
)
@click.option("--no-run", is_flag=True, help="Do not run the notebooks.")
def demo(folder: Path, jobs: int, seed: int, no_run: bool) -> None:
    """Make a workspace of the invented depot, load it, write its page, and copy the notebooks and run them.

    Three sites export differently, with the mess of real logs; truth.json beside them says what was planted. The
    notebooks of the depot made by default come with its outputs, so they need not be run.
    """
    import rqa
    from rqa.demo import write
    from rqa.demo.workspace import UNFINISHED
    from rqa.notebooks import copy_notebooks, opened_with
    from rqa.review import write_page

    others = [p for p in folder.iterdir() if not p.name.startswith(UNFINISHED)] if folder.exists() else []
    if others and not (folder / "truth.json").exists():
        raise RqaError(f"{folder} holds other files; name a new folder, for example: rqa demo {folder}/demo")
    with progress_line() as progress:
        write(folder, jobs=jobs, seed=seed, progress=progress)
    say(loaded(folder, write=True).text())
    with rqa.open(folder) as depot, progress_line() as progress:
        page = write_page(depot, folder, progress=progress)
    copy_notebooks(folder, as_run=(jobs, seed) == SAMPLE)
    say(f"\n{page.headline}\n")
    say(f"The page:      {page.path}")
    if not no_run:
        _run_notebooks(folder)
    say(f"The notebooks: {opened_with(folder / 'notebooks')}")
