"""The headline measures of a month against the months before: better, worse or same, and whether that is luck."""

from datetime import date

import polars as pl

from rqa.answers.finding import ALLOWED
from rqa.answers.month import MonthAgainstBefore
from rqa.answers.overall_findings import FIGURES, Figure
from rqa.review.asked import Asked
from rqa.review.facts import Verdict
from rqa.stats import benjamini_hochberg
from rqa.words import count, interval, listed, month_name, percent


def mature_month(depot: Asked, measure: str, window: int, month: date) -> date | None:
    """The month itself if its figure is final, else the latest one before it that is."""
    table = depot.control_chart(measure, window=window).table
    final = table.filter(pl.col("mature") & (pl.col("size") > 0) & (pl.col("period") <= month))
    return None if final.is_empty() else final["period"].max()  # type: ignore[return-value]


def verdicts(depot: Asked, month: date) -> tuple[Verdict, ...]:
    """One verdict a headline measure."""
    compared = []
    for measure in FIGURES:
        own = mature_month(depot, measure.measure, measure.window, month)
        found = None if own is None else depot.month_against_before(measure.measure, month=own, window=measure.window)
        compared.append((measure, found))
    with_p = [f for _, f in compared if f is not None and f.p_value is not None]
    sure = dict(zip(map(id, with_p), discoveries([f.p_value or 0.0 for f in with_p]), strict=True))
    return tuple(_verdict(m, f, sure.get(id(f), False), month) for m, f in compared)


def discoveries(p_values: list[float]) -> list[bool]:
    """Which of several comparisons differ by more than luck, the share of false ones held at 5 %."""
    return benjamini_hochberg(p_values=p_values, allowed=ALLOWED).found.tolist()


def _verdict(measure: Figure, found: MonthAgainstBefore | None, sure: bool, month: date) -> Verdict:
    name = measure.name
    if found is None or found.share is None:
        none = "no data"
        return Verdict(name, "none yet", none, none, none, none, none, none, f"For {name} no month is final yet.")
    own, share, limits = month_name(found.month), percent(found.share), interval(found.low, found.high)
    said = f"{_happened(measure, found)}: {share} (95 % interval {limits})"
    counts = f"{count(found.count)} of {count(found.size)} {measure.cases}"
    if found.before_share is None or found.difference is None:
        word, before, gap, end = "no data", "no data", "no data", "; there is no earlier month to compare with."
    else:
        before = percent(found.before_share)
        gap = (
            f"{points(found.difference)} points, 95 % interval {points(found.difference_low)} to "
            f"{points(found.difference_high)}"
        )
        word = found.direction if sure else "same"
        end = f", against {before} in the {_months(found.months_before)} before: "
        end += f"{word} by more than luck would explain ({gap})." if sure else f"no more than luck would make ({gap})."
    return Verdict(name, own, share, limits, counts, before, gap, word, said + end)


def _happened(measure: Figure, found: MonthAgainstBefore) -> str:
    events, cases, own = count(found.count), count(found.size), month_name(found.month)
    if measure.measure == "comebacks":
        return f"Of {cases} repaired jobs closed in {own}, {events} came back within {measure.window} days"
    if measure.measure == "first_pass_yield":
        return f"Of {cases} first checks of steps in {own}, {events} passed"
    return f"Of {cases} checked jobs in {own}, {events} went through clean"


def summary(judged: tuple[Verdict, ...], month: date) -> str:
    """The month in one sentence, before the numbers."""
    told = {w: [v.measure for v in judged if v.word == w] for w in ("worse", "better", "same")}
    moved = [
        f"{listed(told[w])} {'is' if len(told[w]) == 1 else 'are'} {w} than before by more than luck"
        for w in ("worse", "better")
        if told[w]
    ]
    if moved:
        rest = "; the rest is the same as before, as far as can be told" if told["same"] else ""
        text = f"{'; '.join(moved)}{rest}."
        text = text[0].upper() + text[1:]
    elif told["same"]:
        text = "Quality is the same as before: no measure moved by more than luck."
    else:
        text = "There is not enough data yet to compare."
    late = [v.month for v in judged if v.month not in (month_name(month), "none yet")]
    if late:
        text += (
            f" The come-backs of {month_name(month)} itself are not known yet, as its jobs have not been out long "
            "enough; the latest month that has matured speaks instead, with a projection beside it."
        )
    return text


def _months(number: int) -> str:
    return "month" if number == 1 else f"{number} months"


def points(value: float | None) -> str:
    """A difference of shares in percentage points, with its sign."""
    return "no data" if value is None else f"{value * 100:+.1f}".replace("-", "−")
