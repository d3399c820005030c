"""The recipes of the README are run: what they are given is stored, refused or told, and nothing is lost in silence."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.workspaces import Workspace

README = (Path(__file__).resolve().parents[2] / "shared" / "mapping.md").read_text(encoding="utf-8")
RECIPES = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
HEAD = "Order;Serial;Result;Name;Hours;Kind;model;procedure;opened_at;closed_at\n"


def orders(*hours: str) -> str:
    rows = [f"O{i};SN-{i};OK;Ann;{h};job;Marl-8;board;01.03.2024 10:00;02.03.2024 10:00" for i, h in enumerate(hours)]
    return HEAD + "\n".join([*rows, "Q;SN-9;OK;Ann;1;quote;Marl-8;board;01.03.2024 10:00;02.03.2024 10:00"]) + "\n"


@pytest.fixture
def recipe(ws: Workspace) -> dict[str, Any]:
    """The first recipe, its key in a place of its own."""
    assert len(RECIPES) == 2
    key = ws.write("../safe/key", b"secret").resolve()
    return tomllib.loads(RECIPES[0].replace("/a/safe/place/key", key.as_posix()))


def test_hours_are_counted_in_minutes_and_what_is_none_is_refused_as_written(
    ws: Workspace, recipe: dict[str, Any]
) -> None:
    ws.write("alder/jobs_1.csv", orders("2,5", "ca. 2", "2.5", "n/a", "").encode("cp1252"))
    report = ws.load(recipe)
    assert ws.rows("select job_id, unit_id, labour_minutes from jobs order by 1") == [
        ("O0", "0", 150.0), ("O3", "3", None), ("O4", "4", None),
    ]
    assert [(r, c, v) for r, c, _, v in ws.refused()] == [(3, "labour_minutes", "ca. 2"), (4, "labour_minutes", "2.5")]
    assert (report.total("in_file"), report.total("left_out"), report.total("accepted")) == (6, 1, 3)
    stored = "".join(str(row) for table in ("jobs", "refused") for row in ws.rows(f"from {table}"))
    assert "Ann" not in stored


def test_steps_are_gathered_from_a_log_of_events(ws: Workspace) -> None:
    lines = ["case,activity,lifecycle,resource,timestamp,result"]
    lines += ["J1,open,start,T1,2024-03-01 10:00:00,", "J1,open,complete,T1,2024-03-01 10:05:00,pass"]
    lines += ["J2,open,start,T1,2024-03-01 11:00:00,", "J2,open,complete,T1,2024-03-01 11:05:00,maybe"]
    ws.write("log.csv", "\n".join(lines) + "\n")
    ws.load(tomllib.loads(RECIPES[1]))
    assert ws.rows("select job_id, outcome, source_file, source_row from steps") == [("J1", "pass", "log.csv", 2)]
    assert ws.rows("select source_file, source_row, value from refused") == [("log.csv", 4, "maybe")]


def test_what_the_readme_says_of_keys_is_what_there_is() -> None:
    """Every setting of the mapping that a user can write is named in the README."""
    from rqa.intake.mapping import Files, Origin, TableSpec, Workspace

    named = {f.alias or n for part in (Files, Origin, TableSpec, Workspace) for n, f in part.model_fields.items()}
    assert [n for n in sorted(named) if not re.search(rf"\b{n}\b", README)] == []


def test_lines_of_one_visit_are_one_job_when_a_select_groups_them(ws: Workspace) -> None:
    """As lines they are remarked on; grouped by unit and opening, they are one job, and each line is accounted for."""
    line = "J{},U1,Quern,Alder,board,2024-03-01 10:00,repaired,2024-03-01 15:00,{}"
    head = "job_id,unit_id,model,site,procedure,opened_at,disposition,closed_at,labour_minutes"
    ws.write("lines.csv", "\n".join([head, line.format(1, 20), line.format(2, 30), ""]))
    files = {"lines": {"path": "lines.csv", "zone": "UTC"}}
    report = ws.load({"files": files, "table": [{"table": "jobs", "from": "lines"}]})
    assert any("same moment" in r.remark and r.rows == 2 for r in report.remarks)
    select = """select min(job_id) as job_id, unit_id, any_value(model) as model, any_value(site) as site,
      any_value(procedure) as procedure, opened_at, max(disposition) as disposition, max(closed_at) as closed_at,
      sum(labour_minutes::double) as labour_minutes from lines group by unit_id, opened_at"""
    report = ws.load({"files": files, "table": [{"table": "jobs", "select": select}]})
    assert ws.rows("select job_id, labour_minutes from jobs") == [("J1", 50.0)]
    assert not any("same moment" in r.remark for r in report.remarks)
    assert sum(f.accepted for f in report.files if f.table == "jobs") == 1
    assert report.total("withdrawn") == 2
