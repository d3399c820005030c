"""One pass that maps, converts and judges every row of a source: the SELECT that fills a staging table.

Its rows carry the contract's columns converted, and beside them what the load needs: `broken` (every rule the row
breaks, NULL when none), `raw` (the row as read, kept when it is refused), `left_out` (the mapping's `where` does not
want it), `clock` (times that fall into a skipped or repeated hour), `unzoned` (a time has no offset, and the mapping
names no zone), `emptied` (what an SQL expression of the mapping turned into nothing). All names but the contract's are
marked ones (`names.inner`), so that no column of the contract or of a source can be taken for them.
"""

import re
from collections.abc import Callable, Container, Iterable, Sequence
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, replace

from rqa.contract import UNIT_COLUMN, Column, Table
from rqa.errors import MappingError
from rqa.intake.column_source import ColumnSource
from rqa.intake.emptied import EMPTIED_TYPE, emptied_by_sql, told_emptied
from rqa.intake.entries import Entry, listed_columns
from rqa.intake.guard import FREE_TEXT, Guard, json_without_own, own_name, without_drawn, without_own
from rqa.intake.literals import literal
from rqa.intake.names import (
    BROKEN,
    CLOCK,
    DERIVE,
    EMPTIED,
    FILE_NO,
    GIVEN_ROW,
    LEFT_OUT,
    ODD,
    RAW,
    SEALED,
    UNZONED,
    inner,
    mark_beside,
    quoted,
)
from rqa.intake.parts import unknown_name
from rqa.intake.pseudonyms import pseudonym
from rqa.intake.sources import TextSource, delimiter_doubt
from rqa.intake.values import (
    SPACES,
    ParseOptions,
    as_text,
    breaches,
    clock_change,
    local_day,
    parsed,
    put_back,
    timed,
    trimmed,
    unzoned,
)
from rqa.shown import told

BROKEN_TYPE = "STRUCT(column_name VARCHAR, rule VARCHAR, value VARCHAR)[]"
EXTRA_COLUMNS = (
    ("source_file", "VARCHAR"), (GIVEN_ROW, "BIGINT"), (FILE_NO, "INTEGER"), (DERIVE, "VARCHAR"),
    (BROKEN, BROKEN_TYPE), (RAW, "VARCHAR"), (LEFT_OUT, "BOOLEAN"), (CLOCK, "VARCHAR"), (UNZONED, "BOOLEAN"),
    (EMPTIED, EMPTIED_TYPE),
)
"""Columns of a staging table behind the contract's (as SQL), and their types."""
LEAN_COLUMNS = ((FILE_NO, "INTEGER"), (ODD, "VARCHAR"))
"""Columns of a lean staging table in their place: a row that is good, and has nothing to be told of, writes no more."""
ODD_KEYS = {
    "source_file": "source_file", GIVEN_ROW: "given_row", DERIVE: "derive", BROKEN: "broken", RAW: "raw",
    LEFT_OUT: "left_out", CLOCK: "clock", UNZONED: "unzoned", EMPTIED: "emptied",
}
"""Under which keys of ODD the columns stand that a lean staging table does not have."""
BROKEN_SHAPE = '[{"column_name": "VARCHAR", "rule": "VARCHAR", "value": "VARCHAR"}]'
EMPTIED_SHAPE = '[{"column_name": "VARCHAR", "given": "VARCHAR"}]'
FAULT, REFUSED = inner("fault"), inner("refused")


def origins(entry: Entry, text: TextSource, label: str) -> dict[str, ColumnSource]:
    """Where each column of the table comes from in this source; raises `MappingError` listing all that do not fit."""
    found, faults = fitted(entry, text, label)
    if faults:
        raise misfit(entry, label, faults)
    return found


def misfit(entry: Entry, label: str, faults: Sequence[str]) -> MappingError:
    """The error that tells what of an entry does not fit a source."""
    told = f"{entry.place} does not fit {label}:\n" + "\n".join(f"  - {f}" for f in faults)
    return MappingError(told, [f"{entry.place}: {f}" for f in faults])


