"""Every sentence that a depot says, wherever it stands in an answer, a finding, or the facts of the page."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import polars as pl

from rqa.answers.core.ground_list import GROUNDS
from rqa.answers.core.grounds import Sentence
from tests.odd_depots.grounds_by_hand import SCOPED

UNFOUNDED = re.compile(
    r"^(Nothing (?!alike)|Nobody|No (finding|measure|job|group|step|test|unit)\\b|Quality is the same)"
)
"""How a text begins that says that something was looked for and not found; such a text carries its grounds."""


def texts_in(value: Any) -> Iterator[str]:
    """All texts in a value, its fields, rows and items; not those in settings, which echo what was asked."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, pl.DataFrame):
        for name, kind in value.schema.items():
            if kind == pl.String:
                yield from value[name].drop_nulls().unique(maintain_order=True)
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from texts_in(one)
    elif isinstance(value, list | tuple | set | frozenset):
        for one in value:
            yield from texts_in(one)
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name not in ("settings", "record", "spec"):
                yield from texts_in(getattr(value, field.name))


def of_no_value(answer: Any) -> Iterator[str]:
    """What an answer says as if it had looked, where one of its filters keeps no value at all."""
    where = answer.settings.get("where")
    unnamed = [name for name, kept in where.items() if not kept] if isinstance(where, Mapping) else []
    said = [note for note in answer.notes if isinstance(note, Sentence)]
    if unnamed and all(note.told for note in said):
        yield f"{answer.question} of no {', '.join(unnamed)} does not say that none was named: {answer.notes}"


def unfounded(text: str, present: Mapping[str, bool]) -> Iterator[str]:
    """What is untrue in a sentence, by what the store really has."""
    if not isinstance(text, Sentence):
        if UNFOUNDED.search(text):
            yield f"says that nothing is there and not what it rests on: {text}"
        return
    if text.told:
        absent = [name for name in text.rests_on if not present[name]]
        if absent:
            yield f"rests on {', '.join(absent)}, which is absent: {text}"
        return
    why = [GROUNDS[name].lacking.partition("{")[0] for name in text.lacks if name in GROUNDS]
    if why and "cannot be told" not in text.lower() and not any(reason in text for reason in why):
        yield f"lacks {text.lacks}, and does not say that it cannot be told: {text}"
    there = [name for name in text.lacks if name in present and name not in SCOPED and present[name]]
    if there:
        yield f"is said to lack {', '.join(there)}, which is there: {text}"
