"""A mapping made of plain data: everything that is wrong with it, and as much of it as can be used all the same.

A load goes on with what can be used, to look for files and to hold columns against them, so that one round tells all
faults. What only follows from a fault that is told already is not told.
"""

import copy
import re
import tomllib
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from rqa.contract import TABLES
from rqa.errors import MappingError
from rqa.intake.column_source import ColumnSource
from rqa.intake.mapping import MAPPING_FILE, Files, Mapping, Reading, Site, TableSpec, Workspace
from rqa.intake.parts import unknown_name
from rqa.intake.shapes import ColumnsToRows, Events
from rqa.intake.targets import column_faults
from rqa.shown import told
from rqa.words import listed, nearest

NO_VALUE = {"sql": "null"}
"""What stands for a column whose mapping is faulty, so that it is not said to be missing too."""
PARTS: dict[str, type[BaseModel]] = {
    "workspace": Workspace, "sites": Site, "files": Files, "table": TableSpec, "columns": ColumnSource,
    "columns_to_rows": ColumnsToRows, "events": Events,
}
KINDS = {
    "dict_type": "must be a table of keys, such as [files.jobs] with path = … below it",
    "model_type": "must be a table of keys, such as [files.jobs] with path = … below it",
    "model_attributes_type": "must be a table of keys, such as [files.jobs] with path = … below it",
    "list_type": "must be a list (of tables: each begins with [[table]])", "string_type": "must be a text in quotes",
    "int_type": "must be a whole number", "int_parsing": "must be a whole number", "bool_type": "must be true or false",
    "bool_parsing": "must be true or false", "float_type": "must be a number", "float_parsing": "must be a number",
}
"""What a value of the mapping must be, by the kind of error of the models."""
HARMLESS = (*Reading.model_fields, "where", "lines")
"""Keys that do not decide which columns files have; without them the rest can still be looked at."""


@dataclass(frozen=True)
class Draft:
    """What can be used of a mapping, and its faults, each with its place.

    Nothing is held against the files of the sets `unsure`, whose reading is not known, nor against the entries
    `skipped` (counted from 1).
    """

    mapping: Mapping
    faults: tuple[str, ...]
    unsure: frozenset[str]
    skipped: frozenset[int]


def parse_mapping(raw: MappingType[str, object], *, origin: str = MAPPING_FILE) -> Mapping:
    """Validate a mapping given as plain data.

    Raises `MappingError` naming every fault, its place (entries of `table` are counted from 1) and what exists.
    """
    made = draft(raw)
    if made.faults:
        raise MappingError.of(made.faults, origin)
    return made.mapping


def draft(raw: MappingType[str, object]) -> Draft:
    """Make of plain data what can be made of it; raises nothing."""
    work = _Work(copy.deepcopy(dict(raw)))
    for round_ in range(20):
        try:
            mapping = Mapping.model_validate(work.plain)
        except ValidationError as error:
            for e in error.errors():
                work.take(e, later=round_ > 0)
            continue
        if not work.look_closer(mapping):
            return Draft(mapping, tuple(work.faults), frozenset(work.unsure), frozenset(work.skipped))
    return Draft(Mapping(), tuple(work.faults), frozenset(work.unsure), frozenset(work.skipped))


