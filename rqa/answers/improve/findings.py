"""What to act on in a month: all that the analyses compared, judged together so that few findings are due to chance."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from rqa.answers.charts.month import last_whole_month
from rqa.answers.comebacks.counted import CountedClasses, counted_comebacks
from rqa.answers.compare.recent import compared_recently
from rqa.answers.core.asked_once import copied
from rqa.answers.core.contrasts import all_stated
from rqa.answers.core.finding import ALLOWED, RELEVANT, Finding, judged, judged_for_page
from rqa.answers.core.ground_list import LAID, PLANNED, SEEN
from rqa.answers.core.grounds import Sentence, comebacks_seen, grounds
from rqa.answers.core.kept_answers import kept_or_made
from rqa.answers.core.needs import with_grounds
from rqa.answers.core.persons import cautioned
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot, check_month_held, is_held, is_number, month_of, months_back
from rqa.answers.core.windows import nested, windows_note
from rqa.answers.improve import contrast_families as families
from rqa.answers.improve.finding_lists import FindingPlace, finding_jobs, finding_named
from rqa.answers.improve.finding_words import first_signs, how_judged, of_size, resting_on
from rqa.answers.improve.overall_findings import FIGURES, against_before, projected
from rqa.answers.improve.part_lots import OF_LOTS, lots
from rqa.answers.improve.people_steps import BY, people_at_steps
from rqa.answers.steps.attribution import attribution
from rqa.answers.steps.bursts import bursts
from rqa.answers.steps.conformance import breaches
from rqa.answers.steps.relative_risk import step_relative_risk
from rqa.answers.tests.agreement import KIND as STUDIED
from rqa.answers.tests.agreement import agreement
from rqa.answers.tests.drift import drift
from rqa.answers.tests.readings import readings
from rqa.answers.tests.releases import releases
from rqa.answers.tests.retests import retests
from rqa.errors import RequestError
from rqa.measures.groupings import names_only
from rqa.measures.run import counts
from rqa.progress import Progress, Stage, silent
from rqa.shown import told
from rqa.words import count, enumerated, listed, month_name, months_said

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.core.job_lists import JobList

QUESTION = "findings"
MONTHS = 24
"""Months looked at: two years up to the month, so that one season does not speak alone."""
WINDOW = families.WINDOW
UNDATED = "of a study, without a date"
"""The state of what a study of the measuring says: it belongs to no month, so it is neither new nor continuing."""
COMPARED = (
    ("bench", "comeback"), ("technician", "comeback"), ("site", "comeback"), ("technician", "first_pass"),
    ("bench", "first_pass"), ("tool", "first_pass"), ("site", "first_pass"), ("station", "first_run"),
    ("site", "first_run"),
)
"""Who is compared with what the same mix of work brings, and by what. Procedures are not, by their first checks: they
have other steps, so that nothing alike stands beside them."""
SETS = 399
"""Sets without bursts that those found are set against; where none is as strong, a fitted curve says how rare it is."""
FAMILIES = {
    "come-backs": (*SEEN, "final_comebacks"),
    "come-backs attributed to steps": LAID,
    "breaches of the procedure": PLANNED,
    "first checks of steps": ("checks",),
    "benches": ("bench",),
    "tools": ("tool",),
    "lots of parts": ("lot",),
    "first runs of tests and runs that passed again": ("diagnostics",),
    "stations": ("station",),
    "measured values": ("test_values",),
}
"""What is compared, and what each rests on."""
NO_LOTS = (
    "Lots of parts were not compared: each was fitted in too few jobs, or beside too few other lots of its part at "
    "about the same time."
)
AFTER = ("failed check", "rework", "skipped check", "tool")
"""Come-backs after these; those by bench are compared with the whole mix of work."""
KEPT_MONTHS = 8
"""Of so many months what was compared is kept while a store is open: it holds whole tables."""


@dataclass(frozen=True, eq=False, repr=False)
class MonthFindings(Answer):
    """What there is to act on: id, state, kind, where, what, measure, size, low, high, jobs, avoided, p_value,
    p_adjusted, caution, check.

    `findings` holds those of the rows, in their order, and `gone` those that held a month before. `signs` are first
    signs: what would be clear on one page, while the surest is not clear enough for a year of pages; there are no
    findings then. `compared` has the number of comparisons made by kind, `answers` the answers about risky steps and
    tests behind them, by name. `lacking` says what could not be compared and why, `counted` which come-backs were; None
    where no month is over.
    """

    gone: tuple[Finding, ...] = ()
    signs: tuple[Finding, ...] = ()
    compared: Mapping[str, int] = field(default_factory=dict)
    answers: Mapping[str, Answer] = field(default_factory=dict)
    lacking: tuple[Sentence, ...] = ()
    counted: CountedClasses | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Those of all comparisons that hold and are of a size to act on."""
        return tuple(f for f, _ in judged_for_page(self.stated, least=sizes_of({}, self.settings.get("least"))))

    judges_all = True
    question = "Findings of the month"
    shown = ("id", "state", "where", "what", "avoided", "check")
    nothing_found = "Of all that was compared nothing is statistically clear."

    def jobs(self, count: str | None = None, /, *, people: bool = False, **row: object) -> "JobList":
        """List the jobs behind a finding of the month, named by its id: `findings.jobs(id="F-d69f6885")`.

        They are those that the finding counts, in its place and months: matured jobs where it is about come-backs;
        checks, runs or readings, each with its job, where it is about those. `people`: whether technicians are named.
        A finding has one list, so no `count` is taken.
        """
        if count is not None:
            raise RequestError(
                f"jobs: a finding has one list, so it takes no count ({told(count)}); name it by id alone: "
                f'.jobs(id="F-…").'
            )
        return self._behind(row, people=people, returned=False)

    def returned(self, *, people: bool = False, **row: object) -> "JobList":
        """List the jobs behind a finding that came back.

        Where a finding is about breaches by bench, they are its jobs with such a breach that came back. Raises
        `RequestError` for a finding that counts no come-backs, such as one about first checks.
        """
        return self._behind(row, people=people, returned=True)

    def _behind(self, row: Mapping[str, object], *, people: bool, returned: bool) -> "JobList":
        names_only("jobs", "key", row, ("id",))
        shown = tuple(self.table["id"])
        if "id" not in row:
            raise RequestError(f"jobs: name a finding by id. There is: {enumerated(list(shown)) or 'none'}.")
        found, snapshot = finding_named(self.stated, row["id"], shown), self._asked_of().snapshot
        month = month_of(QUESTION, str(self.settings["month"]))
        place = FindingPlace(
            snapshot, found, month=month, finals=_finals(snapshot, month), window=WINDOW, counted=self.counted,
            answers=stated_in(snapshot, month)[1],
        )
        made = finding_jobs(place, people=people, returned=returned)
        if returned or made.table.height == found.jobs:
            return made
        more = f"The finding counts {count(found.jobs)} of these; the others were left out of the comparison."
        return replace(made, notes=(*made.notes, more))


