"""The headline measures of a month against the months before: better, worse, no clear change, or not to be told."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from rqa.answers.charts.month import UNCLEAR, MonthAgainstBefore
from rqa.answers.core.finding import ALLOWED
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.improve.overall_findings import EARLIER, FIGURES, GROUNDS, MonthMeasure
from rqa.depot import Depot
from rqa.review.facts import Projected, Verdict
from rqa.review.texts import CANNOT_BE_TOLD, no_job_closed
from rqa.stats import benjamini_hochberg
from rqa.words import count, counted, counted_of, interval, listed, month_name, percent, plural, signed

NONE_YET = "none yet"
COMEBACKS = [figure.name for figure in FIGURES if figure.measure == "comebacks"]


def mature_month(depot: Depot, measure: str, window: int, month: date) -> date | None:
    """The month itself if its figure is final, else the latest one before it that is."""
    table = depot.control_chart(measure, window=window).table
    final = table.filter(pl.col("mature") & (pl.col("size") > 0) & (pl.col("period") <= month))
    return None if final.is_empty() else final["period"].max()  # type: ignore[return-value]


def verdicts(depot: Depot, month: date) -> tuple[Verdict, ...]:
    """One verdict a headline measure."""
    compared = []
    for measure in FIGURES:
        own = mature_month(depot, measure.measure, measure.window, month)
        found = (
            None
            if own is None
            else depot.charts.month_against_before(measure.measure, month=own, window=measure.window)
        )
        compared.append((measure, found))
    with_p = [f for _, f in compared if f is not None and f.p_value is not None]
    sure = dict(zip(map(id, with_p), discoveries([f.p_value or 0.0 for f in with_p]), strict=True))
    return tuple(_verdict(depot.grounds(window=m.window), m, f, sure.get(id(f), False), month) for m, f in compared)


def discoveries(p_values: list[float]) -> list[bool]:
    """Which of several comparisons differ by more than luck, the share of false ones held at 5 %."""
    return benjamini_hochberg(p_values=p_values, allowed=ALLOWED).found.tolist()


def _verdict(
    there: Grounds, measure: MonthMeasure, found: MonthAgainstBefore | None, sure: bool, month: date
) -> Verdict:
    name, rests_on, none = measure.name, GROUNDS[measure.measure], "no data"
    months = 0 if found is None or found.share is None else 1
    of = f"final months up to {month_name(month)}"
    lacks = there.claim("", *rests_on, about=name, among=(months, of))
    if not lacks.told or found is None:
        return Verdict(name, NONE_YET, none, none, none, none, none, CANNOT_BE_TOLD, lacks)
    own, share, limits = month_name(found.month), percent(found.share), interval(found.low, found.high)
    said = f"{_happened(measure, found)}: {share} (95 % interval {limits})"
    counts = f"{count(found.count)} of {counted_of(found.size, measure.cases)}"
    if found.before_share is None or found.difference is None:
        alone = f"{said}; there is no earlier month to compare with."
        first = Sentence(alone, rests_on, (EARLIER[measure.measure],))
        return Verdict(name, own, share, limits, counts, none, none, none, first)
    before = percent(found.before_share)
    gap = (
        f"{points(found.difference)} points, 95 % interval {points(found.difference_low)} to "
        f"{points(found.difference_high)}"
    )
    word = found.direction if sure else UNCLEAR
    end = f", against {before} in the {_months(found.months_before)} before: "
    end += f"{word} by more than luck would explain ({gap})." if sure else f"{UNCLEAR} ({gap})."
    if word == "worse":
        told = Sentence(said + end)
    else:
        told = there.claim(said + end, *rests_on, EARLIER[measure.measure], about=f"whether {name} changed")
    return Verdict(name, own, share, limits, counts, before, gap, word, told)


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
    words = ("worse", "better", UNCLEAR, CANNOT_BE_TOLD, "no data")
    told = {w: [v.measure for v in judged if v.word == w] for w in words}
    said = [
        f"{listed(told[w])} {plural(len(told[w]), 'is', 'are')} {w} than before by more than luck"
        for w in ("worse", "better")
        if told[w]
    ]
    if told[UNCLEAR]:
        said.append(f"{UNCLEAR} of {listed(told[UNCLEAR])}")
    said += [f"there is no earlier month to compare {listed(told['no data'])} with"] * bool(told["no data"])
    said += [f"{listed(told[CANNOT_BE_TOLD])} cannot be told"] * bool(told[CANNOT_BE_TOLD])
    text = f"{'; '.join(said)}."
    text = text[0].upper() + text[1:]
    own, idle = month_name(month), no_job_closed(there, month)
    late = [v.measure for v in judged if v.month not in (own, NONE_YET)]
    waiting = [] if idle else [name for name in late if name in COMEBACKS]
    if idle:
        text = f"{idle}. {text}"
    if waiting:
        windows = [figure.window for figure in FIGURES if figure.name in waiting]
        days = counted(f"{windows[0]}" + "".join(f" ({window})" for window in windows[1:]), "day")
        text += (
            f" The come-backs of {own} itself are not final yet, as a month's come-backs within {days} are final "
            f"{days} after its last day; the latest final month speaks instead{_beside(waiting, projected)}."
        )
    rest = [name for name in late if name not in waiting]
    if rest:
        text += f" {own} itself has no final figure of {listed(rest)}: the latest month before that has speaks instead."
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


def _months(number: int) -> str:
    return "month" if number == 1 else counted(number, "month")


def points(value: float | None) -> str:
    """A difference of shares in percentage points, with its sign."""
    return "no data" if value is None else signed(value * 100, 1)
