"""Rows that a corrected mapping gives no more: the page, its workbook, the answer and the report say how many."""

from pathlib import Path

import polars as pl
import pytest

import rqa
from rqa.review.data.intake import intake
from rqa.review.facts import PageTable
from rqa.review.workbook import write_workbook
from rqa.store.report import LoadReport
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

ADDS_UP = ("accepted", "refused", "known", "superseded")


def loaded(ws: Workspace, where: str) -> LoadReport:
    entry = {"table": "jobs", "from": "f", "where": where}
    return rqa.load(ws.folder, mapping={"files": {"f": {"path": "*.csv"}}, "table": [entry]})


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    """A file of five jobs, one of them refused, and another of one job."""
    made = Workspace(tmp_path)
    made.write("1.csv", csv_of(*(job(i) for i in "ABCD"), job("E", site="")))
    made.write("2.csv", csv_of(job("F")))
    return made


def column(table: PageTable, name: str) -> list[int]:
    at = table.columns.index(name)
    return [int(r[at].replace(",", "")) for r in table.rows]


@pytest.mark.parametrize(
    ("where", "rows", "files"),
    some_slow([("job_id not in ('B', 'D')", 2, 2), ("job_id <> 'F'", 1, 2), ("true", 0, 2)], 1),
)
def test_withdrawn_rows_are_told(ws: Workspace, where: str, rows: int, files: int) -> None:
    loaded(ws, "true")
    report = loaded(ws, where)
    with rqa.open(ws.folder) as depot:
        answer = depot.data.loaded()
        tables, each, words = intake(depot)
        book = write_workbook(depot, ws.folder / "book.xlsx", "2024-03").path
    sheets = pl.read_excel(book, sheet_id=0)
    last = answer.table.filter(pl.col("load_id") == 2)
    assert [report.total("withdrawn"), last["withdrawn"].sum()] == [rows, rows]
    read = last.select((pl.sum_horizontal(ADDS_UP) == pl.col("read")).all()).item()
    assert read, "withdrawn rows are none of those read"
    by_table = next(t for t in tables if t.caption == "The last load, by table")
    for table in (by_table, each):
        assert ("withdrawn from the store" in table.columns) == bool(rows)
        read_now = column(table, "read")
        assert read_now == [sum(n) for n in zip(*(column(table, c) for c in ADDS_UP), strict=True)]
        if rows:
            assert sum(column(table, "withdrawn from the store")) == rows
    in_book = [s["withdrawn from the store"].sum() for s in sheets.values() if "withdrawn from the store" in s.columns]
    assert all(n == rows for n in in_book)
    assert bool(in_book) == bool(rows)
    said = f"withdrew {rows} row{'s' * (rows != 1)} from the store"
    for text in (words, " ".join(map(str, answer.notes)), report.text()):
        assert (said in text) == bool(rows)
        assert ("withdrew" in text) == bool(rows)
    assert f"from {files} files" in words
    head, *lines = report.text().splitlines()
    assert ("withdrawn" in head) == bool(rows)
    total = next(line for line in lines if line.startswith("all ")).split()
    assert [int(n) for n in total[1:6]] == [report.total(c) for c in ("read", *ADDS_UP)]
    assert not rows or int(total[6]) == rows


@pytest.mark.slow
def test_a_file_that_is_gone_is_none_of_those_read(ws: Workspace) -> None:
    """Its rows are withdrawn where the mapping says so; the load read one file alone."""
    mapping = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}],
               "workspace": {"vanished": "withdraw"}}
    rqa.load(ws.folder, mapping=mapping)
    (ws.folder / "1.csv").unlink()
    report = rqa.load(ws.folder, mapping=mapping)
    assert report.total("withdrawn") == 4
    with rqa.open(ws.folder) as depot:
        _, each, words = intake(depot)
    assert "read 1 row from 1 file:" in words
    assert dict(zip(column(each, "read"), column(each, "withdrawn from the store"), strict=True)) == {0: 4, 1: 0}