def findings(
    snapshot: Snapshot, month: str | date | None = None, progress: Progress = silent, *,
    least: Mapping[str, float] | None = None,
) -> MonthFindings:
    """Say what there is to act on: every comparison the analyses make up to a month, the lucky ones kept out.

    By default the latest whole month with any data: first checks and tests need not mature, and come-backs are those of
    the latest months that have. A row a finding, those first that would spare most
    come-backs, then the surest: id (the same in every month), state (new, continuing: it held a month before, too,
    or that it is of a study, which has no date),
    kind, where, what, measure, size, low, high, jobs, avoided, p_value, p_adjusted, caution, check. `gone` lists those
    that held a month before and no longer do; `compared` how many comparisons of each kind were made, `answers` the
    answers about risky steps and tests behind them. Adjusted after Benjamini and Hochberg (1995) over all of them: of
    those listed, one in twenty at most is expected to be due to chance. Of years without anything to be found, one in
    ten at most has a page that lists any; what would be clear on a single page alone is a first sign (`signs`).
    People, places, steps and kinds of work are compared over the last 3, 6 and 12 months and over all 24: the surest
    is told, with its months; its p-value allows for the choice, and the limits of all these spans hold together.
    `least` says how large a finding must be to be listed: {"ratio": 1.1, "sd": 0.25}, 1.1 times as often as where it is
    compared, and readings (of a trend those of a year) a quarter of their standard deviation apart. By default it is
    what `least` under [workspace] of the mapping says, else this. `progress` is told each analysis as it begins; what
    was compared before, while the store is open, is not compared again, and nothing is told of it.
    """
    last = newest_month(snapshot)
    own = last if month is None else month_of(QUESTION, month)
    sizes = sizes_of(snapshot.store.about, least)
    settings = {"month": own, "allowed": ALLOWED, "window": WINDOW, "least": sizes}
    if own is None or last is None:
        none = grounds(snapshot).claim("", "jobs", about="what there is to act on", among=(0, "months that are over"))
        return MonthFindings(_table((), set()), settings, (none,))
    check_month_held(QUESTION, snapshot, own)
    stated, answers = stated_in(snapshot, own, progress)
    held = judged_for_page(stated, sizes)
    earlier = months_back(own, 1)
    before = judged_for_page(stated_in(snapshot, earlier, progress)[0], sizes) if is_held(snapshot, earlier) else ()
    signs = () if held else tuple(f for f, _ in judged(stated, least=sizes))
    there, known = ({f.id for f, _ in family} for family in (held, before))
    compared = Counter(f.kind for f in stated)
    span = months_up_to(own, snapshot.first)
    lacking, counted = not_compared(snapshot), counted_comebacks(snapshot, WINDOW, span)
    return MonthFindings(
        _table(held, known),
        settings,
        (
            *how_judged(compared), *first_signs(signs, snapshot.store.people), of_size(stated, sizes),
            resting_on(own, _finals(snapshot, own)),
            *windows_note(nested(span)), *_no_lots(snapshot, compared), *lacking, *counted.notes,
        ),
        stated,
        gone=tuple(f for f, _ in before if f.id not in there),
        signs=signs,
        compared=dict(compared),
        answers=answers,
        lacking=lacking,
        counted=counted,
    )


