"""Commands about the work: the jobs behind a figure, what changed, one's own sheet, and what to open again."""

from pathlib import Path

import click

from rqa.commands.base import FOLDER, TO_ACT, main, say
from rqa.words import counted
from rqa.written import write_whole


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


@main.command(epilog="Example: rqa recheck out --per-day 5 --days 1 --to plan-2026-06-30.csv")
@click.argument("workspace", type=FOLDER)
@click.option("--per-day", default=5, show_default=True, help="How many of each day's closed repairs to open.")
@click.option("--days", default=7, show_default=True, help="Days up to the as-of day whose jobs are drawn from.")
@click.option("--uniform", default=0.25, show_default=True, help="The part of the draws that goes to all jobs alike.")
@click.option("--seed", default=0, show_default=True, help="The same seed draws the same jobs again.")
@click.option("--as-of", default=None, metavar="DATE", help="Look at the depot as of this day.")
@click.option("--to", default=None, type=click.Path(dir_okay=False, path_type=Path), help="Write an .xlsx or a .csv.")
def recheck(
    workspace: Path, per_day: int, days: int, uniform: float, seed: int, as_of: str | None, to: Path | None
) -> None:
    """Draw the closed jobs to open and look at before they leave, at random by their predicted risk.

    Each job has a known chance, which the plan says. Fill in its column found ("fault" or "good") and map the file as
    the study "recheck": depot.actions.rechecked() then estimates how many of all jobs leave with a fault. No person is
    among what the risk goes by.
    """
    import rqa
    from rqa.lists import write_list

    with rqa.open(workspace, as_of=as_of) as depot:
        plan = depot.actions.recheck_plan(per_day, days=days, uniform=uniform, seed=seed)
        if to is None:
            say(repr(plan))
        else:
            say(f"{counted(plan.table.height, 'job')} written to {write_list(plan, to, of='recheck')}")
            for note in plan.notes:
                say(note)
