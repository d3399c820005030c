"""Filters as a person writes them: by name, `{"site": "Alder"}`, or as a text, `site=Alder; model=Marl-8,Marl-10`.

Both forms say the same, wherever filters are taken. In a text a value that holds `;` or `,`, begins with a quotation
mark, or begins or ends with a space stands in double quotes, and a quotation mark within these is doubled:
`step="fit 5"" panel; lower"`. Everything else, `=` too, stands for itself.

A list may be empty, as one made from an empty table is. It keeps nothing, and the answer says that no value was named
(`rqa.answers.core.needs`): it is neither every value nor a finding that nothing is there.
"""

import re
from collections.abc import Iterable, Mapping, Sequence

from rqa.errors import RequestError

Where = Mapping[str, str | Sequence[str]] | str
Filters = dict[str, tuple[str, ...]]
FORM = "model=Marl-10; step=close case, or with several values site=Alder,Birch"


def filters_of(question: str, where: Where | None) -> Filters:
    """The values kept by each name; `RequestError` for what is neither form, or a text that cannot be read."""
    if where is None:
        return {}
    if isinstance(where, str):
        return read_filters(question, where)
    if not isinstance(where, Mapping):
        raise RequestError(
            f'{question}: filters are given by name, such as {{"site": "Alder"}}, or as a text like {FORM}; '
            f"not {where!r}."
        )
    found: Filters = {}
    for name, values in where.items():
        listed = (values,) if isinstance(values, str) else tuple(values) if isinstance(values, Iterable) else None
        if listed is None or any(not isinstance(v, str) for v in listed):
            raise RequestError(f"{question}: {name} takes a text or a list of texts, not {values!r}.")
        found[name] = listed
    return found


def read_filters(question: str, text: str) -> Filters:
    """Filters out of a text; `RequestError` says which part cannot be read, and how a filter is written."""
    found: Filters = {}
    for part, values in _parts(question, text):
        name, sign, _ = (piece.strip() for piece in part.partition("="))
        if not sign or not name or not values or not all(values):
            raise RequestError(f"{question}: the part {part.strip()!r} is no filter; write it like {FORM}.")
        if name in found:
            raise RequestError(
                f"{question}: {name} is named twice; write {name}={','.join(map(_written, (*found[name], *values)))}."
            )
        found[name] = values
    return found


def written(where: Mapping[str, Sequence[str]]) -> str:
    """Filters as a text, which `read_filters` reads again."""
    return "; ".join(f"{name}={','.join(map(_written, values))}" for name, values in where.items())


def quotes_needed(name: str, value: str, there: Iterable[str]) -> str:
    """How to write the name that `value` is a part of, as an end of a message; "" where it is part of none.

    A text is taken apart at `,` and `;`, so a name that holds one and stands without quotes is read as several.
    """
    for whole in there:
        if value != whole and value in (part.strip() for part in re.split("[,;]", whole)):
            return f" Put the value in double quotes: {name}={_written(whole)}."
    return ""


def _written(value: str) -> str:
    plain = value == value.strip() and value and value[0] != '"' and not {";", ","} & set(value)
    return value if plain else '"' + value.replace('"', '""') + '"'


def _parts(question: str, text: str) -> list[tuple[str, tuple[str, ...]]]:
    """Each part between semicolons as it stands, and its values."""
    parts: list[tuple[str, tuple[str, ...]]] = []
    place = 0
    while place < len(text):
        begin, equals = place, text.find("=", place)
        end = text.find(";", place)
        if equals < 0 or 0 <= end < equals:
            end = len(text) if end < 0 else end
            if text[begin:end].strip():
                parts.append((text[begin:end], ()))
            place = end + 1
            continue
        values, place = _values(question, text, equals + 1)
        parts.append((text[begin:place], values))
        place += 1
    return parts


def _values(question: str, text: str, place: int) -> tuple[tuple[str, ...], int]:
    """The values from a place on, and where the part ends."""
    values = []
    while True:
        while place < len(text) and text[place].isspace():
            place += 1
        if place < len(text) and text[place] == '"':
            value, place = _quoted(question, text, place + 1)
        else:
            ends = [i for i in (text.find(",", place), text.find(";", place)) if i >= 0]
            end = min(ends, default=len(text))
            value, place = text[place:end].strip(), end
        values.append(value)
        if place >= len(text) or text[place] == ";":
            return tuple(values), place
        place += 1


def _quoted(question: str, text: str, place: int) -> tuple[str, int]:
    """A value in quotes, and the place after it, where a comma, a semicolon or nothing follows."""
    value = ""
    while True:
        end = text.find('"', place)
        if end < 0:
            raise RequestError(f"{question}: {text!r} has a quotation mark that is not closed.")
        value += text[place:end]
        if text[end + 1 : end + 2] != '"':
            break
        value, place = value + '"', end + 2
    place = end + 1
    while place < len(text) and text[place].isspace():
        place += 1
    if place < len(text) and text[place] not in ",;":
        raise RequestError(
            f"{question}: in {text!r}, {text[place:]!r} follows a value in quotes; a quotation mark in it is doubled."
        )
    return value, place
