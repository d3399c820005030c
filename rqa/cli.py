"""The commands: each does one thing, says what it did and ends with 0; a user's mistake ends with 1 and a message.

A load that most likely went wrong as a whole, though it was made, ends with 2.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Any

import click

from rqa.errors import RqaError
from rqa.progress_line import progress_line
from rqa.shown import one_line, shown
from rqa.stopping import held, stoppable
from rqa.store.limits import MEMORY, WAIT_SECONDS
from rqa.words import counted, plural
from rqa.written import write_whole

if TYPE_CHECKING:
    import polars as pl

    from rqa.store.report import LoadReport

FOLDER = click.Path(file_okay=False, path_type=Path)
WENT_WRONG = 2
"""How a load ends that was made, and that most likely is not what was meant: a job that calls it can stop there."""
TO_ACT = 3
"""How a review ends, where it is asked to, that found something to act on."""
WIDE = 100
"""Columns of what is not a terminal."""
SAMPLE = (3000, 1)
"""Jobs and seed of the sample depot, beside which the stored notebooks were run."""


def say(text: str, *, err: bool = False) -> None:
    """Write to the terminal; names out of data steer it no more."""
    click.echo(shown(text), err=err)


@contextmanager
def _mistakes_end_with_1() -> Iterator[None]:
    """Whatever a user can get wrong becomes a message on stderr and exit code 1."""
    try:
        yield
    except click.UsageError as error:
        click.UsageError(shown(error.format_message()), error.ctx).show()
    except RqaError as error:
        say(f"rqa: {error}", err=True)
    except BrokenPipeError:
        # Who read the output, such as `head`, has ended: click then ends without a word.
        raise
    except OSError as error:
        said = f"{error.strerror or error}."
        full = "See whether the disk is full, or the size of files is limited (ulimit -f)."
        say(f"rqa: {error.filename}: {said}" if error.filename else f"rqa: {said} {full}", err=True)
    else:
        return
    raise click.exceptions.Exit(1)


class _Command(click.Group):
    """A group whose mistakes in arguments and in files end alike."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        with _mistakes_end_with_1():
            return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        with _mistakes_end_with_1():
            return super().invoke(ctx)


class _Work(click.Command):
    """A command that a signal can stop: one line then says what became of the store, and nothing is left behind."""

    def invoke(self, ctx: click.Context) -> Any:
        with held():
            # The engine's module ends the process where anything is raised while it is made.
            from rqa.store.engine import STORE_FILE, identity

        place: Path = ctx.params.get("workspace") or ctx.params["folder"]
        store = place if place.is_file() else place / STORE_FILE
        before = identity(store)
        with stoppable() as stopping:
            try:
                return super().invoke(ctx)
            except BaseException as error:
                # An engine that is stopped says so in its own words, which do not concern anybody.
                if stopping.signal is None:
                    raise
                after = identity(store)
                if after != before:
                    said = f"the load had ended before, so {store} is the new store"
                else:
                    said = (
                        f"no store was made in {store.parent}" if after is None else f"the store {store} is unchanged"
                    )
                say(f"rqa: stopped; {said}.", err=True)
                raise click.exceptions.Exit(stopping.exit_code) from error
            finally:
                stopping.end()


_Command.command_class = _Work


@click.group(cls=_Command, context_settings={"help_option_names": ["-h", "--help"]}, epilog="Start with: rqa demo out")
@click.version_option(package_name="rqa")
def main() -> None:
    """Repair-quality analytics: what left fixed, what came back, and why.

    A workspace is a folder with your logs and a sources.toml that says how to read them.
    """


def _load(workspace: Path, *, write: bool, wait: float = WAIT_SECONDS, memory: str = MEMORY) -> "LoadReport":
    from rqa.loading import load

    with progress_line() as progress:
        return load(workspace, write=write, wait=wait, memory=memory, progress=progress)


_wait = click.option(
    "--wait",
    default=WAIT_SECONDS,
    show_default=True,
    type=click.FloatRange(min=0),
    help="Seconds to wait for another load to end.",
)
_memory = click.option(
    "--memory", default=MEMORY, show_default=True, metavar="SIZE", help="The most the engine may use."
)
_all = click.option(
    "--all", "every_file", is_flag=True, help="List unchanged files too, and every kind of refusal and remark."
)


def _show(report: "LoadReport", *, every_file: bool) -> None:
    say(report.text(every_file=every_file))
    if report.alarms:
        raise click.exceptions.Exit(WENT_WRONG)


