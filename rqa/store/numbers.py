"""Numbers that a source does not give (attempt, run, step_seq, line), derived from time order, then from row order.

A row without them has no key of its own, so rows of the same content are told apart by their number within a file: the
n-th row of a content stands for the n-th row of that content in every file, and is that of the earliest file that has
as many.
"""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal
from rqa.intake.names import FILE_NO, inner
from rqa.store.changed_jobs import TOUCHED, touch
from rqa.store.order import ORDER
from rqa.store.verdicts import (
    CHANGED,
    CONTENT,
    CORRECTED,
    NTH,
    OLD_PLACE,
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

FAR = "timestamp '9999-12-31'"
NEW, CHOSEN, FIRST, AT = inner("new"), inner("chosen"), inner("first"), inner("at")


def settle_unnumbered(
    connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], places: Places
) -> None:
    """Bring the store's rows up to date with `good_rows`, which came without numbers and get them afterwards.

    Raises `RowsNeededError`, with nothing written, where the store does not hold what is needed.
    """
    name, stored, content = table.name, stored_columns(table), content_columns(table, derived)
    plain = ", ".join(content)
    nth = f"row_number() over (partition by source_file, {plain} order by source_row, {FILE_NO})"
    if not any_row(connection, "select 1 from mine"):
        _insert_first(connection, table, places, plain, nth)
        return
    loose_and_lost(connection, content)
    contents = f"select {plain} from loose union select {plain} from lost"
    connection.execute(f"create or replace temp table turned as {contents}")
    here = same_row(content, "m", "t")
    connection.execute(
        f"create or replace temp table before as select m.*, {as_json(content, 'm.')} as {CONTENT}, row_number() over "
        f"(partition by {', '.join(f'm.{c}' for c in content)} order by m.{OLD_PLACE}, m.source_row) as {NTH} "
        f"from mine m semi join turned t on {here}"
    )
    if unsure(connection) and any_row(connection, "select 1 from before"):
        raise RowsNeededError
    connection.execute(f"""
create or replace temp table members as  -- every row given of these contents: read now, or of a file not read again
with given as (
  select *, {as_json(content)} as {CONTENT}, {nth} as {NTH}, true as {NEW}
  from good_rows g semi join turned t on {same_row(content, "g", "t")}
  union all by name
  select *, false as {NEW} from before where not {CHANGED}
)
select *, row_number() over (partition by {CONTENT}, {NTH} order by {PLACE}, source_row, {FILE_NO}) = 1 as {CHOSEN}
from given""")
    has = f"b.{CONTENT} = m.{CONTENT} and b.{NTH} = m.{NTH}"
    connection.execute(
        f"create or replace temp table arrived as select m.* from members m anti join before b on {has} where {CHOSEN}"
    )
    _count(connection, places, table, derived)
    jobs = f"(select {CONTENT}->>'job_id' as job_id from {{}})"
    for rows in ("arrived", "gone"):
        touch(connection, table, jobs.format(rows))
    # What stands in another place now may follow what it came before, and is numbered anew.
    elsewhere = "m.source_file <> b.source_file or m.source_row <> b.source_row"
    touch(connection, table, jobs.format(f"(select m.* from members m join before b on {has} "
                                         f"where m.{CHOSEN} and ({elsewhere}))"))
    connection.execute(f"insert into temp.to_number select job_id from {jobs.format('members')} "
                       f"union all select job_id from {jobs.format('before')}")
    connection.execute(f"delete from main.{name} where rowid in (select {ROWID} from before)")
    connection.execute(f"insert into main.{name} select {stored} from members where {CHOSEN}")
    for used in ("loose", "lost", "turned", "before", "members", "arrived", "gone"):
        connection.execute(f"drop table temp.{used}")


def _insert_first(connection: duckdb.DuckDBPyConnection, table: Table, places: Places, plain: str, nth: str) -> None:
    """Insert the rows of files of which the store holds none."""
    connection.execute(f"create or replace temp table given as select *, {nth} as {NTH} from good_rows")
    chosen = "given"
    if any_row(connection, "select 1 from given having count(distinct source_file) > 1"):
        chosen = "once"
        earliest = f"row_number() over (partition by {NTH}, {plain} order by {PLACE}, source_row, {FILE_NO})"
        connection.execute(f"create or replace temp table once as from given qualify {earliest} = 1")
    sql = f"select {FILE_NO}, count(*) from {{}} group by all"
    accepted = connection.execute(sql.format(chosen)).fetchall()
    count_into(places.verdicts, "accepted", accepted)
    count_into(places.verdicts, "known", connection.execute(sql.format("given")).fetchall())
    count_into(places.verdicts, "known", [(f, -n) for f, n in accepted])
    connection.execute(f"insert into main.{table.name} select {stored_columns(table)} from {chosen}")
    touch(connection, table, chosen)
    connection.execute(f"insert into temp.to_number select distinct job_id from {chosen}")
    connection.execute("drop table given")
    connection.execute("drop table if exists temp.once")