def fitted(entry: Entry, text: TextSource, label: str) -> tuple[dict[str, ColumnSource], list[str]]:
    """Where each column of the table comes from in this source: as mapped, else a source column of the same name.

    A column that is there in other files of the set is missing in every row of this one. Beside them stand the faults:
    every mapped column the source lacks, which then comes from nowhere, and every required column nothing gives.
    """
    columns = text.columns
    found: dict[str, ColumnSource] = {}
    faults = []
    listed = listed_columns(entry, columns)
    for column in entry.table.columns:
        origin = entry.spec.columns.get(column.name)
        if origin is None and column.name in columns:
            origin = ColumnSource(column=column.name)
        if origin is not None:
            name = origin.column
            if name is not None and name not in columns:
                if not text.elsewhere(name):
                    faults.append(f"{column.name}: {label} has no column {told(name)}; {unknown_name(name, listed)}")
                origin = origin.model_copy(update={"column": None, "sql": "null"})
            elif name in entry.guard.keyed and origin.key_file is None:
                faults.append(_as_it_is(column, name))
            found[column.name] = origin
        elif column.required and not column.numbered and column.default is None:
            faults.append(_required(column, label, listed))
    if faults and listed == columns and (doubt := delimiter_doubt(text, label)):
        faults = [doubt]
    return found, faults


def _as_it_is(column: Column, name: str) -> str:
    """What to say of a column that would store names which become pseudonyms elsewhere."""
    return (
        f"{column.name}: it would hold {name!r} as it is, of which the mapping makes pseudonyms elsewhere. Write "
        f'{column.name} = {{ column = "{name}", key_file = "…" }}, with the same key, or '
        f'{column.name} = {{ sql = "null" }}'
    )


def _required(column: Column, label: str, there: Iterable[str]) -> str:
    """What to say of a required column that nothing gives: what it is, what it may hold, how to write it."""
    codes = f": one of {', '.join(column.allowed)}" if column.allowed else ""
    value = column.allowed[0] if column.allowed else "…"
    ways = [f'{column.name} = {{ column = "…", values = {{ … = "{value}" }} }}' if codes else f'{column.name} = "…"']
    ways += [] if column.key else [f'{column.name} = {{ constant = "{value}" }} where it is always the same']
    return (
        f"{column.name} is required ({column.meaning}{codes}), and neither the mapping nor {label} gives it. Write "
        f"under [table.columns]: {', or '.join(ways)}. There is: {', '.join(there)}"
    )


def numbers_lacking(table: Table, given: Container[str]) -> list[Column]:
    """The numbers (attempt, run, step_seq, line) that a source with the columns `given` leaves to be derived."""
    return [c for c in table.columns if c.numbered and c.name not in given]


def converted(column: Column, origin: ColumnSource, options: ParseOptions, guard: Guard, columns: Sequence[str]) -> str:
    """SQL over the cleaned source columns for one column's text, a name that becomes a pseudonym as that."""
    text = as_read(column, origin, options)
    if origin.key_file is not None:
        text = pseudonym(text, origin.key_file)
    elif column.kind == "text" and origin.sql is not None:
        text = without_drawn(text, origin.sql, guard, columns)
    if column.name in FREE_TEXT and origin.key_file is None:
        text = guard.without_known(text)
    default = origin.default if origin.default is not None else column.default
    if default is not None:
        text = f"coalesce({text}, {literal(default)})"
    if column.name == UNIT_COLUMN:
        text = f"nullif(upper(regexp_replace({text}, {literal(f'[{SPACES}]+')}, '', 'g')), '')"
    return text


def as_read(column: Column, origin: ColumnSource, options: ParseOptions) -> str:
    """SQL over the cleaned source columns for one column's text as the mapping has it, a name as it is."""
    if origin.constant is not None:
        value = origin.constant
        text = literal(str(value).lower() if isinstance(value, bool) else str(value))
        if isinstance(value, float) and options.decimal == ",":
            text = literal(str(value).replace(".", ","))
    elif origin.sql is not None:
        text = f"nullif(trim((\n{origin.sql}\n)::varchar, {literal(SPACES)}), '')"
        if options.decimal == "," and column.kind in ("number", "integer"):
            # What the SQL has computed comes with a point; it is written as the source would write it.
            text = f"case when typeof(\n{origin.sql}\n) = 'VARCHAR' then {text} else replace({text}, '.', ',') end"
    else:
        text = quoted(origin.column or "")
    for pattern, new in origin.replace:
        text = f"nullif(regexp_replace({text}, {literal(pattern)}, {literal(new)}, 'g'), '')"
    if origin.values:
        whens = " ".join(f"when {literal(k)} then {literal(v)}" for k, v in origin.values.items())
        text = f"nullif(case {text} {whens} else {text} end, '')"
    return text


