"""A file that is not what its name or the mapping says: read rightly, or refused in one line that says what to do."""

import gzip
import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest

from rqa.errors import MappingError, SourceError
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

ROWS = [job("A"), job("B", site="Größe")]
TEXT = csv_of(*ROWS)
LINES = "\n".join(json.dumps(r, ensure_ascii=False) for r in ROWS)


def workbook(*sheets: tuple[str, list[list[Any]]]) -> bytes:
    book, out = openpyxl.Workbook(), BytesIO()
    assert book.active is not None
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(out)
    return out.getvalue()


JOBS_SHEET = [list(ROWS[0]), *(list(r.values()) for r in ROWS)]


def database(path: Path) -> bytes:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("create table jobs (a)")
        connection.commit()
    return path.read_bytes()


def parquet() -> bytes:
    out = BytesIO()
    pl.DataFrame(ROWS).write_parquet(out)
    return out.getvalue()


def archive() -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("jobs.csv", TEXT)
    return out.getvalue()


UTF16 = ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig"]
MARKED = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}


@pytest.mark.parametrize("encoding", some_slow(UTF16, ["utf-16", "utf-8-sig"]))
@pytest.mark.parametrize("ending", [".csv", ".jsonl", ".csv.gz"])
def test_text_with_a_byte_order_mark_is_read_by_it(ws: Workspace, encoding: str, ending: str) -> None:
    content = MARKED.get(encoding, b"") + (LINES if "json" in ending else TEXT).encode(encoding)
    report = ws.jobs(gzip.compress(content) if ending.endswith("gz") else content, name="jobs" + ending)
    assert ws.rows("select job_id, site from jobs order by 1") == [("A", "Alder"), ("B", "Größe")]
    assert report.total("refused") == 0


