"""SQL of a mapping that never ends, or that asks for all memory, ends at a stated limit with nothing left behind."""

import resource
import threading
from typing import Any

import pytest

from rqa.errors import MappingError
from rqa.store.mapping_sql import expression_faults
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
    [
        {"from": "log", "columns": {"complaint": {"sql": f"job_id || {ENDLESS}"}}},
        {"from": "log", "where": f"job_id <> {ENDLESS}"},
        {"select": f"select *, {ENDLESS} as complaint from log"},
    ],
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
    ["list_sum(range(3000000000))::varchar", "list_sum(range(len(job_id) * 400000000))::varchar",
     "repeat(job_id, length(job_id) * 45000000)"],
)
def test_sql_that_asks_for_all_memory_is_refused_within_the_limit(ws: Workspace, sql: str) -> None:
    ws.write("jobs.csv", csv_of(job("J" * 9)))
    before = resource.getrlimit(resource.RLIMIT_DATA)
    with pytest.raises(MappingError, match=r"table\.1 \(jobs\).*more memory at once than a load may take"):
        ws.load(_mapping(**{"from": "log", "columns": {"complaint": {"sql": sql}}}) | {"workspace": {}})
    assert resource.getrlimit(resource.RLIMIT_DATA) == before
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < 4 * 1024 * 1024, "kB"


@pytest.mark.parametrize("call", ["lpad(id, 2000000000, 'b')", "rpad(id, 100001, 'b')", "repeat('x', 100000000)"])
def test_a_number_asks_for_no_text_without_end(call: str) -> None:
    assert "100,000 is the most" in str(expression_faults(call))
    assert expression_faults("lpad(id, 6, '0')") == []
