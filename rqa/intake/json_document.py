"""A JSON document that is one list of objects, as JSON Lines: each object becomes a line, and then a row."""

import codecs
import json
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from rqa.errors import SourceError
from rqa.intake.sources import NATIVE_ENCODINGS, SourceFile, pieces
from rqa.shown import told
from rqa.words import counted, listed

MOST_BYTES = 300 << 20
"""Bytes of a document that are read: as objects it takes several times as much memory."""

MOST_TIMES = 4
"""How many times that may be written where each entry of a list stands with what is around it."""
DEEPEST = 8
"""Objects within each other whose keys become columns."""

HALVES = re.compile("[\ud800-\udfff]")


class _GivenTwiceError(ValueError):
    """A key that an object gives twice."""


def write_lines(source: SourceFile, target: Path) -> None:
    """Write each object of a document as a line of its own; a file of JSON Lines stays as it is.

    The document is a list of objects, or an object with one key that holds such a list. Raises `SourceError` for any
    other, for one that ends too soon, and for one that is too large.
    """
    text = _text(source)
    if source.spec.rows_of is not None:
        _write_entries(source, text, target)
        return
    rows = objects_of(source, text)
    with target.open("w", encoding="utf-8", newline="") as out:
        if rows is None:
            out.write(text)
            return
        for row in rows:
            line = json.dumps(row, ensure_ascii=False)
            # A sign that is no character of its own can be written as an escape alone.
            out.write((json.dumps(row) if HALVES.search(line) else line) + "\n")


def _write_entries(source: SourceFile, text: str, target: Path) -> None:
    """Write each entry of the list `rows_of` as a line, beside what the objects around it say."""
    path = (source.spec.rows_of or "").split(".")
    size, met = 0, False
    with target.open("w", encoding="utf-8", newline="") as out:
        for row in _outer(source, text, path[0]):
            for entry in entries_of(row, path):
                met = True
                line = json.dumps(entry, ensure_ascii=bool(HALVES.search(str(entry))))
                size += len(line)
                if size > MOST_TIMES * MOST_BYTES:
                    raise _no_list(source, "its entries, each with what stands around it, are too large to be read")
                out.write(line + "\n")
    if not met:
        raise _no_list(source, f"no object of it has a list {told('.'.join(path))} of objects, as rows_of says")


def _outer(source: SourceFile, text: str, first: str) -> list[Any]:
    """The objects that a path of lists begins in: the document where it has that key itself, else its rows."""
    with suppress(ValueError, RecursionError):
        value = json.loads(text)
        if isinstance(value, dict) and first in value:
            return [value]
    rows = objects_of(source, text)
    if rows is not None:
        return rows
    read = []
    for line in text.splitlines():
        with suppress(ValueError, RecursionError):
            read.append(json.loads(line))
    return read


def entries_of(value: Any, path: Sequence[str], before: str = "") -> Iterator[dict[str, Any]]:
    """The entries of the list at the end of a path, each with the plain values of all objects around it.

    Every column is called by its place: "docket", "tests.name".
    """
    if not isinstance(value, dict):
        return
    around = _flat({k: v for k, v in value.items() if not path or k != path[0]}, before)
    if not path:
        yield around
        return
    inside = value.get(path[0])
    for one in inside if isinstance(inside, list) else [inside]:
        for entry in entries_of(one, path[1:], f"{before}{path[0]}."):
            yield around | entry


def _flat(value: dict[str, Any], before: str, depth: int = 0) -> dict[str, Any]:
    """An object with the keys of objects in it as its own, "limits.low"."""
    made: dict[str, Any] = {}
    for key, inside in value.items():
        if isinstance(inside, dict) and depth < DEEPEST:
            made |= _flat(inside, f"{before}{key}.", depth + 1)
        elif key:
            made[f"{before}{key}"] = inside
    return made


def _text(source: SourceFile) -> str:
    held = bytearray()
    for piece in pieces(source):
        held += piece
        if len(held) > MOST_BYTES:
            raise SourceError(
                f"{source.label}: is a JSON document of more than {MOST_BYTES >> 20} MB, and a larger one is not read. "
                "Export it as JSON Lines, one object on each line. Nothing was loaded."
            )
    encoding = NATIVE_ENCODINGS.get(source.spec.encoding.lower(), source.spec.encoding)
    try:
        return codecs.decode(bytes(held), encoding)
    except UnicodeError as error:
        raise SourceError(
            f"{source.label}: is not {source.spec.encoding} text ({error}). Set encoding for files.{source.name}. "
            "Nothing was loaded."
        ) from None


def objects_of(source: SourceFile, text: str | None = None) -> list[Any] | None:
    """The objects of a document; None where each line is an object already."""
    text = _text(source) if text is None else text
    try:
        value = json.loads(text, object_pairs_hook=_once) if text.strip() else []
    except _GivenTwiceError as error:
        said = "" if source.sealed else f": {error}"
        raise _no_list(source, f"an object of it gives a key twice{said}") from None
    except RecursionError:
        raise _no_list(source, "it is nested too deep") from None
    except ValueError as error:
        first = next((line for line in text.splitlines() if line.strip()), "")
        if _is_object(first):
            return None
        at = f"line {getattr(error, 'lineno', 1):,}, column {getattr(error, 'colno', 1):,}"
        raise _no_list(source, f"it is no valid JSON at {at}; it may be cut short") from None
    if isinstance(value, dict):
        lists = {k: v for k, v in value.items() if isinstance(v, list) and v and all(isinstance(o, dict) for o in v)}
        if len(lists) == 1:
            return next(iter(lists.values()))
        if len(lists) > 1:
            names = "" if source.sealed else f" ({listed([told(k) for k in list(lists)[:5]])})"
            raise _no_list(source, f"it holds {counted(len(lists), 'list')} of objects{names}, and one is read")
        if list(value.values()) == [[]]:
            return []
        # One object on one line is a file of JSON Lines with one row.
        return [value]
    if isinstance(value, list):
        return value
    raise _no_list(source, "it is neither a list nor an object")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        keys = [key for key, _ in pairs]
        raise _GivenTwiceError(told(next(k for k in keys if keys.count(k) > 1)))
    return made


def _is_object(line: str) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except (ValueError, RecursionError):
        return False


def _no_list(source: SourceFile, why: str) -> SourceError:
    return SourceError(
        f"{source.label}: is no JSON document with one list of objects: {why}. Export it as such a list, or as JSON "
        "Lines (one object on each line). Nothing was loaded."
    )
