"""The lists of jobs behind the page's findings: as long as what the findings count, and led to from the sheet."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from rqa.answers.improve.finding_lists import NO_LIST
from rqa.answers.improve.findings import MonthFindings
from rqa.commands.work import jobs
from rqa.review import render
from rqa.review.facts import CasesListed, MonthFacts, PageTable
from rqa.review.improve.finding_jobs import LISTED, FindingJobs
from rqa.review.workbook import write_tables
from tests.depots import depot_of
from tests.review.conftest import BadMonth


@pytest.fixture(scope="module")
def facts(bad_month: BadMonth) -> MonthFacts:
    return bad_month.facts


def test_a_list_is_as_long_as_the_count(bad_month: BadMonth, facts: MonthFacts) -> None:
    """Of come-backs it has the number the finding says, of others the number of cases behind it."""
    found = {f.id: f for f in bad_month.findings}
    assert len(facts.lists) > 5
    for made_list in facts.lists:
        f = found[made_list.id]
        size = int(re.match(r"[\d,]+", made_list.what)[0].replace(",", ""))  # type: ignore[index]
        assert size == made_list.size
        if "come-back" in made_list.what:
            assert made_list.size == f.events, f
        else:
            assert made_list.size >= f.jobs, "what a comparison left out is listed, too"
        assert len(made_list.table.rows) == min(LISTED, made_list.size)
        assert len({row[0] for row in made_list.table.rows}) > 1


def test_each_finding_of_the_page_has_its_list(facts: MonthFacts, bad_month: BadMonth) -> None:
    kinds = {f.id: f.kind for f in bad_month.findings}
    listed = {made_list.id for made_list in facts.lists}
    without = [p.id for p in facts.pointers if p.id not in listed]
    assert all(kinds[name].startswith(tuple(NO_LIST)) for name in without)


def test_the_sheet_leads_from_a_problem_to_as_many_jobs(facts: MonthFacts) -> None:
    page = render(facts)
    lists = {made_list.address: made_list for made_list in facts.lists}
    for p in facts.sheet.problems:
        assert f'<a href="#{p.listed}">{p.what}</a>' in page
        part = re.search(rf'<details class="list" id="{p.listed}">.*?</details>', page, re.DOTALL)
        assert part
        rows = part[0].count("<tr>") - 1
        assert rows == min(LISTED, lists[p.listed].size)
        if "came back" in p.what:
            assert lists[p.listed].size == p.events
        assert (f"{LISTED} of" in part[0]) == (rows < lists[p.listed].size), "what is left is said"
    events = facts.sheet.lines[1]
    assert f'<a href="#safety">{events.linked}</a>' in page
    assert events.items[0].startswith(events.linked)


def test_the_command_it_names_is_one(facts: MonthFacts) -> None:
    known = {name for option in jobs.params for name in option.opts}
    for made_list in facts.lists:
        said = re.search(r"rqa jobs WORKSPACE (.*)$", made_list.note)
        assert said
        assert set(re.findall(r"--[a-z]+", said[1])) <= known
        assert ("--returned" in said[1]) == ("come-back" in made_list.what)
        assert f"--finding {made_list.id} --month 2025-05 " in said[1]


@pytest.mark.parametrize("hidden", [False, True])
def test_jobs_of_a_breach_are_not_named_where_they_are_hidden(bad_month: BadMonth, hidden: bool) -> None:
    about = {"about": [{"name": "breach_jobs", "value": "hide"}]} if hidden else {}
    cases = pl.DataFrame({"job_id": ["J1", "J2"], "closed_on": [date(2025, 5, 2), None]})
    with depot_of(about) as depot:
        lists = FindingJobs(depot, MonthFindings(pl.DataFrame({"state": []}), {}), date(2025, 5, 1))
    of_breach = replace(bad_month.findings[0], scope={"breach": "missing"})
    made_list = lists._listed(of_breach, cases, "2 jobs", "")
    assert made_list.size == 2
    assert made_list.table.rows == (() if hidden else (("J1", "2025-05-02"), ("J2", "–")))
    assert ("rqa jobs" in made_list.note) != hidden
    assert lists._listed(bad_month.findings[0], cases, "2 jobs", "").table.rows, "of others they are"


def test_without_lists_there_is_no_part_of_them(facts: MonthFacts) -> None:
    bare = replace(facts, lists=(), sheet=replace(facts.sheet, problems=()))
    page = render(bare)
    assert 'id="jobs"' not in page
    assert 'href="#jobs' not in page
    none = CasesListed("F-1", "here", "2 jobs", 2, PageTable("here: 2 jobs", (), ()), "Not named.")
    assert '<details class="list" id="jobs-F-1"><summary>here: 2 jobs</summary>' in render(replace(bare, lists=(none,)))


def test_the_workbook_has_the_rows_that_the_page_shows(facts: MonthFacts, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(write_tables(facts, tmp_path / "page.xlsx"))
    heads, *rows = book["jobs behind findings"].iter_rows(values_only=True)
    assert heads[:3] == ("finding", "behind it", "job")
    assert len(rows) == sum(len(made_list.table.rows) for made_list in facts.lists)
    assert [row[2] for row in rows] == [row[0] for made_list in facts.lists for row in made_list.table.rows]
    days = [row[heads.index("days out")] for row in rows]
    assert all(day is None or type(day) is int for day in days)
    assert any(days)
