"""Lines of one job that a source gives as rows of their own: put together in staging, before any row gets its verdict.

The rule stands in the contract (`Table.lines`). The first line, in order of file and row, becomes the job; the others
are counted as merged. Lines that differ in what the job is about are refused, all of them. A line that only lacks
what other lines give is a line all the same. Only jobs with more than one line are looked at.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Lines, Table
from rqa.intake.entries import Entry
from rqa.intake.literals import literal
from rqa.intake.mapping import ONE_JOB_PER_FILE
from rqa.intake.names import BROKEN, CLOCK, EMPTIED, FILE_NO, GIVEN_ROW, LEFT_OUT, RAW, UNZONED, inner
from rqa.store.ddl import columns
from rqa.store.order import ORDER
from rqa.store.remarks import DIFFER
from rqa.store.staged import Staged
from rqa.store.validate import BROKEN_TYPE, EXTRA_COLUMNS
from rqa.store.verdicts import NTH, ROWID, any_row

UNLIKE = "not the same in all lines of its job"
"""The rule that lines break which differ in what their job is about."""
MISSING = "missing"
SHOWN = 5
"""Values of lines that differ which are told."""
BAD, UNLIKE_IN, DIFFER_IN = inner("bad"), inner("unlike"), inner("differ")
ASIDE = "merged_lines"
"""The temporary table of lines that went into the job of another: where they stand, and what is remarked on."""
ASIDE_COLUMNS = ("source_file", FILE_NO, BROKEN, LEFT_OUT, CLOCK, UNZONED, EMPTIED)
"""Its columns of a staging table, beside the row's number."""
DIFFERING = "differing_lines"
"""The temporary table of the columns in which the lines of a job differ, by the job's place."""


def merge_lines(connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged]) -> None:
    """Put the staged lines of one job together, for each entry of the mapping that says that they are lines.

    The rows of the staging table that are then jobs, or refused, bear their number in the file. What has been put
    together is left as it is when the same files are given again.
    """
    entries = {f.entry.number: f.entry for f in files if f.entry is not None and f.entry.spec.lines is not None}
    for number, entry in entries.items():
        mine = [f.file_no for f in files if f.entry is not None and f.entry.number == number]
        if table.lines is not None:
            _merge(connection, table, table.lines, entry, mine)


def merged_lines(connection: duckdb.DuckDBPyConnection, table: Table) -> list[tuple[int, int]]:
    """(file number, lines) of those that went into the job of another line."""
    if not _any_aside(connection, table):
        return []
    return connection.execute(f"select {FILE_NO}, count(*) from temp.{ASIDE} group by all").fetchall()


def with_merged(connection: duckdb.DuckDBPyConnection, table: Table) -> str:
    """SQL for a FROM clause of all rows that were read for a table, lines that were merged among them."""
    placed = f"temp.placed_{table.name}"
    aside = f"(from {placed} union all by name from temp.{ASIDE})"
    return aside if _any_aside(connection, table) else placed


def write_line_remarks(connection: duckdb.DuckDBPyConnection, table: Table, load_id: int) -> None:
    """Note in which columns the lines of jobs differ, and in how many jobs."""
    if _any_aside(connection, table):
        connection.execute(
            f"insert into main.remarks select {load_id}, {literal(table.name)}, source_file, {literal(DIFFER)}, "
            f"column_name, count(*), min(source_row) from temp.{DIFFERING} group by all"
        )


def forget_lines(connection: duckdb.DuckDBPyConnection) -> None:
    """Drop what is kept of lines until a table is settled."""
    for name in (ASIDE, DIFFERING):
        connection.execute(f"drop table if exists temp.{name}")


def _any_aside(connection: duckdb.DuckDBPyConnection, table: Table) -> bool:
    """Whether lines of a table's rows were put together."""
    there = f"select 1 from duckdb_tables() where temporary and table_name = {literal(ASIDE)}"
    return table.lines is not None and any_row(connection, there)


