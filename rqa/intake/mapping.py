"""The mapping file `sources.toml` as data: which files feed which table, and how to read them.

Each part checks itself as far as it can alone; `draft` makes a mapping of plain data and lists every fault.
"""

import codecs
import hashlib
import json
import re
import zoneinfo
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path, PureWindowsPath
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from rqa.contract import TABLES
from rqa.intake.names import quoted
from rqa.intake.reshaped import reshaping_select
from rqa.shown import told
from rqa.words import nearest

MAPPING_FILE = "sources.toml"
OWN_FILES = "rqa_own_actions"
"""The name under which a load reads the workspace's own `actions.csv`."""
NO_TEXT = ("idna", "punycode", "charmap", "undefined", "unicode-escape", "raw-unicode-escape", "unicode_escape",
           "raw_unicode_escape")
"""Codecs between texts that are no encoding of a file."""
ONE_JOB, ONE_JOB_PER_FILE = "one job", "one job per file"
"""What `lines` can say of rows that give the same job: those of all files, or of each file, are one job."""
Format = Literal["csv", "excel", "jsonl", "json", "parquet", "sqlite", "frame"]
ENDINGS: dict[str, Format] = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "excel", ".xls": "excel", ".xlsb": "excel", ".ods": "excel",
    ".jsonl": "jsonl", ".ndjson": "jsonl", ".parquet": "parquet", ".sqlite": "sqlite", ".sqlite3": "sqlite",
    ".db": "sqlite", ".json": "json",
}
READ_APART: tuple[Format | None, ...] = ("parquet", "sqlite", None)
"""Formats whose reader is not ours, and may end its process at a damaged file; None: what the ending does not tell."""


def format_of(path: str | Path) -> Format | None:
    """The format that the ending of a path, or of a pattern of paths, tells."""
    path = Path(path)
    ending = path.with_suffix("").suffix if path.suffix == ".gz" else path.suffix
    return ENDINGS.get(ending.lower())


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _known_zone(name: str | None) -> str | None:
    if name is not None:
        try:
            zoneinfo.ZoneInfo(name)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"{told(name)} is no time zone; use a name such as 'Europe/Lisbon' or 'UTC'") from None
    return name


def _whole_path(text: str) -> bool:
    try:
        return "\0" not in text and Path(text).expanduser().is_absolute()
    except RuntimeError:
        # There is no home of that name.
        return False


def _factor(value: object) -> object:
    """A factor may be written as a fraction, "1/60"."""
    if isinstance(value, str):
        try:
            # A long exponent would be written out before it is found to be too large.
            if not FACTOR.fullmatch(value):
                raise ValueError
            return float(Fraction(value))
        except (ValueError, ArithmeticError):
            raise ValueError(
                f"{told(value)} is no factor; write a number such as 60, or a fraction such as '1/60'"
            ) from None
    return value


FACTOR = re.compile(r"\s*[+-]?[\d_.]{1,40}(?:[eE][+-]?\d{1,3})?(?:/[\d_]{1,40})?\s*")
"""The texts that may be a factor; others are not even tried."""
Texts = Annotated[list[str], BeforeValidator(_as_list)]
Factor = Annotated[float, BeforeValidator(_factor), Field(gt=0, allow_inf_nan=False)]


def _are_names(names: object) -> bool:
    return isinstance(names, list) and len(names) > 1 and all(isinstance(n, str) and n.strip() for n in names)


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class ColumnSource(_Part):
    """Where a column's value comes from (a source column, a constant or SQL), and how it is changed."""

    column: str | None = None
    constant: str | int | float | bool | None = None
    sql: str | None = None
    values: dict[str, str] = Field(default_factory=dict)
    replace: list[tuple[str, str]] = Field(default_factory=list)
    default: str | None = None
    times: Factor | None = None
    """What a number of the source is multiplied by: 60 for hours where the contract has minutes."""
    join: Texts | None = None
    """Source columns whose texts are joined with a blank between, such as a day and a clock time."""
    key_file: str | None = None
    person: bool = False
    """The column names people, though the contract means a place or a tool by it."""

    @model_validator(mode="before")
    @classmethod
    def _joined(cls, given: object) -> object:
        """Columns to be joined are read by SQL; what is missing in one of them is left out."""
        if isinstance(given, dict) and (names := given.get("join")) and _are_names(names):
            sql = f"concat_ws(' ', {', '.join(map(quoted, names))})"
            if given.get("sql") not in (None, sql):
                raise ValueError("give exactly one of column, constant, sql, join")
            return given | {"sql": sql}
        return given

    @model_validator(mode="after")
    def _one_origin(self) -> "ColumnSource":
        if sum(x is not None for x in (self.column, self.constant, self.sql)) != 1:
            raise ValueError("give exactly one of column, constant, sql, join")
        if self.key_file is not None and not _whole_path(self.key_file):
            raise ValueError("key_file is a whole path, outside the workspace")
        if self.times is not None and self.key_file is not None:
            raise ValueError("times is for numbers, key_file for names; give one of them")
        return self


