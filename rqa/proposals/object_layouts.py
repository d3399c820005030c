"""How files of objects are laid out: JSON Lines, JSON documents with lists in lists, and event logs in XES."""

import io
import json
from collections.abc import Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any

from rqa.errors import SourceError
from rqa.intake.contents import check_json_lines
from rqa.intake.formats import Format, format_of
from rqa.intake.json_document import entries_of, objects_of
from rqa.intake.mapping import Files
from rqa.intake.sources import MOST_COLUMNS, SourceFile
from rqa.intake.xes import write_events
from rqa.proposals.layouts import Layout, NotReadError, head_text, text_pieces

JSON_LINES = 300
MOST_LOOKED_AT = 32 << 20
"""Bytes of a JSON document in which lists within objects are looked for."""


def xes_layout(path: Path, scratch: Path, *, named: bool) -> Layout:
    """The layout of an event log in XES."""
    source = SourceFile("map", path, "xes", Files(path=["x"]), path.name)
    lines = scratch / "events.jsonl"
    try:
        write_events(source, lines)
    except SourceError as said:
        raise NotReadError(str(said).removeprefix(f"{path.name}: ").removesuffix(" Nothing was loaded.")) from None
    columns = dict.fromkeys(key for row in _first_objects(lines) for key in row)
    lines.unlink()
    if not columns:
        raise NotReadError("holds no event")
    return Layout(path, "xes", tuple(columns), {} if named else {"format": "xes"},
                  {} if named else {"format": "the content is an event log in XES"})


def json_layouts(path: Path) -> list[Layout]:
    """The layouts of a JSON file: of its objects, and of each list of objects that stands within them."""
    try:
        whole = json_layout(path)
    except NotReadError:
        found = _inner_lists(path, None)
        if not found:
            raise
        return found
    return [whole, *_inner_lists(path, whole)]


def _inner_lists(path: Path, whole: Layout | None) -> list[Layout]:
    """The layouts of lists within the objects of a file, or within the one object that it is."""
    text = head_text(path, "utf-8") if path.stat().st_size > MOST_LOOKED_AT else b"".join(text_pieces(path)).decode(
        "utf-8-sig", "replace")
    source = SourceFile("map", path, "json", Files(path=["x"]), path.name)
    outer: list[Any] = []
    with suppress(ValueError, RecursionError):
        value = json.loads(text)
        outer = [value] if whole is None else objects_of(source, text) or []
    if not outer and whole is not None:
        outer = _first_objects(path)
    lists: dict[str, None] = {}
    for row in outer[:JSON_LINES]:
        for key, inside in (row.items() if isinstance(row, dict) else ()):
            if isinstance(inside, list) and inside and all(isinstance(o, dict) for o in inside) and "." not in key:
                lists.setdefault(key)
    made = []
    for key in lists:
        columns = dict.fromkeys(c for row in outer[:JSON_LINES] for entry in entries_of(row, [key]) for c in entry)
        settings = {"rows_of": key} | ({} if format_of(path) == "json" else {"format": "json"})
        if len(columns) <= MOST_COLUMNS:
            made.append(Layout(path, "json", tuple(columns), settings,
                               {"rows_of": "a list within each object; each of its entries is a row"}, part=key))
    return made


def json_layout(path: Path) -> Layout:
    """The layout of JSON Lines, or of a JSON document that holds a list of objects."""
    source = SourceFile("map", path, "json", Files(path=["x"]), path.name)
    form: Format = "jsonl"
    rows: list[Any] | None = None
    try:
        check_json_lines(source)
        if format_of(path) == "json":
            raise SourceError("")
    except SourceError:
        try:
            rows, form = objects_of(source), "json"
        except SourceError as said:
            raise NotReadError(str(said).removeprefix(f"{path.name}: ").removesuffix(" Nothing was loaded.")) from None
    objects = [r for r in rows[:JSON_LINES] if isinstance(r, dict)] if rows is not None else _first_objects(path)
    columns: dict[str, None] = {}
    nested: dict[str, None] = {}
    for row in objects:
        for key, value in row.items():
            if isinstance(value, dict):
                for reached in _paths(value, key):
                    nested.setdefault(reached)
            elif key:
                columns.setdefault(key)
    if not objects:
        raise NotReadError("holds no JSON object")
    named = format_of(path) == form
    made: dict[str, Any] = {} if named else {"format": form}
    why = {} if named else {"format": "the content is JSON"}
    if len(columns) + len(nested) > MOST_COLUMNS:
        raise NotReadError(f"has {len(columns) + len(nested):,} keys, and {MOST_COLUMNS} are read at most")
    plain = [c for c in columns if not any(n.startswith(f"{c}.") for n in nested)]
    return Layout(path, form, (*plain, *nested), made, why, nested=tuple(nested))


def _first_objects(path: Path) -> list[dict[str, Any]]:
    found = []
    for line in islice(io.StringIO(head_text(path, "utf-8")), JSON_LINES):
        try:
            row = json.loads(line)
        except (ValueError, RecursionError):
            continue
        if isinstance(row, dict):
            found.append(row)
    return found


def _paths(value: dict[str, Any], before: str) -> Iterator[str]:
    for key, inside in value.items():
        if isinstance(inside, dict) and before.count(".") < 3:
            yield from _paths(inside, f"{before}.{key}")
        elif key:
            yield f"{before}.{key}"