NOT_WHAT_IT_SAYS: dict[str, tuple[str, bytes | Callable[[Path], bytes], dict[str, Any], list[str]]] = {
    # name: (file, content, how it is read, what the error says)
    "workbook as CSV": ("jobs.csv", workbook(("J", JOBS_SHEET)), {}, ["an Excel workbook", "end in .xlsx", "'excel'"]),
    "workbook as JSON": ("jobs.jsonl", workbook(("J", JOBS_SHEET)), {}, ["an Excel workbook", "end in .xlsx"]),
    "workbook as Parquet": ("jobs.parquet", workbook(("J", JOBS_SHEET)), {}, ["an Excel workbook"]),
    "old workbook as CSV": (
        "jobs.csv", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), {}, ["Excel workbook of the old kind", ".xls"]
    ),
    "gzip as CSV": ("jobs.csv", gzip.compress(TEXT.encode()), {}, ["packed with gzip", "end in .gz"]),
    "gzip as a workbook": ("jobs.xlsx", gzip.compress(TEXT.encode()), {}, ["packed with gzip", "unpack it"]),
    "gzip twice": ("jobs.csv.gz", gzip.compress(gzip.compress(TEXT.encode())), {}, ["packed with gzip"]),
    "zip as CSV": ("jobs.csv", archive(), {}, ["a zip archive", "Unpack it"]),
    "SQLite as CSV": ("jobs.csv", lambda p: database(p / "x"), {}, ["an SQLite database", "format = 'sqlite'"]),
    "Parquet as CSV": ("jobs.csv", parquet(), {}, ["a Parquet file", "format = 'parquet'"]),
    "Parquet as SQLite": ("jobs.db", parquet(), {"table": "jobs"}, ["a Parquet file", "not SQLite"]),
    "PDF as CSV": ("jobs.csv", b"%PDF-1.7\n", {}, ["a PDF", "Export the table"]),
    "web page as a workbook": ("jobs.xls", b"\n<!DOCTYPE html><table>", {}, ["a web page", "save it as .xlsx"]),
    "web page as CSV": ("jobs.csv", b"\xef\xbb\xbf<html><table>", {}, ["a web page"]),
    "CSV as a workbook": ("jobs.xlsx", TEXT.encode(), {}, ["this is text", "format = 'csv'"]),
    "CSV as SQLite": ("jobs.db", TEXT.encode(), {"table": "jobs"}, ["this is text", "format = 'csv'"]),
    "nothing as a workbook": ("jobs.xlsx", b"", {}, ["is empty (0 bytes)"]),
    "UTF-16 without a mark": ("jobs.csv", TEXT.encode("utf-16-le"), {}, ["UTF-16-LE", "encoding = 'utf-16-le'"]),
    "UTF-16, the other way": ("jobs.csv", TEXT.encode("utf-16-be"), {}, ["encoding = 'utf-16-be'"]),
    "UTF-16 said to be another": (
        "jobs.csv", TEXT.encode("utf-16"), {"encoding": "cp1252"}, ["not cp1252", "encoding = 'utf-16'"]
    ),
    "JSON array": ("jobs.jsonl", json.dumps(ROWS).encode(), {}, ["one JSON array", "one object on each line",
                                                                 "format = 'json'"]),
    "JSON array over lines": ("jobs.jsonl", json.dumps(ROWS, indent=1).encode(), {}, ["one JSON array"]),
    "JSON array, an object a line": (
        "jobs.jsonl", ("[" + LINES.replace("\n", ",\n") + "]").encode(), {}, ["one JSON array"]
    ),
    "JSON array cut short": ("jobs.jsonl", b'[\n{"job_id": 1},\n{"job', {}, ["one JSON array"]),
    "JSON printed large": (
        "jobs.jsonl", "\n".join(json.dumps(r, indent=1) for r in ROWS).encode(), {}, ["run over several lines"]
    ),
    "JSON printed large, packed": (
        "jobs.jsonl.gz", gzip.compress(json.dumps(ROWS[0], indent=1).encode()), {}, ["run over several lines"]
    ),
    "first sheet empty": (
        "jobs.xlsx", workbook(("Cover", []), ("Jobs", JOBS_SHEET)), {}, ["first sheet, 'Cover', is empty", "Jobs"]
    ),
    "UTF-16 under the other mark": (
        "jobs.csv", b"\xff\xfe" + TEXT.encode("utf-16-be"), {}, ["say UTF-16-LE", "encoding = 'utf-16-be'"]
    ),
    "header below the end of a sheet": (
        "jobs.xlsx", workbook(("Jobs", JOBS_SHEET)), {"header_row": 9}, ["header_row is 9", "sheet 'Jobs'"]
    ),
    "header below the end": ("jobs.csv", TEXT.encode(), {"header_row": 9}, ["header_row is 9", "Set header_row"]),
}


@pytest.mark.parametrize("name", NOT_WHAT_IT_SAYS)
def test_one_line_says_what_it_is_and_what_to_do(ws: Workspace, name: str) -> None:
    file, content, reading, parts = NOT_WHAT_IT_SAYS[name]
    ws.write("old.csv", csv_of(job("OLD")))
    ws.load({"files": {"o": {"path": "old.csv"}}, "table": [{"table": "jobs", "from": "o"}]})
    before = ws.digest()
    with pytest.raises(SourceError) as caught:
        ws.jobs(content(ws.folder) if callable(content) else content, name=file, **reading)
    said = str(caught.value)
    assert [p for p in parts if p not in said] == [], said
    assert said.startswith(file)
    assert said.endswith("Nothing was loaded.")
    assert len(said.splitlines()) == 1
    assert ws.digest() == before


