"""What a depot is narrowed to for all questions: sites, models, procedures, months, and the window of come-backs.

A question takes of it what it can be asked with, and what it says itself comes first. What it cannot be narrowed by it
leaves out, and its answer says so in a note.
"""

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from rqa.answers.core.filters import filters_of, written
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import VALUES_OF, Months, Snapshot, check_values, month_range, whole_number
from rqa.errors import UnknownNameError
from rqa.measures.groupings import names_only
from rqa.words import months_said

A = TypeVar("A")
QUESTION = "limited_to"
LONGEST_WINDOW = 3650


@dataclass(frozen=True)
class Narrowing:
    """Filters by name, months and a window; each may be missing."""

    where: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    months: Months | None = None
    window: int | None = None

    @property
    def said(self) -> str:
        """Filters and months as a text; "" where there are none."""
        months = month_range(QUESTION, self.months)
        return "; ".join([*([written(self.where)] if self.where else []), *([months_said(*months)] if months else [])])


NOTHING = Narrowing()


def narrowing(
    snapshot: Snapshot, where: Mapping[str, str | Sequence[str] | None], months: Months | None, window: int | None
) -> Narrowing:
    """What is narrowed to, or `RequestError` for a name, value, month or window that there is not."""
    given = {name: values for name, values in where.items() if values is not None}
    names_only(QUESTION, "filter", given, tuple(VALUES_OF))
    filters = filters_of(QUESTION, given)
    check_values(snapshot.store, QUESTION, filters)
    month_range(QUESTION, months)
    if window is not None:
        whole_number(QUESTION, "window", window, 0, LONGEST_WINDOW, of="days")
    return Narrowing(filters, months, window)


def asked_within(
    narrowed: Narrowing, name: str, own: inspect.Signature, ask: Callable[..., A], given: Mapping[str, Any]
) -> A:
    """Ask a question with what is given and what the depot is narrowed to."""
    how, missed = dict(given), list[str]()
    if narrowed.window is not None and "window" in own.parameters:
        how.setdefault("window", narrowed.window)
    if narrowed.months is not None and _takes_months(own):
        how.setdefault("months", narrowed.months)
    elif months := month_range(QUESTION, narrowed.months):
        missed.append(months_said(*months))
    kept = dict(narrowed.where)
    while True:
        asked = how | _where(name, own, how.get("where"), kept)
        try:
            answer = ask(**asked)
        except UnknownNameError as error:
            unknown = [each for each in error.names if each in kept]
            if error.what != "filter" or not unknown or set(unknown) < set(error.names):
                raise
            kept = {each: values for each, values in kept.items() if each not in unknown}
        else:
            break
    if "where" not in asked or isinstance(asked["where"], str):
        kept = {}
    left = {each: values for each, values in narrowed.where.items() if each not in kept}
    missed += [written(left)] if left else []
    return _with_note(answer, missed)


def _takes_months(own: inspect.Signature) -> bool:
    """Whether a question takes closing months; elsewhere `months` is a number of them."""
    return "months" in own.parameters and own.parameters["months"].annotation == (Months | None)


def _where(name: str, own: inspect.Signature, given: Any, kept: Mapping[str, tuple[str, ...]]) -> dict[str, Any]:
    """The filters of a question: its own before those of the depot. The id of an action stays alone."""
    if "where" not in own.parameters or not kept or (isinstance(given, str) and "=" not in given):
        return {}
    return {"where": {**kept, **filters_of(name, given)}}


def _with_note(answer: A, missed: Sequence[str]) -> A:
    if not missed or not isinstance(answer, Answer):
        return answer
    note = f"This answer is not limited to {'; '.join(missed)}: the question does not take that."
    return replace(answer, notes=(*answer.notes, note))
