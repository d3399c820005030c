"""Rows that bring their own key: the latest row of each key stands, and the others are kept as superseded.

The rows of a key follow each other in the order of their files, then of their rows. A row that says what the one before
it says repeats it; the first row of the last such run stands, the first of each earlier one is superseded by the next.
So a load that reads some files again takes out what the store holds of them, and puts the runs together anew; the
result is that of reading all files. Only keys with more than one row, or with another than before, are looked at.
"""

import json
from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal
from rqa.intake.names import FILE_NO, inner
from rqa.store.changed_jobs import touch, touch_all
from rqa.store.ddl import columns
from rqa.store.order import ORDER
from rqa.store.swap_in_staging import MOST_STRETCHES, stretches, swap_in_staging
from rqa.store.verdicts import (
    CHANGED,
    CONTENT,
    CORRECTED,
    KEY,
    LATER,
    PLACE,
    ROWID,
    Places,
    RowsNeededError,
    any_row,
    as_json,
    by_label,
    content_columns,
    count_into,
    loose_and_lost,
    same_row,
    stored_columns,
    unsure,
)

FROM, STARTS, FOUND, NEXT_FILE, NEXT_ROW, LOADED = (
    inner(n) for n in ("from", "starts", "found", "next_file", "next_row", "loaded")
)
BITS, BIT, DOUBTFUL = "key_bits", inner("bit"), "doubtful_jobs"
MANY_ROWS = 200_000
"""From so many staged rows on, most keys are told apart by bits."""
MOST_BITS = 120
"""So many values have a bit each in a number of 128 bits with a sign."""
READ, STOOD, STANDS, REPLACED, REPEATS = "read", "stood", "stands", "replaced", "repeats"
"""Where a row of a contested key comes from: read now, or held by the store, standing or replaced; and what becomes of
it: it stands, is replaced by a later one, or repeats the one before it."""


def settle_keys(connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], places: Places) -> None:
    """Bring the store's rows up to date with `good_rows`; the numbers `derived` are given afterwards.

    In the key the column that such a number counts stands for it. Raises `RowsNeededError`, with nothing written, where
    the store does not hold what is needed.
    """
    name = table.name
    key_columns = [table.column(k).numbered if k in derived else k for k in table.key]
    key, stored, content = ", ".join(key_columns), stored_columns(table), content_columns(table, derived)
    _superseded_rows(connection, table, content, derived)
    if not any_row(connection, "select 1 from mine") and not any_row(connection, "select 1 from past"):
        connection.execute(f"create or replace temp table clash as {_met_twice(connection, table, key_columns)}")
        _forget_bits(connection)
        if not any_row(connection, "select 1 from clash"):
            _insert_all(connection, table, places)
            return
        loose = "good_rows"
    else:
        loose = "loose"
        loose_and_lost(connection, content)
        connection.execute(
            f"create or replace temp table clash as {_met_twice(connection, table, key_columns)} "
            f"union select {key} from mine semi join loose using ({key}) union select {key} from lost "
            f"union select {key} from past where {CHANGED}"
        )
    held = [f"select 1 from {rows} semi join clash using ({key})" for rows in ("mine", "past")]
    if unsure(connection) and any(any_row(connection, sql) for sql in held):
        raise RowsNeededError
    new = f"{loose} anti join clash using ({key})"
    settled = f"(from good_rows anti join clash using ({key}))"
    _count(connection, places, "known", f"{settled} anti join {loose} using ({key})")
    _count(connection, places, "accepted", new)
    _fold(connection, key_columns, content)
    _tell(connection, places)
    touch(connection, table, new)
    touch(connection, table, f"(select {KEY}->>'job_id' as job_id from turned)")
    if derived:
        # What stands in another place now may follow what it came before, and is numbered anew.
        touch(connection, table, f"(select {KEY}->>'job_id' as job_id from folded where {FOUND} = '{STANDS}')")
    _keep_superseded(connection, table, places)
    gone = f"select {ROWID} from mine semi join clash using ({key})"
    connection.execute(f"create or replace temp table fresh as select {stored} from {new}")
    connection.execute(f"delete from main.{name} where rowid in ({gone})")
    connection.execute(
        f"insert into main.{name} select {stored} from fresh union all select {stored} from folded "
        f"where {FOUND} = '{STANDS}'"
    )
    _forget_bits(connection)
    for used in ("clash", "folded", "before", "turned", "unheld", "fresh"):
        connection.execute(f"drop table temp.{used}")
    connection.execute("drop table if exists temp.loose")
    connection.execute("drop table if exists temp.lost")


