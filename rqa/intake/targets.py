"""What a mapping says of one column of the contract, held against the contract: no file is looked at."""

import math
import re
from collections.abc import Iterator

from rqa.contract import Column, Table
from rqa.intake.column_source import ColumnSource
from rqa.intake.values import FALSE, TRUE, list_entries
from rqa.shown import told
from rqa.words import nearest

PERSONS = {"steps": ("bench", "tool"), "diagnostics": ("station",)}
"""The columns by table that may name people though the contract means a place or a tool by them."""
NAMES_OF_PEOPLE = ("technician", "owner", "appraiser")
"""Columns that name people anyway."""


def column_faults(table: Table, column: Column, origin: ColumnSource) -> Iterator[str]:
    """Every fault of what the mapping says of one column, each beginning with the key it stands under."""
    given = [("constant", origin.constant), ("default", origin.default)]
    given += [(f"values.{theirs}", ours) for theirs, ours in origin.values.items()]
    for key, value in given:
        if value is not None and (fault := _not_a_value(column, value)):
            yield f"{key}: {fault}"
    for key, factor, done in (("times", origin.times, "multiplied"), ("divide", origin.divide, "divided")):
        if factor is not None and column.kind != "number":
            yield f"{key}: {column.name} is no number that could be {done} (its kind is {column.kind})"
    if origin.person and column.name not in (*PERSONS.get(table.name, ()), *NAMES_OF_PEOPLE):
        allowed = ", ".join(f"{c} of {t}" for t, names in PERSONS.items() for c in names)
        yield f"person: {table.name}.{column.name} cannot be marked as naming people; these can: {allowed}"


def _not_a_value(column: Column, value: str | int | float | bool) -> str | None:
    """What is wrong with a value that the mapping itself gives, or None; an empty text means missing."""
    text = str(value).lower() if isinstance(value, bool) else str(value).strip()
    if not text:
        return None
    if column.kind == "code":
        return _not_allowed(column, text.lower())
    if column.kind == "list" and column.allowed:
        said = [_not_allowed(column, word) for word in list_entries(text)]
        return next((s for s in said if s), None)
    if column.kind == "boolean" and text.lower() not in TRUE + FALSE:
        return f"{told(text)} is neither true nor false"
    if column.kind in ("number", "integer"):
        return _not_a_number(column, text)
    return None


def _not_allowed(column: Column, text: str) -> str | None:
    if text in column.allowed:
        return None
    near = nearest(text, column.allowed)
    meant = f"did you mean {told(near)}? " if near else ""
    return f"{told(text)} is no value of {column.name}; {meant}Allowed: {', '.join(column.allowed)}"


def _not_a_number(column: Column, text: str) -> str | None:
    kind = "a whole number" if column.kind == "integer" else "a number"
    try:
        number = float(text)
    except ValueError:
        # Which marks a number has is settled with the files.
        return None if re.fullmatch(r"[+-]?[\d.,' ]*\d[\d.,' ]*", text) else f"{told(text)} is not {kind}"
    if not math.isfinite(number) or (column.kind == "integer" and not number.is_integer()):
        return f"{told(text)} is not {kind}"
    if column.at_least is not None and number < column.at_least:
        return f"{text} is below {column.at_least:g}"
    return None
