"""An entry of the mapping made ready: its table, and the settings that hold for the texts it reads."""

import re
from collections.abc import Collection
from collections.abc import Mapping as MappingType
from dataclasses import dataclass
from typing import Any

from rqa.contract import TABLES, Table
from rqa.errors import MappingError
from rqa.intake.guard import Guard, guard_of
from rqa.intake.literals import literal
from rqa.intake.mapping import MAPPING_FILE, Files, Mapping, TableSpec
from rqa.intake.values import ParseOptions

ZONE = "UTC"
"""The zone of times without an offset where nothing names another."""
SETTINGS = ("decimal", "thousands", "times", "zone")
"""Settings of files that hold for a SELECT over them; `missing` is applied before it sees their rows."""


NO_GUARD = Guard()
NOT_LISTED = "columns of other names (not listed, as they may be a row; is header_row right?)"


@dataclass(frozen=True)
class Entry:
    """One [[table]] of the mapping, ready to be read: its place in the file, its table, its manner, its columns.

    `zone_named` says whether anything in the mapping names the zone of its times; `guard` what of it may not be told.
    """

    number: int
    spec: TableSpec
    table: Table
    options: ParseOptions
    missing: tuple[str, ...]
    zone_named: bool = True
    guard: Guard = NO_GUARD

    @property
    def place(self) -> str:
        """Where the entry stands in the mapping file."""
        return f"{MAPPING_FILE}, {_place(self.number, self.spec)}"


def _place(number: int, spec: TableSpec) -> str:
    return f"table.{number} ({spec.table})"


def entry_of(mapping: Mapping, number: int, spec: TableSpec) -> Entry:
    """An entry with its settings resolved: its own, else its files', else the workspace's.

    Raises `MappingError` for settings that cannot hold together, and for a SELECT over files that are read differently.
    """
    place = f"{MAPPING_FILE}, {_place(number, spec)}"
    names = mapping.sets_of(spec)
    if not names:
        raise MappingError(f"{place}: select names no files. There is: {', '.join(mapping.files)}")
    files = _settings(place, spec, {n: mapping.files[n] for n in names})
    zone, zones, named = _zone(spec, files, mapping)
    options = ParseOptions(
        decimal=spec.decimal or files.decimal or ".",
        thousands=spec.thousands or files.thousands or "",
        times=tuple(spec.times or files.times or ("iso",)),
        zone=zone,
        zones=zones,
    )
    if options.thousands == options.decimal:
        raise MappingError(f"{place}: thousands and decimal are both {options.decimal!r}")
    of_files = files.missing if spec.from_ is not None else None
    missing = spec.missing if spec.missing is not None else of_files or []
    cleaned = tuple(m.strip() for m in missing if m.strip())
    return Entry(number, spec, TABLES[spec.table], options, cleaned, named, guard_of(mapping, spec))


def _settings(place: str, spec: TableSpec, files: MappingType[str, Files]) -> Files:
    """The settings of the files an entry reads; those of several sets must be the same, or the entry's own.

    Time formats alone may be left out by a set, as a time in another form is refused and never read wrongly.
    """
    first, *others = files.values()
    if not others:
        return first
    found: dict[str, Any] = {}
    faults = []
    for key in SETTINGS:
        given = {name: getattr(f, key) for name, f in files.items()}
        values = [v for v in given.values() if v is not None or key != "times"]
        if getattr(spec, key) is None and any(v != values[0] for v in values):
            told = ", ".join(f"{n}: {'not set' if v is None else repr(v)}" for n, v in given.items())
            faults.append(
                f"{place}: the files of its SELECT differ in {key} ({told}). Set {key} in this [[table]], or alike for "
                "these files"
            )
        found[key] = values[0] if values else None
    if faults:
        raise MappingError("\n".join(faults), faults)
    return Files.model_construct(**found)


def _zone(spec: TableSpec, files: Files, mapping: Mapping) -> tuple[str, tuple[str, ...], bool]:
    """The zone of times without an offset: SQL for its name, the names it can give, whether the mapping names it."""
    fixed = spec.zone or files.zone
    site = spec.columns.get("site")
    if not fixed and site and site.constant is not None and str(site.constant) in mapping.sites:
        fixed = mapping.sites[str(site.constant)].zone
    default, table = mapping.workspace.zone or ZONE, TABLES[spec.table]
    if not fixed and "site" not in table.names and not mapping.workspace.zone:
        zones = sorted({s.zone for s in mapping.sites.values()})
        if len(zones) > 1 and any(c.kind == "time" for c in table.columns):
            raise MappingError(
                f"{MAPPING_FILE}: {spec.table} has no column that tells the site, and the sites' zones differ "
                f"({', '.join(zones)}); set zone for its files, or for the workspace"
            )
        fixed = zones[0] if zones else None
    named = bool(fixed or mapping.workspace.zone or mapping.sites)
    if fixed or not mapping.sites or "site" not in table.names:
        return literal(fixed or default), (fixed or default,), named
    whens = " ".join(f"when {literal(n)} then {literal(s.zone)}" for n, s in mapping.sites.items())
    found = {s.zone for s in mapping.sites.values()} | {default}
    return f"(case site {whens} else {literal(default)} end)", tuple(found), named


def site_zones(mapping: Mapping) -> dict[str | None, str]:
    """The zone of each site that the mapping names, and under None that of all others where it tells one.

    A site's own zone stands first, then that of the files or the table which hold its jobs alone. All others keep the
    zone of the workspace, else the one in which all jobs are read.
    """
    found: dict[str | None, str] = {name: site.zone for name, site in mapping.sites.items()}
    read_in: set[str] = set()
    for number, spec in enumerate(mapping.table):
        if spec.table != "jobs":
            continue
        entry = entry_of(mapping, number, spec)
        zone = entry.options.zones[0]
        if not entry.zone_named or entry.options.zone != literal(zone):
            continue
        read_in.add(zone)
        site = spec.columns.get("site")
        if site is not None and site.constant is not None:
            found.setdefault(str(site.constant), zone)
    others = mapping.workspace.zone or (read_in.pop() if len(read_in) == 1 else None)
    return found | ({None: others} if others else {})


def listed_columns(entry: Entry, columns: Collection[str]) -> tuple[str, ...]:
    """A source's columns as they may be told; not those of a header that is most likely a row, and may hold names."""
    if entry.guard.sealed and not wanted_columns(entry.spec) & set(columns):
        return (NOT_LISTED,)
    return tuple(columns)


def wanted_columns(spec: TableSpec) -> frozenset[str]:
    """The source columns a table entry may draw on: named in it, plainly or in SQL, or named like its table's."""
    named = {o.column for o in spec.columns.values() if o.column is not None}
    sql = " ".join(filter(None, [spec.select, spec.where, *(o.sql for o in spec.columns.values())]))
    words = {a or b for a, b in re.findall(r'"([^"]+)"|([A-Za-z_]\w*)', sql)}
    return frozenset(named | words | (set(TABLES[spec.table].names) if spec.from_ else set()))