def _met_twice(connection: duckdb.DuckDBPyConnection, table: Table, key_columns: Sequence[str]) -> str:
    """SELECT of the keys that more than one good row has.

    To group many rows by their whole key takes long, and memory. A log has few rows a job, and of most keys the last
    part, a number, is 1; of these rows the other parts are marked in a bit set for each job. Where a job has fewer bits
    than rows, and where rows have another number or no bit, the keys are compared.
    """
    key = ", ".join(key_columns)
    plain = f"select {key} from good_rows group by all having count(*) > 1"
    of_job, *rest = key_columns
    if tuple(key_columns) != table.key or len(rest) not in (1, 2) or table.column(rest[-1]).kind != "integer":
        return plain
    ((rows,),) = connection.execute(f"select count(*) from stage_{table.name}").fetchall()
    if rows < MANY_ROWS:
        return plain
    marked, from_rows, number = rest[0], "good_rows", "true" if len(rest) == 1 else f"{rest[1]} = 1"
    bit = f"{marked}::integer"
    if table.column(marked).kind != "integer":
        connection.execute(
            f"create or replace temp table {BITS} as select {marked}, row_number() over ()::integer - 1 as {BIT} "
            f"from (select distinct {marked} from good_rows)"
        )
        ((values,),) = connection.execute(f"select count(*) from temp.{BITS}").fetchall()
        if values > MOST_BITS:
            return plain
        bit, from_rows, has_bit = BIT, f"good_rows join temp.{BITS} using ({marked})", number
    else:
        has_bit = f"{marked} between 0 and {MOST_BITS - 1} and {number}"
    connection.execute(
        f"create or replace temp table {DOUBTFUL} as select {of_job} from {from_rows} where {has_bit} "
        f"group by {of_job} having bit_count(bit_or(1::hugeint << {bit})) < count(*)"
    )
    no_bit = f"not ({has_bit})"
    return (
        f"select {key} from good_rows semi join temp.{DOUBTFUL} using ({of_job}) group by all having count(*) > 1 "
        f"union select {key} from good_rows where {no_bit} group by all having count(*) > 1"
    )


def _forget_bits(connection: duckdb.DuckDBPyConnection) -> None:
    for made in (BITS, DOUBTFUL):
        connection.execute(f"drop table if exists temp.{made}")


def _insert_all(connection: duckdb.DuckDBPyConnection, table: Table, places: Places) -> None:
    """Insert rows whose keys are all new and each met once."""
    rows = connection.execute(f"select {FILE_NO}, count(*) from good_rows group by all").fetchall()
    count_into(places.verdicts, "accepted", rows)
    good = sum(n for _, n in rows)
    if not good:
        return
    if places.adoptable and len(stretches(places.adoptable)) <= MOST_STRETCHES:
        swap_in_staging(connection, table, places.adoptable, sum(f.rows for f in places.adoptable) - good)
        places.adopted = True
        touch_all(connection, table)
    else:
        touch(connection, table, "good_rows")
        connection.execute(f"insert into main.{table.name} select {stored_columns(table)} from good_rows")


def _count(connection: duckdb.DuckDBPyConnection, places: Places, what: str, rows: str) -> None:
    sql = f"select {FILE_NO}, count(*) from {rows} group by all"
    count_into(places.verdicts, what, connection.execute(sql).fetchall())


def _superseded_rows(
    connection: duckdb.DuckDBPyConnection, table: Table, content: Sequence[str], derived: Sequence[str]
) -> None:
    """Make `past`: the rows superseded by later ones, their columns taken out of what was kept of them."""
    kinds = dict(columns(table))
    shape = json.dumps({n: [kinds[n][:-2]] if kinds[n].endswith("[]") else kinds[n] for n in content})
    connection.execute(
        f"create or replace temp view past as select unnest(from_json(s.content, {literal(shape)})), s.source_file, "
        f"s.source_row, s.load_id as {LOADED}, s.content as {CONTENT}, s.key_text as {KEY}, o.place as {PLACE}, "
        f"o.changed as {CHANGED}, s.rowid as {ROWID} from main.superseded s "
        f"join temp.{ORDER} o on s.source_file = o.source_file and o.derive = {literal(' '.join(derived))} "
        f"where s.table_name = {literal(table.name)} and s.reason = {literal(LATER)}"
    )


