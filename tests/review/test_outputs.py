"""The page as a workbook and as a PDF: what cells hold, and what is said when there is nothing to print with."""

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from rqa.cli import main
from rqa.errors import RequestError
from rqa.review import describe
from rqa.review.facts import MonthFacts, PageTable, Section
from rqa.review.printed import NAMES, VARIABLE, browser, options, write_pdf
from rqa.review.workbook import write_tables, write_workbook
from tests.depots import depot_of, make_store

EVIL = "=HYPERLINK(A1)"


@pytest.fixture(scope="module")
def facts() -> Iterator[MonthFacts]:
    jobs = [{"job_id": "J", "unit_id": "U", "opened_at": datetime(2026, 1, 1), "closed_at": datetime(2026, 1, 2)}]
    with depot_of({"jobs": jobs}) as depot:
        yield describe(depot, "2026-01")


def test_cells_are_numbers_or_harmless_text(facts: MonthFacts, tmp_path: Path) -> None:
    rows = ((EVIL, "5.3\u00a0%", "1,234", "1 to 2 %"), ("+1", "no data", "7", "-1"), ("12", "0 %", "0", "x"))
    table = PageTable(EVIL, ("name", "share", "count", "interval"), rows)
    section = Section("odd", EVIL, (EVIL,), tables=(table,))
    book = openpyxl.load_workbook(write_tables(replace(facts, title=EVIL, then=(section,)), tmp_path / "page.xlsx"))
    assert book.sheetnames[:3] == ["sheet", "page", "measures"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {c.data_type for c in cells} <= {"s", "n"}, "no formula anywhere"
    assert book["page"]["B2"].value == EVIL
    assert [[c.value for c in row] for row in book["odd"].iter_rows()] == [
        ["name", "share", "count", "interval"],
        [EVIL, 0.053, 1234, "1 to 2 %"],
        ["+1", None, 7, "-1"],
        ["12", 0, 0, "x"],
    ]


def test_every_table_of_the_page_has_its_sheet(facts: MonthFacts, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(write_tables(facts, tmp_path / "page.xlsx"))
    assert {f.key for f in facts.drawn} | {"reproduced"} <= set(book.sheetnames)
    told = {row[0].value for row in book["page"].iter_rows()}
    assert {f"sheet {name}" for name in book.sheetnames[3:]} - told <= {"sheet where to look", "sheet what to act on"}


def test_the_same_facts_give_the_same_workbook(facts: MonthFacts, tmp_path: Path) -> None:
    one, two = (write_tables(facts, tmp_path / f"{n}.xlsx").read_bytes() for n in (1, 2))
    assert one == two


def test_the_workbook_is_named_after_its_month(tmp_path: Path) -> None:
    with depot_of({"jobs": []}) as depot:
        assert write_workbook(depot, tmp_path, "1970-01").path == tmp_path / "review-1970-01.xlsx"
        assert write_workbook(depot, tmp_path / "own.xlsx").path == tmp_path / "own.xlsx"


def test_without_a_browser_it_says_how_to_print(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert browser() is None
    with pytest.raises(RequestError, match="open the page in a browser and print it there"):
        write_pdf(tmp_path / "page.html")
    (tmp_path / NAMES[1]).write_text("#!/bin/sh\n", encoding="utf-8")
    (tmp_path / NAMES[1]).chmod(0o755)
    assert browser() == str(tmp_path / NAMES[1])


def test_a_browser_that_is_named_must_be_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "none"))
    with pytest.raises(RequestError, match="and there is no such program"):
        browser()


def test_a_browser_that_prints_nothing_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(VARIABLE, sys.executable)  # knows none of the options
    (tmp_path / "page.html").write_text("x", encoding="utf-8")
    with pytest.raises(RequestError, match="printed nothing"):
        write_pdf(tmp_path / "page.html")
    assert not (tmp_path / "page.pdf").exists()


def test_nothing_on_the_network_can_be_found_while_printing() -> None:
    assert "--host-resolver-rules=MAP * ~NOTFOUND" in options("chromium", "profile")


def test_a_workbook_is_not_printed(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["review", str(tmp_path), "--format", "xlsx", "--pdf"])
    assert done.exit_code == 1
    assert "--pdf prints the page" in done.output


def test_a_page_that_cannot_be_printed_is_still_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_store(tmp_path / "depot.duckdb", {"jobs": []})
    monkeypatch.setenv(VARIABLE, str(tmp_path / "none"))
    done = CliRunner().invoke(main, ["review", str(tmp_path), "--pdf"])
    assert done.exit_code == 1
    assert f"Written to {tmp_path / 'review-1970-01.html'}" in done.stdout
    assert "and there is no such program" in done.stderr