@main.command(epilog="Example: rqa load depot-2026")
@click.argument("workspace", type=FOLDER)
@_wait
@_memory
@_all
def load(workspace: Path, wait: float, memory: str, every_file: bool) -> None:
    """Read the workspace's sources and bring its store up to date.

    Every row is accepted, refused with all its reasons, already known, superseded by a correction, or merged with
    other lines of its job. All or nothing: a load that is stopped leaves the old store as it was. Ends with 2 when the
    load was made and most rows of a file were refused or withdrawn: look at the report before using the store.
    """
    _show(_load(workspace, write=True, wait=wait, memory=memory), every_file=every_file)


def _inspect(workspace: Path, *, rows: int, memory: str, every_file: bool) -> bool:
    """Inspect a workspace and say what is seen; whether something most likely went wrong as a whole."""
    from rqa.inspecting import inspect

    with progress_line() as progress:
        found = inspect(workspace, rows=rows, memory=memory, progress=progress)
    say(found.text(every_file=every_file, width=get_terminal_size((WIDE, 0)).columns))
    return bool(found.report.alarms)


@main.command(epilog="Example: rqa inspect depot-2026 --watch")
@click.argument("workspace", type=FOLDER)
@_memory
@_all
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
@_memory
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


@main.command(epilog="Example: rqa review depot-2026 --month 2026-05")
@click.argument("workspace", type=FOLDER)
@click.option("--month", default=None, metavar="YYYY-MM", help="The month to report; by default the last whole one.")
@click.option(
    "--as-of",
    default=None,
    metavar="DATE",
    help="Look at the depot as of this day; by default, and at most, the latest with data.",
)
@click.option("--to", default=None, type=click.Path(dir_okay=False, path_type=Path), help="The file to write.")
@click.option(
    "--format",
    "form",
    default="html",
    show_default=True,
    type=click.Choice(["html", "xlsx", "text", "email"]),
    help="The page; its tables as a workbook; or the page with a summary of 15 lines beside it, as a text (which is "
    "also said) or as an e-mail to send.",
)
@click.option("--pdf", is_flag=True, help="Print the sheet to a PDF beside the page, by a browser on this machine.")
@click.option("--annex", is_flag=True, help="With --pdf: print the annex behind the sheet.")
@click.option("--link", default="", metavar="URL", help="Where the summary says the page is; by default its file name.")
@click.option("--exit-code", is_flag=True, help="End with 3 when there is something to act on.")
def review(
    workspace: Path, month: str | None, as_of: str | None, to: Path | None, form: str, pdf: bool, annex: bool,
    link: str, exit_code: bool,
) -> None:
    """Write the manager's page for one month: a single HTML file that opens offline.

    It begins with the sheet, which is one page of paper; its annex is folded. What it tells of figures, goals,
    findings, cost and actions is kept in rqa-pages.json beside it, so that the next page of the same month says what
    changed since.

    Something to act on is a measure that became worse, a goal that was missed, a problem without an action, or a safety
    event.
    """
    import rqa
    from rqa.review import write_page
    from rqa.review.message import ENDINGS, write_message
    from rqa.review.printed import write_pdf
    from rqa.review.workbook import write_workbook

    if pdf and form == "xlsx":
        raise click.UsageError("--pdf prints the page; leave out --format xlsx, or --pdf.")
    if annex and not pdf:
        raise click.UsageError("--annex is printed with --pdf; add it, or leave out --annex.")
    if link and form not in ENDINGS:
        raise click.UsageError(f"--link stands in a summary; add --format {' or '.join(ENDINGS)}, or leave out --link.")
    message = None
    with rqa.open(workspace, as_of=as_of) as depot, progress_line() as progress:
        if form in ENDINGS:
            page, message = write_message(depot, to or workspace, month, progress, form=form, link=link)
        else:
            made = write_page if form == "html" else write_workbook
            page = made(depot, to or workspace, month=month, progress=progress)
        day = depot.as_of.date()
    if day > datetime.now(UTC).date():
        say(
            f"CAUTION: the page looks at the depot as of {day}, the latest day in the store, which is to come. "
            "A date is mistyped, or day and month are swapped: see “dated after the load” in the table `remarks`.\n"
        )
    say(page.headline if message is None else message.headline.rstrip())
    say(f"\nWritten to {page.path}")
    if message is not None:
        say(f"Its summary: {message.path}")
    if pdf:
        say(f"Printed to {write_pdf(page.path, annex=annex)}")
    if exit_code and page.to_act:
        say(f"To act on: {'; '.join(page.to_act)}.")
        raise click.exceptions.Exit(TO_ACT)


