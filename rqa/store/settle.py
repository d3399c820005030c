"""From staging to the store: numbers derived, each key settled, every staged row given exactly one verdict.

A row is *accepted* (new, or a correction of a stored row, which then moves to `superseded`), *refused* (it breaks a
rule), *known* (the store has it already, word for word) or *superseded* (a later row of the same load has its key).
"Later" means: a later file, then a later row. Only keys that occur more than once are looked at closely, so a load
without corrections costs one check of the keys.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.sources import literal
from rqa.store.ddl import columns
from rqa.store.remarks import write_clock_remarks
from rqa.store.stage import Staged

FAR = "timestamp '9999-12-31'"
VERDICTS = ("left_out", "accepted", "refused", "known", "superseded")
Verdicts = dict[int, dict[str, int]]
"""Per file number: how many rows were accepted, refused, known, superseded."""


def settle(connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], load_id: int) -> Verdicts:
    """Move one table's staged rows into the store; returns the verdicts per file number."""
    _place_rows(connection, table, files)
    verdicts: Verdicts = {
        f.file_no: dict.fromkeys(("left_out", "accepted", "refused", "known", "superseded"), 0) for f in files
    }
    name = table.name
    for file_no, what, rows in connection.execute(
        f"select file_no, case when left_out then 'left_out' else 'refused' end, count(*) from temp.placed_{name} "
        "where left_out or broken is not null group by all"
    ).fetchall():
        verdicts[file_no][what] += rows
    _keep_refused(connection, table, files, load_id, verdicts)
    write_clock_remarks(connection, name, load_id)
    stored = ", ".join(n for n, _ in columns(table))
    connection.execute(
        f"create or replace temp view good_{name} as select {stored}, file_no from temp.placed_{name} "
        "where broken is null and not left_out and derive is null"
    )
    for (derived,) in connection.execute(
        f"select distinct derive from temp.placed_{name} where derive is not null"
    ).fetchall():
        _number(connection, table, derived.split(" "), verdicts)
    _settle_keys(connection, table, load_id, verdicts)
    return verdicts


def _count_into(connection: duckdb.DuckDBPyConnection, verdicts: Verdicts, what: str, sql: str) -> None:
    for file_no, rows in connection.execute(sql).fetchall():
        verdicts[file_no][what] += rows


def _place_rows(connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged]) -> None:
    """A view `placed_<table>` of the staged rows with their row number in the file, as an editor shows it."""
    name = table.name
    connection.execute(
        "create or replace temp table stage_files (file_no INTEGER, first_rowid BIGINT, first_row BIGINT)"
    )
    connection.execute("create or replace temp table stage_gaps (file_no INTEGER, from_place BIGINT, shift BIGINT)")
    rows = [(f.file_no, f.first_rowid, f.first_row) for f in files]
    if rows:
        connection.executemany("insert into stage_files values (?, ?, ?)", rows)
    # The engine leaves unreadable records out, so rows behind the i-th of them stand i places further down.
    gaps = {(f.file_no, place - i): i + 1 for f in files for i, (place, *_) in enumerate(f.rejects)}
    if gaps:
        connection.executemany("insert into stage_gaps values (?, ?, ?)", [(f, p, s) for (f, p), s in gaps.items()])
    place, behind = "s.rowid - f.first_rowid", ""
    if gaps:
        behind = f"asof left join stage_gaps g on g.file_no = s.file_no and {place} >= g.from_place"
        place += " + coalesce(g.shift, 0)"
    connection.execute(
        f"create or replace temp view placed_{name} as select s.* exclude (given_row), "
        f"coalesce(given_row, {place} + f.first_row) as source_row "
        f"from temp.stage_{name} s join stage_files f on f.file_no = s.file_no {behind}"
    )


def _keep_refused(
    connection: duckdb.DuckDBPyConnection, table: Table, files: Sequence[Staged], load_id: int, verdicts: Verdicts
) -> None:
    """Write refused rows, one per broken rule, in place of what an earlier reading of the same file had refused."""
    name = table.name
    labels = [f.label for f in files]
    connection.execute("delete from main.refused where table_name = $table and list_contains($labels, source_file)",
                       {"table": name, "labels": labels})  # fmt: skip
    connection.execute(
        f"insert into main.refused select {load_id}, {literal(name)}, source_file, source_row, b.column_name, b.rule, "
        f"b.value, raw from (select source_file, source_row, raw, unnest(broken) as b from temp.placed_{name} "
        "where broken is not null)"
    )
    for f in files:
        keep_rejects(connection, f, load_id)
        verdicts[f.file_no]["refused"] += len(f.rejects)


def keep_rejects(connection: duckdb.DuckDBPyConnection, file: Staged, load_id: int) -> None:
    """Write the records of one file that are no rows at all."""
    if file.rejects:
        connection.executemany(
            "insert into main.refused values (?, ?, ?, ?, null, ?, ?, ?)",
            [
                (load_id, file.table, file.label, file.first_row + p, rule, value, raw)
                for p, rule, value, raw in file.rejects
            ],
        )


