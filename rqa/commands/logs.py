"""Commands about the logs: propose a mapping, inspect, load, and show what could not be read."""

from pathlib import Path
from shutil import get_terminal_size

import click

from rqa.commands.base import FOLDER, WENT_WRONG, all_option, loaded, main, memory_option, say, show, wait_option
from rqa.errors import RqaError
from rqa.progress_line import progress_line
from rqa.shown import one_line
from rqa.words import counted

WIDE = 100
"""Columns of what is not a terminal."""


@main.command(epilog="Example: rqa load depot-2026")
@click.argument("workspace", type=FOLDER)
@wait_option
@memory_option
@all_option
@click.option(
    "--into", "lake", default=None, metavar="LAKE", type=FOLDER,
    help="Write a lake there, too: Parquet files in buckets of units, for many jobs.",
)
@click.option(
    "--engine", default=None, metavar="ENGINE",
    help="What makes a lake's kept tables: processes=8, spark://HOST:PORT or 'dask tcp://HOST:PORT'.",
)
@click.option("--buckets", default=None, type=click.IntRange(min=1), help="How many buckets a new lake has.")
def load(
    workspace: Path, wait: float, memory: str, every_file: bool, lake: Path | None, engine: str | None,
    buckets: int | None,
) -> None:
    """Read the workspace's sources and bring its store up to date.

    Every row is accepted, refused with all its reasons, already known, superseded by a correction, or merged with
    other lines of its job. All or nothing: a load that is stopped leaves the old store as it was. Ends with 2 when the
    load was made and most rows of a file were refused or withdrawn: look at the report before using the store.
    """
    if lake is None and (engine is not None or buckets is not None):
        raise click.UsageError("--engine and --buckets are about a lake; name its folder with --into.")
    if lake is None:
        show(loaded(workspace, write=True, wait=wait, memory=memory), every_file=every_file)
        return
    from rqa.lake.engines import engine_of
    from rqa.lake.writing import write_lake

    with engine_of(engine) as asked:
        report = loaded(workspace, write=True, wait=wait, memory=memory)
        state = write_lake(report.store, lake, engine=asked, buckets=buckets, memory=memory, wait=wait)
    say(f"{lake}: {counted(state.buckets, 'bucket')}, {counted(len(state.files), 'file')}, load {state.state}.\n")
    show(report, every_file=every_file)


def _inspect(workspace: Path, *, rows: int, memory: str, every_file: bool) -> bool:
    """Inspect a workspace and say what is seen; whether something most likely went wrong as a whole."""
    from rqa.inspecting import inspect

    with progress_line() as progress:
        found = inspect(workspace, rows=rows, memory=memory, progress=progress)
    say(found.text(every_file=every_file, width=get_terminal_size((WIDE, 0)).columns))
    return bool(found.report.alarms)


@main.command(epilog="Example: rqa inspect depot-2026 --watch")
@click.argument("workspace", type=FOLDER)
@memory_option
@all_option
@click.option("--rows", default=3, show_default=True, type=click.IntRange(1, 50), help="First rows that are shown.")
@click.option("--watch", is_flag=True, help="Inspect again whenever sources.toml is saved, until Ctrl-C.")
def inspect(workspace: Path, memory: str, every_file: bool, rows: int, watch: bool) -> None:
    """Read and judge everything as `load` would, and write nothing; ends as `load` would.

    What is refused and why comes first; then the words of each status with their codes, how many rows of the logs have
    their job, what can be told with this mapping, and the next line to add. The first rows of each table stand last, as
    they will be stored, beside the cells of the source. Names of people are not shown.
    """
    def once() -> bool:
        return _inspect(workspace, rows=rows, memory=memory, every_file=every_file)

    if not watch:
        if once():
            raise click.exceptions.Exit(WENT_WRONG)
        return
    from rqa.watching import watched

    watched(workspace, once, say)


@main.command("map", epilog="Example: rqa map depot-2026")
@click.argument("folder", type=FOLDER)
@click.option("--update", is_flag=True, help="Add new files and columns to the sources.toml that is there.")
@memory_option
def propose_mapping(folder: Path, update: bool, memory: str) -> None:
    """Propose a sources.toml for the logs in a folder, write it there, and show what it makes of them.

    Every guess has beside it what it rests on. Lines that say "check this" are guesses to look at; what is not known is
    left as a line to fill. A sources.toml that is there is never overwritten; --update adds to it what it does not read
    yet, and keeps all that stands in it. Ends as `inspect` would.
    """
    from rqa.proposals import propose

    with progress_line() as progress:
        made = propose(folder, update=update, progress=progress)
    say(f"{made}\n")
    if not made.complete:
        raise RqaError(
            f"{made.path} is written, and no table in it is complete: fill in the lines that begin with # and a name, "
            f"then run `rqa inspect {folder}`."
        )
    nothing_new = made.added is not None and not made.added
    done = f"Nothing new; {made.path} stays as it was" if nothing_new else f"Written to {made.path}"
    say(f"{done}. What it makes of the files now, before anything is checked or filled:\n")
    if _inspect(folder, rows=3, memory=memory, every_file=False):
        raise click.exceptions.Exit(WENT_WRONG)


@main.command(epilog="Example: rqa records depot-2026 --key-file ~/rqa.key")
@click.argument("workspace", type=FOLDER)
@click.option("--key-file", required=True, type=click.Path(path_type=Path), help="The key that sources.toml names.")
def records(workspace: Path, key_file: Path) -> None:
    """Show the records that are no rows and were kept encrypted (broken_records = "encrypted"), names included."""
    from rqa.records import broken_records

    table = broken_records(workspace, key_file)
    for file, row, rule, record in table.iter_rows():
        say(f"{file}, row {row:,}: {rule}\n  {one_line(record)}")
    if table.is_empty():
        say("No record was kept: there was none, or they were cut to their place (see broken_records in sources.toml).")


@main.command("to-do", epilog="Example: rqa to-do out --to to-send-back")
@click.argument("workspace", type=FOLDER)
@click.option("--site", default=None, metavar="SITE", help="One site alone.")
@click.option("--as-of", default=None, metavar="DATE", help="Look at the depot as of this day.")
@click.option("--to", default=None, type=click.Path(file_okay=False, path_type=Path), help="Their folder.")
def to_do(workspace: Path, site: str | None, as_of: str | None, to: Path | None) -> None:
    """Write a workbook for each site with what it has to mend in its files, to send back.

    It holds rows that were refused or remarked on (file, row, column, value, rule, next step), jobs that lack
    something, and columns that are seldom given. Without --to the workbooks go beside the store.
    """
    import rqa
    from rqa.to_do import write_to_do

    with rqa.open(workspace, as_of=as_of) as depot:
        made = write_to_do(depot, depot.path.parent if to is None else to, site)
        if not made:
            say(repr(depot.data.to_mend()))
    for name, path in made.items():
        say(f"{name}: written to {path}")