NOT_SILENT: dict[str, tuple[str, bytes, dict[str, Any], str]] = {
    # name: (file, content, how it is read, why it gives no row)
    "no byte": ("jobs.csv", b"", {}, "it is empty, or holds only a header"),
    "no byte of JSON": ("jobs.jsonl", b"", {}, "it is empty, or holds only a header"),
    "blank lines": ("jobs.csv", b"\n\n  \r\n", {}, "it is empty, or holds only a header"),
    "blank lines of JSON": ("jobs.jsonl", b"\n\n\n", {}, "it is empty, or holds only a header"),
    "a header": ("jobs.csv", TEXT.splitlines()[0].encode(), {}, "it is empty, or holds only a header"),
    "a sheet's header": ("jobs.xlsx", workbook(("J", JOBS_SHEET[:1])), {}, "it is empty, or holds only a header"),
    "an empty workbook": ("jobs.xlsx", workbook(("J", []), ("K", [])), {}, "it is empty, or holds only a header"),
    "all left out": ("jobs.csv", TEXT.encode(), {"where": "site = 'x'"}, "every row is left out by where"),
}


@pytest.mark.parametrize("name", NOT_SILENT)
def test_file_that_gives_no_row_is_remarked_on(ws: Workspace, name: str) -> None:
    file, content, reading, why = NOT_SILENT[name]
    where = {"where": reading["where"]} if reading else {}
    ws.write(file, content)
    mapping = {"files": {"f": {"path": file}}, "table": [{"table": "jobs", "from": "f", **where}]}
    for _ in range(2):
        report = ws.load(mapping)
        (remark,) = [r for r in report.remarks if r.remark.startswith("gives no row")]
        assert (remark.table, remark.source_file) == ("jobs", file)
        assert why in remark.remark
        assert f"  jobs: {file} gives no row: " in str(report).split("with warnings:")[1]
        assert ws.rows("select source_file from remarks where remark like 'gives no row%'") == [(file,)]


@pytest.mark.parametrize("content", [b"", b"\n\n"])
def test_a_select_over_files_without_a_record_has_no_row_and_is_said_once(ws: Workspace, content: bytes) -> None:
    """Such files name no column: a nightly export of nothing is no fault of the mapping."""
    select = "select job_id, unit_id, model, site, procedure, opened_at, closed_at, disposition from f"
    mapping = {"files": {"f": {"path": "*.jsonl"}}, "table": [{"table": "jobs", "select": select}]}
    ws.write("a.jsonl", content)
    for _ in range(2):
        report = ws.load(mapping)
        (remark,) = [r for r in report.remarks if r.remark.startswith("gives no row")]
        assert (remark.source_file, report.total("read")) == ("a.jsonl", 0)
        assert all(count.adds_up for count in report.files)
    record = {"job_id": "J", "unit_id": "U", "model": "M", "site": "S", "procedure": "P", "disposition": "open",
              "opened_at": "2025-03-01T08:00", "closed_at": None}
    ws.write("b.jsonl", json.dumps(record).encode())
    assert ws.load(mapping).total("accepted") == 2, "the file's row, and that of the SELECT"
    other = {"g": {"path": "g/*.jsonl"}, "h": {"path": "h/*.jsonl"}}
    ws.write("g/a.jsonl", content)
    ws.write("h/a.jsonl", json.dumps(record).encode())
    both = {"files": other, "table": [{"table": "jobs", "select": "select g.job_id from g join h using (job_id)"}]}
    with pytest.raises(MappingError) as caught:
        ws.load(both)
    assert "the files of g hold no record, so they name no column" in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize("blank", some_slow(["\n", "\n\n", " \r\n", "\t\n\n"], 2))
@pytest.mark.parametrize("cut", [False, True])
def test_blank_lines_before_the_header_are_passed_over(ws: Workspace, blank: str, cut: bool) -> None:
    rows = [job("A"), job("B", site=""), job("C")]
    text = csv_of(*rows).splitlines()
    text[3:3] = ["short"] if cut else []
    ws.jobs(blank + "\n".join(text) + "\n")
    first = blank.count("\n") + 2
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("A", first), ("C", first + 2 + cut)]
    assert [r for r, *_ in ws.refused()] == [first + 1, *([first + 2] if cut else [])]