def _as_field(value: object) -> object:
    return {"column": value} if isinstance(value, str) else value


FieldSpec = Annotated[ColumnSource, BeforeValidator(_as_field)]


class Reading(_Part):
    """How texts become values; may stand with the files or with the table made of them."""

    decimal: Literal[".", ","] | None = None
    thousands: str | None = None
    missing: Texts | None = None
    times: Texts | None = None
    zone: str | None = None

    _zone = field_validator("zone")(_known_zone)

    @field_validator("thousands")
    @classmethod
    def _mark(cls, mark: str | None) -> str | None:
        if mark is not None and (len(mark) != 1 or mark.isalnum() or mark in "+-"):
            raise ValueError(f"{told(mark)} is no thousands mark; give one sign such as '.' or a space")
        return mark

    @field_validator("times")
    @classmethod
    def _time_formats(cls, formats: list[str] | None) -> list[str] | None:
        for form in formats or ():
            if "%Z" in form:
                raise ValueError(f"{told(form)}: %Z (a zone's short name) is ambiguous; use %z, or set zone")
            if form != "iso" and "%" not in form:
                raise ValueError(f"{told(form)} is no time format; use 'iso' or, for example, '%d.%m.%Y %H:%M'")
        return formats


class Files(Reading):
    """A named set of files of one kind."""

    path: Texts = Field(default_factory=list)
    format: Format | None = None
    delimiter: str | None = None
    quote: str = '"'
    encoding: str = "utf-8"
    header_row: int = Field(default=1, ge=0)
    """The line that names the columns; 0 when none does."""
    header: Texts | None = None
    """The names of the columns of files that have no header row; they are numbered from 1 when it is not given."""
    sheet: str | int | None = None
    table: str | None = None
    optional: bool = False
    """A wildcard may meet no file."""

    @field_validator("path")
    @classmethod
    def _relative(cls, patterns: list[str]) -> list[str]:
        for pattern in patterns:
            if not pattern.strip():
                raise ValueError("a path is empty")
            if control := re.search(r"[\x00-\x1f]", pattern):
                raise ValueError(
                    f"{told(pattern)} holds the sign {control.group()!r}; a backslash in double quotes begins one. "
                    "Write / between folders, or put the path in single quotes"
                )
            if Path(pattern).is_absolute() or PureWindowsPath(pattern).is_absolute():
                raise ValueError(f"{told(pattern)} is absolute; give it relative to the workspace")
        return [pattern.replace("\\", "/") for pattern in patterns]

    @field_validator("header")
    @classmethod
    def _names(cls, names: list[str] | None, info: ValidationInfo) -> list[str] | None:
        if names is not None:
            if info.data.get("header_row", 0) != 0:
                raise ValueError("header names the columns of files without a header row: set header_row = 0 with it")
            twice = [n for i, n in enumerate(names) if n.strip().lower() in [m.strip().lower() for m in names[:i]]]
            if twice or not all(n.strip() for n in names):
                raise ValueError(f"header names {told(twice[0])} twice" if twice else "header has an empty name")
            return [n.strip() for n in names]
        return names

    @field_validator("delimiter", "quote")
    @classmethod
    def _one_sign(cls, sign: str | None, info: ValidationInfo) -> str | None:
        if sign is not None and len(sign) != 1 and not (sign == "" and info.field_name == "quote"):
            raise ValueError(f"{told(sign)} is not one sign")
        return sign

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, name: str) -> str:
        try:
            known = codecs.lookup(name).name not in NO_TEXT
            "".encode(name)
        except (LookupError, ValueError):
            known = False
        if not known:
            raise ValueError(f"{told(name)} is no text encoding; use for example 'utf-8', 'cp1252' or 'latin-1'")
        return name


