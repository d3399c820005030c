"""Which jobs a load changed, so that what is kept of the others need not be made again."""

import duckdb

from rqa.contract import Table
from rqa.intake.literals import literal

TOUCHED = "touched"
"""The temporary table of what a load changed: table, job; a job of NULL stands for all of them."""


def begin(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the table anew, for a load that has changed nothing yet."""
    connection.execute(f"create or replace temp table {TOUCHED} (table_name VARCHAR, job_id VARCHAR)")


def touch(connection: duckdb.DuckDBPyConnection, table: Table, rows: str) -> None:
    """Note the jobs whose rows of `table` are changed: those of `rows`, SQL for a FROM clause with `job_id`."""
    job = "job_id" if "job_id" in table.names else "null"
    connection.execute(f"insert into temp.{TOUCHED} select distinct {literal(table.name)}, {job} from {rows}")


def touch_all(connection: duckdb.DuckDBPyConnection, table: Table) -> None:
    """Note that any row of `table` may be another one now."""
    connection.execute(f"insert into temp.{TOUCHED} values ({literal(table.name)}, null)")