def _own_names(
    entry: Entry, text: TextSource, given: MappingType[str, ColumnSource], options: ParseOptions
) -> dict[str, str]:
    """SQL over the cleaned source columns for every name of a row as it was read, by the column that holds it then."""
    found = {own_name(c): quoted(c) for c in text.columns if c in entry.guard.names}
    for name, origin in given.items():
        if origin.column is None and (origin.key_file is not None or origin.person):
            found[own_name(f" {name}")] = as_read(entry.table.column(name), origin, options)
    return found


def cleaned(text: TextSource, missing: tuple[str, ...]) -> MappingType[str, str]:
    """SQL for each source column as it is mapped and judged: trimmed, and NULL when it means missing."""
    found = {}
    for column, sql in text.select.items():
        clean = sql if text.due.bare else trimmed(sql, text.due.plain)
        if missing:
            words = ", ".join(literal(m) for m in missing)
            clean = f"case when {clean} in ({words}) then null else {clean} end"
        found[column] = clean
    return found


def judging_select(
    entry: Entry, text: TextSource, label: str, file_no: int, given: dict[str, ColumnSource] | None = None,
    *, lean: bool = False,
) -> str:
    """The SELECT that reads one source for one table; its columns are the contract's, the days, then EXTRA_COLUMNS.

    `given` says where each column comes from, where that is known already; `lean`, that LEAN_COLUMNS come last.
    """
    table, options, guard = entry.table, entry.options, entry.guard
    if text.typed:
        if options.thousands == ".":
            raise MappingError(
                f"{entry.place}: in {label}, thousands = '.' cannot be told from the point of a typed number; "
                "leave it out and turn texts into numbers with sql"
            )
        options = replace(options, typed=True)
    if text.typed or text.own_times:
        options = replace(options, times=tuple(dict.fromkeys((*options.times, "iso"))))
    given = origins(entry, text, label) if given is None else given
    derived = [c.name for c in numbers_lacking(table, given)]
    mark = mark_beside(text.columns)
    # Beside a source's columns: what is wrong with its row, whether it is blank, the record as it stands, the row.
    fault, blank, whole, row = (inner(n, mark) for n in ("fault", "blank", "whole", "row"))
    source = [f"{sql} as {quoted(c)}" for c, sql in cleaned(text, entry.missing).items()]
    texts = [
        f"{converted(c, given[c.name], options, guard, text.columns) if c.name in given else _absent(c)} "
        f"as {as_text(c.name)}"
        for c in table.columns
    ]
    factors = {name: origin.factor for name, origin in given.items()}
    parts = [
        f"{sql} as {part}"
        for c in table.columns
        for part, sql in parsed(c, as_text(c.name), options, factors.get(c.name, "")).items()
    ]
    own = _own_names(entry, text, given, options)

    def tellable(told: str) -> str:
        return guard.without_known(without_own(told, own))

    emptied = [replace(e, given=tellable(e.given)) for e in emptied_by_sql(given, text, row, guard)]
    times = [c.name for c in table.columns if c.kind == "time"]
    first_readings = [f"{timed(t, options)} as {_read(t)}, {clock_change(t, options)} as {_clock(t)}" for t in times]
    days = [f"coalesce({', '.join(local_day(t, options) for t in of)}) as {day}" for day, of in table.days]
    clock = " ".join(f"when {_clock(t)} is not null then {literal(t + ' ')} || {_clock(t)}" for t in times)
    noted = [*(f"{e.condition} as {e.name}" for e in emptied), *(f"{sql} as {name}" for name, sql in own.items())]
    checks = _checks(table, options, derived, tellable)
    any_broken = " or ".join(f"coalesce({c.broken}, false)" for c in checks)
    told = ", ".join(f"case when {c.told} then {c.breach} end" for c in checks)
    kept_rows = [f"(\n{entry.spec.where}\n)"] if entry.spec.where else []
    kept_rows += [f"({origin.is_known})" for origin in given.values() if origin.is_known]
    where = f"({' and '.join(kept_rows)}) is not true" if kept_rows else "false"
    # A SELECT may carry along where its rows come from.
    traced = entry.spec.select is not None
    row_file = "source_file" if traced and "source_file" in text.columns else literal(label)
    row_number = "try_cast(source_row as bigint)" if traced and "source_row" in text.columns else "null::bigint"
    # Lines of one job may be refused together later, so the rows that may be are kept until then.
    kept = f"not {LEFT_OUT}" if entry.spec.lines is not None else REFUSED
    raw = guard.without_known(json_without_own(f"to_json({inner('row')})::varchar", own))
    if not guard.sealed and not own:
        raw = f"coalesce({inner('whole')}, {raw})"
    elif guard.keep_records:
        record = f"{SEALED}({inner('whole')})" if guard.seal_records else inner("whole")
        raw = f"case when {FAULT} is not null then {record} else {raw} end"
    else:
        raw = f"case when {FAULT} is null then {raw} end"
    not_zoned = unzoned(times) if not entry.zone_named else "false"
    extra = {
        "source_file": "source_file",
        GIVEN_ROW: GIVEN_ROW,
        FILE_NO: str(file_no),
        DERIVE: literal(" ".join(derived)) if derived else "null::varchar",
        BROKEN: (
            f"case when not {REFUSED} then null when {FAULT} is not null then [{_breach('null', FAULT, 'null')}] "
            f"else list_filter([{told}], lambda b: b is not null) end"
        ),
        RAW: f"case when {kept} then {raw} end",
        LEFT_OUT: LEFT_OUT,
        CLOCK: f"case {clock} end" if clock else "null::varchar",
        UNZONED: not_zoned,
        EMPTIED: told_emptied(emptied),
    }
    last = [f"{sql} as {name}" for name, sql in extra.items()]
    if lean:
        unusual = [REFUSED, LEFT_OUT, *(f"{_clock(t)} is not null" for t in times), *(e.name for e in emptied)]
        if not traced:
            extra["source_file"], extra[GIVEN_ROW] = "null::varchar", "null::bigint"
        odd = _packed(extra, unusual, not_zoned, always=traced or bool(derived) or entry.spec.lines is not None)
        last = [f"{file_no} as {FILE_NO}", f"{odd} as {ODD}"]
    return f"""
with source as (      -- a row of the source, each column as text, trimmed, NULL when it means missing
  select {", ".join(source)}, {text.fault} as {fault}, {text.blank} as {blank},
    {text.whole} as {whole} from {text.scan}
), mapped as (        -- the text of each column of the table
  select {", ".join([*texts, *noted])},
    {fault} as {FAULT}, {blank} or ({fault} is null and {where}) as {LEFT_OUT}, {row_file} as source_file,
    {row_number} as {GIVEN_ROW}, {whole} as {inner("whole")}, {_kept_row(given, text, row, guard)} as {inner("row")}
  from source as {row}
), parts as (         -- texts converted; a time is still in two parts
  select *, {", ".join(parts)} from mapped
), clocks as (        -- times in UTC as first read, and which of them fall into a changed hour
  select {", ".join(["*", *first_readings])} from parts
), timed as (         -- times settled, with their days
  select {", ".join(["*", *(_settled_time(table, t, options) for t in times), *days])} from clocks
), judged as (
  select *, not {LEFT_OUT} and ({FAULT} is not null or {any_broken}) as {REFUSED} from timed
)
select {", ".join([*table.names, *(day for day, _ in table.days), *last])}
from judged"""


