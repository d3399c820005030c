"""The tables a load keeps, so that a question asked again costs a look-up: links and counts, each made by one file."""

from importlib.resources import files
from typing import TYPE_CHECKING

from rqa.errors import StoreError

if TYPE_CHECKING:
    import duckdb

WORKING = ("job_sequence",)
"""Made on the way and dropped again."""

KEPT = ("overlapping_jobs", "links", "comeback_counts", "step_counts", "test_counts", "clean_counts")
"""The kept tables, in the order in which they build on each other; each is the result of `keep_<name>.sql`."""


def keep_sql(name: str) -> str:
    """The SELECT behind one kept or working table."""
    return (files("rqa.measures") / "sql" / f"keep_{name}.sql").read_text(encoding="utf-8")


def keep(connection: "duckdb.DuckDBPyConnection") -> None:
    """Make the kept tables anew from the rows, inside whatever transaction the connection is in."""
    import duckdb

    name = ""
    try:
        for name in WORKING:
            connection.execute(f"create or replace temp table {name} as {keep_sql(name)}")
        for name in KEPT:
            connection.execute(f"create or replace table main.{name} as {keep_sql(name)}")
        for name in WORKING:
            connection.execute(f"drop table temp.{name}")
    except duckdb.Error as error:
        raise StoreError(f"keep_{name}.sql: {error}") from error
