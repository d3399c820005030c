"""A refused row says which job it belongs to, where that can be read, so that what it lacks is not told as not done."""

from typing import Any

from tests.workspaces import Workspace, csv_of, job

MAPPING: dict[str, Any] = {
    "files": {"jobs": {"path": "jobs.csv"}, "tests": {"path": "tests.csv"}},
    "table": [
        {"table": "jobs", "from": "jobs"},
        {
            "table": "diagnostics",
            "from": "tests",
            "columns": {"job_id": {"column": "Order", "replace": [["^No ", ""]]}},
        },
    ],
}
OF_JOB = "select table_name, source_row, job_id from refused order by all"
RUNS = (
    "Order,test,outcome,run_at\nNo A,soak,??,2024-03-01\nNo A,soak,pass,2024-03-01\n,soak,pass,2024-03-01\n"
    "No B,soak,pass,2024-03-01,more\n"
)


def test_a_refused_row_names_its_job(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job("A"), job("B", opened_at="soon")))
    ws.write("tests.csv", RUNS)
    ws.load(MAPPING)
    expected = [("diagnostics", 2, "A"), ("diagnostics", 4, None), ("diagnostics", 5, None), ("jobs", 3, "B")]
    assert ws.rows(OF_JOB) == expected
    ws.write("jobs.csv", csv_of(job("A"), job("B", opened_at="later")))
    ws.load(MAPPING)
    assert ws.rows(OF_JOB) == expected, "a row that is still refused keeps its job"
