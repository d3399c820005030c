"""Several tables from one file: where, select, names, unchanged files; and a whole event log by its mapping alone."""

import gzip
import itertools
import os
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from rqa.errors import MappingError
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

HERE = Path(__file__).parent


def test_event_log_is_loaded_by_its_mapping_alone(ws: Workspace) -> None:
    shutil.copy(HERE / "event_log.toml", ws.folder / "sources.toml")
    shutil.copy(HERE / "event_log.csv", ws.folder / "log.csv")
    report = ws.load()
    shown = "job_id, unit_id, model, opened_at::varchar, closed_at::varchar, closed_on::varchar, disposition, complaint"
    assert ws.rows(f"select {shown} from jobs order by 1") == [
        ("0007", "17A", "Quern", "2024-07-01 08:00:00", "2024-07-01 09:00:00", "2024-07-01", "repaired", "power"),
        ("0008", "18", "Marl-8", "2024-07-02 08:00:00", None, None, "open", None),
        ("0009", "19", "Quern", "2024-07-03 08:00:00", "2024-07-03 08:30:00", "2024-07-03", "no_fault_found", "case"),
    ]
    shown = "job_id, step_seq, attempt, step, outcome, technician, started_at::varchar, ended_at::varchar, source_row"
    assert ws.rows(f"select {shown} from steps order by 1, 2, 3") == [
        ("0007", 1, 1, "open case", "done", "T01", "2024-07-01 08:00:00", "2024-07-01 08:05:00", 3),
        ("0007", 2, 1, "reseat board", "fail", "T01", "2024-07-01 08:06:00", "2024-07-01 08:20:00", 5),
        ("0007", 2, 2, "reseat board", "pass", "T02", "2024-07-01 08:30:00", "2024-07-01 08:40:00", 7),
        ("0008", 1, 1, "open case", "done", "T01", None, "2024-07-02 08:00:00", 10),
        ("0009", 1, 1, "open case", "done", "T03", None, "2024-07-03 08:00:00", 14),
    ]
    assert ws.rows("select job_id, run, outcome, station from diagnostics order by 1, 2") == [
        ("0007", 1, "pass", "ST1"),
        ("0008", 1, "fail", "ST1"),
    ]
    assert ws.rows("select table_name, source_file, source_row, column_name, value from refused order by all") == [
        ("diagnostics", "log.csv", 12, "outcome", "maybe"),
        ("diagnostics", "log.csv", 13, None, "1 field, 11 names"),
    ]
    assert [(f.table, f.source_file, f.in_file, f.left_out, f.accepted, f.refused) for f in report.files] == [
        ("jobs", "select 1 over log", 3, 0, 3, 0),
        ("steps", "select 2 over log", 5, 0, 5, 0),
        ("diagnostics", "log.csv", 14, 10, 2, 2),
        ("(select)", "log.csv", 14, 1, 13, 0),
    ]
    again = ws.load()
    assert again.total("accepted") == 0
    assert {f.unchanged for f in again.files} == {True}


def select(sql: str, **columns: Any) -> dict[str, Any]:
    return {"table": "jobs", "select": sql, "columns": columns}


TWO_SETS = {n: {"path": f"{n}*.csv", "optional": True} for n in "ab"}
UNSENT = "No file of files.b is there yet, so the SELECT sees no rows and no columns of it"


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        ("select * from a union all by name select * from b", None),
        ("select * from a where not exists (select 1 from b)", None),
        ("select * from a union all select * from b", UNSENT),
        ("select a.* from a left join b using (job_id)", UNSENT),
        ("select * from a where job_id not in (select b.job_id from b)", UNSENT),
        ("select * from c", "'c' is not one of the named files"),
    ],
)
def test_a_select_over_a_set_that_has_no_file_yet(ws: Workspace, sql: str, told: str | None) -> None:
    """It is a set without rows; where the SELECT needs its columns, the fault says which files are not there."""
    ws.write("a1.csv", csv_of(job("A")))
    mapping = {"files": TWO_SETS, "table": [select(sql)]}
    if told:
        with pytest.raises(MappingError, match=re.escape(told)) as caught:
            ws.load(mapping)
        assert "Catalog Error" not in str(caught.value)
        assert not ws.store.exists()
        return
    ws.load(mapping)
    assert ws.rows("select job_id, source_file, source_row from jobs") == [("A", "a1.csv", 2)]
    ws.write("b1.csv", csv_of(job("B")))
    ws.load(mapping)
    assert ws.rows("select job_id from jobs order by 1") == ([("A",), ("B",)] if "union" in sql else [])


def test_a_select_over_sets_that_all_have_no_file_yet(ws: Workspace) -> None:
    ws.load({"files": TWO_SETS, "table": [select("select a.* from a left join b using (job_id)")]})
    assert ws.rows("select job_id from jobs") == []