@main.command(
    epilog='Example: rqa action depot-2026 --what "cable guide" --started-on 2026-01-12 --scope "model=Marl-10"'
)
@click.argument("workspace", type=FOLDER)
@click.option("--what", default=None, metavar="TEXT", help="What was changed, in a few words.")
@click.option("--started-on", default=None, metavar="DAY", help="The first day on which the change held, 2026-01-12.")
@click.option(
    "--scope", default=None, metavar="FILTERS", help='The work it is about: "model=Marl-10; step=close case".'
)
@click.option("--finding", default=None, metavar="F-…", help="The finding that led to it.")
@click.option("--owner", default=None, metavar="TEXT", help="Who answers for it.")
@click.option("--expected", default=None, metavar="TEXT", help='What it is to bring: "x0.5", "by half", "by 30 %".')
@click.option("--closed-on", default=None, metavar="DAY", help="When it was closed.")
def action(
    workspace: Path,
    what: str | None,
    started_on: str | None,
    scope: str | None,
    finding: str | None,
    owner: str | None,
    expected: str | None,
    closed_on: str | None,
) -> None:
    """Add an improvement to the workspace's actions.csv, or list those there are with their state.

    A scope names site, model, procedure, step or technician; come-backs on that work are then followed before and
    after. The next load reads the file.
    """
    from rqa.actions import add_action, listed_actions

    needed = {"--what": what, "--started-on": started_on, "--scope": scope}
    if what is None or started_on is None or scope is None:
        if any(v is not None for v in (*needed.values(), finding, owner, expected, closed_on)):
            lacking = ", ".join(name for name, v in needed.items() if v is None)
            raise RqaError(f"to add an action give {lacking} too; to list those there are, give the workspace alone.")
        _list_actions(listed_actions(workspace))
        return
    added = add_action(
        workspace, what=what, started_on=started_on, scope=scope, finding=finding, owner=owner, expected=expected,
        closed_on=closed_on,
    )
    say(f"{added.action_id} written to {added.path}")
    for note in added.notes:
        say(note)
    say(f"\nTo have it followed: rqa load {workspace}")


def _list_actions(table: "pl.DataFrame") -> None:
    if table.is_empty():
        say('No actions yet. Add one: rqa action WORKSPACE --what "…" --started-on 2026-01-12 --scope "model=…"')
    for row in table.iter_rows(named=True):
        state = f"{row['state']}, expected {row['expected_on']}" if row["expected_on"] else row["state"]
        closed = f", closed {row['closed_on']}" if row["closed_on"] else ""
        what, scope = one_line(str(row["what"])), one_line(str(row["scope"]))
        say(f"{row['action_id']}  {what}\n  since {row['started_on']}{closed}, {scope}: {state}")
        if row["why"]:
            say(f"  {row['why']}")


@main.command(epilog='Example: rqa jobs out --where "model=Marl-10" --month 2026-05 --returned --to marl-10.xlsx')
@click.argument("workspace", type=FOLDER)
@click.option("--finding", default=None, metavar="F-…", help="Those behind a finding of the month.")
@click.option("--unit", default=None, metavar="UNIT", help="One unit: its jobs, and what was amiss in them.")
@click.option("--lot", default=None, metavar="PART:LOT", help="Those in which a lot of a part was fitted.")
@click.option("--breach", default=None, metavar="KIND", help="Those with a kind of breach: missing, …, or any.")
@click.option("--watch", "series", default=None, metavar="SERIES", help="Those of a signal that rqa watch names.")
@click.option("--false-alarms", type=float, default=None, help="As rqa watch was asked (--watch).")
@click.option("--where", default=None, metavar="FILTERS", help='Repairs by filters: "model=Marl-10; site=Alder".')
@click.option("--month", default=None, metavar="YYYY-MM", help="A finding's month; closed then (--breach, --where).")
@click.option("--window", type=int, default=None, help="Days within which a come-back counts: 30 (--breach, --where).")
@click.option("--returned", is_flag=True, help="Only those that came back.")
@click.option("--as-of", default=None, metavar="DATE", help="Look at the depot as of this day.")
@click.option("--to", default=None, type=click.Path(dir_okay=False, path_type=Path), help="Write an .xlsx or a .csv.")
@click.option("--people", is_flag=True, help="Name the technicians, too.")
def jobs(
    workspace: Path,
    finding: str | None,
    unit: str | None,
    lot: str | None,
    breach: str | None,
    series: str | None,
    false_alarms: float | None,
    where: str | None,
    month: str | None,
    window: int | None,
    returned: bool,
    as_of: str | None,
    to: Path | None,
    people: bool,
) -> None:
    """List the jobs behind a figure: of a finding, a unit, a lot, a breach, a signal, or repairs by filters.

    The list has as many rows as the figure counts. It is shown, or written to a file; names of persons are in it only
    with --people.
    """
    import rqa
    from rqa.lists import listed, write_list

    with rqa.open(workspace, as_of=as_of) as depot:
        found = listed(
            depot, finding=finding, unit=unit, lot=lot, breach=breach, series=series,
            false_alarms=false_alarms, where=where, month=month, window=window, returned=returned, people=people,
        )
        if to is None:
            say(repr(found))
        else:
            say(f"{counted(found.table.height, 'row')} written to {write_list(found, to)}")
            for note in found.notes:
                say(note)