def _packed(extra: MappingType[str, str], unusual: Sequence[str], unzoned_alone: str, *, always: bool) -> str:
    """SQL for ODD, from SQL for the columns that it stands for; `unusual` are the conditions under which there is one.

    A row of which only UNZONED is to be told has it in a form that costs little, as all rows of a file may be such.
    """
    fields = ", ".join(f"'{ODD_KEYS[name]}': {sql}" for name, sql in extra.items() if name in ODD_KEYS)
    packed = f"to_json({{{fields}}})::varchar"
    if always:
        return packed
    alone = literal(f'{{"{ODD_KEYS[UNZONED]}":true}}')
    return f"case when {' or '.join(unusual)} then {packed} when {unzoned_alone} then {alone} end"


def unpacked(odd: str, label: str) -> dict[str, str]:
    """SQL for each column that ODD stands for, of a file that is called `label`."""
    def text(name: str) -> str:
        return f"json_extract_string({odd}, '$.{ODD_KEYS[name]}')"

    def rows(name: str, shape: str) -> str:
        return (
            f"case when {odd} is not null "
            f"then from_json(json_extract({odd}, '$.{ODD_KEYS[name]}'), {literal(shape)}) end"
        )

    return {
        "source_file": f"coalesce({text('source_file')}, {label})",
        GIVEN_ROW: f"try_cast({text(GIVEN_ROW)} as bigint)",
        DERIVE: text(DERIVE),
        BROKEN: rows(BROKEN, BROKEN_SHAPE),
        RAW: text(RAW),
        LEFT_OUT: f"coalesce({text(LEFT_OUT)} = 'true', false)",
        CLOCK: text(CLOCK),
        UNZONED: f"coalesce({text(UNZONED)} = 'true', false)",
        EMPTIED: rows(EMPTIED, EMPTIED_SHAPE),
    }


