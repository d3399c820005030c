"""What a folder holds: every file by its layout, those that belong together as one set, what is not read and why."""

import fnmatch
import os
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from rqa.errors import RqaError
from rqa.intake.archives import UNREADABLE, ending_of, is_archive, members, unpack
from rqa.intake.contents import names_in_zip
from rqa.intake.formats import format_of
from rqa.intake.mapping import MAPPING_FILE, Files
from rqa.intake.own_actions import OWN_ACTIONS
from rqa.intake.paths import WILD, label
from rqa.intake.sources import SourceFile
from rqa.progress import Progress, Stage, silent
from rqa.proposals.layouts import (
    Layout,
    NotReadError,
    database_layouts,
    kind_of,
    parquet_layout,
    sheet_layout,
    text_layout,
)
from rqa.proposals.object_layouts import json_layouts, xes_layout
from rqa.proposals.vocabulary import LETTERS
from rqa.store.looked import Looked
from rqa.words import counted

NOT_LOGS = (
    MAPPING_FILE, "README*", "*.md", "*.html", "*.py", "*.ipynb", "*.toml", "*.duckdb*", "rqa-pages.json", "~$*", ".*",
    "*.pdf", "*.png", "*.jpg", "*.docx", "*.key", "truth.json", "*-journal", "*-wal", "*-shm",
)
"""Names of files that are passed over without a word: what rqa writes itself, and what never is a log."""
NOT_FOLDERS = ("notebooks", "__pycache__", "node_modules")
ALIKE = 0.6
"""Share of columns, of all that two files of like names have, from which on they are one set."""
FIRST_ROWS = 240
ENDING = re.compile(r"\.(gz|zip|xes|csv|tsv|txt|xlsx|xls|jsonl|ndjson|json|parquet|sqlite3?|db|ods)$", re.IGNORECASE)
MOST_MEMBERS = 200
"""Files of a zip archive that are looked at."""
MOST_NAMES = 12
"""Files of one set that are listed by name where no pattern meets them alone."""


@dataclass(frozen=True)
class Group:
    """A set of files that are read alike: its name in the mapping, its layouts, the patterns that mean its files."""

    name: str
    layouts: tuple[Layout, ...]
    patterns: tuple[str, ...]
    labels: tuple[str, ...]

    @property
    def first(self) -> Layout:
        """The layout that stands for all."""
        return next((one for one in self.layouts if not one.ascii_only), self.layouts[0])

    @property
    def nested(self) -> frozenset[str]:
        """The columns of any file that reach into objects."""
        return frozenset(n for one in self.layouts for n in one.nested)


@dataclass(frozen=True)
class FolderFound:
    """The sets of a folder, and why other files are not read, by their label."""

    groups: tuple[Group, ...]
    not_read: dict[str, str]


def files_in(folder: Path) -> list[Path]:
    """The files of a folder and of those below it that may be logs, by name with numbers in their order."""
    found: list[Path] = []
    for place, inside, names in os.walk(folder):
        inside[:] = sorted(d for d in inside if not d.startswith(".") and d not in NOT_FOLDERS)
        found += [
            Path(place) / name for name in names
            if not any(fnmatch.fnmatch(name, pattern) for pattern in NOT_LOGS) and (Path(place) / name).is_file()
            and not (name == OWN_ACTIONS and Path(place) == folder)
        ]
    return sorted(found, key=lambda p: [int(t) if t.isdecimal() else t for t in re.split(r"(\d+)", p.as_posix())])


def look_through(
    folder: Path, paths: Sequence[Path], looked: Looked, progress: Progress = silent, *,
    known: Mapping[tuple[Path, str | int], str] | None = None,
) -> FolderFound:
    """Find out how every file is laid out, and which belong together.

    What is `known` already, files with their sheet or table ("" for the first or only one, a sheet's number from 0), is
    left out.
    """
    layouts: list[Layout] = []
    not_read: dict[str, str] = {}
    for number, path in enumerate(paths):
        progress(Stage(f"looking at {label(path, folder)}", number, len(paths), 1))
        try:
            if not path.resolve().is_relative_to(folder.resolve()):
                raise NotReadError("is a link that leads out of the folder; see outside in the mapping guide")
            for place, made in enumerate(_layouts(path, label(path, folder), looked, not_read)):
                real = path.resolve()
                names: set[str | int | None] = {made.part, made.number}
                if (place if made.number is None else made.number) == 0:
                    names.add("")
                if not any((real, name) in (known or {}) for name in names):
                    layouts.append(made)
        except NotReadError as said:
            if not known or (path.resolve(), "") not in known:
                not_read[label(path, folder)] = str(said)
        except OSError as error:
            not_read[label(path, folder)] = f"cannot be read: {error.strerror or error}"
    return FolderFound(tuple(_grouped(folder, layouts, paths)), not_read)