@pytest.mark.parametrize(
    "name", some_slow(["jobs", "steps", "held", "fresh", "clash", "stage_jobs", "refused", "good_rows", "a"], 4)
)
def test_name_of_files_may_be_any_word(ws: Workspace, name: str) -> None:
    ws.write("1.csv", csv_of(job("A"), job("B")))
    mapping = {"files": {name: {"path": "*.csv"}}, "table": [select(f"select * from {name}")]}
    for number in range(2):
        ws.load(mapping)
        assert ws.rows("select job_id, source_file, source_row from jobs order by 1") == [
            ("A", "1.csv", 2),
            ("B", "1.csv", 3),
        ]
        ws.write("1.csv", csv_of(job("A"), job("B")) + "\n" * number)


def test_records_that_are_no_rows_are_refused_for_the_select(ws: Workspace) -> None:
    lines = ['{"job_id": "A", "n": 1}', "{broken", "", "[1]", '{"job_id": "B"}']
    ws.write("n.jsonl", "\n".join(lines))
    ws.write("j.csv", csv_of(job("A"), job("B")).replace("J", "J") + "short\r\n" + ",".join(job("C").values()) + "\n")
    mapping = {
        "files": {"n": {"path": "n.jsonl"}, "j": {"path": "j.csv"}},
        "table": [
            select("select j.*, n.source_row as place from j left join n using (job_id)", labour_minutes="place")
        ],
    }
    report = ws.load(mapping)
    assert ws.rows("select job_id, source_row, labour_minutes from jobs order by 1") == [
        ("A", 2, 1.0), ("B", 3, 5.0), ("C", 5, None),
    ]
    found = ws.rows("select source_file, source_row, rule, raw from refused where table_name = '(select)' order by all")
    assert found == [
        ("j.csv", 4, "fewer fields than the header names", "short"),
        ("n.jsonl", 2, "not valid JSON", "{broken"),
        ("n.jsonl", 4, "not a JSON object", "[1]"),
    ]
    counts = {f.source_file: (f.in_file, f.accepted, f.refused) for f in report.files if f.table == "(select)"}
    assert counts == {"j.csv": (4, 3, 1), "n.jsonl": (4, 2, 2)}


BROKEN_FILES = {
    "n.jsonl": '{"job_id": "A"}\n{broken\n[1]\n{"job_id": "B"}\n',
    "n.csv": "job_id,x\nA,1\nbroken\nbroken,2,3\nB,4\n",
    "one.csv": "job_id\nA\nbroken,x\nbroken,x\nB\n",
}
"""Two rows and two records that are none."""
OF_JOBS = {"table": "jobs", "from": "f", "columns": {n: {"constant": v} for n, v in job().items() if n != "job_id"}}
OF_PARTS = {"table": "parts", "from": "f", "columns": {n: {"constant": "1"} for n in ("part_no", "line")}}
OVER_JOBS, OVER_PARTS = (
    {"table": e["table"], "columns": e["columns"], "select": "select * from f"} for e in (OF_JOBS, OF_PARTS)
)
READINGS: dict[str, list[dict[str, Any]]] = {
    "a table": [OF_JOBS],
    "two tables": [OF_PARTS, OF_JOBS],
    "a table and a SELECT": [OF_JOBS, OVER_PARTS],
    "a SELECT and a table": [OVER_JOBS, OF_PARTS],
    "two SELECTs": [OVER_JOBS, OVER_PARTS],
    "two entries of a table": [OF_JOBS | {"where": "job_id = 'A'"}, OF_JOBS | {"where": "job_id = 'B'"}],
}


@pytest.mark.parametrize("name", some_slow(BROKEN_FILES, 1))
@pytest.mark.parametrize(("first", "then"), list(itertools.pairwise([*READINGS, *READINGS][: len(READINGS) + 1])))
def test_a_record_that_is_no_row_is_counted_once_however_often_its_file_is_read(
    ws: Workspace, name: str, first: str, then: str
) -> None:
    """Also where a later mapping reads the file for other tables than an earlier one did."""
    ws.write(name, BROKEN_FILES[name])
    for reading in (first, then):
        report = ws.load({"files": {"f": {"path": name}}, "table": READINGS[reading]})
        assert report.total("refused") == 2, reading
        assert ws.one("select count(*) from refused") == 2, reading
        assert sum(r.rows for r in report.refusals) == 2, reading


def test_one_file_under_two_names(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="NA"), job("B")))
    mapping = {
        "files": {"one": {"path": "1.csv"}, "two": {"path": "1.csv", "missing": ["NA"]}},
        "table": [
            select("select one.* replace (coalesce(two.model, 'none') as model) from one join two using (job_id)")
        ],
    }
    ws.load(mapping)
    assert ws.rows("select job_id, model from jobs order by 1") == [("A", "none"), ("B", "Quern")]


