"""What looks like something and is not: texts that say no, rows without an id, yes and no, folders with numbers."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from rqa.contract import TABLES
from rqa.proposals import Proposal, propose
from rqa.proposals.vocabulary import code_of
from tests.propose.exports import at, jobs, table
from tests.workspaces import Workspace

TIME = "%Y-%m-%d %H:%M:%S"
HEAD = ["Order", "Serial", "Model", "Opened", "Closed"]


def orders(more: dict[str, list[str]] | None = None, *, first: int = 0, opened: str = TIME) -> str:
    """Jobs with further columns, whose values stand in turn."""
    more = more or {}
    rows = [[j.number + first, f"S{j.unit}", j.model, at(j.opened, opened), at(j.closed, TIME),
             *(texts[i % len(texts)] for texts in more.values())] for i, j in enumerate(jobs(40))]
    return table([*HEAD, *more], rows, ",")


def entries(made: Proposal, of: str) -> list[dict[str, Any]]:
    return [e for e in tomllib.loads(made.text).get("table", ()) if e["table"] == of]


def allowed(kind: str) -> tuple[str, ...]:
    of, column = ("diagnostics", "outcome") if kind == "outcome" else ("jobs", kind)
    return TABLES[of].column(column).allowed


@pytest.mark.parametrize(("kind", "text"), [
    ("disposition", "Not fixed"), ("disposition", "Could not be repaired"), ("disposition", "Nicht behoben (Platine)"),
    ("disposition", "fault found"), ("outcome", "Not passed"), ("outcome", "OK?"), ("outcome", "ok ?"),
    ("billing", "Keine Garantie"), ("billing", "Warranty expired"), ("billing", "sin garantía"),
    ("billing", "Garantie abgelaufen"), ("billing", "sans garantie"),
])
def test_a_text_that_says_no_or_asks_is_not_taken_for_a_known_one(kind: str, text: str) -> None:
    assert code_of(text, kind, allowed(kind)) == (None, 0.0)


@pytest.mark.parametrize(("kind", "text", "code"), [
    ("disposition", "Not repaired", "returned_unrepaired"), ("disposition", "No fault found (2 h)", "no_fault_found"),
    ("disposition", "repariert (Platine)", "repaired"), ("outcome", "not OK", "fail"),
    ("billing", "Out of warranty", "paid"), ("billing", "Fuera de garantía", "paid"),
])
def test_known_texts_with_a_no_keep_their_code(kind: str, text: str, code: str) -> None:
    assert code_of(text, kind, allowed(kind))[0] == code


def steps(merged: bool) -> str:
    """Three steps a job: its id with the first alone, or with each but for every eighth row."""
    rows = [[j.number if (k == 0 if merged else (3 * i + k) % 8) else "", step, "done", at(j.opened, TIME)]
            for i, j in enumerate(jobs(40)) for k, step in enumerate(("open", "work", "check"))]
    return table(["Order", "Step", "Result", "Finished"], rows, ",")


@pytest.mark.parametrize("merged", [True, False])
def test_only_ids_that_stand_once_are_taken_for_those_of_the_rows_below(tmp_path: Path, merged: bool) -> None:
    (tmp_path / "jobs.csv").write_text(orders())
    (tmp_path / "steps.csv").write_text(steps(merged))
    made = propose(tmp_path)
    (entry,) = entries(made, "steps")
    assert entry.get("fill_down") == (["Order"] if merged else None)
    assert ("steps.fill_down" in made.checks) is merged


@pytest.mark.parametrize(("heads", "tests"), [
    (("Express", "Newsletter", "Data wiped"), []),
    (("Display test", "Battery test", "Express"), ["Display test", "Battery test"]),
])
def test_yes_and_no_are_outcomes_of_a_test_only_where_the_header_says_so(
    tmp_path: Path, heads: tuple[str, ...], tests: list[str]
) -> None:
    (tmp_path / "jobs.csv").write_text(orders({h: ["yes", "no", "yes", "yes"] for h in heads}))
    made = propose(tmp_path)
    assert [e["columns_to_rows"]["columns"] for e in entries(made, "diagnostics")] == ([tests] if tests else [])


def test_jobs_of_folders_that_differ_in_a_number_are_of_several_sites(ws: Workspace) -> None:
    for number in (1, 2):
        ws.write(f"site{number}/jobs.csv", orders(first=1000 * number))
    made = propose(ws.folder)
    assert any(c.endswith(".site") for c in made.checks)
    ws.load()
    assert ws.rows("select site, count(*) from jobs group by all order by all") == [("Site1", 40), ("Site2", 40)]


def test_folders_of_years_are_of_one_set(tmp_path: Path) -> None:
    for year in (2024, 2025):
        (tmp_path / str(year)).mkdir()
        (tmp_path / str(year) / "jobs.csv").write_text(orders(first=year))
    made = propose(tmp_path)
    assert [len(s.group.labels) for s in made.proposed.sets] == [2]


def test_epoch_seconds_beside_written_times_refuse_no_row(ws: Workspace) -> None:
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, "%d.%m.%Y %H:%M"), int((j.closed or j.opened).timestamp())]
            for j in jobs(40)]
    ws.write("jobs.csv", table(HEAD, rows, ","))
    made = propose(ws.folder)
    assert tomllib.loads(made.text)["files"]["jobs"]["times"] == ["%d.%m.%Y %H:%M", "iso"]
    ws.load()
    assert ws.one("select count(*) filter (closed_at >= opened_at - interval 1 minute) from jobs") == 40


def test_columns_of_two_orders_of_day_and_month_are_left_open(tmp_path: Path) -> None:
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, "%d/%m/%Y %H:%M"), at(j.closed, "%m/%d/%Y %H:%M")]
            for j in jobs(40)]
    (tmp_path / "jobs.csv").write_text(table(HEAD, rows, ","))
    made = propose(tmp_path)
    assert "times" not in tomllib.loads(made.text)["files"]["jobs"]
    assert "jobs.times" in made.checks
    assert "'Opened' has the day first and 'Closed' the month" in made.text


@pytest.mark.parametrize("timed", [True, False])
def test_tests_without_a_time_are_left_to_be_filled(tmp_path: Path, timed: bool) -> None:
    (tmp_path / "jobs.csv").write_text(orders())
    rows = [[j.number, "OK", "NOK", "OK", *([at(j.opened, TIME)] if timed else [])] for j in jobs(40)]
    head = ["Order", "Display", "Battery", "Sound", *(["Test date"] if timed else [])]
    (tmp_path / "sheet.csv").write_text(table(head, rows, ","))
    made = propose(tmp_path)
    assert len(entries(made, "diagnostics")) == timed
    assert ("diagnostics needs run_at" in made.text) is not timed
    assert "sheet.diagnostics" in made.checks
    if not timed:
        lines = made.text[made.text.index('# [[table]]\n# table = "diagnostics"'):].split("\n\n")[0].splitlines()
        taken_off = "\n".join(line.removeprefix("# ") for line in lines if " = " in line or line.startswith("# ["))
        plain = tomllib.loads(taken_off)["table"][0]
        assert (plain["table"], plain["from"], plain["columns"]["job_id"]) == ("diagnostics", "sheet", "Order")


def test_all_that_says_check_this_is_counted_as_a_check(tmp_path: Path) -> None:
    """An event log, and marks of numbers that differ from column to column."""
    (tmp_path / "jobs.csv").write_text(orders({"Parts cost": ["1,50", "12,25"], "Freight cost": ["2.75", "3.10"]}))
    rows = [[j.number, step, kind, at(j.opened, TIME)] for j in jobs(40) for step in ("open", "test")
            for kind in ("start", "end")]
    (tmp_path / "steps.csv").write_text(table(["Order", "Step", "Event", "Time"], rows, ","))
    made = propose(tmp_path)
    assert "each start begins an attempt" in made.text
    assert "have a point, those of" in made.text
    assert {"steps.steps", "jobs.decimal"} <= set(made.checks)
