"""What a month sets side by side: each step with the year before and between models, and kinds of work."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from rqa.answers.comebacks.counted import CountedClasses
from rqa.answers.comebacks.rate import comebacks
from rqa.answers.core.contrasts import Contrast, all_stated, each_against_rest, enough
from rqa.answers.core.finding import Finding
from rqa.answers.core.scope import Snapshot, months_back
from rqa.answers.core.windows import Span as Span
from rqa.answers.core.windows import level_of_each, pieces, surest
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.words import month_name

if TYPE_CHECKING:
    import polars as pl

UNLIKE = "the mix of work is not allowed for"
WINDOW = 30
RETURNED = f"come-backs within {WINDOW} days {{}},"
Totals = Mapping[tuple[Any, ...], tuple[int, int]]


def year_before(month: date) -> Span:
    """The twelve months before a month: first and last."""
    return months_back(month, 12), months_back(month, 1)


def year_to(month: date) -> Span:
    """The twelve months that end with this one: first and last."""
    return months_back(month, 11), month


def held_of(span: Span, first: date | None) -> Span:
    """A span of months without those before the first day with data; as it is where all of it lies before."""
    begins, ends = span
    held = begins if first is None else max(begins, first.replace(day=1))
    return (held if held <= ends else begins), ends


def _totals(table: "pl.DataFrame", keys: list[str], events: str, size: str) -> dict[tuple[Any, ...], tuple[int, int]]:
    import polars as pl

    summed = table.group_by(keys, maintain_order=True).agg(pl.col(events).sum(), pl.col(size).sum())
    return {tuple(row[:-2]): (int(row[-2]), int(row[-1])) for row in summed.iter_rows()}


def steps_against_before(snapshot: Snapshot, month: date) -> list[Contrast]:
    """Each step's first-pass yield in the month beside that of the twelve months before."""
    own = first_pass_yield(snapshot, by=("step",), months=month).table
    then = _totals(
        first_pass_yield(snapshot, by=("step",), months=year_before(month)).table, ["step"], "passed", "exposures"
    )
    return [
        Contrast(
            "first-pass yield of a step against the year before", {"step": step},
            f"first-pass yield in {month_name(month)}", *now_counts, *then[step,],
            "in the twelve months before", True, UNLIKE, "read the fault codes of the failed attempts; see five done",
            comebacks=False, either_way=True,
        )
        for (step,), now_counts in _totals(own, ["step"], "passed", "exposures").items()
        if (step,) in then and enough(now_counts[1], then[step,][1])
    ]


def checks_counted(snapshot: Snapshot, keys: Sequence[str], months: Span) -> Totals:
    """First checks (of tests: first runs) that passed, and all of them, by these names, in some months."""
    return _totals(first_pass_yield(snapshot, by=tuple(keys), months=months).table, list(keys), "passed", "exposures")


def kinds_counted(snapshot: Snapshot, months: Span, counted: CountedClasses) -> Totals:
    """Come-backs counted and matured jobs of some months, by model and procedure."""
    keys = ["model", "procedure"]
    table = comebacks(snapshot, window=WINDOW, by=keys, where=counted.where, months=months).table
    return _totals(table, keys, "returned", "matured")


def over_windows(
    windows: Sequence[Span], count: Callable[[Span], Totals], state: Callable[[Totals, float], Iterable[Finding]]
) -> Iterator[Finding]:
    """What the counts of nested windows state, the surest of each place; each month is counted once."""
    held: dict[tuple[Any, ...], tuple[int, int]] = {}
    found, level = [], level_of_each(windows)
    for months in pieces(windows):
        for key, (events, cases) in count(months).items():
            before = held.get(key, (0, 0))
            held[key] = before[0] + events, before[1] + cases
        found.append(tuple(state(dict(held), level)))
    return surest(windows, found)


def steps_by_model(totals: Totals, level: float) -> Iterator[Finding]:
    """Each step's first-pass yield on one model beside that on the other models of the procedure."""
    return all_stated((
        Contrast(
            "first-pass yield of a step by model", {"step": step, "model": model, "procedure": procedure},
            "first-pass yield", *own, *rest,
            "on the other models", True, "models may differ by design", "compare how the step is done on both models",
            comebacks=False,
        )
        for (procedure, step, model), own, rest in each_against_rest(totals, alike=2)
    ), level)


def tests_by_model(totals: Totals, level: float) -> Iterator[Finding]:
    """First runs of each test that passed on one model beside those on the other models."""
    return all_stated((
        Contrast(
            "first runs of a test by model", {"test": test, "model": model},
            "share of first runs that passed", *own, *rest,
            "on the other models", True, f"models may differ by design; {UNLIKE}",
            "compare what the test meets on both models; see which faults it finds",
            comebacks=False,
        )
        for (test, model), own, rest in each_against_rest(totals, alike=1)
    ), level)


def kinds_of_work(totals: Totals, level: float, counted: CountedClasses) -> Iterator[Finding]:
    """The come-backs counted of each model and procedure beside those of all other work."""
    return all_stated((
        Contrast(
            f"come-backs by kind of work{counted.mark}", {"model": model, "procedure": procedure},
            RETURNED.format(counted.said), *own, *rest, "of all other work", False, UNLIKE,
            "read what the returns were found to have; see which steps touched it",
        )
        for (model, procedure), own, rest in each_against_rest(totals)
    ), level)