def test_files_of_a_set_may_have_other_columns(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.write("2.csv", csv_of(job("B") | {"found": "cable", "Found2": "x"}))
    ws.load({"files": {"f": {"path": "*.csv"}}, "table": [select("select * from f;")]})
    assert ws.rows("select job_id, found, source_file from jobs order by 1") == [
        ("A", None, "1.csv"),
        ("B", "cable", "2.csv"),
    ]


def test_numbers_computed_by_a_select_keep_their_size(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A") | {"minutes": "1.250,5"}, delimiter=";"))
    sql = "select *, replace(replace(minutes, '.', ''), ',', '.')::double * 2 as twice from f"
    entry = {**select(sql, labour_minutes="twice", parts_cost="minutes"), "decimal": ",", "thousands": "."}
    ws.load({"files": {"f": {"path": "1.csv"}}, "table": [entry]})
    assert ws.one("select labour_minutes, parts_cost from jobs") == (2501.0, 1250.5)


def test_refusals_of_a_select_are_those_of_the_latest_reading(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", site=""), job("B", site="")))
    mapping = {"files": {"f": {"path": "1.csv"}}, "table": [select("select * from f")]}
    ws.load(mapping)
    ws.write("1.csv", csv_of(job("A", site=""), job("B")))
    ws.load(mapping)
    assert ws.rows("select source_file, source_row from refused") == [("1.csv", 2)]


def test_select_without_the_place_of_its_rows(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("A"), job("B")))
    sql = "select * exclude (source_file, source_row) from f group by all order by job_id"
    ws.load({"files": {"f": {"path": "1.csv"}}, "table": [select(sql)]})
    assert ws.rows("select job_id, source_file from jobs order by 1") == [
        ("A", "select 1 over f"),
        ("B", "select 1 over f"),
    ]


def test_where_leaves_out_and_counts(ws: Workspace) -> None:
    rows = [job("A") | {"kind": "JOB"}, job("B") | {"kind": "quote"}, job("", site="") | {"kind": ""}]
    ws.write("1.csv.gz", gzip.compress(csv_of(*rows).encode()))
    entry = {"table": "jobs", "from": "f", "where": "kind = 'JOB'"}
    (count,) = ws.load({"files": {"f": {"path": "1.csv.gz"}}, "table": [entry]}).files
    assert (count.in_file, count.left_out, count.read, count.accepted, count.refused) == (3, 2, 1, 1, 0)


def test_unchanged_files_are_skipped_and_new_ones_read(ws: Workspace) -> None:
    mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.write("1.csv", csv_of(job("A"), job("B", site="")))
    ws.load(mapping)
    ws.write("2.csv", csv_of(job("C")))
    report = ws.load(mapping)
    assert [(f.source_file, f.unchanged, f.accepted, f.known) for f in report.files] == [
        ("1.csv", True, 0, 1),
        ("2.csv", False, 1, 0),
    ]
    assert ws.rows("select load_id, source_file, read, known from load_files order by all") == [
        (1, "1.csv", 2, 0), (2, "1.csv", 2, 1), (2, "2.csv", 1, 0),
    ]


def test_select_that_reaches_for_the_store_is_a_fault(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A")))
    with pytest.raises(MappingError):
        ws.load({"files": {"f": {"path": "1.csv"}}, "table": [select("drop table f")]})


@pytest.mark.parametrize("swapped", [False, True])
def test_a_corrected_file_of_the_same_size_and_times_is_read(ws: Workspace, swapped: bool) -> None:
    """Written over, or put in the old one's place, with its times: as an archive or a copy with times does it."""
    reading: dict[str, Any] = {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    path = ws.write("jobs.csv", csv_of(job("A")))
    long_ago = (1_700_000_000_000_000_000, 1_700_000_000_000_000_000)
    os.utime(path, ns=long_ago)
    ws.load(reading)
    (file,) = ws.load(reading).files
    assert file.unchanged
    other = ws.write("other" if swapped else "jobs.csv", csv_of(job("B")))
    os.utime(other, ns=long_ago)
    other.replace(path)
    (file,) = ws.load(reading).files
    assert not file.unchanged
    assert ws.rows("select job_id from jobs") == [("B",)]


def test_a_file_with_the_same_content_is_unchanged_whatever_its_time(ws: Workspace) -> None:
    reading: dict[str, Any] = {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    path = ws.write("jobs.csv", csv_of(job("A")))
    ws.load(reading)
    os.utime(path, (1_000_000_000, 1_000_000_000))
    (file,) = ws.load(reading).files
    assert file.unchanged
