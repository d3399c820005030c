"""Rows that bring their own key: each key is settled, so that the store holds its latest row and keeps the others.

Only keys that occur more than once are looked at closely, so a load without corrections costs one check of the keys.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.sources import literal
from rqa.store.adopt import MOST_STRETCHES, adopt, stretches
from rqa.store.numbers import renumber
from rqa.store.touched import touch, touch_all
from rqa.store.verdicts import Places, as_json, count_into, stored_columns


def settle_keys(connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], places: Places) -> None:
    """Insert the rows of `good_rows`; keys met twice are settled one by one.

    `derived` numbers are stood for in the key by the column that they number, and are given afterwards.
    """
    name = table.name
    key_columns = [table.column(k).numbered if k in derived else k for k in table.key]
    key, stored = ", ".join(key_columns), stored_columns(table)
    connection.execute(
        f"create or replace temp table clash as select {key} from good_rows group by all having count(*) > 1 "
        f"union select {key} from main.{name} semi join good_rows using ({key})"
    )
    ((clashes,),) = connection.execute("select count(*) from clash").fetchall()
    if not clashes:
        rows = connection.execute("select file_no, count(*) from good_rows group by all").fetchall()
        if places.adoptable and len(stretches(places.adoptable)) <= MOST_STRETCHES:
            good = sum(n for _, n in rows)
            adopt(connection, table, places.adoptable, sum(f.rows for f in places.adoptable) - good)
            touch_all(connection, table)
        else:
            touch(connection, table, "good_rows")
            connection.execute(f"insert into main.{name} select {stored} from good_rows")
    else:
        sql = f"select file_no, count(*) from good_rows anti join clash using ({key}) group by all"
        rows = connection.execute(sql).fetchall()
        _settle_clashes(connection, table, key_columns, [n for n in table.names if n not in derived], places)
    count_into(places.verdicts, "accepted", rows)
    connection.execute("drop table clash")
    if derived:
        renumber(connection, table, derived, "good_rows")


def _settle_clashes(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    key_columns: Sequence[str],
    content_columns: Sequence[str],
    places: Places,
) -> None:
    name, key, stored = table.name, ", ".join(key_columns), stored_columns(table)
    content, key_text = as_json(content_columns), as_json(key_columns)
    latest = "over (partition by key_text, stale order by file_no desc, source_row desc)"
    connection.execute("create or replace temp table unread (source_file VARCHAR, file_no INTEGER)")
    if places.unread:
        connection.executemany("insert into unread values (?, ?)", list(places.unread.items()))
    connection.execute(f"""
create or replace temp table held as       -- stored rows whose key was read again; how late they are if not read again
select s.*, coalesce(u.file_no, -1) as file_no
from (select {stored}, {content} as content, {key_text} as key_text from main.{name} semi join clash using ({key})) s
left join unread u using (source_file)""")
    connection.execute(f"""
create or replace temp table contested as  -- a row read, its key met more than once
with read_again as (
  select {stored}, file_no, {content} as content, {key_text} as key_text from good_rows semi join clash using ({key})
), replaced as (     -- what corrections have replaced before
  select distinct key_text, content, source_file from main.superseded where table_name = {literal(name)}
), standing as (     -- stored rows that their file still gives, and the last place where it does
  select r.key_text, r.source_file, max(r.source_row) as source_row
  from read_again r join held h on r.key_text = h.key_text and r.content = h.content and r.source_file = h.source_file
  group by all
), marked as (       -- stale: replaced before by a row that still stands, so it must not come back
  select r.*, h.content as held, h.file_no as held_no, h.source_file as held_file, h.source_row as held_row,
    p.key_text is not null and h.content is distinct from r.content
      and (h.source_file <> r.source_file or coalesce(s.source_row > r.source_row, false)) as stale
  from read_again r left join held h using (key_text)
  left join replaced p on p.key_text = r.key_text and p.content = r.content and p.source_file = r.source_file
  left join standing s on s.key_text = r.key_text and s.source_file = r.source_file
), ranked as (       -- beside each row, the latest of its key
  select *, first(content) {latest} as last_content, first(source_file) {latest} as last_file,
    first(source_row) {latest} as last_row, first(file_no) {latest} as last_no, row_number() {latest} as place
  from marked
)
select * replace (
    case when held_no > last_no then held_file else last_file end as last_file,
    case when held_no > last_no then held_row else last_row end as last_row),
  case when stale or content = held then 'known'
       when held_no > last_no then 'superseded'
       when place = 1 then 'accepted'
       when content = last_content then 'known' else 'superseded' end as verdict
from ranked""")
    for what in ("accepted", "known", "superseded"):
        sql = f"select file_no, count(*) from contested where verdict = '{what}' group by all"
        count_into(places.verdicts, what, connection.execute(sql).fetchall())
    book = f"insert into main.superseded select {places.load_id}, {literal(name)}"
    connection.execute(
        f"{book}, source_file, source_row, last_file, last_row, key_text, content "
        "from contested where verdict = 'superseded'"
    )
    # Stored rows that a correction replaces now.
    connection.execute(
        f"{book}, h.source_file, h.source_row, c.source_file, c.source_row, h.key_text, h.content "
        "from held h join contested c using (key_text) where c.verdict = 'accepted'"
    )
    on = " and ".join(f"{name}.{k} = c.{k}" for k in key_columns)
    accepted = "from contested where verdict = 'accepted'"
    for arrived in (f"good_rows anti join clash using ({key})", "contested where verdict = 'accepted'"):
        touch(connection, table, arrived)
    connection.execute(f"delete from main.{name} using (select {key} {accepted}) c where {on}")
    connection.execute(
        f"insert into main.{name} select {stored} from good_rows anti join clash using ({key}) "
        f"union all select {stored} {accepted}"
    )
    for used in ("held", "contested", "unread"):
        connection.execute(f"drop table {used}")
