"""Safety events on the page: named job by job, or, where the workspace says so, only counted by kind."""

from datetime import date

import pytest

from rqa.review import describe
from rqa.review.steps.safety import no_battery, safety
from tests.answers.steps.test_conformance import ROWS
from tests.cases import some_slow
from tests.depots import depot_of
from tests.workspaces import Workspace, csv_of, job

LATE, EARLY = {"J3", "J10"}, {"J4", "J6"}
"""Of ROWS: J3 released before it isolated, J10 released alone; J4 did not count, J6 counted too late."""


@pytest.mark.parametrize("hidden", [False, True])
def test_the_jobs_are_named_unless_the_workspace_says_otherwise(hidden: bool) -> None:
    about = {"about": [{"name": "breach_jobs", "value": "hide"}]} if hidden else {}
    with depot_of(ROWS | about) as depot:
        section = safety(depot, date(2026, 3, 1))
    (table,) = section.tables
    cells = {cell for row in table.rows for cell in row}
    assert (cells >= LATE | EARLY) != hidden
    assert bool(cells & (LATE | EARLY)) != hidden
    assert ("the quality lead has the list" in section.words[0]) == hidden
    if hidden:
        assert table.rows == (("battery isolated late", "2"), ("battery reconnected early", "2"))


@pytest.mark.parametrize("step", ["isolate battery", "close the valve"])
def test_of_units_without_a_battery_nothing_is_said_of_one_but_that(step: str) -> None:
    plan = [{**row, "step": step if row["phase"] == "isolate" else row["step"], "hazards": ["esd"]}
            for row in ROWS["procedures"]]
    plan = [row for row in plan if step in row["step"] or "batter" not in row["step"]]
    with depot_of({**ROWS, "procedures": plan}) as depot:
        section, none = safety(depot, date(2026, 3, 1)), no_battery(depot)
    assert none == ("battery" not in step), "a step named after one says that there is one"
    if none:
        (words,) = section.words
        assert words.startswith("No step of the loaded procedures has the hazard “battery”")
        assert (section.notes, section.caption) == ((), "")
    else:
        assert section.words[0].startswith("Cannot be told: whether a battery")
    with depot_of({"jobs": ROWS["jobs"]}) as depot:
        assert not no_battery(depot), "without procedures it cannot be told"


@pytest.mark.parametrize("elsewhere", some_slow([False, True], 1))
def test_where_the_jobs_procedures_name_no_hazard_units_may_have_a_battery(elsewhere: bool) -> None:
    """Steps have codes for names, so only their hazards could tell; those of a procedure that no job names do not."""
    plan = [{**row, "step": f"S{10 * n:03}", "must_follow": None, "hazards": []}
            for n, row in enumerate(ROWS["procedures"], 1)]
    plan += [{**plan[0], "procedure": "never done", "hazards": ["esd"]}] if elsewhere else []
    with depot_of({**ROWS, "procedures": plan}) as depot:
        facts = describe(depot, "2026-03")
    (section,) = (s for s in facts.sections if s.key == "safety")
    (words,) = section.words
    assert words.startswith("Cannot be told: whether a battery")
    assert words.endswith('give the step that isolates it the phase "isolate" and the hazard "battery".')
    assert facts.cautions[0].startswith("Battery, electrostatic and sharp-edge work")


@pytest.mark.parametrize(("said", "kept"), [(None, []), ("show", []), ("hide", [("hide",)])])
def test_a_load_keeps_what_the_workspace_says(ws: Workspace, said: str | None, kept: list[tuple[str]]) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    settings = {} if said is None else {"breach_jobs": said}
    ws.load({"workspace": settings, "files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f"}]})
    assert ws.rows("select value from about where name = 'breach_jobs'") == kept
