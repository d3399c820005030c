"""Names of groupings that name people: the technicians, and the places and tools that a mapping marks as people.

What holds for figures about technicians holds for all of them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TypeVar

from rqa.answers.core.finding import PEOPLE as NO_VERDICT
from rqa.answers.core.finding import Finding
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot
from rqa.store.engine import TECHNICIAN

PEOPLE = (
    "Figures about people are for coaching and for changing the process, come with their uncertainty, and are subject "
    "to local labour and privacy law. No decision on a person follows from a row alone: go and see the work first."
)

A = TypeVar("A", bound=Answer)
ASKED = ("by", "where", "who", "dimensions", "after")
"""Settings of an answer that hold names of groupings."""


def with_people(snapshot: Snapshot, answer: A) -> A:
    """The answer with the caution about people, where it tells of places or tools that are people."""
    marked = snapshot.store.people - {TECHNICIAN}
    if not marked:
        return answer
    stated = tuple(cautioned(answer.stated, marked))
    notes = answer.notes
    if marked & set(_names(answer)) and not any(PEOPLE in note for note in notes):
        notes = (*notes, PEOPLE)
    return answer if stated == answer.stated and notes == answer.notes else replace(answer, notes=notes, stated=stated)


def cautioned(findings: Iterable[Finding], people: Iterable[str]) -> Iterator[Finding]:
    """Findings, those about people with the caution that says so."""
    marked = frozenset(people) - {TECHNICIAN}
    for f in findings:
        said = "no verdict on a person" in f.caution
        yield replace(f, caution=f.caution + NO_VERDICT) if marked & set(f.scope) and not said else f


def _names(answer: Answer) -> Iterator[str]:
    """Every name of a grouping that an answer was asked by, or has a column of."""
    yield from answer.table.columns
    if "dimension" in answer.table.columns:
        yield from (str(d) for d in answer.table["dimension"].unique())
    for key in ASKED:
        value = answer.settings.get(key) or ()
        if isinstance(value, str):
            yield value
        elif isinstance(value, Iterable):
            yield from (str(v) for v in value)