def _fold(connection: duckdb.DuckDBPyConnection, key_columns: Sequence[str], content: Sequence[str]) -> None:
    """Make `folded`: every row of a contested key with what becomes of it; `before`: what stood for these keys;
    `turned`: the keys for which another row stands now, with the file and row of the one that stood."""
    key = ", ".join(key_columns)
    texts = f"{as_json(content)} as {CONTENT}, {as_json(key_columns)} as {KEY}"
    connection.execute(
        f"create or replace temp table before as select *, {texts} from mine semi join clash using ({key})"
    )
    connection.execute(f"""
create or replace temp table folded as
with members as (    -- every row that is given for a contested key: read now, or by a file that was not read again
  select *, {texts}, '{READ}' as {FROM}, null::bigint as {LOADED}
  from good_rows semi join clash using ({key})
  union all by name
  select *, '{STOOD}' as {FROM} from before where not {CHANGED}
  union all by name
  select *, '{REPLACED}' as {FROM} from past semi join clash using ({key}) where not {CHANGED}
), marked as (       -- the first row of each run of rows that say the same
  select *, {CONTENT} is distinct from lag({CONTENT}) over follow as {STARTS}
  from members window follow as (partition by {KEY} order by {PLACE}, source_row, {FILE_NO})
)                    -- with the first row of the next run, which supersedes it
select *, lead(source_file) over starts as {NEXT_FILE}, lead(source_row) over starts as {NEXT_ROW},
  case when not {STARTS} then '{REPEATS}' when lead(source_row) over starts is null and
    lead(source_file) over starts is null then '{STANDS}' else '{REPLACED}' end as {FOUND}
from marked window starts as (partition by {KEY}, {STARTS} order by {PLACE}, source_row, {FILE_NO})""")
    connection.execute(
        f"create or replace temp table turned as select coalesce(b.{KEY}, s.{KEY}) as {KEY}, b.source_file, "
        f"b.source_row, b.{CONTENT}, b.{KEY} is not null as {FOUND} "
        f"from before b full join (from folded where {FOUND} = '{STANDS}') s on b.{KEY} = s.{KEY} "
        f"where b.{CONTENT} is distinct from s.{CONTENT}"
    )


def _tell(connection: duckdb.DuckDBPyConnection, places: Places) -> None:
    """Count what became of the contested rows that were read, and of stored ones."""
    verdict = f"""
case when f.{FOUND} = '{STANDS}' and t.{KEY} is not null then 'accepted'
     when f.{FOUND} = '{REPLACED}' and p.{KEY} is null then 'superseded' else 'known' end"""
    rows = connection.execute(
        f"select f.{FILE_NO}, {verdict}, count(*) from folded f left join turned t on f.{KEY} = t.{KEY} "
        f"left join (select distinct {KEY}, {CONTENT}, source_file from past) p "
        f"on f.{KEY} = p.{KEY} and f.{CONTENT} = p.{CONTENT} and f.source_file = p.source_file "
        f"where f.{FROM} = '{READ}' group by all"
    ).fetchall()
    for file_no, what, n in rows:
        places.verdicts[file_no][what] += n
    held = f"from folded semi join turned using ({KEY}) where {FROM} <> '{READ}' and {FOUND} = '{STANDS}'"
    by_label(connection, places.restored, f"select source_file, count(*) {held} group by all")
    repeats = f"from folded where {FROM} <> '{READ}' and {FOUND} = '{REPEATS}' group by all"
    by_label(connection, places.repeats, f"select source_file, count(*) {repeats}")


def _keep_superseded(connection: duckdb.DuckDBPyConnection, table: Table, places: Places) -> None:
    """Write the rows that are superseded by later ones, and keep those that no file gives any more, with the reason."""
    ((places_left,),) = connection.execute(f"select count(*) from turned where {FOUND}").fetchall()
    places.left += places_left
    # Stored rows that stand or stood superseded, and that their file does not give again.
    connection.execute(
        f"create or replace temp table unheld as "
        f"select {KEY}, {CONTENT}, source_file, source_row from turned where {FOUND} "
        f"union all select {KEY}, {CONTENT}, source_file, source_row from past where {CHANGED}"
    )
    connection.execute(
        f"delete from unheld u using folded f where u.{KEY} = f.{KEY} and u.{CONTENT} = f.{CONTENT} "
        "and u.source_file = f.source_file"
    )
    place = f"{KEY}, {CONTENT}, source_file, source_row"
    known = (
        f"left join (select {place}, min({LOADED}) as {LOADED} from past group by all) p "
        f"on {same_row([KEY, CONTENT, 'source_file', 'source_row'], 'f', 'p')}"
    )
    connection.execute(
        f"create or replace temp table fresh as select coalesce(p.{LOADED}, {places.load_id}), {literal(table.name)}, "
        f"f.source_file, f.source_row, f.{NEXT_FILE}, f.{NEXT_ROW}, f.{KEY}, f.{CONTENT}, {literal(LATER)} "
        f"from folded f {known} where f.{FOUND} = '{REPLACED}'"
    )
    keys = f"select {KEY} from folded union select {KEY} from unheld"
    connection.execute(f"delete from main.superseded where rowid in (select {ROWID} from past where {KEY} in ({keys}))")
    connection.execute("insert into main.superseded from fresh")
    given = f"select {KEY}, source_file, max(source_row) as source_row from folded where {FROM} = '{READ}' group by all"
    own = f"({given}) f on u.{KEY} = f.{KEY} and u.source_file = f.source_file"
    connection.execute(
        f"insert into main.superseded select {places.load_id}, {literal(table.name)}, u.source_file, u.source_row, "
        f"f.source_file, f.source_row, u.{KEY}, u.{CONTENT}, "
        f"case when f.{KEY} is null then o.reason else {literal(CORRECTED)} end "
        f"from unheld u left join {own} join temp.{ORDER} o on u.source_file = o.source_file"
    )