def _no_lots(snapshot: Snapshot, compared: Counter[str]) -> tuple[str, ...]:
    """What is said where lots are written down and none could be compared."""
    if any(kind.startswith(OF_LOTS) for kind in compared) or not comebacks_seen(snapshot):
        return ()
    return (NO_LOTS,) if counts(snapshot.store, "lots_fitted", values={"as_of": snapshot.day}).height else ()


def newest_month(snapshot: Snapshot) -> date | None:
    """The latest whole month of which any of the month's figures is final; None if there is none yet."""
    found = (last_whole_month(snapshot, figure.measure, figure.window) for figure in FIGURES)
    return max((month for month in found if month is not None), default=None)


def not_compared(snapshot: Snapshot) -> tuple[Sentence, ...]:
    """What the depot cannot compare at all, a sentence for all that lacks the same."""
    there, apart = grounds(snapshot, window=WINDOW), dict[tuple[str, ...], list[str]]()
    for about, names in FAMILIES.items():
        lacks = tuple(ground.name for ground in there.lacking(*names))
        if lacks:
            apart.setdefault(lacks, []).append(about)
    return tuple(there.claim("", *lacks, about=listed(abouts)) for lacks, abouts in apart.items())


def months_up_to(month: date, first: date | None) -> families.Span:
    """First and last of the months that the findings of a month look at; none is before the `first` day with data."""
    return families.held_of((months_back(month, MONTHS - 1), month), first)


def matured_in(snapshot: Snapshot, span: families.Span, window: int) -> families.Span:
    """The months of a span in which jobs were closed that have matured by now: come-backs are counted of these."""
    begins, ends = span
    last = (snapshot.day - timedelta(days=window)).replace(day=1)
    return begins, max(begins, min(ends, last))