def _merge(
    connection: duckdb.DuckDBPyConnection, table: Table, lines: Lines, entry: Entry, files: Sequence[int]
) -> None:
    """Put the lines together that the files with these numbers give for one entry."""
    (job,) = table.key
    per_file = entry.spec.lines == ONE_JOB_PER_FILE
    of_job = [job, "source_file"] if per_file else [job]
    by = ", ".join(of_job)
    connection.execute("create or replace temp table line_files as select unnest($1)::integer as file_no", [files])
    can_be = " and ".join([
        f"{FILE_NO} in (select file_no from temp.line_files)", f"not {LEFT_OUT}", f"{job} is not null",
        *(f"{c} is not null" for c in lines.each),
        f"coalesce(list_bool_and(list_transform({BROKEN}, lambda b: b.rule = {literal(MISSING)})), true)",
    ])
    connection.execute(
        f"create or replace temp table several_lines as select {by} from temp.placed_{table.name} where {can_be} "
        "group by all having count(*) > 1"
    )
    if any_row(connection, "select 1 from temp.several_lines"):
        connection.execute(f"create temp table if not exists {ASIDE} ({_shape(ASIDE_COLUMNS)})")
        connection.execute(
            f"create temp table if not exists {DIFFERING} "
            "(source_file VARCHAR, source_row BIGINT, column_name VARCHAR)"
        )
        days = [day for day, _ in table.days]
        connection.execute(f"""
create or replace temp table all_lines as  -- every line of a job that has several, in order
select {', '.join(f'p.{n}' for n in [*table.names, *days])}, p.source_file, p.source_row, {FILE_NO}, {ROWID},
  row_number() over (partition by {', '.join(f'p.{c}' for c in of_job)} order by o.place, p.source_row, {ROWID})
    as {NTH}
from (from temp.placed_{table.name} semi join temp.several_lines using ({by}) where {can_be}) p
join temp.{ORDER} o on p.source_file = o.source_file""")
        connection.execute(f"create or replace temp table made_jobs as {_put_together(table, lines, by)}")
        _tell_unlike(connection, lines, entry, by)
        _restage(connection, table, by)
        for used in ("all_lines", "made_jobs"):
            connection.execute(f"drop table temp.{used}")
    connection.execute("drop table temp.several_lines")
    connection.execute("drop table temp.line_files")


def _shape(names: Sequence[str]) -> str:
    """The columns of a table of lines, as SQL."""
    kinds = dict(EXTRA_COLUMNS)
    return ", ".join([*(f"{n} {kinds[n]}" for n in names), "source_row BIGINT"])


def _put_together(table: Table, lines: Lines, by: str) -> str:
    """SELECT of one row a job: its columns, those in which its lines differ, and the rules that it breaks."""
    is_open = f"bool_or(coalesce({lines.state} = {literal(lines.open)}, false))"
    still = f"bool_or(coalesce({lines.state} = {literal(lines.open)} and {lines.end} is null, false))"
    kept = f"arg_min({lines.state}, {NTH}) filter (where {lines.state} <> {literal(lines.void)})"
    made = {c.name: f"arg_min({c.name}, {NTH})" for c in table.columns if not c.key}
    made[lines.start] = f"min({lines.start})"
    made[lines.end] = f"case when not {still} then max({lines.end}) end"
    made[lines.state] = (
        f"case when {is_open} then {literal(lines.open)} else coalesce({kept}, min({lines.state})) end"
    )
    for day, (time, *_) in table.days:
        made[day] = f"case when not {still} then max({day}) end" if time == lines.end else f"min({day})"
    merged = [n for n in made if n in table.names and n not in (*lines.same, lines.start, lines.end)]
    differ = ", ".join(f"case when min({n}) <> max({n}) then {literal(n)} end" for n in merged)
    unlike = ", ".join(f"case when min({n}) <> max({n}) then {literal(n)} end" for n in lines.same)
    bad = [
        f"case when {c.name} is null then {_breach(c.name, MISSING, 'null')} end"
        for c in table.columns
        if c.required and not c.key
    ]
    for rule in table.rules:
        value = f"{rule.column}::varchar" + (" || ' UTC'" if table.column(rule.column).kind == "time" else "")
        bad.append(f"case when {rule.broken} then {_breach(rule.column, rule.name, value)} end")
    return f"""
with together as (
  select {by}, {', '.join(f'{sql} as {name}' for name, sql in made.items())},
    list_filter([{differ}], lambda n: n is not null) as {DIFFER_IN},
    list_filter([{unlike}], lambda n: n is not null) as {UNLIKE_IN}
  from temp.all_lines group by {by}
)
select *, case when len({UNLIKE_IN}) = 0 then list_filter([{', '.join(bad)}], lambda b: b is not null) end as {BAD}
from together"""