HEADERLESS = [list(r.values()) for r in (job("A"), job("B", site=""), job("C"))]
NUMBERED = {name: str(i) for i, name in enumerate(job(), 1)}


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("broken", some_slow([False, True], [True]))
def test_file_without_a_header_row(ws: Workspace, form: str, named: bool, broken: bool) -> None:
    lines = [",".join(r) for r in HEADERLESS]
    if broken and form == "csv":
        lines.insert(1, "short")
    ws.write(f"jobs.{form}", "\n".join(lines) if form == "csv" else workbook(("J", HEADERLESS)))
    reading = {"path": f"jobs.{form}", "header_row": 0, **({"header": list(job())} if named else {})}
    entry = {"table": "jobs", "from": "f", "columns": {} if named else NUMBERED}
    report = ws.load({"files": {"f": reading}, "table": [entry]})
    more = broken and form == "csv"
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("A", 1), ("C", 3 + more)]
    assert [(r, c) for r, c, *_ in ws.refused()] == [*([(2, None)] if more else []), (2 + more, "site")]
    assert report.total("in_file") == 3 + more


def test_file_without_a_header_row_for_a_select(ws: Workspace) -> None:
    ws.write("jobs.csv", "\n".join(",".join(r) for r in HEADERLESS))
    files = {"f": {"path": "jobs.csv", "header_row": 0, "header": list(job())}}
    ws.load({"files": files, "table": [{"table": "jobs", "select": "select * from f"}]})
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("A", 1), ("C", 3)]


@pytest.mark.parametrize(
    ("reading", "part"),
    [
        ({"header": ["a", "b"]}, "set header_row = 0"),
        ({"header_row": 0, "header": ["a", "A"]}, "'A' twice"),
        ({"header_row": 0, "header": ["a", " "]}, "empty name"),
        ({"header_row": 0, "header": ["a", "b"], "path": "jobs.xlsx"}, r"2 columns, and jobs\.xlsx, sheet 'J', has 8"),
        ({"header_row": 0, "path": "jobs.jsonl"}, r"jobs\.jsonl names its columns itself"),
    ],
)
def test_header_that_cannot_be(ws: Workspace, reading: dict[str, Any], part: str) -> None:
    ws.write("jobs.csv", TEXT)
    ws.write("jobs.jsonl", LINES)
    ws.write("jobs.xlsx", workbook(("J", HEADERLESS)))
    files = {"f": {"path": "jobs.csv", **reading}}
    with pytest.raises(MappingError, match=part):
        ws.load({"files": files, "table": [{"table": "jobs", "from": "f", "columns": NUMBERED}]})


def test_record_that_begins_like_an_array_is_still_a_refused_row(ws: Workspace) -> None:
    report = ws.jobs('["job_id", "C"]\n[]\n' + LINES + '\n{"job_id": \n', name="jobs.jsonl")
    assert (report.total("accepted"), report.total("refused")) == (2, 3)
    ws.jobs('{"job_id": "A", \n' + LINES, name="more.jsonl")
    # The mapping no longer reads the first file, so what was refused of it is gone as well.
    assert [r for r, *_ in ws.refused()] == [1]


@pytest.mark.parametrize("name", ["PAR1", "PAR1 no.", "%PDF", "%PDF-1.7"])
def test_a_column_may_be_called_like_the_beginning_of_another_kind_of_file(ws: Workspace, name: str) -> None:
    rows = [{name: "x", **r} for r in ROWS]
    assert ws.jobs(csv_of(*rows)).total("accepted") == 2


def test_the_encoding_that_the_mapping_names_stands_against_a_wrong_mark(ws: Workspace) -> None:
    report = ws.jobs(b"\xff\xfe" + TEXT.encode("utf-16-be"), encoding="utf-16-be")
    assert (report.total("accepted"), report.total("refused")) == (2, 0)
