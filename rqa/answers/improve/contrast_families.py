"""What a month sets side by side: each step with the year before and between models, and kinds of work."""

from datetime import date
from typing import TYPE_CHECKING, Any

from rqa.answers.comebacks.counted import CountedClasses
from rqa.answers.comebacks.rate import comebacks
from rqa.answers.core.contrasts import Contrast, each_against_rest, enough
from rqa.answers.core.scope import Snapshot, months_back
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.words import month_name

if TYPE_CHECKING:
    import polars as pl

UNLIKE = "the mix of work is not allowed for"
WINDOW = 30
RETURNED = f"come-backs within {WINDOW} days {{}},"
Span = tuple[date, date]


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


def steps_by_model(snapshot: Snapshot, span: Span) -> list[Contrast]:
    """Each step's first-pass yield on one model beside that on the other models of the procedure."""
    keys = ["procedure", "step", "model"]
    totals = _totals(first_pass_yield(snapshot, by=keys, months=span).table, keys, "passed", "exposures")
    return [
        Contrast(
            "first-pass yield of a step by model", {"step": step, "model": model, "procedure": procedure},
            "first-pass yield", *own, *rest,
            "on the other models", True, "models may differ by design", "compare how the step is done on both models",
            comebacks=False,
        )
        for (procedure, step, model), own, rest in each_against_rest(totals, alike=2, up_is_good=True)
    ]


def tests_by_model(snapshot: Snapshot, span: Span) -> list[Contrast]:
    """First runs of each test that passed on one model beside those on the other models."""
    keys = ["test", "model"]
    totals = _totals(first_pass_yield(snapshot, by=keys, months=span).table, keys, "passed", "exposures")
    return [
        Contrast(
            "first runs of a test by model", {"test": test, "model": model},
            "share of first runs that passed", *own, *rest,
            "on the other models", True, f"models may differ by design; {UNLIKE}",
            "compare what the test meets on both models; see which faults it finds",
            comebacks=False,
        )
        for (test, model), own, rest in each_against_rest(totals, alike=1, up_is_good=True)
    ]


def kinds_of_work(snapshot: Snapshot, span: Span, counted: CountedClasses) -> list[Contrast]:
    """The come-backs counted of each model and procedure beside those of all other work."""
    keys = ["model", "procedure"]
    table = comebacks(snapshot, window=WINDOW, by=keys, where=counted.where, months=span).table
    return [
        Contrast(
            f"come-backs by kind of work{counted.mark}", {"model": model, "procedure": procedure},
            RETURNED.format(counted.said), *own, *rest, "of all other work", False, UNLIKE,
            "read what the returns were found to have; see which steps touched it",
        )
        for (model, procedure), own, rest in each_against_rest(_totals(table, keys, "returned", "matured"))
    ]
