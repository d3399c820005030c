"""Kept tables whose logs have no row are made empty without a query: they are what the queries would give."""

from collections.abc import Iterator

import duckdb
import pytest

from rqa.measures.keep import KEPT, PLANS, WORKING, keep, keep_sql
from rqa.measures.kept_empty import COLUMNS, RESTS_ON
from rqa.store.ddl import create_statements
from tests.cases import some_slow
from tests.made_once import Shelf
from tests.workspaces import asked, engine

MADE = (*PLANS, *WORKING, *KEPT)


def make(connection: duckdb.DuckDBPyConnection) -> dict[str, tuple[int, str]]:
    """How many rows each table has that is made by its query, and its columns."""
    found = {}
    for name in MADE:
        query = f"from depot.main.{name}" if name in PLANS else keep_sql(name)
        connection.execute(f"create temp table {name} as {query}")
        described = connection.execute(f"describe temp.{name}").fetchall()
        ((rows,),) = connection.execute(f"select count(*) from temp.{name}").fetchall()
        found[name] = (rows, ", ".join(f"{column} {kind}" for column, kind, *_ in described))
    return found


def forget(connection: duckdb.DuckDBPyConnection) -> None:
    for name in MADE:
        connection.execute(f"drop table if exists temp.{name}")


@pytest.fixture
def workshop(shelf: Shelf) -> Iterator[duckdb.DuckDBPyConnection]:
    with asked(shelf.workshop() / "depot.duckdb") as connection:
        yield connection
        forget(connection)


NEEDS = sorted({need for of in RESTS_ON.values() for need in of.split(", ")})


@pytest.mark.parametrize("needs", some_slow(NEEDS, ["steps"]))
def test_without_what_they_rest_on_they_have_no_row(workshop: duckdb.DuckDBPyConnection, needs: str) -> None:
    """In a workshop where nothing else is missing."""
    logs = needs.split(" or ")
    for log in logs:
        workshop.execute(f"create temp table {log} as from depot.main.{log} limit 0")
    try:
        made = make(workshop)
    finally:
        for log in logs:
            workshop.execute(f"drop table temp.{log}")
    resting = [name for name, of in RESTS_ON.items() if needs in of.split(", ")]
    assert resting
    assert {name: made[name][0] for name in resting} == dict.fromkeys(resting, 0)
    assert any(rows for name, (rows, _) in made.items() if name not in resting)


def test_a_store_without_rows_has_what_the_queries_give() -> None:
    """Rows that were kept go when the rows do that they rest on; the columns are those of the queries."""
    assert set(COLUMNS) == set(RESTS_ON) == {*MADE} - {"held_beside_logs"}
    with engine() as connection:
        connection.execute("attach ':memory:' as depot")
        connection.execute("use depot")
        try:
            for statement in create_statements():
                connection.execute(statement)
            connection.execute(
                "insert into jobs (job_id, unit_id, opened_at, closed_at, closed_on, disposition, site) values "
                "('J1', 'U1', timestamp '2024-01-01', timestamp '2024-01-02', date '2024-01-02', 'repaired', 'Alder')"
            )
            keep(connection)
            assert connection.execute("select count(*) from links").fetchall() == [(1,)]
            connection.execute("delete from jobs")
            keep(connection)
            held = {name: connection.execute(f"from {name}").fetchall() for name in KEPT}
            assert held == {name: [] for name in KEPT}
            made = make(connection)
            assert {name: made[name] for name in COLUMNS} == {name: (0, columns) for name, columns in COLUMNS.items()}
        finally:
            forget(connection)
            connection.execute("use memory")
            connection.execute("detach depot")
