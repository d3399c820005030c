"""The mapping file `sources.toml`: which files feed which table, and how to read them.

`load_mapping` reads and validates it as far as that can be done without looking at the files; every fault found is
reported at once, with its place and, for a mistyped name, what exists.
"""

import difflib
import hashlib
import json
import tomllib
import zoneinfo
from collections.abc import Mapping as MappingType
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from rqa.contract import TABLES
from rqa.errors import MappingError

MAPPING_FILE = "sources.toml"
OWN_FILES = "rqa_own_actions"
"""The name under which a load reads the workspace's own `actions.csv`."""
Format = Literal["csv", "excel", "jsonl", "parquet", "sqlite", "frame"]
ENDINGS: dict[str, Format] = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".xlsx": "excel", ".xls": "excel", ".xlsb": "excel", ".ods": "excel",
    ".jsonl": "jsonl", ".ndjson": "jsonl", ".parquet": "parquet", ".sqlite": "sqlite", ".sqlite3": "sqlite",
    ".db": "sqlite",
}  # fmt: skip


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _known_zone(name: str | None) -> str | None:
    if name is not None:
        try:
            zoneinfo.ZoneInfo(name)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"{name!r} is no time zone; use a name such as 'Europe/Lisbon' or 'UTC'") from None
    return name


Texts = Annotated[list[str], BeforeValidator(_as_list)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Origin(_Part):
    """Where a column's value comes from (a source column, a constant or SQL), and how it is changed."""

    column: str | None = None
    constant: str | int | float | bool | None = None
    sql: str | None = None
    values: dict[str, str] = Field(default_factory=dict)
    replace: list[tuple[str, str]] = Field(default_factory=list)
    default: str | None = None
    key_file: str | None = None

    @model_validator(mode="after")
    def _one_origin(self) -> "Origin":
        if sum(x is not None for x in (self.column, self.constant, self.sql)) != 1:
            raise ValueError("give exactly one of column, constant, sql")
        if self.key_file is not None and not Path(self.key_file).expanduser().is_absolute():
            raise ValueError("key_file is a whole path, outside the workspace")
        return self


def _as_field(value: object) -> object:
    return {"column": value} if isinstance(value, str) else value


FieldSpec = Annotated[Origin, BeforeValidator(_as_field)]


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
            raise ValueError(f"{mark!r} is no thousands mark; give one sign such as '.' or a space")
        return mark

    @field_validator("times")
    @classmethod
    def _time_formats(cls, formats: list[str] | None) -> list[str] | None:
        for form in formats or ():
            if "%Z" in form:
                raise ValueError(f"{form!r}: %Z (a zone's short name) is ambiguous; use %z, or set zone")
            if form != "iso" and "%" not in form:
                raise ValueError(f"{form!r} is no time format; use 'iso' or, for example, '%d.%m.%Y %H:%M'")
        return formats


class Files(Reading):
    """A named set of files of one kind."""

    path: Texts = Field(default_factory=list)
    format: Format | None = None
    delimiter: str | None = None
    quote: str = '"'
    encoding: str = "utf-8"
    header_row: int = Field(default=1, ge=1)
    sheet: str | int | None = None
    table: str | None = None

    @field_validator("path")
    @classmethod
    def _relative(cls, patterns: list[str]) -> list[str]:
        for pattern in patterns:
            if not pattern.strip():
                raise ValueError("a path is empty")
            if Path(pattern).is_absolute():
                raise ValueError(f"{pattern!r} is absolute; give it relative to the workspace")
        return patterns

    @field_validator("delimiter", "quote")
    @classmethod
    def _one_sign(cls, sign: str | None, info: ValidationInfo) -> str | None:
        if sign is not None and len(sign) != 1 and not (sign == "" and info.field_name == "quote"):
            raise ValueError(f"{sign!r} is not one sign")
        return sign

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, name: str) -> str:
        try:
            "".encode(name)
        except LookupError:
            raise ValueError(f"{name!r} is no text encoding; use for example 'utf-8', 'cp1252' or 'latin-1'") from None
        return name


