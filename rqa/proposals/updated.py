"""A mapping that is there, with what is new in its folder: files that nothing reads, columns that nothing takes.

What a person has written stays as it is, comments and order included; lines are only added.
"""

import re
import tomllib
from collections.abc import Mapping as MappingType
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rqa.contract import TABLES, Column
from rqa.errors import MappingError, RqaError
from rqa.intake.draft import parse_mapping
from rqa.intake.entries import wanted_columns
from rqa.intake.mapping import MAPPING_FILE, Files, Mapping, TableSpec
from rqa.intake.paths import label, paths_of
from rqa.intake.sources import files_of
from rqa.progress import Progress, silent
from rqa.proposals.columns import Facts, facts_of
from rqa.proposals.found import Group, files_in, look_through
from rqa.proposals.layouts import Layout
from rqa.proposals.matching import Guess, matched
from rqa.proposals.proposal import Proposed, SetProposal, sets_proposed
from rqa.proposals.whole_text import left_out_lines
from rqa.proposals.written import guess_line, set_lines
from rqa.store.looked import Looked, looking
from rqa.words import counted, listed

SAME_COLUMNS = 0.9
"""Share of columns, of all that a new file and a set have, from which on the file is one more of the set."""

MARKED = ("csv", "jsonl", "json")
"""Formats whose numbers are texts, with a decimal mark of their own."""
BY_HAND = "Add what is new by hand. Nothing was written."
HEADER, ENTRY = re.compile(r"\s*\["), re.compile(r"\s*\[\[\s*table\s*\]\]")
OF_ENTRY, COLUMNS = re.compile(r"\s*\[\s*table\s*\."), re.compile(r"\s*\[\s*table\s*\.\s*columns\s*\]")


@dataclass(frozen=True)
class Update:
    """What is added to a mapping: its new text, and what was added, a line each."""

    text: str
    added: tuple[str, ...]
    proposed: Proposed
    kept: int = 0
    """Settings that stood in it before, each of which was compared with the new text."""


def updated(folder: Path, progress: Progress = silent) -> Update:
    """Work out what is new in a folder beside its mapping; nothing is written."""
    path = folder / MAPPING_FILE
    text = path.read_text(encoding="utf-8-sig")
    mapping = parse_mapping(tomllib.loads(text))
    paths = files_in(folder)
    outside = [f for name, spec in mapping.files.items() if spec.format != "frame"
               for f in files_of(name, spec.model_copy(update={"optional": True}), folder, {},
                                 mapping.workspace.outside)]
    key_file = next((key for entry in mapping.table for key in entry.key_files), "")
    with looking([*paths, *(f.path for f in outside)], sealed=mapping.keyed) as looked:
        known = _known(folder, mapping)
        found = look_through(folder, paths, looked, progress, known=known)
        columns = _known_columns(folder, mapping, looked)
        fresh, joined = [], dict[str, list[str]]()
        for group in found.groups:
            home = _home(group, columns, mapping)
            if home is None:
                fresh.append(group)
            else:
                joined.setdefault(home, []).extend(group.patterns)
        added = {
            number: guesses for number, entry in enumerate(mapping.table)
            if entry.from_ is not None and (guesses := _new_columns(entry, columns, looked, key_file))
        }
        made = sets_proposed(folder, found, fresh, looked, len(paths), taken=tuple(mapping.files), progress=progress)
        # A mapping that makes pseudonyms must not come to hold names by what is added to it.
        made = replace(made, sets=tuple(replace(one, key_file=key_file) for one in made.sets))
    return _written(text, joined, added, made, mapping)


def _known(folder: Path, mapping: Mapping) -> dict[tuple[Path, str | int], str]:
    """The files that the mapping reads, with their sheet or table ("" where none is named), and the set that does."""
    known: dict[tuple[Path, str | int], str] = {}
    for name, spec in mapping.files.items():
        for pattern in spec.path:
            for path in paths_of(pattern, folder, mapping.workspace.outside, optional=True)[0]:
                named = spec.sheet or spec.table or spec.rows_of or (Path(spec.member).stem if spec.member else "")
                part = spec.sheet if isinstance(spec.sheet, int) else named
                known[path.resolve(), part] = name
    return known


