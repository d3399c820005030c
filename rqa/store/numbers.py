"""Numbers that a source does not give (attempt, run, step_seq, line), derived from time order, then from row order."""

from collections.abc import Sequence

import duckdb

from rqa.contract import Table
from rqa.intake.sources import literal
from rqa.store.touched import touch
from rqa.store.verdicts import Places, as_json, count_into, stored_columns

FAR = "timestamp '9999-12-31'"


def number_rows(connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], places: Places) -> None:
    """Insert the rows of `good_rows`, which came without numbers, and number them with the stored rows of their jobs.

    Such a row has no key of its own, so "known" is judged by content: the n-th row of the same content within a file
    is the n-th row of that content in the store. A row that stands where the same file had another for the same job
    and step (or test) is its correction, if the file gives the other no more.
    """
    name, stored = table.name, stored_columns(table)
    content = [n for n in table.names if n not in derived]
    plain = ", ".join(content)
    nth = f"row_number() over (partition by source_file, {plain} order by source_row) as nth"
    connection.execute(f"create or replace temp table fresh as select {stored}, file_no, {nth} from good_rows")
    of_store = f"row_number() over (partition by {plain} order by source_file, source_row) as nth"
    connection.execute(
        f"create or replace temp table held as "
        f"select {stored}, {of_store} from main.{name} semi join fresh using (job_id)"
    )
    match = " and ".join(f"a.{c} is not distinct from b.{c}" for c in content) + " and a.nth = b.nth"
    connection.execute(
        f"create or replace temp table seen as select a.file_no, a.source_row from fresh a semi join held b on {match} "
        f"union select a.file_no, a.source_row from fresh a semi join fresh b on {match} and b.file_no < a.file_no"
    )
    # Stored rows that no row read matches are open to correction.
    connection.execute(f"create or replace temp table unmatched as select * from held a anti join fresh b on {match}")
    count_into(
        places.verdicts,
        "known",
        connection.execute("select file_no, count(*) from seen group by all").fetchall(),
    )
    connection.execute("delete from fresh f using seen s where f.file_no = s.file_no and f.source_row = s.source_row")
    accepted = connection.execute("select file_no, count(*) from fresh group by all").fetchall()
    count_into(places.verdicts, "accepted", accepted)
    rest = [table.column(k).numbered if k in derived else k for k in table.key]
    place = ["source_file", "source_row", *(k for k in rest if k != "row")]
    same_place = " and ".join(f"u.{c} = f.{c}" for c in place)
    connection.execute(
        f"create or replace temp table gone as select u.* from unmatched u semi join fresh f on {same_place}"
    )
    connection.execute(
        f"insert into main.superseded select {places.load_id}, {literal(name)}, source_file, source_row, source_file, "
        f"source_row, {as_json(table.key)}, {as_json(table.names)} from gone"
    )
    on = " and ".join(f"{name}.{c} = g.{c}" for c in place)
    connection.execute(f"delete from main.{name} using gone g where {on}")
    connection.execute(f"insert into main.{name} select {stored} from fresh order by file_no, source_row")
    touch(connection, table, "fresh")
    renumber(connection, table, derived, "fresh")
    for used in ("fresh", "held", "seen", "unmatched", "gone"):
        connection.execute(f"drop table {used}")


def renumber(connection: duckdb.DuckDBPyConnection, table: Table, derived: Sequence[str], arrived: str) -> None:
    """Derive the numbers of all rows of the jobs that `arrived` has rows of.

    Rows of one time stand in the order in which they came: stored rows as they were numbered, then new rows (which
    have no number yet) by file and row.
    """
    name, stored = table.name, stored_columns(table)
    time = f"coalesce({', '.join(table.order)}, {FAR})" if table.order else FAR
    order = ", ".join([time, "file_no", *derived, "source_row"])
    connection.execute(
        f"create or replace temp table mingled as "
        f"select {stored}, case when m.{derived[0]} is null then coalesce(a.file_no, 0) else -1 end as file_no "
        f"from main.{name} m semi join {arrived} using (job_id) "
        f"left join (select source_file, min(file_no) as file_no from {arrived} group by all) a using (source_file)"
    )
    steps = [f"select *, row_number() over (partition by job_id order by {order}) as place from mingled"]
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
    connection.execute(f"delete from main.{name} using (select distinct job_id from mingled) j "
                       f"where {name}.job_id = j.job_id")  # fmt: skip
    connection.execute(f"insert into main.{name} select {stored} from ({steps[-1]})")
    connection.execute("drop table mingled")
