"""Rows that were accepted and are worth a look: names nobody declared, clocks that were changed, times to come."""

from collections.abc import Sequence
from datetime import datetime

import duckdb

UNKNOWN = {
    "unknown step": "select 'steps', step, count(*), min(source_row) from steps where step not in (select step from procedures) "
    "and exists (select 1 from procedures) group by step",
    "unknown test": "select 'diagnostics', test, count(*), min(source_row) from diagnostics where test not in "
    "(select test from tests) and exists (select 1 from tests) group by test",
    "unknown model": "select 'jobs', model, count(*), min(source_row) from jobs where not list_contains($models, model) "
    "and len($models) > 0 group by model",
    "unknown procedure": "select 'jobs', procedure, count(*), min(source_row) from jobs where procedure not in "
    "(select procedure from procedures) and exists (select 1 from procedures) group by procedure",
    "dated after the load": "select 'jobs', null, count(*), min(source_row) from jobs where opened_at > $now or closed_at > $now "
    "having count(*) > 0",
}  # fmt: skip
JOBLESS = ("steps", "diagnostics", "parts")


def write_remarks(connection: duckdb.DuckDBPyConnection, models: Sequence[str], now: datetime, load_id: int) -> None:
    """Write this load's remarks; the earlier ones about names are replaced, as they speak of the whole store."""
    connection.execute(
        "delete from remarks where remark like 'unknown %' or remark = 'dated after the load' or remark like 'no job%'"
    )
    for remark, sql in UNKNOWN.items():
        needed = {n: v for n, v in (("models", list(models)), ("now", now)) if f"${n}" in sql}
        connection.execute(
            f"insert into remarks select {load_id}, t, null, '{remark}', v, n, r from ({sql}) as found(t, v, n, r)",
            needed,
        )
    for table in JOBLESS:
        connection.execute(
            f"insert into remarks select {load_id}, '{table}', source_file, 'no job of that id in the store', min(job_id), "
            f"count(*), min(source_row) from {table} anti join jobs using (job_id) group by source_file"
        )


def write_clock_remarks(connection: duckdb.DuckDBPyConnection, table: str, load_id: int) -> None:
    """Note the staged rows of one table whose clock reading fell into an hour that was skipped or came twice."""
    connection.execute(
        f"insert into main.remarks select {load_id}, '{table}', source_file, case when clock like '%skipped' then "
        "'clock skipped (daylight saving), moved on by the hour' else 'clock repeated (daylight saving), read as the second pass' end, "
        f"split_part(clock, ' ', 1), count(*), min(source_row) from temp.placed_{table} "
        "where clock is not null and broken is null and not left_out group by all"
    )
