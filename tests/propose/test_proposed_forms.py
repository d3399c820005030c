"""Forms for sheets as they are, proposed where they are seen: events, header rows, archives, lists in lists, XES."""

import io
import json
import tomllib
import zipfile
from datetime import timedelta
from typing import Any

import pytest

from rqa.proposals import propose
from tests.intake.test_forms import XES
from tests.propose.exports import at, jobs, table
from tests.workspaces import Workspace

TIME = "%Y-%m-%d %H:%M:%S"
HEAD = ["Order", "Serial", "Model", "Opened", "Closed"]


def orders(many: int = 40) -> str:
    return table(HEAD, [[j.number, f"S{j.unit}", j.model, at(j.opened, TIME), at(j.closed, TIME)] for j in jobs(many)])


def entries(text: str, of: str) -> list[dict[str, Any]]:
    return [e for e in tomllib.loads(text).get("table", ()) if e["table"] == of]


@pytest.mark.parametrize("form", [TIME, "%d.%m.%Y %H:%M"])
def test_a_log_of_events_is_proposed_with_events(ws: Workspace, form: str) -> None:
    ws.write("jobs.csv", orders())
    rows = [[j.number, step, kind, at(j.opened + timedelta(minutes=m), form), j.person, "ok" if kind == "end" else ""]
            for j in jobs(40) for step, kind, m in (("strip", "begin", 5), ("strip", "end", 9), ("fit", "begin", 12),
                                                    ("fit", "end", 15))]
    ws.write("log.csv", table(["Order", "Activity", "Phase", "Timestamp", "Resource", "Result"], rows))
    made = propose(ws.folder)
    (entry,) = entries(made.text, "steps")
    assert entry["events"] == {"case": "Order", "activity": "Activity", "lifecycle": "Phase", "time": "Timestamp",
                               "start": ["begin"], "end": ["end"]}
    assert "log.steps" in made.checks
    ws.load()
    assert ws.rows("select count(*), count(started_at), count(ended_at), count(technician) from steps") == [(80,) * 4]
    assert ws.one("select count(*) filter (ended_at > started_at) from steps") == 80


def test_two_rows_that_name_the_columns_together_are_proposed(ws: Workspace) -> None:
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, "%Y-%m-%d"), at(j.opened, "%H:%M"), at(j.closed, "%Y-%m-%d"),
             at(j.closed, "%H:%M")] for j in jobs(40)]
    sheet = table(["Order", "Serial", "Model", "Date", "Time", "Date", "Time"], rows)
    ws.write("jobs.csv", "Unit,,,Received,,Delivered,\n" + sheet)
    made = propose(ws.folder)
    assert tomllib.loads(made.text)["files"]["jobs"]["header_rows"] == 2
    ws.load()
    assert ws.one("select count(closed_at) from jobs where closed_at > opened_at") == sum(
        j.closed is not None for j in jobs(40))


def test_the_files_of_an_archive_are_proposed(ws: Workspace) -> None:
    held = io.BytesIO()
    steps = table(["Order", "Step", "Result", "Finished"], [[j.number, "fit", "done", at(j.opened, TIME)]
                                                            for j in jobs(40)])
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("jobs.csv", orders())
        archive.writestr("log/steps.csv", steps)
    ws.write("backup.zip", held.getvalue())
    made = propose(ws.folder)
    files = tomllib.loads(made.text)["files"].values()
    assert {f["member"] for f in files} == {"jobs.csv", "log/steps.csv"}
    ws.load()
    assert (ws.one("select count(*) from jobs"), ws.one("select count(*) from steps")) == (40, 40)
    assert propose(ws.folder, update=True).added == ()


def test_lists_within_objects_are_proposed(ws: Workspace) -> None:
    ws.write("repairs.json", json.dumps({"repairs": [{
        "order": j.number, "serial": f"S{j.unit}", "model": j.model, "opened": at(j.opened, TIME),
        "closed": at(j.closed, TIME) or None, "tests": [
            {"name": t, "result": "pass", "date": at(j.opened, TIME)} for t in ("screen", "sound")],
    } for j in jobs(40)]}))
    made = propose(ws.folder)
    assert [f.get("rows_of") for f in tomllib.loads(made.text)["files"].values()] == [None, "tests"]
    ws.load()
    assert (ws.one("select count(*) from jobs"), ws.one("select count(*) from diagnostics")) == (40, 80)


def test_a_log_in_xes_is_proposed(ws: Workspace) -> None:
    ws.write("log.xes", XES)
    made = propose(ws.folder)
    (entry,) = entries(made.text, "steps")
    assert entry["events"]["case"] == "trace concept:name"
    ws.load()
    assert ws.rows("select job_id, step, technician, ended_at > started_at from steps") == [
        ("A", "open & look", "Ann", True)]
