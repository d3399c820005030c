"""Where to look: groups that differ from their comparison by more than luck, with false ones kept rare."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from rqa.answers.scope import next_month
from rqa.plots.words import count, month_name, percent, spoken
from rqa.review.asked import Asked
from rqa.review.facts import Pointer
from rqa.review.verdicts import discoveries, points

SMALLEST = 20
"""Groups of fewer cases are not shown on the manager's page: too little to say, and too easily one person."""
MOST = 8
"""Pointers listed; a longer list is not acted on."""


@dataclass(frozen=True)
class Contrast:
    """One group against its comparison: events out of cases on both sides."""

    where: str
    what: str
    events: int
    size: int
    other_events: int
    other_size: int
    against: str
    up_is_good: bool
    caution: str
    check: str


UNLIKE = "the mix of work is not allowed for"


def pointers(depot: Asked, month: date, span: tuple[date, date] | None) -> tuple[tuple[Pointer, ...], str]:
    """The groups to look at, and in words what was compared; `span` is the year of matured closing months."""
    contrasts = [*_steps_against_before(depot, month), *_steps_by_model(depot, month)]
    if span is not None:
        contrasts += [*_work(depot, span), *_benches(depot, span)]
    found = _more_than_luck(contrasts)
    looked = (
        f"{count(len(contrasts))} comparisons were made: steps against the year before and between models, come-backs "
        f"between kinds of work and between benches; groups of fewer than {SMALLEST} cases were left out. Of those "
        "shown, one in twenty at most is expected to be luck (Benjamini and Hochberg 1995)."
    )
    return found, looked


def _more_than_luck(contrasts: list[Contrast]) -> tuple[Pointer, ...]:
    from rqa.stats import difference_interval, proportion_test

    if not contrasts:
        return ()
    both: dict[str, Any] = {
        "successes1": [c.events for c in contrasts], "trials1": [c.size for c in contrasts],
        "successes2": [c.other_events for c in contrasts], "trials2": [c.other_size for c in contrasts],
    }  # fmt: skip
    p_values = proportion_test(**both).p_value.tolist()
    apart = difference_interval(**both)
    sure = discoveries(p_values)
    order = sorted((p, i) for i, p in enumerate(p_values) if sure[i])
    made = []
    for _, i in order[:MOST]:
        c, gap = contrasts[i], float(apart.estimate[i])
        word = "better" if (gap > 0) == c.up_is_good else "worse"
        made.append(
            Pointer(
                c.where,
                f"{c.what} {_share(c.events, c.size)}, {word} than {_share(c.other_events, c.other_size)} {c.against}",
                f"{points(gap)} points (95 % interval {points(float(apart.low[i]))} to {points(float(apart.high[i]))})",
                c.caution,
                c.check,
            )
        )
    return tuple(made)


def _share(events: int, size: int) -> str:
    return f"{percent(events / size)} ({count(events)} of {count(size)})"


def _enough(*sizes: int) -> bool:
    return all(s >= SMALLEST for s in sizes)


def _totals(table: pl.DataFrame, keys: list[str], events: str, size: str) -> dict[tuple[Any, ...], tuple[int, int]]:
    summed = table.group_by(keys, maintain_order=True).agg(pl.col(events).sum(), pl.col(size).sum())
    return {tuple(row[:-2]): (int(row[-2]), int(row[-1])) for row in summed.iter_rows()}


def year_before(month: date) -> tuple[date, date]:
    """The twelve months before a month: first and last."""
    last = date(month.year - (month.month == 1), 12 if month.month == 1 else month.month - 1, 1)
    return date(month.year - 1, month.month, 1), last


def year_to(month: date) -> tuple[date, date]:
    """The twelve months that end with this one: first and last."""
    return year_before(next_month(month))


def _steps_against_before(depot: Asked, month: date) -> list[Contrast]:
    now = _totals(depot.first_pass_yield(by=("step",), months=month).table, ["step"], "passed", "exposures")
    then = depot.first_pass_yield(by=("step",), months=year_before(month)).table
    before = _totals(then, ["step"], "passed", "exposures")
    return [
        Contrast(
            f"step “{spoken(step)}”", f"first-pass yield in {month_name(month)}", *now[step,], *before[step,],
            "in the twelve months before", True, UNLIKE, "read the fault codes of the failed attempts; see five done",
        )
        for (step,) in now
        if (step,) in before and _enough(now[step,][1], before[step,][1])
    ]  # fmt: skip


def _steps_by_model(depot: Asked, month: date) -> list[Contrast]:
    by = _totals(
        depot.first_pass_yield(by=("procedure", "step", "model"), months=year_to(month)).table,
        ["procedure", "step", "model"],
        "passed",
        "exposures",
    )
    made = []
    for (procedure, step, model), (events, size) in by.items():
        rest = [v for (p, s, m), v in by.items() if (p, s) == (procedure, step) and m != model]
        other_events, other_size = sum(e for e, _ in rest), sum(n for _, n in rest)
        if _enough(size, other_size):
            made.append(
                Contrast(
                    f"step “{spoken(step)}” on {spoken(model)} ({spoken(procedure)})", "first-pass yield of the year",
                    events, size, other_events, other_size, "on the other models", True,
                    "models may differ by design", "compare how the step is done on both models",
                )
            )  # fmt: skip
    return made


def _against_rest(totals: Mapping[tuple[Any, ...], tuple[int, int]], key: tuple[Any, ...]) -> tuple[int, int]:
    return (
        sum(e for k, (e, _) in totals.items() if k != key),
        sum(n for k, (_, n) in totals.items() if k != key),
    )


def _work(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    table = depot.comebacks(window=30, by=("model", "procedure"), months=span).table
    totals = _totals(table, ["model", "procedure"], "returned", "matured")
    return [
        Contrast(
            f"{spoken(key[1])} on {spoken(key[0])}", "come-backs within 30 days", *own, *rest, "of all other work",
            False, UNLIKE, "read what the returns were found to have; see which steps touched it",
        )
        for key, own in totals.items()
        if _enough(own[1], (rest := _against_rest(totals, key))[1])
    ]  # fmt: skip


def _benches(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    table = depot.comebacks(window=30, by=("procedure", "bench"), months=span).table
    totals = _totals(table, ["procedure", "bench"], "returned", "matured")
    made = []
    for (procedure, bench), own in totals.items():
        same = {k: v for k, v in totals.items() if k[0] == procedure}
        rest = _against_rest(same, (procedure, bench))
        if bench != "unknown" and _enough(own[1], rest[1]):
            made.append(
                Contrast(
                    f"{spoken(procedure)} at bench {spoken(bench)}", "come-backs within 30 days", *own, *rest,
                    "at the other benches", False, "a job counts under every bench that worked on it",
                    "look at tools, light and order of work at the bench, not at persons",
                )
            )  # fmt: skip
    return made
