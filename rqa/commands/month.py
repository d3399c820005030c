"""Commands about a month: its page, and the actions that are followed."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rqa.commands.base import FOLDER, TO_ACT, main, say
from rqa.errors import RqaError
from rqa.progress_line import progress_line
from rqa.shown import one_line

if TYPE_CHECKING:
    import polars as pl


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
    from rqa.answers.core.as_of import FARTHEST
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
    if day > (datetime.now(UTC) + FARTHEST).date():
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
