"""The recipes of the README are run: what they are given is stored, refused or told, and nothing is lost in silence."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.workspaces import Workspace, csv_of, job

README = (Path(__file__).resolve().parents[2] / "shared" / "mapping.md").read_text(encoding="utf-8")
RECIPES = re.findall(r"```toml\n(.*?)```", README[: README.index("## Sheets as they are")], re.DOTALL)
"""The recipes before the forms, which `test_forms` loads."""
HEAD = "Order;Serial;Result;Name;Hours;Kind;model;procedure;opened_at;closed_at\n"


def orders(*hours: str) -> str:
    rows = [f"O{i};SN-{i};OK;Ann;{h};job;Marl-8;board;01.03.2024 10:00;02.03.2024 10:00" for i, h in enumerate(hours)]
    return HEAD + "\n".join([*rows, "Q;SN-9;OK;Ann;1;quote;Marl-8;board;01.03.2024 10:00;02.03.2024 10:00"]) + "\n"


@pytest.fixture
def recipe(ws: Workspace) -> dict[str, Any]:
    """The first recipe, its key in a place of its own."""
    assert len(RECIPES) == 3
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
    from rqa.intake.column_source import ColumnSource
    from rqa.intake.mapping import Files, TableSpec, Workspace

    named = {f.alias or n for part in (Files, ColumnSource, TableSpec, Workspace) for n, f in part.model_fields.items()}
    assert [n for n in sorted(named) if not re.search(rf"\b{n}\b", README)] == []


def test_lines_of_an_order_are_one_job_and_steps_that_name_lines_are_its_steps(ws: Workspace) -> None:
    names = ("Order", "Line", "Serial", "Opened", "Minutes")
    columns = {"unit_id": "Serial", "opened_at": "Opened"}
    lines = [("4711", "1", "S 1", "2024-03-01 10:00", "20"), ("4711", "2", "S 1", "2024-03-01 09:00", "30"),
             ("4712", "1", "S2", "2024-03-01 10:00", "5")]
    whole = [job() | dict(zip(names, values, strict=True)) for values in lines]
    kept = ("model", "site", "procedure", "disposition", "closed_at", *names)
    ws.write("orders_1.csv", csv_of(*({n: row[n] for n in kept} for row in whole)))
    ws.write("log_1.csv", "Line,step,outcome\n4711-1,open,done\n4711-2,swap,pass\n4712-1,open,done\n")
    recipe = tomllib.loads(RECIPES[2])
    recipe["table"][0]["columns"] |= columns
    report = ws.load(recipe)
    assert ws.rows("select job_id, unit_id, labour_minutes, strftime(opened_at, '%H') from jobs order by 1") == [
        ("4711", "S1", 50.0, "09"), ("4712", "S2", 5.0, "10")
    ]
    assert ws.rows("select job_id, step from steps order by all") == [
        ("4711", "open"), ("4711", "swap"), ("4712", "open")
    ]
    assert (report.total("merged"), report.total("refused")) == (1, 0)
    # Without a number of the visit: the unit's lines of one day, and steps joined with the lines that they name.
    by_day, joined = re.search(r"\{ sql = (\"Serial.*?\") \}", RECIPES[2]), re.search(r"`(select log\.\*.*?)`", README)
    assert by_day
    assert joined
    recipe["table"][0]["columns"]["job_id"] = {"sql": tomllib.loads(f"a = {by_day[1]}")["a"]}
    ws.write("log_1.csv", "Line,step,outcome\n1,open,done\n")
    ws.write("orders_1.csv", csv_of(*({n: row[n] for n in kept} for row in whole[:1])))
    recipe["table"][1] = {"table": "steps", "select": joined[1]}
    ws.load(recipe)
    assert ws.rows("select job_id from jobs union all select job_id from steps") == [("S 1 2024-03-01",)] * 2


def test_lines_of_one_visit_are_one_job_when_the_mapping_says_so(ws: Workspace) -> None:
    """As jobs of their own they are remarked on, with the word to write; grouped by a SELECT they are one job, too."""
    line = "J{},U1,Quern,Alder,board,2024-03-01 10:00,repaired,2024-03-01 15:00,{}"
    head = "job_id,unit_id,model,site,procedure,opened_at,disposition,closed_at,labour_minutes"
    ws.write("lines.csv", "\n".join([head, line.format(1, 20), line.format(2, 30), ""]))
    files = {"lines": {"path": "lines.csv", "zone": "UTC"}}
    report = ws.load({"files": files, "table": [{"table": "jobs", "from": "lines"}]})
    assert any('lines = "one job"' in r.remark and r.rows == 2 for r in report.remarks)
    select = """select min(job_id) as job_id, unit_id, any_value(model) as model, any_value(site) as site,
      any_value(procedure) as procedure, opened_at, max(disposition) as disposition, max(closed_at) as closed_at,
      sum(labour_minutes::double) as labour_minutes from lines group by unit_id, opened_at"""
    report = ws.load({"files": files, "table": [{"table": "jobs", "select": select}]})
    assert ws.rows("select job_id, labour_minutes from jobs") == [("J1", 50.0)]
    assert not any("same moment" in r.remark for r in report.remarks)
    assert sum(f.accepted for f in report.files if f.table == "jobs") == 1
    assert report.total("withdrawn") == 2
    by_day = {"job_id": {"sql": "unit_id || ' ' || left(opened_at, 10)"}}
    entry = {"table": "jobs", "from": "lines", "lines": "one job", "columns": by_day}
    report = ws.load({"files": files, "table": [entry]})
    assert ws.rows("select job_id, labour_minutes from jobs") == [("U1 2024-03-01", 20.0)]
    assert (report.total("accepted"), report.total("merged")) == (1, 1)
    assert [m.value for m in report.remarks if "differ" in m.remark] == ["labour_minutes"]
