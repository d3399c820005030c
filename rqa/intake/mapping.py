"""The mapping file `sources.toml` as data: which files feed which table, and how to read them.

Each part checks itself as far as it can alone; `draft` makes a mapping of plain data and lists every fault.
"""

import codecs
import hashlib
import json
import re
import zoneinfo
from collections.abc import Sequence
from pathlib import Path, PureWindowsPath
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator, model_validator

from rqa.contract import TABLES
from rqa.intake.column_source import FieldSpec
from rqa.intake.formats import READ_APART, Format, format_of
from rqa.intake.parts import Part, Texts, unknown_name
from rqa.intake.reshaped import EventColumns, event_select, reshaping_select
from rqa.intake.shapes import ColumnsToRows, Events
from rqa.shown import told

MAPPING_FILE = "sources.toml"
OWN_FILES = "rqa_own_actions"
"""The name under which a load reads the workspace's own `actions.csv`."""
NO_TEXT = ("idna", "punycode", "charmap", "undefined", "unicode-escape", "raw-unicode-escape", "unicode_escape",
           "raw_unicode_escape")
"""Codecs between texts that are no encoding of a file."""
ONE_JOB, ONE_JOB_PER_FILE = "one job", "one job per file"
"""What `lines` can say of rows that give the same job: those of all files, or of each file, are one job."""


def _known_zone(name: str | None) -> str | None:
    if name is not None:
        try:
            zoneinfo.ZoneInfo(name)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"{told(name)} is no time zone; use a name such as 'Europe/Lisbon' or 'UTC'") from None
    return name


class Reading(Part):
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
    header_rows: int = Field(default=1, ge=1, le=2)
    """How many rows name the columns, from `header_row` on; of two, the upper one names groups of columns."""
    member: str | None = None
    """The file that is read of a zip archive, by its name or a pattern that meets it alone."""
    rows_of: str | None = None
    """The list within each object of which every entry becomes a row, "tests" or "visits.tests"."""
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

    @field_validator("header_rows")
    @classmethod
    def _below_each_other(cls, rows: int, info: ValidationInfo) -> int:
        if rows > 1 and info.data.get("header_row", 1) == 0:
            raise ValueError("header_row = 0 says that no row names the columns; leave header_rows out")
        return rows

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
    events: Events | None = None
    """How attempts at steps are made of a log with a row for each event."""
    lines: str | None = None
    """Whether rows that give the same job are lines of it: in all files, or in each file."""
    columns: dict[str, FieldSpec] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _reshaped(self) -> "TableSpec":
        """What reshapes rows is a SELECT over the files that `from` names."""
        if self.events is not None:
            if self.table != "steps":
                raise ValueError(f"events makes rows of steps, not of {self.table}")
            if self.columns_to_rows is not None:
                raise ValueError("give events or columns_to_rows, not both")
        elif not (self.fill_down or self.split_rows or self.columns_to_rows):
            return self
        if self.from_ is None or self.select is not None:
            raise ValueError("fill_down, split_rows, columns_to_rows and events stand beside from, not beside select")
        return self.model_copy(update={"from_": None, "select": self.reshaping(self.from_, self.times or ("iso",))})

    def reshaping(self, files: str, times: Sequence[str]) -> str:
        """The SELECT that reshapes the rows of these files, whose times are written in these formats."""
        shape = self.columns_to_rows
        names = {} if shape is None else shape.columns
        sql = reshaping_select(files, self.fill_down or (), self.split_rows, shape.name if shape else "", names)
        if self.events is None:
            return sql
        log = self.events
        named = EventColumns(log.case, log.activity, log.time, log.lifecycle)
        return event_select(sql, named, log.start, log.end, times)

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
        if self.events is not None:
            found += [("events", c) for c in self.events.columns]
        return tuple(found)

    @property
    def made_columns(self) -> dict[str, tuple[str, ...]] | None:
        """The columns that reshaping makes, each with the source's columns that it takes cells of; None where none is.

        All others are the source's own.
        """
        shape, log = self.columns_to_rows, self.events
        if log is not None:
            return {"job_id": (log.case,), "step": (log.activity,), "started_at": (log.time,), "ended_at": (log.time,)}
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


class Site(Part):
    """What is known of one site."""

    zone: str

    _zone = field_validator("zone")(_known_zone)


class Least(Part):
    """How large a finding of the month must be to be listed."""

    ratio: float = Field(default=1.1, ge=1, allow_inf_nan=False)
    """How many times as often (or as seldom) as where it is compared."""
    sd: float = Field(default=0.25, ge=0, allow_inf_nan=False)
    """Readings: the difference (of a trend that of a year) in standard deviations of single ones."""


class Workspace(Part):
    """What holds for the whole workspace."""

    title: str = "Repair centre"
    currency: str = ""
    zone: str | None = None
    models: list[str] = Field(default_factory=list)
    vanished: Literal["keep", "withdraw"] = "keep"
    """What becomes of the rows of a file that is no longer in the folder."""
    labour_rate: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    """Cost of one hour of labour, in the workspace's currency."""
    least: Least | None = None
    """How large a finding must be to be listed; None: as usual."""
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


class Mapping(Part):
    """The whole of `sources.toml`."""

    workspace: Workspace = Field(default_factory=Workspace)
    sites: dict[str, Site] = Field(default_factory=dict)
    files: dict[str, Files] = Field(default_factory=dict)
    table: list[TableSpec] = Field(default_factory=list)

    @model_validator(mode="after")
    def _events_in_order(self) -> "Mapping":
        """Events are put in the order of their times, which are read as their files say."""
        made = list(self.table)
        for number, entry in enumerate(made):
            names = [n for n in self.sets_of(entry) if self.files[n].times] if entry.events is not None else []
            if len(names) == 1 and not entry.times:
                select = entry.reshaping(names[0], self.files[names[0]].times or ("iso",))
                made[number] = entry.model_copy(update={"select": select})
        return self.model_copy(update={"table": made}) if made != self.table else self

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
