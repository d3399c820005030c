"""The headline measures up to a month: better since when, worse since when, no clear change, or not to be told."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from rqa.answers.charts.chart_marks import change_in
from rqa.answers.charts.level import UNTOLD, Level
from rqa.answers.charts.month import UNCLEAR, MonthAgainstBefore
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.core.scope import months_back
from rqa.answers.improve.overall_findings import EARLIER, FIGURES, GROUNDS, MonthMeasure
from rqa.depot import Depot
from rqa.review.facts import Projected, Verdict
from rqa.review.texts import CANNOT_BE_TOLD, no_job_closed
from rqa.words import count, counted, counted_of, interval, listed, month_name, months_said, percent, signed

NONE_YET = "none yet"
VERBS = {figure.name: figure.verb for figure in FIGURES}
COMEBACKS = [figure.name for figure in FIGURES if figure.measure == "comebacks"]


def mature_month(depot: Depot, measure: str, window: int, month: date) -> date | None:
    """The month itself if its figure is final, else the latest one before it that is."""
    table = depot.control_chart(measure, window=window).table
    final = table.filter(pl.col("mature") & (pl.col("size") > 0) & (pl.col("period") <= month))
    return None if final.is_empty() else final["period"].max()  # type: ignore[return-value]


def verdicts(depot: Depot, month: date) -> tuple[Verdict, ...]:
    """One verdict a headline measure."""
    judged = []
    for measure in FIGURES:
        own = mature_month(depot, measure.measure, measure.window, month)
        figure = level = None
        if own is not None:
            figure = depot.charts.month_against_before(measure.measure, month=own, window=measure.window)
            level = depot.charts.level(measure.measure, month=own, window=measure.window)
        judged.append(_verdict(depot.grounds(window=measure.window), measure, figure, level, month))
    return tuple(judged)


def _verdict(
    there: Grounds, measure: MonthMeasure, found: MonthAgainstBefore | None, level: Level | None, month: date
) -> Verdict:
    name, rests_on, none = measure.name, GROUNDS[measure.measure], "no data"
    months = 0 if found is None or found.share is None else 1
    of = f"final months up to {month_name(month)}"
    lacks = there.claim("", *rests_on, about=name, among=(months, of))
    if not lacks.told or found is None or level is None:
        return Verdict(name, NONE_YET, none, none, none, none, none, CANNOT_BE_TOLD, lacks)
    own, share, limits = month_name(found.month), percent(found.share), interval(found.low, found.high)
    said = f"{_happened(measure, found)}: {share} (95 % interval {limits})"
    counts = f"{count(found.count)} of {counted_of(found.size, measure.cases)}"
    if level.months == 1:
        alone = f"{said}; there is no earlier month to compare with."
        first = Sentence(alone, rests_on, (EARLIER[measure.measure],))
        return Verdict(name, own, share, limits, counts, none, none, none, first)
    before = percent(found.before_share)
    if level.since is not None and level.before_from is not None:
        gap = f"{points(level.difference)} points, 95 % interval {points(level.low)} to {points(level.high)}"
        now = months_said(level.since, level.month)
        then = months_said(level.before_from, months_back(level.since, 1))
        since = month_name(level.since)
        end = (
            f". {name[0].upper()}{name[1:]} {measure.verb} {level.verdict} since {since}: {percent(level.share)} in "
            f"{now} against {percent(level.before)} in {then} ({gap})."
        )
        told = Sentence(said + end)
        if level.verdict == "better":
            told = there.claim(said + end, *rests_on, EARLIER[measure.measure], about=f"whether {name} changed")
        return Verdict(
            name, own, share, limits, counts, percent(level.before), gap, level.verdict, told, since,
            percent(level.share), change_in(level),
        )
    span = f"{percent(level.share)} in {months_said(level.level_from, level.month)}"
    if level.verdict == UNTOLD:
        few = counted_of(level.size, measure.cases)
        of_months = counted(level.months, "final month")
        said += f". Whether that is a change cannot be told from {few} in {of_months} ({span})."
        untold = Sentence(said, rests_on, ("enough cases",))
        return Verdict(name, own, share, limits, counts, before, none, UNTOLD, untold)
    said += f". {UNCLEAR[0].upper()}{UNCLEAR[1:]} in the last year: {span}."
    told = there.claim(said, *rests_on, EARLIER[measure.measure], about=f"whether {name} changed")
    return Verdict(name, own, share, limits, counts, before, none, UNCLEAR, told)


def _happened(measure: MonthMeasure, found: MonthAgainstBefore) -> str:
    events, cases, own = count(found.count), count(found.size), month_name(found.month)
    if measure.measure == "comebacks":
        within = counted(measure.window, "day")
        return f"Of {counted(cases, 'repaired job')} closed in {own}, {events} came back within {within}"
    if measure.measure == "first_pass_yield":
        return f"Of {counted(cases, 'first check')} of steps in {own}, {events} passed"
    return f"Of {counted(cases, 'checked job')} in {own}, {events} went through clean"


def summary(
    there: Grounds, judged: tuple[Verdict, ...], month: date, projected: Sequence[Projected] = ()
) -> Sentence:
    """The month in one sentence, before the numbers; it rests on what those measures rest on that show no change.

    `projected` are the projections that stand beside the numbers.
    A depot in which no unit is seen twice says so first: nothing that is said of come-backs can be told then.
    """
    unseen = there.lack("repeat_units", about="come-backs")
    told = {w: [v.measure for v in judged if v.word == w] for w in (UNCLEAR, CANNOT_BE_TOLD, "no data")}
    unseen_change = [v.measure for v in judged if v.word == CANNOT_BE_TOLD and v.share != "no data"]
    told[CANNOT_BE_TOLD] = [name for name in told[CANNOT_BE_TOLD] if name not in unseen_change]
    said = []
    for word in ("worse", "better"):
        for since in dict.fromkeys(v.since for v in judged if v.word == word):
            names = [v.measure for v in judged if v.word == word and v.since == since]
            verb = VERBS[names[0]] if len(names) == 1 else "are"
            said.append(f"{listed(names)} {verb} {word} since {since}")
    if told[UNCLEAR]:
        said.append(f"{UNCLEAR} of {listed(told[UNCLEAR])}")
    said += [f"there is no earlier month to compare {listed(told['no data'])} with"] * bool(told["no data"])
    said += [f"{listed(told[CANNOT_BE_TOLD])} cannot be told"] * bool(told[CANNOT_BE_TOLD])
    said += [f"whether {listed(unseen_change)} changed cannot be told from so few jobs"] * bool(unseen_change)
    text = f"{'; '.join(said)}."
    text = text[0].upper() + text[1:]
    own, idle = month_name(month), no_job_closed(there, month)
    late = [v.measure for v in judged if v.month not in (own, NONE_YET)]
    waiting = [] if idle else [name for name in late if name in COMEBACKS]
    if idle:
        text = f"{idle}. {text}"
    if waiting:
        windows = [f"{figure.window}" for figure in FIGURES if figure.name in waiting]
        days = counted(listed(windows), "day")
        text += (
            f" Come-backs within {days} of units closed in {own} are not final yet: that takes as long after the "
            f"month's end. The latest final month is shown instead{_beside(waiting, projected)}."
        )
    rest = [name for name in late if name not in waiting]
    if rest:
        text += f" {own} itself has no final figure of {listed(rest)}: the latest month that has one is shown instead."
    said_of_all = resting_on(text, judged)
    if unseen is None:
        return said_of_all
    return Sentence(f"{unseen} {said_of_all}", said_of_all.rests_on, said_of_all.lacks, remedy=unseen.remedy)


def _beside(waiting: list[str], projected: Sequence[Projected]) -> str:
    """What the page shows beside the figures of an earlier month: a projection, of all of them, of some, or none."""
    have = {p.measure for p in projected if p.share != "no data"}
    of = [name for name in waiting if name in have]
    if not of:
        return ""
    return ", with a projection" + (f" of {listed(of)}" if len(of) < len(waiting) else "") + " beside it"


def resting_on(text: str, judged: tuple[Verdict, ...]) -> Sentence:
    """A text about all measures; where it says that one did not change, it rests on what that rests on."""
    names = dict.fromkeys(name for v in judged if v.word == UNCLEAR for name in v.sentence.rests_on)
    lacks = () if any(v.word not in (CANNOT_BE_TOLD, "no data") for v in judged) else ("any figure",)
    return Sentence(text, names, lacks)


def points(value: float | None) -> str:
    """A difference of shares in percentage points, with its sign."""
    return "no data" if value is None else signed(value * 100, 1)