class ColumnsToRows(_Part):
    """Columns of a wide sheet that become rows: which column takes their names, and which the cells."""

    name: str
    """The column that takes the name of the source's column, such as `test` or `step`."""
    value: str | None = None
    """The column that takes the cell, such as `outcome`."""
    columns: dict[str, dict[str, str]]
    """By the name that a row gets: which columns of the source become which columns of the row."""

    @model_validator(mode="before")
    @classmethod
    def _in_full(cls, given: object) -> object:
        """A list of columns, or a column by name, gives the cells of one column each."""
        if not isinstance(given, dict):
            return given
        listed, value = given.get("columns"), given.get("value")
        if isinstance(listed, list):
            listed = {c: c for c in listed if isinstance(c, str)}
        if isinstance(listed, dict):
            plain = [c for c in listed.values() if isinstance(c, str)]
            if plain and not isinstance(value, str):
                raise ValueError("value says which column takes the cells, such as value = 'outcome'")
            listed = {n: {value: c} if isinstance(c, str) else c for n, c in listed.items()}
        return given | {"columns": listed}

    @model_validator(mode="after")
    def _some(self) -> "ColumnsToRows":
        if not self.columns or not all(self.columns.values()):
            raise ValueError("columns names no column that becomes a row")
        return self


class TableSpec(Reading):
    """One table made of one named set of files, or of a SELECT over several."""

    table: str
    from_: str | None = Field(default=None, alias="from")
    select: str | None = None
    where: str | None = None
    fill_down: Texts | None = None
    """Columns of the source in which an empty cell means the one above it, as merged cells are exported."""
    split_rows: dict[str, str] = Field(default_factory=dict)
    """Columns of the source that hold lists, with their separators: each entry becomes a row.

    The entries of several columns go in pairs, the first of one with the first of the other.
    """
    columns_to_rows: ColumnsToRows | None = None
    lines: str | None = None
    """Whether rows that give the same job are lines of it: in all files, or in each file."""
    columns: dict[str, FieldSpec] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _reshaped(self) -> "TableSpec":
        """What reshapes rows is a SELECT over the files that `from` names."""
        shape = self.columns_to_rows
        if not (self.fill_down or self.split_rows or shape):
            return self
        if self.from_ is None or self.select is not None:
            raise ValueError("fill_down, split_rows and columns_to_rows stand beside from, not beside select")
        names = {} if shape is None else shape.columns
        sql = reshaping_select(self.from_, self.fill_down or (), self.split_rows, shape.name if shape else "", names)
        return self.model_copy(update={"from_": None, "select": sql})

    @model_validator(mode="after")
    def _sound(self) -> "TableSpec":
        if (self.from_ is None) == (self.select is None):
            raise ValueError("give either from (one named set of files) or select (an SQL SELECT over named files)")
        return self

    @field_validator("lines")
    @classmethod
    def _known_way(cls, word: str | None) -> str | None:
        if word is not None and word not in (ONE_JOB, ONE_JOB_PER_FILE):
            said = unknown_name(word, (ONE_JOB, ONE_JOB_PER_FILE))
            raise ValueError(f"{told(word)} does not say what lines make; {said}")
        return word

    @field_validator("table")
    @classmethod
    def _known_table(cls, name: str) -> str:
        if name not in TABLES:
            raise ValueError(f"no table {told(name)}; {unknown_name(name, TABLES)}")
        return name

    @property
    def reshaped_columns(self) -> tuple[tuple[str, str], ...]:
        """The columns of the source that are reshaped, each behind the setting that names it."""
        found = [("fill_down", c) for c in self.fill_down or ()] + [("split_rows", c) for c in self.split_rows]
        if self.columns_to_rows is not None:
            found += [("columns_to_rows", c) for given in self.columns_to_rows.columns.values() for c in given.values()]
        return tuple(found)

    @property
    def made_columns(self) -> dict[str, tuple[str, ...]] | None:
        """The columns that reshaping makes, each with the source's columns that it takes cells of; None where none is.

        All others are the source's own.
        """
        shape = self.columns_to_rows
        if not self.reshaped_columns or shape is None:
            return {} if self.reshaped_columns else None
        made: dict[str, tuple[str, ...]] = {shape.name: ()}
        for given in shape.columns.values():
            for target, column in given.items():
                made[target] = (*made.get(target, ()), column)
        return made

    @property
    def people(self) -> tuple[str, ...]:
        """The columns that are marked as naming people."""
        return tuple(name for name, origin in self.columns.items() if origin.person)

    @property
    def key_files(self) -> tuple[str, ...]:
        """The files with the keys of its pseudonyms."""
        return tuple(dict.fromkeys(o.key_file for o in self.columns.values() if o.key_file is not None))

    @property
    def computed(self) -> tuple[str, ...]:
        """Where the entry brings SQL of its own, or makes texts of others, which may take long or become long."""
        own: dict[str, object] = {"select": self.select, "where": self.where}
        for name, origin in self.columns.items():
            own |= {f"columns.{name}.sql": origin.sql, f"columns.{name}.replace": origin.replace}
        return tuple(place for place, written in own.items() if written)


