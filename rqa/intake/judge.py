"""One pass that maps, converts and judges every row of a source: the SELECT that fills a staging table.

Its rows carry the contract's columns converted, and beside them what the load needs: `broken` (every rule the row
breaks, NULL when none), `raw` (the row as read, kept when it is refused), `left_out` (the mapping's `where` does not
want it), `clock` (times that fall into a skipped or repeated hour).
"""

from collections.abc import Mapping as MappingType
from dataclasses import dataclass

from rqa.contract import TABLES, UNIT_COLUMN, Column, Table
from rqa.errors import MappingError
from rqa.intake.mapping import MAPPING_FILE, Files, Mapping, Origin, TableSpec, unknown_name
from rqa.intake.sources import Text, literal, quoted
from rqa.intake.values import Manner, breaches, clock_change, local_day, parsed, timed

BROKEN_TYPE = "STRUCT(column_name VARCHAR, rule VARCHAR, value VARCHAR)[]"
EXTRA_COLUMNS = (
    ("source_file", "VARCHAR"), ("given_row", "BIGINT"), ("file_no", "INTEGER"), ("derive", "VARCHAR"),
    ("broken", BROKEN_TYPE), ("raw", "VARCHAR"), ("left_out", "BOOLEAN"), ("clock", "VARCHAR"),
)  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One [[table]] of the mapping, ready to be read: its place in the file, its table, its manner, its columns."""

    number: int
    spec: TableSpec
    table: Table
    manner: Manner
    missing: tuple[str, ...]

    @property
    def place(self) -> str:
        """Where the entry stands in the mapping file."""
        return f"{MAPPING_FILE}, table.{self.number} ({self.table.name})"


def entries(mapping: Mapping) -> list[Entry]:
    """Every [[table]] of a mapping with its settings resolved: the table's own, else its files', else the workspace's."""
    found = []
    for number, spec in enumerate(mapping.table, 1):
        files = mapping.files[spec.from_] if spec.from_ else Files()
        zone, zones = _zone(spec, files, mapping)
        manner = Manner(
            decimal=spec.decimal or files.decimal or ".",
            thousands=spec.thousands or files.thousands or "",
            times=tuple(spec.times or files.times or ("iso",)),
            zone=zone,
            zones=zones,
        )
        missing = spec.missing if spec.missing is not None else files.missing or []
        found.append(Entry(number, spec, TABLES[spec.table], manner, tuple(m for m in missing if m != "")))
    return found


def _zone(spec: TableSpec, files: Files, mapping: Mapping) -> tuple[str, tuple[str, ...]]:
    fixed = spec.zone or files.zone
    site = spec.columns.get("site")
    if not fixed and site and site.constant is not None and str(site.constant) in mapping.sites:
        fixed = mapping.sites[str(site.constant)].zone
    default = mapping.workspace.zone or "UTC"
    if fixed or not mapping.sites or "site" not in TABLES[spec.table].names:
        return literal(fixed or default), (fixed or default,)
    whens = " ".join(f"when {literal(n)} then {literal(s.zone)}" for n, s in mapping.sites.items())
    return f"(case site {whens} else {literal(default)} end)", tuple(
        {s.zone for s in mapping.sites.values()} | {default}
    )


def wanted_columns(spec: TableSpec) -> frozenset[str]:
    """The source columns a table entry names plainly."""
    return frozenset(o.column for o in spec.columns.values() if o.column is not None)


def origins(entry: Entry, columns: tuple[str, ...], label: str) -> dict[str, Origin]:
    """Where each column of the table comes from in this source: as mapped, else a source column of the same name.

    Raises `MappingError` listing every mapped column the source lacks and every required column nothing gives.
    """
    found: dict[str, Origin] = {}
    faults = []
    for column in entry.table.columns:
        origin = entry.spec.columns.get(column.name)
        if origin is None and column.name in columns:
            origin = Origin(column=column.name)
        if origin is not None:
            if origin.column is not None and origin.column not in columns:
                faults.append(
                    f"{column.name}: {label} has no column {origin.column!r}; {unknown_name(origin.column, columns)}"
                )
            found[column.name] = origin
        elif column.required and not column.numbered and column.default is None:
            faults.append(
                f"{column.name} is required, and neither the mapping nor {label} gives it. There is: {', '.join(columns)}"
            )
    if faults:
        raise MappingError(f"{entry.place} does not fit {label}:\n" + "\n".join(f"  - {f}" for f in faults))
    return found


def _text(column: Column, origin: Origin) -> str:
    """SQL over the cleaned source columns for one column's text."""
    if origin.constant is not None:
        value = origin.constant
        text = literal(str(value).lower() if isinstance(value, bool) else str(value))
    elif origin.sql is not None:
        text = f"nullif(trim(({origin.sql})::varchar), '')"
    else:
        text = quoted(origin.column or "")
    for pattern, new in origin.replace:
        text = f"nullif(regexp_replace({text}, {literal(pattern)}, {literal(new)}, 'g'), '')"
    if origin.values:
        whens = " ".join(f"when {literal(k)} then {literal(v)}" for k, v in origin.values.items())
        text = f"nullif(case {text} {whens} else {text} end, '')"
    default = origin.default if origin.default is not None else column.default
    if default is not None:
        text = f"coalesce({text}, {literal(default)})"
    if column.name == UNIT_COLUMN:
        text = f"nullif(upper(regexp_replace({text}, '\\s+', '', 'g')), '')"
    return text