def _breach(column: str, rule: str, value: str) -> str:
    return f"{{'column_name': {literal(column)}, 'rule': {literal(rule)}, 'value': {value}::varchar}}"


def _tell_unlike(connection: duckdb.DuckDBPyConnection, lines: Lines, entry: Entry, by: str) -> None:
    """Make the rules that jobs break whose lines differ in what the job is about, each with its values in order."""
    if not any_row(connection, f"select 1 from temp.made_jobs where {BAD} is null"):
        return
    told = entry.guard.without_known(
        f"list_aggregate(v[:{SHOWN}], 'string_agg', ', ') || "
        f"case when len(v) > {SHOWN} then ' and ' || len(v) - {SHOWN} || ' more' else '' end"
    )
    values = " union all ".join(
        f"select {by}, {n} as place, {literal(c)} as column_name, {c} as value, min({NTH}) as nth from temp.all_lines "
        f"semi join (from temp.made_jobs where list_contains({UNLIKE_IN}, {literal(c)})) using ({by}) "
        f"where {c} is not null group by {by}, {c}"
        for n, c in enumerate(lines.same)
    )
    connection.execute(f"""
create or replace temp table unlike_jobs as  -- one row a job whose lines differ in what it is about
with given as (
  {values}
), lists as (
  select {by}, place, column_name, list(value order by nth) as v from given group by all
)
select {by}, list({{'column_name': column_name, 'rule': {literal(UNLIKE)}, 'value': {told}}} order by place) as {BAD}
from lists group by {by}""")
    same = " and ".join(f"w.{c.strip()} = u.{c.strip()}" for c in by.split(","))
    connection.execute(f"update temp.made_jobs w set {BAD} = u.{BAD} from temp.unlike_jobs u where {same}")
    connection.execute("drop table temp.unlike_jobs")


def _restage(connection: duckdb.DuckDBPyConnection, table: Table, by: str) -> None:
    """Put the jobs in the place of their lines, and refused lines back with the rules that they break."""
    stage = f"stage_{table.name}"
    given = ", ".join(f"w.{n}" if n not in table.key else f"p.{n}" for n, _ in columns(table)[:-2])
    extra = {n: f"s.{n}" for n, _ in EXTRA_COLUMNS} | {GIVEN_ROW: "p.source_row"}
    job = ", ".join((extra | {BROKEN: f"null::{BROKEN_TYPE}", RAW: "null::varchar"}).values())
    refused = f"s.* replace (p.source_row as {GIVEN_ROW}, w.{BAD} as {BROKEN})"
    joined = f"from temp.all_lines p join temp.made_jobs w using ({by}) join {stage} s on s.rowid = p.{ROWID}"
    aside = {BROKEN: f"null::{BROKEN_TYPE}"}
    connection.execute(
        f"insert into temp.{ASIDE} select {', '.join(aside.get(n, f's.{n}') for n in ASIDE_COLUMNS)}, p.source_row "
        f"{joined} where len(w.{BAD}) = 0 and p.{NTH} > 1"
    )
    connection.execute(
        f"insert into temp.{DIFFERING} select p.source_file, p.source_row, unnest(w.{DIFFER_IN}) from temp.all_lines p "
        f"join temp.made_jobs w using ({by}) where len(w.{BAD}) = 0 and p.{NTH} = 1"
    )
    connection.execute(
        f"create or replace temp table restaged as select {given}, {job} {joined} where len(w.{BAD}) = 0 "
        f"and p.{NTH} = 1 union all select {refused} {joined} where len(w.{BAD}) > 0"
    )
    connection.execute(f"delete from {stage} where rowid in (select {ROWID} from temp.all_lines)")
    connection.execute(f"insert into {stage} from restaged")
    connection.execute("drop table temp.restaged")
