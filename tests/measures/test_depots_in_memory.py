"""The depots in memory that most tests ask are those that a store in a file would be."""

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings

from rqa.contract import TABLES
from rqa.depot import Depot
from rqa.measures.keep import KEPT, OF_KEPT, OF_ROWS
from rqa.store.engine import open_store
from tests.depots import depot_of, make_store
from tests.examples import examples
from tests.measures.small_depots import START, tables

MACROS = "select distinct function_name from duckdb_functions() where database_name = 'depot'"
VIEWS = "select view_name from duckdb_views() where database_name = 'depot'"


def told(depot: Depot) -> dict[str, Any]:
    """All rows, what is kept of them, what a question makes of them, and which concepts there are."""
    held = {name: depot.query(f"select * from {name} order by all").rows() for name in (*TABLES, *KEPT, "about")}
    answers = (depot.comebacks(by=("model", "month")), depot.first_pass_yield(by=("step",)), depot.data.overlaps())
    asked = {answer.question: (answer.table.rows(), answer.notes) for answer in answers}
    concepts = {name for sql in (MACROS, VIEWS) for (name,) in depot.query(sql).rows()}
    assert {*OF_ROWS, *OF_KEPT} <= concepts
    return held | asked | {"concepts": concepts, "as of": depot.as_of, "people": depot.people}


@settings(max_examples=examples(6))
@given(data=tables())
def test_a_depot_in_memory_is_one_in_a_file(data: dict[str, Any]) -> None:
    """The first depot of the two in memory is gone when the second comes, and nothing of it may be left."""
    as_of = START.date().replace(month=4)
    with tempfile.TemporaryDirectory() as folder:
        with Depot(open_store(make_store(Path(folder) / "depot.duckdb", data)), as_of) as filed:
            due = told(filed)
        person = {"person_columns": [{"table_name": "jobs", "column_name": "bench"}]}
        with depot_of(person | {"jobs": [{"job_id": "X", "unit_id": "X", "opened_at": START}]}, as_of) as before:
            assert told(before) != due
        with depot_of(data, as_of) as depot:
            assert told(depot) == due


def test_two_depots_at_once_hold_their_own_rows() -> None:
    jobs = [{"job_id": f"J{n}", "unit_id": "U", "opened_at": START, "closed_at": START} for n in range(3)]
    with depot_of({"jobs": jobs}) as three, depot_of({"jobs": jobs[:1]}) as one:
        assert [d.query("select count(*) as jobs from jobs")["jobs"][0] for d in (three, one)] == [3, 1]
