"""Answers as files: what a spreadsheet would compute is text, numbers stay numbers, the page can run nothing."""

import csv
import re
import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from rqa.answers.core.exports import harmless, sheets_to_excel
from rqa.answers.core.finding import Finding
from rqa.answers.core.result import Answer
from rqa.answers.core.workbook import MOST_LETTERS
from rqa.errors import RequestError

NASTY = ["=1+1", "+49 30 1", "-3 mm", "@SUM(A1)", "\tx", "\r=1", "\n=1", "plain", 'a,b;"c"', "<b>&</b>"]
ROWS = len(NASTY)


def answer(**more: object) -> Answer:
    table = pl.DataFrame(
        {
            "=name": NASTY,
            "number": [-1.5, *[float(i) for i in range(ROWS - 2)], None],
            "count": [-7, *range(ROWS - 1)],
            "day": [date(2026, 1, 31)] * ROWS,
            "at": [datetime(2026, 1, 31, 9, 30)] * ROWS,
            "sure": [True, False] * (ROWS // 2),
        }
    )
    found = Finding("k", {"tool": "=cmd"}, "worse", "ratio", 2.0, 1.5, 2.5, True, 100, 1e-9, "-care", "@look")
    return Answer(table, {"where": {"site": ("Alder", "=x")}, "level": 0.95, "by": ()}, ("note <1>",), (found,), **more)


def test_csv_keeps_numbers_and_disarms_texts(tmp_path: Path) -> None:
    with answer().to_csv(tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    assert head == ["'=name", "number", "count", "day", "at", "sure"]
    texts = [row[0] for row in rows]
    assert [t for t in texts if t.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))] == []
    assert [t.replace("'", "") for t in texts] == NASTY
    assert texts[7:] == NASTY[7:]
    assert rows[0][1:] == ["-1.5", "-7", "2026-01-31", "2026-01-31T09:30:00", "true"]
    assert rows[-1][1] == ""


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("=1+1", "'=1+1"), ("\uff1d1+1", "'\uff1d1+1"), ("tight;=cmd", "tight;'=cmd"),
        ("loose\n@SUM(A)", "loose\n'@SUM(A)"), ("\t=x", "'\t'=x"),
        ("a = b; -3 mm", "a = b; -3 mm"), ("M-8", "M-8"), ("", ""),
    ],
)
def test_no_cell_begins_like_a_formula_where_semicolons_part_cells(text: str, shown: str) -> None:
    assert harmless(text) == shown


def test_excel_has_no_formula_and_typed_cells(tmp_path: Path) -> None:
    path = answer().to_excel(tmp_path / "a.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["table", "about", "findings"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert [cell.value for cell in cells if cell.data_type == "f"] == []
    with zipfile.ZipFile(path) as parts:
        written = "".join(parts.read(n).decode() for n in parts.namelist() if n.endswith(".xml"))
    assert "<f>" not in written
    assert "hyperlink" not in written
    first = [cell.value for cell in book["table"][2]]
    assert first == ["=1+1", -1.5, -7, datetime(2026, 1, 31), datetime(2026, 1, 31, 9, 30), True]
    assert book["table"]["A2"].data_type == "s"
    assert book["table"].cell(ROWS + 1, 2).value is None
    assert ("where", "site = Alder, =x") in book["about"].iter_rows(values_only=True)
    assert ("note", "note <1>") in book["about"].iter_rows(values_only=True)


def test_the_same_answer_is_the_same_workbook(tmp_path: Path) -> None:
    once, again = (answer().to_excel(tmp_path / name).read_bytes() for name in ("a.xlsx", "b.xlsx"))
    assert once == again


def test_several_answers_in_one_workbook(tmp_path: Path) -> None:
    long = "a name [longer] than a sheet's name may be"
    path = sheets_to_excel({long: answer(), long + "!": answer()}, tmp_path / "all.xlsx")
    names = openpyxl.load_workbook(path).sheetnames
    assert len(names) == len({n.lower() for n in names}) == 6
    assert max(map(len, names)) <= 31


def test_the_page_shows_everything_and_can_do_nothing(tmp_path: Path) -> None:
    page = answer().to_html(tmp_path / "a.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;&amp;&lt;/b&gt;" in page
    assert "<b>" not in page
    assert "note &lt;1&gt;" in page
    assert "default-src 'none'" in page
    assert not re.search(r"<script|https?:|\son\w+=|src=|@import|url\(", page)
    assert page.count("<tr>") == 2 + ROWS + 1
    assert "no data" in page
    assert "Statistically clear" in page


def test_what_cannot_be_written_says_why(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"missing.a\.csv cannot be written: No such file"):
        answer().to_csv(tmp_path / "missing" / "a.csv")
    long = Answer(pl.DataFrame({"x": ["y" * (MOST_LETTERS + 1)]}), {})
    with pytest.raises(RequestError, match="32,768 letters is more than a cell holds"):
        long.to_excel(tmp_path / "a.xlsx")


def test_nothing_found_and_no_rows(tmp_path: Path) -> None:
    empty = Answer(pl.DataFrame({"x": []}, schema={"x": pl.String}), {})
    assert openpyxl.load_workbook(empty.to_excel(tmp_path / "a.xlsx")).sheetnames == ["table", "about"]
    assert empty.to_csv(tmp_path / "a.csv").read_text(encoding="utf-8") == "x\n"
    assert "Statistically clear" not in empty.to_html(tmp_path / "a.html").read_text(encoding="utf-8")
