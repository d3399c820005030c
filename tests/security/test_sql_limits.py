"""SQL of a mapping that never ends, or that asks for all memory, ends at a stated limit with nothing left behind."""

import resource
import threading
from typing import Any

import duckdb
import pytest

from rqa.errors import MappingError
from rqa.store.doing import Doing
from rqa.store.mapping_sql import expression_faults
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

ENDLESS = "(with recursive r as (select 1 as n union all select n + 1 from r) select count(*)::varchar from r)"


def _mapping(**entry: Any) -> dict[str, Any]:
    return {
        "workspace": {"sql_minutes": 0.01},
        "files": {"log": {"path": "jobs.csv"}},
        "table": [{"table": "jobs", **entry}],
    }


@pytest.mark.parametrize(
    "entry",
    some_slow([
        {"from": "log", "columns": {"complaint": {"sql": f"job_id || {ENDLESS}"}}},
        {"from": "log", "where": f"job_id <> {ENDLESS}"},
        {"select": f"select *, {ENDLESS} as complaint from log"},
    ], 1),
    ids=["column", "where", "select"],
)
def test_endless_sql_is_stopped_and_leaves_nothing(ws: Workspace, entry: dict[str, Any]) -> None:
    ws.write("jobs.csv", csv_of(job()))
    threads = threading.active_count()
    with pytest.raises(MappingError, match=r"did not end within 0\.01 minutes over .*set sql_minutes"):
        ws.load(_mapping(**entry))
    assert sorted(p.name for p in ws.folder.iterdir()) in (["jobs.csv"], ["depot.duckdb.lock", "jobs.csv"])
    assert threading.active_count() == threads


@pytest.mark.parametrize(
    "sql",
    some_slow(["list_sum(range(3000000000))::varchar", "list_sum(range(len(job_id) * 400000000))::varchar",
     pytest.param("replace(repeat(job_id, 100000), 'J', repeat(job_id, 1000))", marks=pytest.mark.long)], 1),
)
def test_sql_that_asks_for_all_memory_is_refused_within_the_limit(ws: Workspace, sql: str) -> None:
    ws.write("jobs.csv", csv_of(job("J" * 9)))
    before = resource.getrlimit(resource.RLIMIT_DATA)
    told = r"table\.1 \(jobs\): its SQL \(columns\.complaint\.sql\) asks for more memory at once than a load may take"
    with pytest.raises(MappingError, match=told):
        ws.load(_mapping(**{"from": "log", "columns": {"complaint": {"sql": sql}}}) | {"workspace": {}})
    assert resource.getrlimit(resource.RLIMIT_DATA) == before
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < 4 * 1024 * 1024, "kB"


@pytest.mark.long
def test_texts_that_grow_without_end_are_told_by_the_column_that_makes_them(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job("J" * 9)))
    grown = {"complaint": {"column": "job_id", "replace": [["J", "J" * 1000]] * 4}}
    with pytest.raises(MappingError, match=r"its replace \(columns\.complaint\.replace\) asks for more memory at once"):
        ws.load(_mapping(**{"from": "log", "columns": grown}) | {"workspace": {"sql_minutes": 5}})


@pytest.mark.parametrize(
    ("computed", "own"),
    [
        (("where",), "SQL (where)"),
        (("columns.found.replace",), "replace (columns.found.replace)"),
        (("where", "columns.found.replace"), "SQL or replace (where and columns.found.replace)"),
    ],
)
def test_what_an_entry_computes_is_told_by_its_name_and_place(computed: tuple[str, ...], own: str) -> None:
    doing = Doing("table.1 (jobs)", "jobs.csv", ("jobs.csv",), computed, 60)
    assert doing.too_late.startswith(f"table.1 (jobs): its {own} did not end within 1 minute")
    assert doing.too_much == f"table.1 (jobs): its {own} asks for more memory at once than a load may take"


@pytest.mark.parametrize(
    "sql",
    ["lpad(job_id, n::integer * n::integer, 'b')", "rpad(job_id, n::integer * n::integer, 'b')",
     "repeat(job_id, n::int * 9)", "list_resize([1], n::bigint * n::bigint)::varchar",
     "array_resize([1], n::bigint * n::bigint, 2)::varchar", "bitstring('1', n::integer * n::integer)::varchar",
     "model.lpad(n::integer * n::integer, 'b')"],
)
def test_a_computed_number_asks_for_no_text_without_end(ws: Workspace, sql: str) -> None:
    """The engine hears of no interruption within one such call, and one of these fills memory sign by sign."""
    ws.write("jobs.csv", csv_of(job() | {"n": "40000"}))
    with pytest.raises(MappingError, match=r"\w+\(\) is asked for (1,600,000,000|360,000); 100,000 is the most"):
        ws.load(_mapping(**{"from": "log", "columns": {"complaint": {"sql": sql}}}) | {"workspace": {}})
    small = sql.replace("n::", "'2'::")
    ws.load(_mapping(**{"from": "log", "columns": {"complaint": {"sql": small}}}) | {"workspace": {}})
    with duckdb.connect() as engine:
        expected = engine.execute(f"select {small} from (select 'J1' as job_id, 'Quern' as model)").fetchone()
    assert ws.rows("select complaint from jobs") == [expected]


@pytest.mark.parametrize("before", ["main", "system.main", 'SYSTEM."MAIN"', "pg_catalog", "temp.main"])
def test_no_name_of_the_engine_leads_round_the_limit(before: str) -> None:
    assert expression_faults(f"{before}.lpad(id, n, 'b')") == ["write lpad() without what stands before it"]
    assert expression_faults(f"{before}.trim(id)") == []


@pytest.mark.parametrize("call", ["lpad(id, 2000000000, 'b')", "rpad(id, 100001, 'b')", "repeat('x', 100000000)"])
def test_a_number_asks_for_no_text_without_end(call: str) -> None:
    assert "100,000 is the most" in str(expression_faults(call))
    assert expression_faults("lpad(id, 6, '0')") == []