def stated_in(
    snapshot: Snapshot, month: date, progress: Progress = silent
) -> tuple[tuple[Finding, ...], dict[str, Answer]]:
    """Everything compared, what would spare most come-backs first, then the surest; and the answers behind it.

    Steps are compared up to the month, come-backs as far as the jobs have matured. It is made once while a store is
    open, as the findings of a month, its page and those of the next month all look at it; `progress` is told of nothing
    when it was made before, now or by whoever asked the same of this store. The tables of the answers are copies.
    """
    asked = (snapshot.at, snapshot.notes, snapshot.from_rows, month)
    key = repr(("stated_in", *asked)).encode("utf-8", "surrogatepass")

    def made() -> tuple[Any, ...]:
        return kept_or_made(snapshot, key, lambda: _stated_in(snapshot, month, progress), tuple)

    stated, answers = snapshot.store.once("stated_in", asked, made, most=KEPT_MONTHS)
    return stated, {name: copied(answer) for name, answer in answers.items()}


def _stated_in(snapshot: Snapshot, month: date, progress: Progress) -> tuple[tuple[Finding, ...], dict[str, Answer]]:
    span = months_up_to(month, snapshot.first)
    finals = _finals(snapshot, month)

    def tell(what: str) -> None:
        progress(Stage(f"findings of {month_name(month)}: {what}"))

    counted = counted_comebacks(snapshot, WINDOW, span)
    answers = {name: with_grounds(snapshot, answer) for name, answer in _answers(snapshot, span, counted, tell).items()}
    tell("comparisons")
    made = [finding for family in _of_the_month(snapshot, month, finals) for finding in family]
    made += [_dated(finding, span) for family in _of_windows(snapshot, span, counted) for finding in family]
    over: list[tuple[Finding, object]] = []
    if comebacks_seen(snapshot):
        over += [(finding, WINDOW) for finding in all_stated(lots(snapshot, span, counted))]
    for answer in answers.values():
        if answer.settings.get("months"):
            over += [(finding, answer.settings.get("window")) for finding in answer.stated]
        else:
            made += answer.stated
    for finding, window in over:
        months = matured_in(snapshot, span, window) if finding.avoided is not None and isinstance(window, int) else span
        made.append(replace(finding, what=f"{finding.what} ({months_said(*months)})", months=months))
    made = list(cautioned(made, snapshot.store.people))
    return tuple(sorted(made, key=lambda f: (-(f.avoided or 0.0), f.p_value, f.what))), answers


def _dated(finding: Finding, span: families.Span) -> Finding:
    """The finding with the months it is of: those it began with, where they are not all that were looked at."""
    months = finding.months or span
    said = months_said(*months) if months[0] == span[0] else f"since {month_name(months[0])}"
    return replace(finding, what=f"{finding.what} ({said})")


def _finals(snapshot: Snapshot, month: date) -> dict[int, date]:
    """The latest month with work up to this one whose come-backs within so many days are final, by days."""
    windows = [f.window for f in FIGURES if f.measure == "comebacks"]
    latest = {window: last_whole_month(snapshot, "comebacks", window, month) for window in windows}
    return {window: found for window, found in latest.items() if found is not None}


def _of_the_month(snapshot: Snapshot, month: date, finals: dict[int, date]) -> Iterator[Iterable[Finding]]:
    """Every analysis that says what the month was like, each with its months in words."""
    yield against_before(snapshot, month, finals)
    yield projected(snapshot, month)
    yield all_stated(families.steps_against_before(snapshot, month))