def _kept_row(given: MappingType[str, ColumnSource], text: TextSource, row: str, guard: Guard) -> str:
    """SQL for the row of the source as it is kept when refused."""
    kept = guard.kept(given, text)
    fields = [f"{literal(c)}: {row}.{quoted(c)}" for c in kept]
    if len(kept) < len(text.columns):
        note = "kept out"
        while note in {c.lower() for c in kept}:
            note += "."
        fields.insert(0, f"{literal(note)}: {len(text.columns) - len(kept)}")
    return "{" + ", ".join(fields) + "}"


def _read(time: str) -> str:
    """The column of a time in UTC as first read."""
    return inner(f"read {time}")


def _clock(time: str) -> str:
    """The column that says which changed hour a time falls into."""
    return inner(f"clock {time}")


def _breach(column: str, rule: str, value: str) -> str:
    return f"{{'column_name': {column}::varchar, 'rule': {rule}, 'value': {value}::varchar}}"


@dataclass(frozen=True)
class _Check:
    """One rule, as SQL: whether a row breaks it, whether that is told, and what is then written down."""

    broken: str
    told: str
    breach: str


def _checks(table: Table, options: ParseOptions, derived: list[str], tellable: Callable[[str], str]) -> list[_Check]:
    """Every rule a row can break; one over several columns is told only where each of them is sound by itself.

    `tellable` makes of SQL for a value SQL for what may be told of it.
    """
    found: list[_Check] = []
    unsound: dict[str, list[str]] = {}
    for c in table.columns:
        for rule, condition in breaches(c, as_text(c.name), options):
            if not (rule == "missing" and c.name in derived):
                found.append(
                    _Check(condition, condition, _breach(literal(c.name), literal(rule), tellable(as_text(c.name))))
                )
                unsound.setdefault(c.name, []).append(f"coalesce({condition}, false)")
    for r in table.rules:
        drawn = [name for name in table.names if re.search(rf"\b{name}\b", r.broken)]
        others = " or ".join(condition for name in drawn for condition in unsound.get(name, []))
        told = f"({r.broken}) and not ({others})" if others else r.broken
        found.append(_Check(r.broken, told, _breach(literal(r.column), literal(r.name), tellable(as_text(r.column)))))
    return found


def _settled_time(table: Table, time: str, options: ParseOptions) -> str:
    """A start that reads later than its end, in an hour that came twice, belongs to the first pass of that hour."""
    ends = dict(table.spans)
    if time not in ends:
        return f"{_read(time)} as {time}"
    first_pass = f"{_clock(time)} = 'repeated' and {_read(ends[time])} < {_read(time)}"
    return f"case when {first_pass} then {_read(time)} - {put_back(time, options)} else {_read(time)} end as {time}"


def _absent(column: Column) -> str:
    return literal(column.default) if column.default is not None else "null::varchar"