def _count(connection: duckdb.DuckDBPyConnection, places: Places, table: Table, derived: Sequence[str]) -> None:
    """Count what became of the rows, and keep those that no file gives any more, with the reason."""
    accepted = connection.execute(f"select {FILE_NO}, count(*) from arrived where {NEW} group by all").fetchall()
    read = connection.execute(f"select {FILE_NO}, count(*) from good_rows group by all").fetchall()
    count_into(places.verdicts, "accepted", accepted)
    count_into(places.verdicts, "known", [*read, *((f, -n) for f, n in accepted)])
    by_label(
        connection,
        places.repeats,
        f"select source_file, count(*) from members where not {NEW} and not {CHOSEN} group by all",
    )
    has = f"b.{CONTENT} = m.{CONTENT} and b.{NTH} = m.{NTH}"
    connection.execute(f"create or replace temp table gone as select b.* from before b anti join members m on {has}")
    ((left,),) = connection.execute("select count(*) from gone").fetchall()
    places.left += left
    # A row where the same file had another for the same job and step (or test) is its correction.
    kinds = [table.column(k).numbered if k in derived else k for k in table.key]
    place = ["source_file", "source_row", *(k for k in kinds if k != "row")]
    own = f"(select {', '.join(place)} from arrived where {NEW} group by all) a"
    here = same_row(place, "g", "a")
    connection.execute(
        f"insert into main.superseded select {places.load_id}, {literal(table.name)}, g.source_file, g.source_row, "
        f"a.source_file, a.source_row, {as_json(table.key, 'g.')}, g.{CONTENT}, "
        f"case when a.source_file is null then o.reason else {literal(CORRECTED)} end "
        f"from gone g left join {own} on {here} join temp.{ORDER} o on g.source_file = o.source_file"
    )


def begin_numbers(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the list of jobs whose rows must be numbered, empty for a table that nothing was done to yet."""
    connection.execute("create or replace temp table to_number (job_id VARCHAR)")


def number_jobs(connection: duckdb.DuckDBPyConnection, table: Table, kinds: Sequence[str], *, everything: bool) -> None:
    """Derive the numbers of the rows that lack them, of the jobs that were changed or of all.

    `kinds` are the sets of numbers that files lack ("" for none). Rows are in order of time, then of their file, then
    of their row. Where a job has rows with numbers and rows without, those without are numbered behind the others.
    """
    before: list[str] = [""] if "" in kinds else []
    for kind in sorted(k for k in kinds if k):
        changed = "" if everything else (
            "semi join (select job_id from temp.to_number union select job_id from temp."
            f"{TOUCHED} where table_name = {literal(table.name)}) c using (job_id)"
        )
        connection.execute(
            f"create or replace temp table mingled as select m.*, m.rowid as {ROWID}, o.place as {PLACE} "
            f"from main.{table.name} m join temp.{ORDER} o on m.source_file = o.source_file "
            f"and o.derive = {literal(kind)} {changed}"
        )
        _number(connection, table, kind.split(" "), before)
        before.append(kind)


def _number(connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], before: Sequence[str]) -> None:
    """Number the rows of `mingled` anew; rows of the kinds `before` have their numbers."""
    name, stored = table.name, stored_columns(table)
    time = f"coalesce({', '.join(table.order)}, {FAR})" if table.order else FAR
    order = ", ".join([time, PLACE, "source_row", *(n for n in table.names if n not in derived)])
    sql = f"select *, row_number() over (partition by job_id order by {order}) as {AT} from mingled"
    others = f"(select m.* from main.{name} m join temp.{ORDER} o on m.source_file = o.source_file " + (
        f"and o.derive in ({', '.join(literal(k) for k in before)}))" if before else "and false)"
    )
    for column in (c for c in table.columns if c.name in derived):
        if column.numbered == "row":
            rest = ", ".join(k for k in table.key if k != column.name)
            number = f"row_number() over (partition by {rest} order by {AT})"
            group = rest
        else:
            sql = f"select *, min({AT}) over (partition by job_id, {column.numbered}) as {FIRST} from ({sql})"
            number, group = f"dense_rank() over (partition by job_id order by {FIRST})", "job_id"
        if before:
            sql = (
                f"select m.* replace ({number} + coalesce(n.{NTH}, 0) as {column.name}) from ({sql}) m "
                f"left join (select {group}, max({column.name}) as {NTH} from {others} group by all) n using ({group})"
            )
        else:
            sql = f"select * replace ({number} as {column.name}) from ({sql})"
        if column.numbered != "row":
            sql = f"select * exclude ({FIRST}) from ({sql})"
    connection.execute(f"create or replace temp table numbered as {sql}")
    connection.execute(f"delete from main.{name} where rowid in (select {ROWID} from mingled)")
    connection.execute(f"insert into main.{name} select {stored} from numbered")
    connection.execute("drop table numbered")
    connection.execute("drop table mingled")