def _number(connection: duckdb.DuckDBPyConnection, table: Table, derived: list[str], verdicts: Verdicts) -> None:
    """Give derived numbers to rows that came without, together with the stored rows of the same jobs.

    Such a row has no key of its own, so "known" is judged by content: the n-th row of the same content within a file
    is the n-th row of that content in the store.
    """
    name = table.name
    content = [n for n in table.names if n not in derived]
    plain, stored = ", ".join(content), ", ".join(n for n, _ in columns(table))
    nth = f"row_number() over (partition by source_file, {plain} order by source_row) as nth"
    one = f"broken is null and not left_out and derive = {literal(' '.join(derived))}"
    connection.execute(
        f"create or replace temp table fresh as select {stored}, file_no, {nth} from temp.placed_{name} where {one}"
    )
    match = " and ".join(f"a.{c} is not distinct from b.{c}" for c in content) + " and a.nth = b.nth"
    connection.execute(
        f"create or replace temp table seen as "
        f"select a.file_no, a.source_row from fresh a semi join (select {plain}, {nth} from main.{name} "
        f"semi join fresh using (job_id)) b on {match} union "
        f"select a.file_no, a.source_row from fresh a semi join fresh b on {match} and b.file_no < a.file_no"
    )
    _count_into(connection, verdicts, "known", "select file_no, count(*) from seen group by all")
    connection.execute("delete from fresh f using seen s where f.file_no = s.file_no and f.source_row = s.source_row")
    _count_into(connection, verdicts, "accepted", "select file_no, count(*) from fresh group by all")
    connection.execute(
        f"create or replace temp table mingled as select {stored}, file_no from fresh "
        f"union all by name select {stored}, -1 as file_no from main.{name} semi join fresh using (job_id)"
    )
    connection.execute(
        f"delete from main.{name} using (select distinct job_id from fresh) f where {name}.job_id = f.job_id"
    )
    time = f"coalesce({', '.join(table.order)}, {FAR})" if table.order else FAR
    steps = [
        f"select *, row_number() over (partition by job_id order by {time}, file_no, source_row) as place from mingled"
    ]
    for column in (c for c in table.columns if c.name in derived):
        before = steps[-1]
        if column.numbered == "row":
            rest = ", ".join(k for k in table.key if k != column.name)
            number = f"row_number() over (partition by {rest} order by place)"
            steps.append(f"select * replace ({number} as {column.name}) from ({before})")
        else:
            first = f"min(place) over (partition by job_id, {column.numbered})"
            number = "dense_rank() over (partition by job_id order by first_place)"
            steps.append(
                f"select * exclude (first_place) replace ({number} as {column.name}) "
                f"from (select *, {first} as first_place from ({before}))"
            )
    connection.execute(f"insert into main.{name} select {stored} from ({steps[-1]})")
    for used in ("fresh", "seen", "mingled"):
        connection.execute(f"drop table temp.{used}")


def _settle_keys(connection: duckdb.DuckDBPyConnection, table: Table, load_id: int, verdicts: Verdicts) -> None:
    """Insert the rows that bring their own key; keys met twice are settled one by one."""
    name, key = table.name, ", ".join(table.key)
    stored = ", ".join(n for n, _ in columns(table))
    good = f"temp.good_{name}"
    connection.execute(
        f"create or replace temp table clash as select {key} from {good} group by all having count(*) > 1 "
        f"union select {key} from main.{name} semi join {good} using ({key})"
    )
    clashes = connection.execute("select count(*) from clash").fetchone()
    if not clashes or not clashes[0]:
        connection.execute(f"insert into main.{name} select {stored} from {good}")
        _count_into(connection, verdicts, "accepted", f"select file_no, count(*) from {good} group by all")
        return
    _count_into(
        connection,
        verdicts,
        "accepted",
        f"select file_no, count(*) from {good} anti join clash using ({key}) group by all",
    )
    content = "to_json({" + ", ".join(f"'{n}': {n}" for n in table.names) + "})::varchar"
    key_text = "to_json({" + ", ".join(f"'{k}': {k}" for k in table.key) + "})::varchar"
    latest = "over (partition by key_text, stale order by file_no desc, source_row desc)"
    connection.execute(f"""
create or replace temp table held as       -- stored rows whose key was read again
select {stored}, {content} as content, {key_text} as key_text from main.{name} semi join clash using ({key})""")
    connection.execute(f"""
create or replace temp table contested as  -- a row read, its key met more than once
with read_again as (
  select {stored}, file_no, {content} as content, {key_text} as key_text from {good} semi join clash using ({key})
), replaced as (     -- what corrections have replaced before
  select distinct key_text, content, source_file, source_row from main.superseded where table_name = {literal(name)}
), marked as (       -- stale: an old reading of the same place, already corrected, that must not come back
  select r.*, h.content as held, p.key_text is not null and h.content is distinct from r.content as stale
  from read_again r left join held h using (key_text)
  left join replaced p on p.key_text = r.key_text and p.content = r.content
    and p.source_file = r.source_file and p.source_row = r.source_row
), ranked as (       -- beside each row, the latest of its key
  select *, first(content) {latest} as last_content, first(source_file) {latest} as last_file,
    first(source_row) {latest} as last_row, row_number() {latest} as place from marked
)
select *, case when stale or content = held then 'known' when place = 1 then 'accepted'
               when content = last_content then 'known' else 'superseded' end as verdict
from ranked""")
    for what in ("accepted", "known", "superseded"):
        sql = f"select file_no, count(*) from contested where verdict = '{what}' group by all"
        _count_into(connection, verdicts, what, sql)
    connection.execute(f"""
insert into main.superseded
select {load_id}, {literal(name)}, source_file, source_row, last_file, last_row, key_text, content
from contested where verdict = 'superseded'
union all            -- stored rows that a correction replaces now
select {load_id}, {literal(name)}, h.source_file, h.source_row, c.source_file, c.source_row, h.key_text, h.content
from held h join contested c using (key_text) where c.verdict = 'accepted'""")
    on = " and ".join(f"{name}.{k} = c.{k}" for k in table.key)
    accepted = "from contested where verdict = 'accepted'"
    connection.execute(f"delete from main.{name} using (select {key} {accepted}) c where {on}")
    connection.execute(
        f"insert into main.{name} select {stored} from {good} anti join clash using ({key}) "
        f"union all select {stored} {accepted}"
    )
    for used in ("clash", "held", "contested"):
        connection.execute(f"drop table temp.{used}")
