"""Where to look: the month's findings, as the page lists them."""

from rqa.answers.finding import Finding
from rqa.answers.improvement_results import MonthFindings
from rqa.review.facts import Pointer
from rqa.review.verdicts import points

MOST = 8
"""Findings listed; a longer list is not acted on."""


def pointers(found: MonthFindings) -> tuple[Pointer, ...]:
    """The first of the month's findings."""
    states = found.table["state"].to_list()
    return tuple(
        Pointer(f.id, state, f.where, f.what, _size(f), f.caution, f.check)
        for f, state in zip(found.findings[:MOST], states, strict=False)
    )


def _size(f: Finding) -> str:
    """How much it is, with its interval."""
    if f.measure == "difference of shares":
        return f"{points(f.size)} points (95 % interval {points(f.low)} to {points(f.high)})"
    return f"{f.measure} {f.size:.3g} (95 % interval {f.low:.3g} to {f.high:.3g})"
