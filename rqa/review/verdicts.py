"""The headline measures of a month against the months before: better, worse or same, and whether that is luck."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from rqa.answers.month import MonthAgainstBefore
from rqa.plots.words import count, interval, month_name, percent
from rqa.review.asked import Asked
from rqa.review.facts import Verdict

LEVEL = 0.05
"""False discoveries allowed among the measures compared, by Benjamini and Hochberg (1995)."""


@dataclass(frozen=True)
class Measure:
    """A headline measure: what it is called, what its cases are, and how it is asked for."""

    name: str
    cases: str
    measure: str
    window: int = 30


HEADLINES = (
    Measure("come-backs within 30 days", "matured jobs", "comebacks", 30),
    Measure("come-backs within 90 days", "matured jobs", "comebacks", 90),
    Measure("first-pass yield", "first checks", "first_pass_yield"),
    Measure("clean-job share", "checked jobs", "clean_jobs"),
)


def mature_month(depot: Asked, measure: Measure, month: date) -> date | None:
    """The month itself if its figure is final, else the latest one before it that is."""
    table = depot.control_chart(measure.measure, window=measure.window).table
    final = table.filter(pl.col("mature") & (pl.col("size") > 0) & (pl.col("period") <= month))
    return None if final.is_empty() else final["period"].max()  # type: ignore[return-value]


def verdicts(depot: Asked, month: date) -> tuple[Verdict, ...]:
    """One verdict a headline measure."""
    compared = []
    for measure in HEADLINES:
        own = mature_month(depot, measure, month)
        found = None if own is None else depot.month_against_before(measure.measure, month=own, window=measure.window)
        compared.append((measure, found))
    with_p = [f for _, f in compared if f is not None and f.p_value is not None]
    sure = dict(zip(map(id, with_p), discoveries([f.p_value or 0.0 for f in with_p]), strict=True))
    return tuple(_verdict(m, f, sure.get(id(f), False), month) for m, f in compared)


def discoveries(p_values: list[float]) -> list[bool]:
    """Which of several comparisons differ by more than luck, the share of false ones held at 5 %."""
    if not p_values:
        return []
    from scipy.stats import false_discovery_control

    return [bool(q <= LEVEL) for q in false_discovery_control(p_values, method="bh")]


def _verdict(measure: Measure, found: MonthAgainstBefore | None, sure: bool, month: date) -> Verdict:
    name = measure.name
    if found is None or found.share is None:
        words = f"No month's {name} is final yet."
        return Verdict(name, "none yet", "no data", "no data", "no data", "no data", "no data", "no data", words)
    own = month_name(found.month)
    counts = f"{count(found.count)} of {count(found.size)} {measure.cases}"
    late = "" if found.month == month else f" ({month_name(month)} has not matured yet)"
    said = (
        f"In {own}{late}, {name}: {percent(found.share)} ({counts}; 95 % interval {interval(found.low, found.high)})."
    )
    if found.before_share is None or found.difference is None:
        return Verdict(
            name, own, percent(found.share), interval(found.low, found.high), counts, "no data", "no data", "no data",
            f"{said} There is no earlier month to compare with.",
        )  # fmt: skip
    before = f"{percent(found.before_share)} in the {_months(found.months_before)} before"
    gap = f"{points(found.difference)} points, 95 % interval {points(found.difference_low)} to {points(found.difference_high)}"
    if sure:
        word = found.direction
        end = f"That is {word} than {before}, by more than luck would explain ({gap})."
    else:
        word = "same"
        end = f"Against {before} that is no difference that luck would not make ({gap})."
    return Verdict(
        name, own, percent(found.share), interval(found.low, found.high), counts, percent(found.before_share), gap, word,
        f"{said} {end}",
    )  # fmt: skip


def _months(number: int) -> str:
    return "month" if number == 1 else f"{number} months"


def points(value: float | None) -> str:
    """A difference of shares in percentage points, with its sign."""
    return "no data" if value is None else f"{value * 100:+.1f}".replace("-", "−")
