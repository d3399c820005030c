"""What all commands share: how they speak, how they end, and options of several of them.

Each does one thing, says what it did and ends with 0; a user's mistake ends with 1 and a message.

A load that most likely went wrong as a whole, though it was made, ends with 2.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rqa.errors import RqaError
from rqa.progress_line import progress_line
from rqa.shown import shown
from rqa.stopping import held, stoppable
from rqa.store.limits import MEMORY, WAIT_SECONDS

if TYPE_CHECKING:
    from rqa.store.report import LoadReport

FOLDER = click.Path(file_okay=False, path_type=Path)
WENT_WRONG = 2
"""How a load ends that was made, and that most likely is not what was meant: a job that calls it can stop there."""
TO_ACT = 3
"""How a review ends, where it is asked to, that found something to act on."""


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


def loaded(workspace: Path, *, write: bool, wait: float = WAIT_SECONDS, memory: str = MEMORY) -> "LoadReport":
    """Load a workspace, or only try to, with a line that says how far it is."""
    from rqa.loading import load

    with progress_line() as progress:
        return load(workspace, write=write, wait=wait, memory=memory, progress=progress)


wait_option = click.option(
    "--wait",
    default=WAIT_SECONDS,
    show_default=True,
    type=click.FloatRange(min=0),
    help="Seconds to wait for another load to end.",
)
memory_option = click.option(
    "--memory", default=MEMORY, show_default=True, metavar="SIZE", help="The most the engine may use."
)
all_option = click.option(
    "--all", "every_file", is_flag=True, help="List unchanged files too, and every kind of refusal and remark."
)


def show(report: "LoadReport", *, every_file: bool) -> None:
    """Say what a load did; it ends with 2 where most likely something went wrong as a whole."""
    say(report.text(every_file=every_file))
    if report.alarms:
        raise click.exceptions.Exit(WENT_WRONG)
