"""What an answer says of a question that asks for what the store does not hold: months without data, unknown values.

A question about such a month or value is no mistake (the data may come), but an answer of "no data" that does not say
so is taken for a finding. A mistyped name of a grouping or filter is an error; see `rqa.answers.core.scope`.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any

from rqa.answers.core.filters import quotes_needed
from rqa.answers.core.scope import Snapshot, held_months
from rqa.measures.run import counts
from rqa.words import month_name, months_said, nearest

HELD_IN: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("site", "model", "procedure", "billing"), ("values_jobs",)),
    "technician": ("values_jobs", "values_attempts"), "step": ("values_steps",),
    **dict.fromkeys(("bench", "tool", "fault"), ("values_attempts",)),
    **dict.fromkeys(("test", "station"), ("values_tests",)),
    **dict.fromkeys(("part_no", "lot"), ("values_parts",)), "subsystem": ("values_subsystems",),
}
"""Where the values of a filter are; the others (class, phase, shift, …) are few and known."""


def scope_notes(snapshot: Snapshot, settings: Mapping[str, Any]) -> tuple[str, ...]:
    """Notes on months beyond or before the data, and on values of filters that no row has."""
    return (*_on_months(snapshot, settings), *_on_values(snapshot, settings.get("where")))


def _on_months(snapshot: Snapshot, settings: Mapping[str, Any]) -> Iterator[str]:
    asked = settings.get("months") or settings.get("month")
    if snapshot.first is None or not asked:
        return
    ends = (asked, asked) if isinstance(asked, date) else asked
    if not (isinstance(ends, tuple) and len(ends) == 2 and all(isinstance(e, date) for e in ends)):
        return
    first, last = snapshot.first.replace(day=1), snapshot.day.replace(day=1)
    begin, end = (day.replace(day=1) for day in ends)
    said = months_said(begin, end)
    if begin > last or end < first:
        these = "this month" if begin == end else "these months"
        yield f"{said}: the store holds nothing of {these}; its data is of {held_months(snapshot)}."
    elif end > last:
        yield f"{said}: the store holds nothing after {month_name(last)}."


def _on_values(snapshot: Snapshot, where: object) -> Iterator[str]:
    if not isinstance(where, Mapping):
        return
    for name, values in where.items():
        if name not in HELD_IN:
            continue
        there = _there(snapshot, name)
        for value in (values,) if isinstance(values, str) else values:
            if value in there:
                continue
            near = nearest(value, there)
            said = quotes_needed(name, value, there) or ("" if near is None else f" The nearest is {near!r}.")
            yield f"No row of the store has {name.replace('_', ' ')} {value!r}.{said}"


def _there(snapshot: Snapshot, name: str) -> list[str]:
    found: Iterable[str] = (
        value for measure in HELD_IN[name] for value in counts(snapshot.store, measure, by=(name,))[name].to_list()
    )
    return list(dict.fromkeys(found))