def _layouts(path: Path, called: str, looked: Looked, not_read: dict[str, str]) -> Iterator[Layout]:
    if is_archive(path) and not _is_workbook(path):
        yield from _of_archive(path, called, looked, not_read)
        return
    form, named = kind_of(path)
    if form == "csv":
        yield text_layout(path, named=named)
    elif form in ("jsonl", "json"):
        yield from json_layouts(path)
    elif form == "xes":
        yield xes_layout(path, looked.scratch, named=named)
    elif form == "parquet":
        yield parquet_layout(path, named=named)
    elif form == "sqlite":
        yield from database_layouts(path, named=named)
    else:
        source = SourceFile("map", path, "excel", Files(path=[called]), called)
        try:
            sheets = looked.cells(source, None).sheets
        except RqaError as error:
            raise NotReadError(str(error).removeprefix(f"{called}: ").removesuffix(" Nothing was loaded.")) from None
        for number, sheet in enumerate(sheets):
            try:
                grid = looked.cells(source, sheet).columns
                height = min(FIRST_ROWS, len(grid[0]) if grid else 0)
                columns = [c[:height].to_pylist() for c in grid]
                made = sheet_layout(path, sheet, list(zip(*columns, strict=True)), named=named)
                yield replace(made, number=number)
            except NotReadError as said:
                not_read[f"{called}, sheet {sheet!r}"] = str(said)
            except RqaError as error:
                not_read[f"{called}, sheet {sheet!r}"] = str(error).removesuffix(" Nothing was loaded.")


def _is_workbook(path: Path) -> bool:
    names = names_in_zip(path) or []
    return any(n.startswith("xl/") for n in names) or "content.xml" in names


def _of_archive(path: Path, called: str, looked: Looked, not_read: dict[str, str]) -> Iterator[Layout]:
    """The layouts of the files in a zip archive."""
    if looked.sealed:
        raise NotReadError("is a zip archive, and no name in it may reach a disk: add its files by hand (member)")
    try:
        names = members(path)
    except UNREADABLE as error:
        raise NotReadError(f"is a damaged zip archive ({error}); fetch it again") from error
    if len(names) > MOST_MEMBERS:
        raise NotReadError(f"is a zip archive of {counted(len(names), 'file')}: unpack it here, and run this again")
    for name in names:
        label_of = f"{called}, {name}"
        with TemporaryDirectory(dir=looked.scratch) as folder:
            target = Path(folder) / f"member{ending_of(name)}"
            try:
                if format_of(name) is None:
                    raise NotReadError("its ending tells no format that is read")
                unpack(path, name, target, called)
                for made in _layouts(target, label_of, looked, not_read):
                    member = {"member": name} if len(names) > 1 else {}
                    part = made.part or (Path(name).stem if member else "")
                    yield replace(made, path=path, settings=member | made.settings, part=part, number=None)
            except NotReadError as said:
                not_read[label_of] = str(said)
            except RqaError as error:
                not_read[label_of] = str(error).removesuffix(" Nothing was loaded.")


def _key(folder: Path, made: Layout) -> tuple[object, ...]:
    """What files of one set have in common: the name without its numbers, and all that decides how they are read.

    A first folder with a name, not a year alone, may be a site's, so that its number counts.
    """
    first, *others = label(made.path, folder).split("/")
    kept = bool(others) and any(c.isalpha() for c in first)
    shape = "/".join([first if kept else re.sub(r"\d+", "#", first), *(re.sub(r"\d+", "#", o) for o in others)])
    settings = {k: v for k, v in made.settings.items() if k != "encoding"}
    return (shape, made.format, tuple(sorted(settings.items(), key=str)))


def _grouped(folder: Path, layouts: Sequence[Layout], paths: Sequence[Path]) -> list[Group]:
    sets: list[list[Layout]] = []
    keys: list[tuple[object, ...]] = []
    for made in layouts:
        key = _key(folder, made)
        home = next((i for i, k in enumerate(keys) if k == key and _may_join(sets[i], made)), None)
        if home is None:
            keys.append(key)
            sets.append([made])
        else:
            sets[home].append(made)
    sets = _same_columns(sets)
    names: list[str] = []
    groups = []
    for layouts_of in map(_series_first, sets):
        name = _name(folder, layouts_of, names)
        names.append(name)
        of_set = list(dict.fromkeys(one.path for one in layouts_of))
        patterns = patterns_of(folder, of_set, paths)
        groups.append(Group(name, tuple(layouts_of), patterns, tuple(label(p, folder) for p in of_set)))
    return groups