def _of_windows(snapshot: Snapshot, span: families.Span, counted: CountedClasses) -> Iterator[Iterable[Finding]]:
    """Every analysis that says where something is too often, of late or all along.

    Clusters of failures are not among them: they say in what way jobs fail somewhere, not that more of them do.
    """
    now, then = nested(span), nested(matured_in(snapshot, span, WINDOW))
    for keys, state in (
        (("procedure", "step", "model"), families.steps_by_model), (("test", "model"), families.tests_by_model),
        (BY, people_at_steps),
    ):
        yield families.over_windows(now, partial(families.checks_counted, snapshot, keys), state)
    for who, outcome in COMPARED:
        windows, which = (then, counted.where) if outcome == "comeback" else (now, None)
        yield compared_recently(snapshot, who, outcome, windows, window=WINDOW, where=which)
    if comebacks_seen(snapshot):
        yield families.over_windows(
            then, partial(families.kinds_counted, snapshot, counted=counted),
            partial(families.kinds_of_work, counted=counted),
        )


def _answers(
    snapshot: Snapshot, span: families.Span, counted: CountedClasses, tell: Callable[[str], None]
) -> dict[str, Answer]:
    """The answers about risky steps and about the tests that state findings."""
    asked: dict[str, Callable[[], Answer]] = {
        "attribution": lambda: attribution(snapshot, by=("model", "procedure"), window=WINDOW, months=span),
        "step_relative_risk": lambda: step_relative_risk(
            snapshot, after=AFTER, window=WINDOW, months=span, classes=counted.classes
        ),
        "breaches": lambda: breaches(snapshot, window=WINDOW, months=span),
        "bursts": lambda: bursts(snapshot, window=WINDOW, months=span, simulations=SETS, classes=counted.classes),
        "bursts of failed checks": lambda: bursts(snapshot, what="failed_checks", months=span, simulations=SETS),
        "retests": lambda: retests(snapshot, months=span),
        "releases": lambda: releases(snapshot, months=span, window=90),
        "readings": lambda: readings(snapshot, months=span),
        "drift": lambda: drift(snapshot, period="week", months=span),
        "agreement": lambda: agreement(snapshot),
    }
    answers = {}
    for what, ask in asked.items():
        tell(what.replace("_", " "))
        answers[what] = ask()
    return answers


def _table(held: tuple[tuple[Finding, float], ...], known: set[str]) -> "pl.DataFrame":
    import polars as pl

    all_held = [f for f, _ in held]
    texts = {
        "id": [f.id for f in all_held],
        "state": [UNDATED if f.kind == STUDIED else "continuing" if f.id in known else "new" for f in all_held],
        "kind": [f.kind for f in all_held],
        "where": [f.where for f in all_held],
        "what": [f.what for f in all_held],
        "measure": [f.measure for f in all_held],
    }
    columns = [pl.Series(name, values, dtype=pl.String) for name, values in texts.items()]
    columns += [rounded(getattr(f, name) for f in all_held).alias(name) for name in ("size", "low", "high")]
    columns += [
        pl.Series("jobs", [f.jobs for f in all_held], dtype=pl.Int64),
        rounded(float("nan") if f.avoided is None else f.avoided for f in all_held).alias("avoided"),
        rounded_p_values(f.p_value for f in all_held).alias("p_value"),
        rounded_p_values(p for _, p in held).alias("p_adjusted"),
        pl.Series("caution", [f.caution for f in all_held], dtype=pl.String),
        pl.Series("check", [f.check for f in all_held], dtype=pl.String),
    ]
    return pl.DataFrame(columns)


def sizes_of(about: Mapping[str, str], given: object = None) -> dict[str, float]:
    """How large a finding must be, by scale: what is given, else what the mapping says (`about`), else as usual."""
    asked: dict[str, Any] = dict(given) if isinstance(given, Mapping) else {} if given is None else {str(given): None}
    names_only(QUESTION, "scale", tuple(asked), tuple(RELEVANT))
    for scale, lowest in (("ratio", 1.0), ("sd", 0.0)):
        if scale in asked and not (is_number(asked[scale]) and asked[scale] >= lowest):
            raise RequestError(f"{QUESTION}: least[{scale!r}] is a number from {lowest:g}: {asked[scale]!r}.")
    mapped = {scale: float(about[f"least_{scale}"]) for scale in RELEVANT if f"least_{scale}" in about}
    return {**RELEVANT, **mapped, **{scale: float(size) for scale, size in asked.items()}}