@main.command(epilog="Example: rqa watch depot-2026 || mail -s 'What changed' …")
@click.argument("workspace", type=FOLDER)
@click.option("--window", default=30, show_default=True, help="Days within which a return counts as a come-back.")
@click.option(
    "--false-alarms", default=1.0, show_default=True, type=click.FloatRange(min=0, min_open=True),
    help="False alarms a year that all series together may raise on steady work.",
)
@click.option("--format", "form", default="text", show_default=True, type=click.Choice(["text", "html", "json"]))
@click.option("--to", default=None, type=click.Path(dir_okay=False, path_type=Path), help="Write it to a file, too.")
@click.option("--again", is_flag=True, help="Say all that stands as new, and keep what was said as it is.")
@click.option("--as-of", default=None, metavar="DATE", help="Look as of this day; goes with --again.")
def watch(
    workspace: Path, window: int, false_alarms: float, form: str, to: Path | None, again: bool, as_of: str | None
) -> None:
    """Say which work changed for the worse since the last look: by site, model, procedure, step, test, lot and so on.

    Each signal is said as new once, and again if it ended and came back: rqa-watch.json in the workspace holds what was
    said. Ends with 3 when something is new, so that a scheduler can mail it. It names no person.
    """
    import rqa
    from rqa.changes_told import FORMATS, State, folder_of, keep_state, look, read_state

    if as_of is not None and not again:
        raise click.UsageError("--as-of looks at a past day, of which nothing is kept; add --again.")
    folder = folder_of(workspace)
    state = State("", {}) if again else read_state(folder)
    with rqa.open(workspace, as_of=as_of) as depot:
        found = look(depot, window=window, false_alarms=false_alarms, state=state)
    options = {"--window": window != 30, "--false-alarms": false_alarms != 1.0, "--as-of": as_of is not None}
    given = {"--window": window, "--false-alarms": f"{false_alarms:g}", "--as-of": as_of}
    asked = " ".join([str(workspace), *(f"{name} {given[name]}" for name, other in options.items() if other)])
    said = FORMATS[form](found, asked)
    if to is not None:
        write_whole(to, said.encode("utf-8"))
    say(said.rstrip())
    if not again:
        keep_state(folder, found.state)
    if found.new:
        raise click.exceptions.Exit(TO_ACT)


@main.command(epilog="Example: rqa sheet out --technician T07 --to t07.pdf")
@click.argument("workspace", type=FOLDER)
@click.option("--technician", required=True, metavar="NAME", help="Whose work, by the name that the logs have.")
@click.option("--month", "months", default=None, metavar="YYYY-MM", help="The first month; by default all months.")
@click.option("--until", default=None, metavar="YYYY-MM", help="The last month, with --month.")
@click.option("--as-of", default=None, metavar="DATE", help="Look at the depot as of this day.")
@click.option("--to", default=None, type=click.Path(dir_okay=False, path_type=Path), help="Write an .html or a .pdf.")
def sheet(
    workspace: Path, technician: str, months: str | None, until: str | None, as_of: str | None, to: Path | None
) -> None:
    """Write a technician's own work beside comparable work on one page, for coaching.

    What goes well comes first, then what can be told of the rest, how yield went with practice, and what to practise.
    There is no rank, and no other person. It is refused where there is too little work to be fair. See first what
    local labour and privacy law and the works council allow.
    """
    import rqa
    from rqa.review.compare.own_sheet import write_sheet

    if until and not months:
        raise click.UsageError("--until is the last month; add --month, or leave out --until.")
    span = (months, until or months) if months else None
    with rqa.open(workspace, as_of=as_of) as depot:
        say(f"Written to {write_sheet(depot, technician, to, months=span)}")


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
    say(_load(folder, write=True).text())
    with rqa.open(folder) as depot, progress_line() as progress:
        page = write_page(depot, folder, progress=progress)
    copy_notebooks(folder, as_run=(jobs, seed) == SAMPLE)
    say(f"\n{page.headline}\n")
    say(f"The page:      {page.path}")
    if not no_run:
        _run_notebooks(folder)
    say(f"The notebooks: {opened_with(folder / 'notebooks')}")