class TableSpec(Reading):
    """One table made of one named set of files, or of a SELECT over several."""

    table: str
    from_: str | None = Field(default=None, alias="from")
    select: str | None = None
    where: str | None = None
    columns: dict[str, FieldSpec] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _sound(self) -> "TableSpec":
        if (self.from_ is None) == (self.select is None):
            raise ValueError("give either from (one named set of files) or select (an SQL SELECT over named files)")
        return self

    @field_validator("table")
    @classmethod
    def _known_table(cls, name: str) -> str:
        if name not in TABLES:
            raise ValueError(f"no table {name!r}; {_suggest(name, TABLES)}")
        return name

    @field_validator("columns")
    @classmethod
    def _known_columns(cls, columns: dict[str, Origin], info: ValidationInfo) -> dict[str, Origin]:
        table = str(info.data.get("table", ""))
        unknown = [n for n in columns if n not in TABLES[table].names] if table else []
        if unknown:
            said = [f"{table} has no column {n!r}; {_suggest(n, TABLES[table].names)}" for n in unknown]
            raise ValueError("; ".join(said))
        return columns


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
    labour_rate: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    """Cost of one hour of labour, in the workspace's currency."""

    _zone = field_validator("zone")(_known_zone)


class Mapping(_Part):
    """The whole of `sources.toml`."""

    workspace: Workspace = Field(default_factory=Workspace)
    sites: dict[str, Site] = Field(default_factory=dict)
    files: dict[str, Files] = Field(default_factory=dict)
    table: list[TableSpec] = Field(default_factory=list)

    def fingerprint(self, entry: TableSpec) -> str:
        """A digest of all that decides what `entry` makes of a file; a file is read again when it changes."""
        # A SELECT that was read before the workspace had a list of actions need not be read again for it.
        names = [entry.from_] if entry.from_ else sorted(n for n in self.files if n != OWN_FILES)
        parts = [
            entry.model_dump(mode="json"),
            [self.files[n].model_dump(mode="json", exclude={"path"}) for n in names],
            {n: s.zone for n, s in self.sites.items()},
            self.workspace.zone,
            repr(TABLES[entry.table]),
        ]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:16]


def _suggest(name: str, existing: Any) -> str:
    names = list(existing)
    near = difflib.get_close_matches(name, names, n=1)
    return (f"did you mean {near[0]!r}? " if near else "") + "There is: " + ", ".join(names)


def unknown_name(name: str, existing: Any) -> str:
    """A sentence that names what exists, nearest first, for a name that does not."""
    return _suggest(name, existing)


def _fault(error: Any) -> str:
    place = ".".join(
        str(p + 1) if isinstance(p, int) else str(p) for p in error["loc"] if p not in ("function-before",)
    )
    text = error["msg"].removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        model: Any = Mapping
        for part in error["loc"][:-1]:
            model = {"workspace": Workspace, "sites": Site, "files": Files, "table": TableSpec, "columns": Origin}.get(
                str(part), model
            )
        names = [f.alias or n for n, f in model.model_fields.items()]
        text = f"unknown key; {_suggest(str(error['loc'][-1]), names)}"
    return f"{place}: {text}"


def parse_mapping(raw: MappingType[str, object], *, origin: str = MAPPING_FILE) -> Mapping:
    """Validate a mapping given as plain data.

    Raises `MappingError` naming every fault, its place (entries of `table` are counted from 1) and what exists.
    """
    try:
        mapping = Mapping.model_validate(raw)
    except ValidationError as error:
        faults = [_fault(e) for e in error.errors()]
        raise MappingError(_listed(origin, faults)) from None
    faults = []
    for name, files in mapping.files.items():
        if files.format != "frame" and not files.path:
            faults.append(f"files.{name}: path is missing")
        if not name.isidentifier():
            faults.append(f"files.{name}: a name is made of letters, digits and _")
    for number, entry in enumerate(mapping.table, 1):
        if entry.from_ is not None and entry.from_ not in mapping.files:
            faults.append(f"table.{number}.from: no files {entry.from_!r}; {_suggest(entry.from_, mapping.files)}")
    if not mapping.table:
        faults.append("table: no [[table]] says what to make of the files")
    if faults:
        raise MappingError(_listed(origin, faults))
    return mapping


def _listed(origin: str, faults: list[str]) -> str:
    return f"{origin} cannot be used ({len(faults)} fault{'s' * (len(faults) > 1)}):\n" + "\n".join(
        f"  - {f}" for f in faults
    )


def read_mapping(workspace: Path) -> dict[str, Any]:
    """The mapping file of a workspace as plain data; raises `MappingError` if it is missing or is not TOML."""
    path = workspace / MAPPING_FILE
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, NotADirectoryError):
        what = f"{workspace} is not a folder" if not workspace.is_dir() else f"{workspace} has no {MAPPING_FILE}"
        raise MappingError(
            f"{what}. A workspace is a folder with a {MAPPING_FILE}; see README, 'Map your own logs'."
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise MappingError(f"{path.name} is not valid TOML: {error}") from None
