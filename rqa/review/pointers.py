"""Where to look: the month's findings, as the page lists them."""

from rqa.answers.finding import Finding
from rqa.answers.improvement_results import MonthFindings
from rqa.review.facts import Pointer
from rqa.review.verdicts import points

MOST = 8
"""Findings listed; a longer list is not acted on."""
PERSON = "technician"


def pointers(found: MonthFindings) -> tuple[tuple[Pointer, ...], str]:
    """The first of the month's findings, and in words what was compared and what is gone; none names a person."""
    told = [
        Pointer(f.id, state, f.where, f.what, _size(f), f.caution, f.check)
        for f, state in zip(found.findings, found.table["state"].to_list(), strict=True)
        if PERSON not in f.scope
    ]
    looked = list(found.notes[:1])
    if len(told) > MOST:
        looked.append(f"{len(told) - MOST} more are in the notebooks.")
    people = len(found.findings) - len(told)
    gone = [f"{f.where} ({f.id})" for f in found.gone if PERSON not in f.scope]
    if gone:
        more = f" and {len(gone) - MOST} more" if len(gone) > MOST else ""
        looked.append(f"No longer more than luck, as it was a month before: {'; '.join(gone[:MOST])}{more}.")
    if people:
        looked.append(f"{people} more concern the work of single persons: they are for coaching and not shown here.")
    return tuple(told[:MOST]), " ".join(looked)


def _size(f: Finding) -> str:
    """How much it is, with its interval."""
    if f.measure == "difference of shares":
        said = f"{points(f.size)} points (95 % interval {points(f.low)} to {points(f.high)})"
    else:
        said = f"{f.measure} {f.size:.3g} (95 % interval {f.low:.3g} to {f.high:.3g})"
    if f.worse and f.avoided is not None and f.avoided >= 0.5:
        said += f"; like what it is set beside, it would have had some {f.avoided:.0f} come-backs fewer"
    return said
