"""From a depot to the month's facts: every question is asked here, once."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from importlib.metadata import version

from rqa.answers.charts.month import UNCLEAR
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.grounds import Sentence
from rqa.answers.core.scope import month_end, month_of, months_back
from rqa.answers.improve.contrast_families import held_of, year_before
from rqa.answers.improve.findings import WINDOW, months_up_to
from rqa.answers.improve.overall_findings import FIGURES
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.measures.run import measure_sql
from rqa.progress import Progress, Stage, silent
from rqa.review.comebacks.costs import cost
from rqa.review.comebacks.projected import projections
from rqa.review.compare.people import people
from rqa.review.data.intake import intake
from rqa.review.data.provenance import provenance, record
from rqa.review.facts import FigureScope, MonthFacts, Section, Verdict
from rqa.review.figures import figures
from rqa.review.improve.actions import actions
from rqa.review.improve.finding_jobs import FindingJobs
from rqa.review.improve.findings import places_to_look
from rqa.review.improve.goals import goals
from rqa.review.improve.verdicts import mature_month, resting_on, summary, verdicts
from rqa.review.ledger import Record
from rqa.review.said_once import said_once
from rqa.review.sheet import sheet
from rqa.review.spans import first_day, year_held
from rqa.review.steps.risky_steps import risky_steps
from rqa.review.steps.safety import no_battery, safety
from rqa.review.tests.diagnostics import HEADING as TESTS
from rqa.review.tests.diagnostics import diagnostics, stations_told
from rqa.review.texts import CANNOT_BE_TOLD, CAUTIONS, DEFINITIONS, HAZARDS, LUCK, no_job_closed
from rqa.words import listed, month_name, months_said, percent

SHOWN_MONTHS = 24
PARTS = 12
"""Parts that are asked one after the other, as `describe` tells them."""


def last_month_over(day: date) -> date:
    """The first day of the last month that is over on that day."""
    first = day.replace(day=1)
    return first if month_end(first) <= day else (first - timedelta(days=1)).replace(day=1)


def describe(
    depot: Depot, month: str | date | None = None, earlier: Sequence[Record] = (), progress: Progress = silent
) -> MonthFacts:
    """Ask the depot everything the page of one month says.

    By default the last whole month at the depot's as-of day. `earlier` are the pages written before this one;
    `progress` is told each part as it is asked. Raises
    `RequestError` for a month that is none, or of which the store holds nothing.
    """
    day = depot.as_of.date()
    own = _month(depot, day, month)
    part = _Parts(progress)
    part("the month against those before")
    judged = verdicts(depot, own)
    final = mature_month(depot, FIGURES[0].measure, FIGURES[0].window, own)
    span = None if final is None else year_held(depot, final)
    shown = _shown(depot, own, day)
    part("where to look: all comparisons of the month and of the month before")
    found = depot.findings(own, progress=progress)
    part("what was loaded")
    elsewhere = {TESTS: {f.id for f in stations_told(depot, found)}}
    found_there, quiet, looked = places_to_look(
        found, _answered(depot, day), depot.grounds(), depot.people, judged, elsewhere
    )
    past = months_up_to(own, first_day(depot))
    tables, files, intake_words = intake(depot)
    title = depot.about.get("title") or "Repair depot"
    general = tuple(n for n in depot.data.remarks().notes if not isinstance(n, Sentence))
    notes = list(general)
    so_far = _so_far(depot, own) if month_end(own) > day else ""
    so_far = so_far or no_job_closed(depot.grounds(own), own)
    if month_end(own) > day:
        notes.insert(0, f"{month_name(own)} is not over on {day}: its figures will still change, and none is judged.")
    sections: dict[str, Callable[[], Section]] = {
        "goals": lambda: goals(depot, own),
        "where it goes wrong": lambda: risky_steps(depot, past, found),
        "the tests": lambda: diagnostics(depot, past, found),
        "people and places": lambda: people(depot, past, found),
        "actions": lambda: actions(depot, own, found, [p.id for p in found_there]),
        "safety": lambda: safety(depot, own),
        "cost": lambda: cost(depot, own),
    }
    told = []
    for name, section in sections.items():
        part(name)
        told.append(section())
    first, then = tuple(told[:1]), tuple(told[1:])
    part("the pictures of the month")
    drawn = figures(depot, own, span, shown, general, judged)
    ahead = projections(depot, own)
    kept = record(depot, own, judged, (*first, *then), found_there, quiet)
    part("the sheet")
    jobs = FindingJobs(depot, found, own)
    front = sheet(
        depot, own, title=title, judged=judged, found=found, sections=(*first, *then), pointers=found_there,
        jobs=jobs, quiet=quiet, shown=shown, over=month_end(own) <= day,
        hidden=next((f.hidden for f in drawn if f.key == "work"), (0, 0)),
    )
    ids = dict.fromkeys([p.id for p in found_there] + [i for p in front.problems for i in p.ids])
    lists = [made for made in map(jobs.of, ids) if made is not None]
    facts = MonthFacts(
        title=title,
        month=own,
        month_name=month_name(own),
        as_of=f"{day.day} {month_name(day)}",
        headline=_headline(title, judged, own, so_far),
        summary=summary(depot.grounds(own), judged, own, ahead),
        verdicts=judged,
        projected=ahead,
        luck=LUCK,
        pointers=found_there,
        quiet=quiet,
        looked=looked,
        figures=drawn,
        first=first,
        then=then,
        last=(provenance(depot, kept, earlier),),
        record=kept,
        intake=tables,
        files=files,
        intake_words=intake_words,
        notes=tuple(notes),
        cautions=tuple(c.format(smallest=SMALLEST, hazards=HAZARDS[no_battery(depot)]) for c in CAUTIONS),
        definitions=DEFINITIONS,
        made_by=f"rqa {version('rqa')}",
        looked_at=FigureScope(past, WINDOW).short,
        shown_months=months_said(*shown),
        sheet=front,
        lists=tuple(lists),
    )
    return said_once(facts)


class _Parts:
    """Counts the parts of the page as they are asked: they take very different times, so no share is told."""

    def __init__(self, progress: Progress) -> None:
        self.progress, self.number = progress, 0

    def __call__(self, what: str) -> None:
        self.number += 1
        self.progress(Stage(f"part {self.number} of {PARTS}: {what}"))


def _answered(depot: Depot, day: date) -> dict[str, str]:
    """The actions begun by the day that name a finding, by its id."""
    named: dict[str, list[str]] = {}
    for action, found in depot.query(measure_sql("answered_findings"), {"as_of": day}).iter_rows():
        named.setdefault(found, []).append(action)
    return {found: listed(actions) for found, actions in named.items()}


def _shown(depot: Depot, month: date, day: date) -> tuple[date, date]:
    """The months on the time axes: up to the day one looks, two years back or more if the month is older."""
    last = day.replace(day=1)
    first = min(months_back(last, SHOWN_MONTHS - 1), year_before(month)[0])
    seen = depot.yields.clean(by=("month",)).table["month"].min() or first_day(depot)
    return held_of((first, last), seen if isinstance(seen, date) and seen.replace(day=1) <= month else None)


def in_short(depot: Depot, month: str | date | None = None) -> tuple[Sentence, ...]:
    """The month as the page begins: one sentence on what changed, then one on each headline figure.

    By default the last whole month at the depot's as-of day.
    """
    own = _month(depot, depot.as_of.date(), month)
    judged = verdicts(depot, own)
    return (summary(depot.grounds(own), judged, own), *(verdict.sentence for verdict in judged))


def _month(depot: Depot, day: date, month: str | date | None) -> date:
    """The month asked for, or else the last whole one; where the data begins later, the month in which it begins."""
    first = first_day(depot)
    begins = day.replace(day=1) if first is None else first.replace(day=1)
    if month is None:
        return max(last_month_over(day), min(begins, day.replace(day=1)))
    own = month_of("review", month)
    if not begins <= own <= day:
        last = day.replace(day=1)
        held = month_name(last) if begins == last else f"{month_name(begins)} to {month_name(last)}"
        raise RequestError(f"review: the store holds nothing of {month_name(own)}; its data is of {held}.")
    return own


def _so_far(depot: Depot, own: date) -> str:
    """The shares of a month that is not over, which nothing judges."""
    said = []
    for figure in FIGURES:
        if figure.measure != "comebacks":
            found = depot.charts.month_against_before(figure.measure, month=own, window=figure.window)
            if found is not None and found.share is not None:
                said.append(f"{figure.name} {percent(found.share)} so far")
    return f"{month_name(own)} is not over: {', '.join(said)} (not judged)" if said else ""


def _headline(title: str, judged: tuple[Verdict, ...], own: date, so_far: str) -> Sentence:
    """The measures in one line; a month other than the page's own is named beside its figure."""
    said = [so_far] if so_far else []
    for v in judged:
        text = f"{v.measure} {CANNOT_BE_TOLD if v.share == 'no data' and v.word == CANNOT_BE_TOLD else v.share}"
        if v.share != "no data" and v.month != month_name(own):
            text += f" ({v.month})"
        if v.word in ("better", "worse"):
            text += f", {v.word} since {v.since}"
        elif v.word == UNCLEAR:
            text += f", {UNCLEAR}"
        elif v.share != "no data" and v.word == CANNOT_BE_TOLD:
            text += ", a change cannot be told"
        said.append(text)
    return resting_on(f"{title}, {month_name(own)}: {'; '.join(said)}.", judged)
