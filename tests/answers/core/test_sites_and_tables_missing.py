"""What is told where a table is absent, no fault code is given, or one group alone is left: no more than is known."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from rqa.depot import Depot
from rqa.plots import plot
from tests.depots import depot_of

FIRST = datetime(2025, 1, 6, 9)


@pytest.fixture(scope="module")
def bare() -> Iterator[Depot]:
    """Two sites' jobs and steps without fault codes; no diagnostics, no tests."""
    jobs: list[dict[str, Any]] = []
    steps: list[dict[str, Any]] = []
    for n in range(120):
        at = FIRST + timedelta(days=n)
        site = ("Alder", "Birch")[n % 2]
        jobs.append({"job_id": f"J{n}", "unit_id": f"U{n // 2}", "opened_at": at, "closed_at": at, "model": "Marl-8",
                     "site": site, "found": "display" if n % 4 < 2 else "case"})
        steps.append({"job_id": f"J{n}", "step": ("seat cable", "close case")[n % 3 == 0],
                      "outcome": ("pass", "fail")[n % 5 == 0]})
    with depot_of({"jobs": jobs, "steps": steps}) as depot:
        yield depot


def test_without_the_table_of_tests_nothing_is_told_of_what_they_cover(bare: Depot) -> None:
    gap = bare.tests.coverage_gap()
    assert gap.notes[0].startswith("Cannot be told: ")
    assert gap.whole is not None
    for table in (gap.table, gap.whole):
        assert table.height
        assert int(table["returned"].sum()) > 0
        told = [n for n in ("uncovered", "not_run", "not_passed", "escaped", "share", "low", "high")
                if table[n].null_count() < table.height]
        assert not told


def test_failures_without_fault_codes_are_told_by_step(bare: Depot) -> None:
    """24 of 120 first checks fail, by hand: every fifth."""
    found, by_step = bare.yields.failures(), bare.yields.failures(by="step")
    assert found.table.equals(by_step.table)
    assert int(found.table["failures"].sum()) == 24
    assert any("So the failures are told by step." in note for note in found.notes)
    assert "Cannot be told" not in plot(found).to_dict()["description"]


@pytest.mark.parametrize("who", ["site", "tool"])
def test_with_one_group_or_none_no_comparison_is_spoken_of(bare: Depot, who: str) -> None:
    where = {"site": "Alder"} if who == "site" else {}
    notes = " ".join(bare.compare(who, outcome="first_pass", where=where).notes)
    assert "Cannot be told: " in notes
    assert not [wrong for wrong in ("too little work", "of kinds in which", "compared (Benjamini") if wrong in notes]


def test_a_table_that_is_not_loaded_leaves_no_loose_ends(bare: Depot) -> None:
    ends = bare.data.loose_ends().table["what"].to_list()
    assert "closed repair without diagnostics" not in ends
    assert "closed repair without a step log" in ends


def test_a_chart_of_several_groups_gives_the_last_figure_of_each_by_name(bare: Depot) -> None:
    answer = bare.control_chart("first_pass_yield", by="site")
    said = plot(answer).to_dict()["description"]
    last = said.partition("Last matured month: ")[2]
    for (site,), rows in answer.table.group_by("site"):
        month = rows.drop_nulls("value").sort("period").row(-1, named=True)
        assert f"{site} " in last, month


def test_no_empty_word_stands_in_what_was_asked(bare: Depot) -> None:
    savings = bare.actions.savings()
    unnamed = replace(savings, settings={**savings.settings, "currency": ""})
    assert "currency EUR" in repr(savings)
    assert "currency" not in repr(unnamed)
    assert "currency" not in unnamed._repr_html_().partition("</p>")[0]