class Site(_Part):
    """What is known of one site."""

    zone: str

    _zone = field_validator("zone")(_known_zone)


class Workspace(_Part):
    """What holds for the whole workspace."""

    title: str = "Repair centre"
    currency: str = ""
    zone: str | None = None
    models: list[str] = Field(default_factory=list)
    vanished: Literal["keep", "withdraw"] = "keep"
    """What becomes of the rows of a file that is no longer in the folder."""
    labour_rate: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    """Cost of one hour of labour, in the workspace's currency."""
    outside: Texts = Field(default_factory=list)
    """Folders outside of the workspace that a `path` may lead to."""
    sql_minutes: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    """How long the SQL of one [[table]] may run over one source, in minutes."""
    store_readers: Literal["owner", "group", "all"] | None = None
    """Whose accounts may read the store; None: those that may read it now, and of a new store its owner alone."""
    broken_records: Literal["cut", "encrypted", "keep"] = "cut"
    """What is kept of records that are no rows where names become pseudonyms: their place and rule, or all of them,
    encrypted with the key or as they are."""
    find_names: bool = False
    """Whether free texts and refused values are searched for the names that become pseudonyms."""
    breach_jobs: Literal["show", "hide"] = "show"
    """Whether the page names the jobs of safety events."""

    _zone = field_validator("zone")(_known_zone)


class Mapping(_Part):
    """The whole of `sources.toml`."""

    workspace: Workspace = Field(default_factory=Workspace)
    sites: dict[str, Site] = Field(default_factory=dict)
    files: dict[str, Files] = Field(default_factory=dict)
    table: list[TableSpec] = Field(default_factory=list)

    @property
    def keyed(self) -> bool:
        """Whether names become pseudonyms anywhere."""
        return any(entry.key_files for entry in self.table)

    @property
    def is_read_apart(self) -> bool:
        """Whether it is loaded in a process of its own: what it brings may hold up or end the process that reads it."""
        formats = {form for f in self.files.values() for form in ([f.format] if f.format else map(format_of, f.path))}
        return any(entry.computed for entry in self.table) or not formats.isdisjoint(READ_APART)

    @property
    def held_back(self) -> frozenset[str]:
        """What of the sources does not get into the store: names, records that are no rows, names within texts.

        Names are held back from each column that makes pseudonyms, and, as copies, from all others.
        """
        kinds = {"names": True, "copies": True, "records": not self.keeps_records, "texts": self.workspace.find_names}
        columns = {f"{e.table}.{name}" for e in self.table for name, o in e.columns.items() if o.key_file is not None}
        return frozenset(kind for kind, held in kinds.items() if held and self.keyed) | columns

    @property
    def keeps_records(self) -> bool:
        """Whether records that are no rows are kept whole, as they are."""
        return not self.keyed or self.workspace.broken_records == "keep"

    @property
    def seals_records(self) -> bool:
        """Whether records that are no rows are kept whole, encrypted."""
        return self.keyed and self.workspace.broken_records == "encrypted"

    def sets_of(self, entry: TableSpec) -> list[str]:
        """The names of the sets of files that an entry reads, in the mapping's order."""
        if entry.from_ is not None:
            return [entry.from_]
        return [name for name in self.files if re.search(rf"\b{re.escape(name)}\b", entry.select or "")]

    def fingerprint(self, entry: TableSpec) -> str:
        """A digest of all that decides what `entry` makes of a file; a file is read again when it changes."""
        # A SELECT that was read before the workspace had a list of actions need not be read again for it.
        names = [entry.from_] if entry.from_ else sorted(n for n in self.files if n != OWN_FILES)
        parts = [
            entry.model_dump(mode="json"),
            [self.files[n].model_dump(mode="json", exclude={"path", "optional"}) for n in names],
            {n: s.zone for n, s in self.sites.items()},
            self.workspace.zone,
            repr(TABLES[entry.table]),
        ]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:16]


def unknown_name(name: str, existing: Iterable[object]) -> str:
    """A sentence that names what exists, nearest first, for a name that does not."""
    there = [str(e) for e in existing]
    near = nearest(name, there)
    return (f"did you mean {told(near)}? " if near else "") + "There is: " + (", ".join(there) or "none")