def _known_columns(folder: Path, mapping: Mapping, looked: Looked) -> dict[str, tuple[Group, MappingType[str, Any]]]:
    """The columns of each set that the mapping reads, and what they hold, read as it says."""
    found: dict[str, tuple[Group, MappingType[str, Any]]] = {}
    for name, spec in mapping.files.items():
        if spec.format == "frame":
            continue
        wanted = frozenset[str]().union(*(wanted_columns(e) for e in mapping.table if name in mapping.sets_of(e)))
        sources = files_of(name, spec.model_copy(update={"optional": True}), folder, {}, mapping.workspace.outside)
        layouts = []
        for source in sources:
            try:
                layouts.append(Layout(source.path, source.format, looked.take(source, wanted)))
            except RqaError:
                continue
        if layouts:
            group = Group(name, tuple(layouts), tuple(spec.path), tuple(label(x.path, folder) for x in layouts))
            found[name] = (group, facts_of(group, looked))
    return found


def _home(group: Group, columns: MappingType[str, tuple[Group, Any]], mapping: Mapping) -> str | None:
    """The set that new files belong to: one that is read alike, and has the same columns."""
    mine = {c.lower() for c in group.first.columns}
    for name, (there, _) in columns.items():
        theirs = {c.lower() for one in there.layouts for c in one.columns}
        spec = mapping.files[name]
        settings, numbers = group.first.settings, {one.number for one in group.layouts}
        alike = (
            (group.first.format, settings.get("header_row", 1), settings.get("header_rows", 1), settings.get("table"),
             settings.get("member"), settings.get("rows_of"))
            == (there.layouts[0].format, spec.header_row, spec.header_rows, spec.table, spec.member, spec.rows_of)
        ) and (spec.sheet == settings.get("sheet") or numbers == {spec.sheet or 0}) and (
            group.first.ascii_only or group.first.settings.get("encoding", "utf-8") == spec.encoding)
        if alike and len(mine & theirs) >= SAME_COLUMNS * len(mine | theirs) and len(mine) > 1:
            return name
    return None


def _new_columns(
    entry: TableSpec, columns: MappingType[str, tuple[Group, Any]], looked: Looked, key_file: str
) -> list[tuple[Guess, SetProposal]]:
    """What columns of the files most likely are that an entry does not use, of those that it does not give yet."""
    if (entry.from_ or "") not in columns:
        return []
    group, facts = columns[entry.from_ or ""]
    used = {o.column for o in entry.columns.values()} | {c for o in entry.columns.values() for c in o.join or ()}
    sql = " ".join(o.sql or "" for o in entry.columns.values())
    left = {n: f for n, f in facts.items() if n not in used and n not in TABLES[entry.table].names and n not in sql}
    match = matched(left, "", only=[entry.table], whole=False)
    if match is None:
        return []
    one = SetProposal(group, facts, match, looked.rows.get(group.name, 0), key_file=key_file)
    taken = set(entry.columns) | {c for c in TABLES[entry.table].names if c in facts}
    return [(g, one) for t, g in match.guesses.items() if t not in taken]


def _written(
    text: str, joined: MappingType[str, list[str]], added: MappingType[int, list[tuple[Guess, SetProposal]]],
    made: Proposed, mapping: Mapping,
) -> Update:
    """The mapping's text with what is new."""
    said: list[str] = []
    new = _with_paths(text, joined) if joined else text
    said += [f"files.{name}: path takes {listed(patterns)} too" for name, patterns in joined.items()]
    live = dict[int, set[str]]()
    for number, guesses in added.items():
        lines, entry = list[str](), mapping.table[number]
        for guess, one in guesses:
            column = TABLES[entry.table].column(guess.target)
            line = guess_line(one, column, guess)
            if unread := _unread(column, one.facts[guess.source], entry, one.group.first.format,
                                 mapping.files[one.group.name]):
                line = replace(line, live=False, mark="; ".join(filter(None, (line.mark, unread))))
            if not line.live and f"# {line.key} = {line.value}" in text:
                continue
            lines += line.texts()
            live.setdefault(number, set()).update([line.key] if line.live else [])
            said.append(f"table.{number + 1} ({entry.table}): {guess.target} from {guess.source!r}"
                        + ("" if line.live else ", behind a # until it is checked"))
        new = _with_columns(new, number, lines)
    for one in made.sets:
        if one.match is not None or one.wide:
            new = new.rstrip("\n") + "\n\n" + "\n".join(set_lines(one, made)) + "\n"
            said.append(f"files.{one.group.name}: {counted(len(one.group.labels), 'file')}, {counted(one.rows, 'row')}")
    if said and (left := left_out_lines(made)):
        new = new.rstrip("\n") + "\n\n" + "\n".join(left) + "\n"
    plain = tomllib.loads(new)
    _check_kept(tomllib.loads(text), plain, "")
    for number, names in live.items():
        if not names <= set(plain["table"][number].get("columns", {})):
            raise MappingError(f"table.{number + 1}: its columns cannot be found in the text. {BY_HAND}")
    return Update(new if said else text, tuple(said), made, settings_in(tomllib.loads(text)))