def cleaned(text: Text, missing: tuple[str, ...]) -> MappingType[str, str]:
    """SQL for each source column as it is mapped and judged: trimmed, and NULL when it means missing."""
    found = {}
    for column, sql in text.select.items():
        trimmed = f"nullif(trim({sql}), '')"
        if missing:
            words = ", ".join(literal(m) for m in missing)
            trimmed = f"case when trim({sql}) in ('', {words}) then null else trim({sql}) end"
        found[column] = trimmed
    return found


def judging_select(entry: Entry, text: Text, label: str, file_no: int) -> str:
    """The SELECT that reads one source for one table; its columns are the contract's, the days, then EXTRA_COLUMNS."""
    table, manner = entry.table, entry.manner
    given = origins(entry, text.columns, label)
    source = ", ".join(f"{sql} as {quoted(c)}" for c, sql in cleaned(text, entry.missing).items()) or "1 as nothing"
    texts = [f"{_text(c, given[c.name]) if c.name in given else _absent(c)} as {c.name}_text" for c in table.columns]
    select_rows = "source_row" in text.columns and entry.spec.select is not None
    values, times, checks = [], [], []
    derived = [c.name for c in table.columns if c.numbered and c.name not in given]
    for c in table.columns:
        values += [f"{sql} as {c.name}{part}" for part, sql in parsed(c, f"{c.name}_text", manner).items()]
        if c.kind == "time":
            times.append(c.name)
        rules = [b for b in breaches(c, f"{c.name}_text") if not (b[0] == "missing" and c.name in derived)]
        checks += [(condition, c.name, rule, f"{c.name}_text") for rule, condition in rules]
    checks += [(r.broken, r.column, r.name, f"{r.column}_text") for r in table.rules]
    fault = f"[{{'column_name': null::varchar, 'rule': fault, 'value': null::varchar}}]::{BROKEN_TYPE}"
    listed = ", ".join(
        f"case when {condition} then {{'column_name': {literal(column)}, 'rule': {literal(rule)}, 'value': {value}}} end"
        for condition, column, rule, value in checks
    )
    any_broken = " or ".join(f"coalesce({condition}, false)" for condition, *_ in checks)
    clocks = {t: f"{t}_clock" for t in times}
    starts = {a: b for a, b in table.spans}
    at = []
    for t in times:
        value = f"{t}_read"
        if t in starts:
            value = f"case when {clocks[t]} = 'repeated' and {starts[t]}_read < {t}_read then {t}_read - interval 1 hour else {t}_read end"
        at.append(f"{value} as {t}")
    days = [f"coalesce({', '.join(local_day(t, manner) for t in of)}) as {name}" for name, of in table.days]
    clock = " ".join(f"when {c} is not null then {literal(t + ' ')} || {c}" for t, c in clocks.items())
    names = ", ".join([*table.names, *(d for d, _ in table.days)])
    where = f"({entry.spec.where}) is not true" if entry.spec.where else "false"
    row_file = "source_file" if select_rows and "source_file" in text.columns else literal(label)
    return f"""
with source as (      -- a row of the source, each column as text, trimmed, NULL when it means missing
  select {source}, {text.fault} as "~fault", {text.blank} as "~blank" from {text.scan}
), mapped as (        -- the text of each column of the table
  select {", ".join(texts)}, "~fault" as fault, "~blank" or ({where}) as left_out,
    {row_file} as source_file, {"try_cast(source_row as bigint)" if select_rows else "null::bigint"} as given_row, source
  from source
), parts as (         -- texts converted; a time is still in two parts
  select *, {", ".join(values)} from mapped
), clocks as (        -- times in UTC as first read, and which of them fall into a changed hour
  select *{"".join(f", {timed(t, manner)} as {t}_read, {clock_change(t, manner)} as {c}" for t, c in clocks.items())} from parts
), timed as (
  select *{"".join(", " + x for x in [*at, *days])} from clocks
)
select {names}, source_file, given_row, {file_no} as file_no, {literal(" ".join(derived)) if derived else "null::varchar"} as derive,
  case when left_out then null when fault is not null then {fault}
       when {any_broken} then list_filter([{listed}], lambda b: b is not null) end as broken,
  case when not left_out and (fault is not null or {any_broken}) then to_json(source)::varchar end as raw,
  left_out, {f"case {clock} end" if clock else "null::varchar"} as clock
from timed"""


def _absent(column: Column) -> str:
    return literal(column.default) if column.default is not None else "null::varchar"