def _series_first(layouts: list[Layout]) -> list[Layout]:
    """The files of a set with the longest series of like names first: single files beside it are corrections of it."""
    shapes = Counter(re.sub(r"\d+", "#", one.path.as_posix()) for one in layouts)
    return sorted(layouts, key=lambda one: -shapes[re.sub(r"\d+", "#", one.path.as_posix())])


def _may_join(there: Sequence[Layout], made: Layout) -> bool:
    mine, theirs = {c.lower() for c in made.columns}, {c.lower() for c in there[0].columns}
    alike = len(mine & theirs) >= ALIKE * len(mine | theirs)
    return alike and _encodings_meet([*there, made])


def _encodings_meet(layouts: Iterable[Layout]) -> bool:
    return len({one.settings.get("encoding") for one in layouts if not one.ascii_only}) <= 1


def _reading(made: Layout) -> object:
    """What files must have in common to be read as one set, whatever they are called."""
    settings = {k: v for k, v in made.settings.items() if k != "encoding"}
    return (made.path.parent, made.format, made.columns, sorted(settings.items(), key=str))


def _same_columns(sets: list[list[Layout]]) -> list[list[Layout]]:
    """Join sets of one folder that have the very same columns and reading, whatever their files are called."""
    joined: list[list[Layout]] = []
    for one in sets:
        home = next(
            (j for j in joined if _reading(j[0]) == _reading(one[0]) and len(one[0].columns) > 2
             and one[0].settings.get("header_row") != 0 and _encodings_meet([*j, *one])), None,
        )
        if home is None:
            joined.append(one)
        else:
            home += one
    return joined


def patterns_of(folder: Path, of_set: Sequence[Path], all_paths: Sequence[Path]) -> tuple[str, ...]:
    """Patterns that mean the files of a set and no other file; their names where no pattern does."""
    labels = [label(p, folder) for p in of_set]
    if len(labels) == 1:
        return (_plain(labels[0]),)
    others = [label(p, folder) for p in all_paths if p not in of_set]
    shapes: dict[str, list[str]] = {}
    for one in labels:
        shapes.setdefault(re.sub(r"\d+", "#", one), []).append(one)
    found: list[str] = []
    for of_shape in shapes.values():
        pattern = _pattern(of_shape)
        if len(of_shape) > 1 and pattern and not any(fnmatch.fnmatchcase(o, pattern) for o in others):
            found.append(pattern)
        else:
            found += [_plain(one) for one in of_shape]
    if len(found) > MOST_NAMES:
        ends = {Path(one).suffix for one in labels}
        homes = {Path(one).parent.as_posix() for one in labels}
        if len(ends) == 1 and len(homes) == 1:
            whole = f"{homes.pop()}/*{ends.pop()}".removeprefix("./")
            if not any(fnmatch.fnmatchcase(o, whole) for o in others):
                return (whole,)
    return tuple(found)


def _plain(name: str) -> str:
    return WILD.sub(lambda sign: f"[{sign[0]}]", name)


def _pattern(labels: Sequence[str]) -> str:
    """A pattern for names that differ in numbers: what is the same stays, each number that differs is a `*`."""
    parted = [re.split(r"(\d+)", one) for one in labels]
    made = ""
    for parts in zip(*parted, strict=True):
        made += _plain(parts[0]) if len(set(parts)) == 1 else "*"
    return re.sub(r"\*([-_.]?\*)+", "*", made)


def _name(folder: Path, layouts: Sequence[Layout], taken: Sequence[str]) -> str:
    """A name for a set: of the folder, the file and the sheet, in letters that a mapping takes."""
    first = layouts[0]
    where = Path(label(first.path, folder))
    stem = ENDING.sub("", ENDING.sub("", where.name))
    words = [*(part for part in where.parts[:-1]), stem, first.part]
    plain = unicodedata.normalize("NFKD", "_".join(re.sub(r"\d+", " ", w) for w in words).lower().translate(LETTERS))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    name = re.sub(r"[^a-z0-9]+", "_", plain).strip("_") or "files"
    name = re.sub(r"(_[a-z])+$", "", name) or name
    name = name if name[0].isalpha() else f"f_{name}"
    name, number, base = name[:40].rstrip("_"), 2, name[:40].rstrip("_")
    while name in taken:
        name, number = f"{base}_{number}", number + 1
    return name