def _unread(column: Column, facts: Facts, entry: TableSpec, form: str, spec: Files) -> str:
    """What a mapping lacks to read a new column's times or numbers; "" where it reads them."""
    if column.kind in ("time", "date", "month"):
        forms = set(entry.times or spec.times or ("iso",))
        ways = [facts.times.formats] if facts.times is not None and facts.times.formats else []
        if facts.times is not None and not ways:
            ways = [facts.times.readings.day_first, facts.times.readings.month_first]
        if facts.epoch and column.kind == "time":
            ways = [("iso",)]
        if ways and not any(set(way) <= forms for way in ways):
            lacking = " or ".join(listed([repr(f) for f in way if f not in forms]) for way in ways)
            return f"add {lacking} to times first, or all its rows are refused"
    mark = entry.decimal or spec.decimal or "."
    if column.kind in ("number", "integer") and facts.decimal not in ("", mark) and form in MARKED:
        return (f"its decimal mark is {facts.decimal!r}, and {mark!r} is read: give it with "
                f'replace = [["[{facts.decimal}]", "{mark}"]] first')
    return ""


def _with_paths(text: str, joined: MappingType[str, list[str]]) -> str:
    """The text with further patterns for the paths of sets."""
    import tomlkit

    doc: Any = tomlkit.parse(text)
    for name, patterns in joined.items():
        files = doc["files"][name]
        there = files["path"] if isinstance(files["path"], list) else [files["path"]]
        files["path"] = [*there, *patterns]
    return tomlkit.dumps(doc)


def _with_columns(text: str, number: int, lines: Sequence[str]) -> str:
    """The text with further lines for the columns of one `[[table]]`, counted from 0, behind the last that it has."""
    rows = text.split("\n")
    entries = [i for i, row in enumerate(rows) if ENTRY.match(row)]
    first = entries[number]
    end = next((i for i in range(first + 1, len(rows)) if HEADER.match(rows[i]) and not OF_ENTRY.match(rows[i])),
               len(rows))
    columns = next((i for i in range(first, end) if COLUMNS.match(rows[i])), None)
    filled = [i for i in range(columns or first, end) if rows[i].strip() and not rows[i].lstrip().startswith("#")]
    head = [] if columns is not None else ["[table.columns]"]
    return "\n".join([*rows[: filled[-1] + 1], *head, *lines, *rows[filled[-1] + 1:]])


def settings_in(value: Any) -> int:
    """How many settings a mapping holds: what holds no further setting; a list of texts is one."""
    if isinstance(value, dict):
        return sum(map(settings_in, value.values()))
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        return sum(map(settings_in, value))
    return 1


def _check_kept(old: Any, new: Any, place: str) -> None:
    """Raise an error where something that a person has written would be gone or changed."""
    if isinstance(old, dict):
        for key, value in old.items():
            if not isinstance(new, dict) or key not in new:
                raise MappingError(f"{place}.{key} would be lost. {BY_HAND}")
            _check_kept(value, new[key], f"{place}.{key}".lstrip("."))
    elif isinstance(old, list) and isinstance(new, list):
        for number, value in enumerate(old):
            _check_kept(value, new[number] if number < len(new) else None, f"{place}.{number + 1}")
    elif old != new and not (place.endswith(".path") and isinstance(new, list) and new[0] == old):
        raise MappingError(f"{place} would be changed. {BY_HAND}")