@dataclass
class _Work:
    """Plain data from which faulty parts are taken, one after another."""

    plain: dict[str, Any]
    faults: list[str] = field(default_factory=list)
    unsure: set[str] = field(default_factory=set)
    skipped: set[int] = field(default_factory=set)
    shortened: set[tuple[Any, ...]] = field(default_factory=set)
    """The parts that a key was taken from; their later faults may only follow from that."""

    def tell(self, place: tuple[Any, ...], said: str) -> None:
        """Note a fault, once."""
        where = ".".join(str(p + 1) if isinstance(p, int) else str(p) for p in place)
        if f"{where}: {said}" not in self.faults:
            self.faults.append(f"{where}: {said}")

    def take(self, error: Any, *, later: bool) -> None:
        """Take the part that an error of the models speaks of out of the data, and note the fault."""
        place = tuple(p for p in error["loc"] if p != "function-before")
        part = place[:2] if place[0] in ("files", "table", "sites") else place[:1]
        if not (later and part in self.shortened):
            self.tell(place, _said(error))
        self.shortened.add(part)
        match place:
            case ("table", int(number), "columns", name, *_) if self._holds(number, name):
                self.plain["table"][number]["columns"][name] = dict(NO_VALUE)
            case ("table", int(number), key, *_) if error["type"] == "extra_forbidden" or key in HARMLESS:
                if key not in self.plain["table"][number]:
                    self._skip(number)
                self.plain["table"][number].pop(key, None)
            case ("table", int(number), *_):
                self._skip(number)
            case ("files", name, key, *_) if isinstance(self.plain["files"][name], dict):
                if key not in HARMLESS:
                    self.unsure.add(name)
                self.plain["files"][name].pop(key, None)
            case ("files", name, *_):
                self.unsure.add(name)
                self.plain["files"][name] = {}
            case ("sites", name, *_):
                self.plain["sites"].pop(name, None)
            case ("workspace", key, *_):
                self.plain["workspace"].pop(key, None)
            case _:
                self.plain.pop(place[0], None)

    def _holds(self, number: int, name: object) -> bool:
        return isinstance(self.plain["table"][number].get("columns"), dict) and isinstance(name, str)

    def _skip(self, number: int) -> None:
        """Put an entry that nothing is made of in the place of a faulty one, so that the others keep their numbers."""
        self.skipped.add(number + 1)
        self.plain["table"][number] = {"table": next(iter(TABLES)), "select": "select 1"}

    def look_closer(self, mapping: Mapping) -> bool:
        """Note what the models do not see, and take it out; returns whether something was taken out."""
        before = len(self.faults)
        for name, files in mapping.files.items():
            if files.format != "frame" and not files.path and name not in self.unsure:
                self.tell(("files", name), "path is missing")
                self.unsure.add(name)
            if not name.isidentifier():
                self.tell(("files", name), "a name is made of letters, digits and _")
        for number, entry in enumerate(mapping.table):
            if number + 1 not in self.skipped:
                self._look_at(number, entry, mapping)
        if not mapping.table and not any(
            f.startswith("table") or nearest(f.split(":")[0], ["table"]) for f in self.faults
        ):
            self.tell(("table",), "no [[table]] says what to make of the files")
        return len(self.faults) > before

    def _look_at(self, number: int, entry: TableSpec, mapping: Mapping) -> None:
        table, plain = TABLES[entry.table], self.plain["table"][number]
        for name, origin in entry.columns.items():
            place = ("table", number, "columns", name)
            if name not in table.names:
                self.tell(place, f"{table.name} has no column {told(name)}; {unknown_name(name, table.names)}")
                del plain["columns"][name]
                meant = nearest(name, table.names)
                if meant is not None:
                    plain["columns"].setdefault(meant, dict(NO_VALUE))
                continue
            said = list(column_faults(table, table.column(name), origin))
            for fault in said:
                key, _, rest = fault.partition(": ")
                self.tell((*place, key), rest)
            if said:
                plain["columns"][name] = dict(NO_VALUE)
        if entry.lines is not None and table.lines is None:
            able = listed([name for name, t in TABLES.items() if t.lines is not None])
            self.tell(
                ("table", number, "lines"),
                f"lines become one job in the table {able} alone, not in {table.name}. There, let job_id give the job "
                "that the line belongs to",
            )
            del plain["lines"]
        if entry.from_ is not None and entry.from_ not in mapping.files:
            self.tell(
                ("table", number, "from"), f"no files {told(entry.from_)}; {unknown_name(entry.from_, mapping.files)}"
            )
            self._skip(number)


def _said(error: Any) -> str:
    if error["type"] in KINDS:
        return f"{KINDS[error['type']]}, not {_kind(error['input'])}"
    if error["type"] != "extra_forbidden":
        return str(error["msg"]).removeprefix("Value error, ")
    model: type[BaseModel] = Mapping
    for part in error["loc"][:-1]:
        model = PARTS.get(str(part), model)
    names = [f.alias or n for n, f in model.model_fields.items()]
    return f"unknown key; {unknown_name(str(error['loc'][-1]), names)}"


def _kind(value: object) -> str:
    """What a value of the mapping is, as its writer sees it."""
    kinds = {dict: "a table", list: "a list", bool: "true or false", str: "a text", int: "a number", float: "a number"}
    return next((said for kind, said in kinds.items() if isinstance(value, kind)), "something else")


def read_mapping(workspace: Path) -> dict[str, Any]:
    """The mapping file of a workspace as plain data; raises `MappingError` if it is missing or is not TOML."""
    path = workspace / MAPPING_FILE
    try:
        text = path.read_text(encoding="utf-8-sig")
        if "\x00" in text:
            raise MappingError(f"{path.name} looks like UTF-16 text. Save it as UTF-8.")
        return tomllib.loads(text)
    except (FileNotFoundError, NotADirectoryError):
        what = f"{workspace} is not a folder" if not workspace.is_dir() else f"{workspace} has no {MAPPING_FILE}"
        raise MappingError(
            f"{what}. A workspace is a folder with a {MAPPING_FILE}: `rqa map FOLDER` proposes one for the logs in a "
            "folder; see shared/mapping.md, 'Map your own logs'."
        ) from None
    except UnicodeDecodeError as error:
        raise MappingError(
            f"{path.name} is not valid TOML: it is not UTF-8 text ({error}). Save it as UTF-8."
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise MappingError(f"{path.name} is not valid TOML: {error}.{_hint(path, str(error))}") from None
    except RecursionError:
        raise MappingError(f"{path.name} is nested too deep to be read. Write lists and tables side by side.") from None
    except ValueError as error:
        raise MappingError(f"{path.name} holds a number that is too long: {error}.") from None


def _hint(path: Path, said: str) -> str:
    """What to do about a backslash in double quotes, where the line that cannot be read has one."""
    at = re.search(r"line (\d+)", said)
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    line = lines[int(at.group(1)) - 1] if at and int(at.group(1)) <= len(lines) else ""
    if not re.search(r'"[^"]*\\', line):
        return ""
    return (
        f" In double quotes a backslash begins a special sign: {line.strip()}. Write / between folders, or put the "
        "text in single quotes, in which a backslash is a backslash."
    )
