"""Forms for sheets as they are: two header rows, factors, what nobody knows, events, XES, archives, lists in lists."""

import gzip
import io
import json
import random
import re
import tomllib
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from rqa.errors import MappingError, RqaError, SourceError
from rqa.intake import archives, xes
from tests.workspaces import Workspace

HEAD = "job_id,unit_id,model,site,procedure,opened_at,disposition,closed_at"
ROW = "{},U1,M,Alder,swap,2025-01-02 10:00:00,repaired,2025-01-03 10:00:00"
JOBS = "\n".join([HEAD, ROW.format("A"), ROW.format("B")]) + "\n"


def of(path: str, table: str = "jobs", files: dict[str, Any] | None = None, **entry: Any) -> dict[str, Any]:
    """A mapping of one set of files to one table."""
    return {"files": {"log": {"path": path} | (files or {})}, "table": [{"table": table, "from": "log"} | entry]}


def zipped(**members: str | bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "."), content)
    return held.getvalue()


# Two header rows

TWO = "Unit;;;Stay;;;\nOrder;Serial;Type;In;Out;Outcome;\n"
GROUPED = {"job_id": "Unit Order", "unit_id": "Unit Serial", "model": "Unit Type", "opened_at": "Stay In",
           "closed_at": "Stay Out", "disposition": {"column": "Stay Outcome", "values": {"ok": "repaired"}},
           "site": {"constant": "Alder"}, "procedure": {"constant": "swap"}}


def test_two_header_rows_name_the_columns_and_rows_keep_their_lines(ws: Workspace) -> None:
    rows = "A;U1;M;2025-01-02 10:00:00;2025-01-03 10:00:00;ok;\nB;U2;M;2025-01-02 10:00:00;2025-01-03 10:00:00;?;\n"
    ws.write("jobs.csv", "Export of the year\n" + TWO + rows)
    ws.load(of("jobs.csv", files={"header_row": 2, "header_rows": 2, "delimiter": ";"}, columns=GROUPED))
    assert ws.rows("select job_id, unit_id, source_row from jobs") == [("A", "U1", 4)]
    assert [(r, v) for r, _, _, v in ws.refused()] == [(5, "?")]


def test_two_header_rows_of_a_sheet(ws: Workspace) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    for line in TWO.splitlines():
        sheet.append(line.rstrip(";").split(";"))
    sheet.append(["A", "U1", "M", datetime(2025, 1, 2, 10), datetime(2025, 1, 3, 10), "ok"])
    held = io.BytesIO()
    book.save(held)
    ws.write("jobs.xlsx", held.getvalue())
    ws.load(of("jobs.xlsx", files={"header_rows": 2}, columns=GROUPED))
    assert ws.rows("select job_id, unit_id, source_row from jobs") == [("A", "U1", 3)]


@pytest.mark.parametrize("files", [{"header_rows": 3}, {"header_rows": 0}, {"header_rows": 2, "header_row": 0}])
def test_header_rows_that_cannot_be_are_told(ws: Workspace, files: dict[str, Any]) -> None:
    ws.write("jobs.csv", JOBS)
    with pytest.raises(MappingError, match=r"files\.log\.header_rows"):
        ws.load(of("jobs.csv", files=files))


# Factors, and what nobody knows

def test_a_number_is_divided(ws: Workspace) -> None:
    """Cents and seconds; each is the double nearest to the quotient, as Python's division gives it."""
    cents = [1, 33, 12345, 99999, 10]
    lines = [f"{ROW.format(i)},{c},{c}" for i, c in enumerate(cents)]
    ws.write("jobs.csv", "\n".join([HEAD + ",cents,secs", *lines]) + "\n")
    ws.load(of("jobs.csv", columns={"parts_cost": {"column": "cents", "divide": 100},
                                    "labour_minutes": {"column": "secs", "divide": 60}}))
    assert ws.rows("select parts_cost, labour_minutes from jobs order by job_id") == [(c / 100, c / 60) for c in cents]


@pytest.mark.parametrize(("given", "said"), [
    ({"divide": 100, "times": 2}, "times or divide, not both"), ({"divide": 0}, "divide"),
    ({"divide": 100, "key_file": "/k"}, "times and divide are for numbers"),
])
def test_faults_of_divide(ws: Workspace, given: dict[str, Any], said: str) -> None:
    ws.write("jobs.csv", JOBS)
    with pytest.raises(MappingError, match=said):
        ws.load(of("jobs.csv", columns={"parts_cost": {"column": "model"} | given}))
    with pytest.raises(MappingError, match="divide: model is no number that could be divided"):
        ws.load(of("jobs.csv", columns={"model": {"column": "model", "divide": 2}}))


def test_rows_whose_outcome_nobody_knows_are_left_out_and_counted(ws: Workspace) -> None:
    ws.write("tests.csv", "job_id,test,run_at,Result\nA,t,2025-01-02,ok\nA,u,2025-01-02,?\nA,v,2025-01-02,\n"
                          "A,w,2025-01-02,maybe\n")
    outcome = {"column": "Result", "values": {"ok": "pass"}, "unknown": ["?", ""]}
    report = ws.load(of("tests.csv", "diagnostics", columns={"outcome": outcome}))
    assert ws.rows("select test, outcome from diagnostics") == [("t", "pass")]
    assert [(r, v) for r, _, _, v in ws.refused()] == [(5, "maybe")]
    (count,) = report.files
    assert (count.in_file, count.left_out, count.accepted, count.refused) == (4, 2, 1, 1)
    with pytest.raises(MappingError, match="unknown is for a column"):
        ws.load(of("tests.csv", "diagnostics", columns={"outcome": {"constant": "pass", "unknown": "?"}}))


# Events

def by_hand(events: list[tuple[str, str, str, datetime, int]]) -> list[tuple[Any, ...]]:
    """(job, step, start, end, first row) of each attempt, by a loop over the events in the order of their times."""
    attempts: list[list[Any]] = []
    last: dict[tuple[str, str], int] = {}
    begun: set[tuple[str, str]] = set()
    for job, step, kind, when, row in sorted(events, key=lambda e: (e[3], e[4])):
        if kind == "suspend":
            continue
        if kind == "start" or (job, step) not in begun:
            last[job, step] = len(attempts)
            attempts.append([job, step, None, None, row])
        one = attempts[last[job, step]]
        one[4] = min(one[4], row)
        if kind == "start":
            one[2] = when
            begun.add((job, step))
        else:
            one[3] = when
            begun.discard((job, step))
    return sorted(map(tuple, attempts), key=str)


@pytest.mark.parametrize(("form", "seed"), [
    ("%Y-%m-%d %H:%M:%S", 1), ("%d.%m.%Y %H:%M:%S", 2), ("%m/%d/%Y %H:%M:%S", 3)])
def test_events_become_attempts(ws: Workspace, form: str, seed: int) -> None:
    """Against a loop over the events; rows in no order of time, and times that do not sort as texts."""
    rng = random.Random(seed)
    events = [
        (rng.choice("AB"), rng.choice(["open", "fit"]), rng.choice(["start", "complete", "suspend"]),
         datetime(2025, 1, 28) + timedelta(hours=7 * i), 0) for i in range(40)]
    rng.shuffle(events)
    events = [(*e[:4], i) for i, e in enumerate(events, 2)]
    lines = [f"{c},{a},{k.title()},{t.strftime(form)},{'Ann' if k == 'start' else ''},{'ok' if k != 'start' else ''}"
             for c, a, k, t, _ in events]
    ws.write("log.csv", "\n".join(["Case,Act,Phase,When,Who,Result", *lines]) + "\n")
    log = {"case": "Case", "activity": "Act", "lifecycle": "Phase", "time": "When"}
    mapping = of("log.csv", "steps", {"times": form}, events=log, columns={
        "technician": "Who", "outcome": {"column": "Result", "values": {"ok": "pass"}, "default": "done"}})
    ws.load(mapping)
    found = ws.rows("select job_id, step, started_at, ended_at, source_row from steps")
    assert sorted(found, key=str) == by_hand(events)
    assert ws.one("select count(*) from steps where (started_at is null) <> (technician is null) "
                  "or (ended_at is null) <> (outcome = 'done')") == 0


def test_events_without_a_life_cycle_are_each_an_attempt(ws: Workspace) -> None:
    ws.write("log.csv", "Case,Act,When\nA,open,2025-01-02 10:00:00\nA,open,2025-01-02 11:00:00\n")
    ws.load(of("log.csv", "steps", events={"case": "Case", "activity": "Act", "time": "When"},
               columns={"outcome": {"constant": "done"}}))
    assert ws.rows("select attempt, started_at, hour(ended_at), source_row from steps order by 1") == [
        (1, None, 10, 2), (2, None, 11, 3)]


LOG = {"case": "Case", "activity": "Act", "time": "When", "lifecycle": "Phase"}


@pytest.mark.parametrize(("entry", "said"), [
    ({"events": LOG | {"activity": "Akt"}}, "events: files.log has no column 'Akt'; did you mean 'Act'"),
    ({"events": LOG | {"start": "x", "end": ["X"]}}, "'x' cannot stand in both start and end"),
    ({"events": LOG | {"start": []}}, "start and end each name a text"),
    ({"events": {"case": "Case"}}, "events.activity: "),
    ({"events": LOG | {"live": "x"}}, "unknown key"),
    ({"events": LOG, "columns_to_rows": {"name": "step", "value": "outcome", "columns": ["Act"]}}, "not both"),
    ({"events": LOG, "table": "parts"}, "events makes rows of steps, not of parts"),
])
def test_faults_of_events_are_told(ws: Workspace, entry: dict[str, Any], said: str) -> None:
    ws.write("log.csv", "Case,Act,When,Phase\nA,open,2025-01-02,start\n")
    plain = of("log.csv", "steps", columns={"outcome": {"constant": "done"}})
    plain["table"][0] |= entry
    with pytest.raises(MappingError) as error:
        ws.load(plain)
    assert said in str(error.value)


def test_names_in_events_become_pseudonyms(ws: Workspace) -> None:
    key = ws.write("../safe/key", b"secret").resolve()
    ws.write("log.csv", "Case,Act,When,Who\nA,open,2025-01-02 10:00:00,Ann Bee\n")
    log = {"case": "Case", "activity": "Act", "time": "When"}
    columns = {"outcome": {"constant": "done"}, "technician": {"column": "Who", "key_file": str(key)}}
    ws.load(of("log.csv", "steps", events=log, columns=columns))
    assert ws.one("select count(*) from steps where technician is not null") == 1
    assert b"Ann Bee" not in ws.store.read_bytes()
    with pytest.raises(MappingError, match="step: it would hold, or may hold"):
        ws.load(of("log.csv", "steps", events=log | {"activity": "Who"}, columns=columns))


# XES

XES = """<?xml version="1.0" encoding="UTF-8"?>
<log xes.version="1849.2016" xmlns="http://www.xes-standard.org/">
 <extension name="Concept" prefix="concept" uri="http://www.xes-standard.org/concept.xesext"/>
 <global scope="event"><string key="concept:name" value="none"/></global>
 <string key="concept:name" value="the log itself"/>
 <trace>
  <string key="concept:name" value="A"/>
  <event><string key="concept:name" value="open &amp; look"><string key="inner" value="x"/></string>
   <string key="lifecycle:transition" value="start"/><date key="time:timestamp" value="2025-01-02T10:00:00.000+01:00"/>
   <string key="org:resource" value="Ann"/></event>
  <event><string key="concept:name" value="open &amp; look"/><string key="lifecycle:transition" value="complete"/>
   <date key="time:timestamp" value="2025-01-02T10:05:00.000+01:00"/></event>
  <string key="site" value="Alder"/>
 </trace>
</log>
"""
"""Written by hand after the standard's own description of its elements (IEEE 1849-2016, from memory)."""


@pytest.mark.parametrize("name", ["log.xes", "log.xes.gz", "log.zip", "log.xes.zip"])
def test_a_log_in_xes_is_read(ws: Workspace, name: str) -> None:
    raw = XES.encode()
    ws.write(name, gzip.compress(raw) if name.endswith("gz") else zipped(a__xes=raw) if name.endswith("zip") else raw)
    log = {"case": "trace concept:name", "activity": "concept:name", "lifecycle": "lifecycle:transition",
           "time": "time:timestamp"}
    ws.load(of(name, "steps", events=log, columns={"technician": "org:resource", "bench": "trace site",
                                                   "outcome": {"constant": "done"}}))
    assert [tuple(map(str, r)) for r in ws.rows(
        "select job_id, step, technician, bench, started_at, ended_at from steps")] == [
            ("A", "open & look", "Ann", "Alder", "2025-01-02 09:00:00", "2025-01-02 09:05:00")]


BOMB = '<?xml version="1.0"?><!DOCTYPE log [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><log><trace/></log>'


@pytest.mark.parametrize(("text", "said"), [
    (BOMB, "it declares entities"), ("<rows><row/></rows>", "its first element is 'rows'"),
    (XES[:-30], "unclosed token"),
    ("<log>" + "<a>" * 100, "too deep"),
    ("<log><trace><event>" + "".join(f'<int key="k{i}" value="1"/>' for i in range(600)), "more than 500 attributes"),
])
def test_what_is_no_log_in_xes_is_told(ws: Workspace, text: str, said: str) -> None:
    ws.write("log.xes", text)
    with pytest.raises(SourceError, match=said):
        ws.load(of("log.xes", "steps", columns={"job_id": "trace concept:name", "step": "concept:name",
                                                "outcome": {"constant": "done"}}))


def test_a_trace_that_every_event_would_repeat_is_refused(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xes, "SMALL", 1 << 16)
    long = f'<string key="note" value="{"x" * 50_000}"/>'
    event = '<event><string key="concept:name" value="open"/></event>'
    ws.write("log.xes", f"<log><trace>{long}{event * 2000}</trace></log>")
    with pytest.raises(SourceError, match="its traces say too much"):
        ws.load(of("log.xes", "steps", columns={"job_id": "note", "step": "concept:name",
                                                "outcome": {"constant": "done"}}))


# Archives

@pytest.mark.parametrize(("name", "files"), [
    ("jobs.zip", {}), ("jobs.csv.zip", {}), ("two.zip", {"member": "in/jobs.csv"}), ("two.zip", {"member": "*/jobs*"}),
])
def test_a_file_of_an_archive_is_read(ws: Workspace, name: str, files: dict[str, Any]) -> None:
    ws.write("jobs.zip", zipped(jobs__csv=JOBS, **{"__MACOSX/jobs__csv": "junk"}))
    ws.write("jobs.csv.zip", zipped(jobs__csv=JOBS))
    ws.write("two.zip", zipped(**{"in/jobs__csv": JOBS, "steps__csv": "a,b\n1,2\n"}))
    ws.load(of(name, files=files))
    assert ws.rows("select job_id, source_file, source_row from jobs order by 1") == [("A", name, 2), ("B", name, 3)]


def test_a_workbook_of_an_archive_is_read(ws: Workspace) -> None:
    book = openpyxl.Workbook()
    for line in JOBS.splitlines():
        book.active.append(line.split(","))
    held = io.BytesIO()
    book.save(held)
    ws.write("jobs.zip", zipped(book__xlsx=held.getvalue()))
    ws.load(of("jobs.zip"))
    assert ws.one("select count(*) from jobs") == 2


def test_a_name_in_an_archive_stands_nowhere_as_it_is(ws: Workspace) -> None:
    key = ws.write("../safe/key", b"secret").resolve()
    named = JOBS.replace("closed_at\n", "closed_at,Who\n").replace("-03 10:00:00\n", "-03 10:00:00,Ann Bee\n")
    ws.write("jobs.zip", zipped(jobs__csv=named))
    ws.load(of("jobs.zip", columns={"technician": {"column": "Who", "key_file": str(key)}}))
    assert ws.one("select count(technician) from jobs") == 2
    assert b"Ann Bee" not in ws.store.read_bytes()


@pytest.mark.parametrize(("members", "files", "said"), [
    ({"a__csv": JOBS, "b__csv": JOBS}, {}, "holds 2 files. Name one with member; there is: a.csv, b.csv"),
    ({"a__csv": JOBS, "b__csv": JOBS}, {"member": "*.csv"}, "2 files of the zip archive fit member"),
    ({"a__csv": JOBS}, {"member": "c.csv"}, "0 files of the zip archive fit member = 'c.csv'; there is: a.csv"),
    ({}, {}, "holds no file"),
])
def test_which_file_of_an_archive_is_told(ws: Workspace, members: dict[str, str], files: dict[str, Any], said: str
                                          ) -> None:
    ws.write("jobs.zip", zipped(**members))
    with pytest.raises(RqaError) as error:
        ws.load(of("jobs.zip", files=files))
    assert said in str(error.value)


def test_an_archive_that_unpacks_to_far_more_than_a_log_is_refused(
    ws: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archives, "SMALL", 1 << 16)
    ws.write("jobs.zip", zipped(jobs__csv=JOBS + "," * 8_000_000))
    with pytest.raises(SourceError, match="when unpacked, which no log of its packed size is"):
        ws.load(of("jobs.zip"))
    assert not ws.store.exists()


def test_a_damaged_archive_is_told(ws: Workspace) -> None:
    ws.write("jobs.zip", zipped(jobs__csv=JOBS)[:-20])
    with pytest.raises(RqaError, match="is no readable zip archive"):
        ws.load(of("jobs.zip"))


# Lists in lists

DOCUMENT = {"shop": "Mill", "repairs": [
    {"id": "A", "tests": [{"name": "t", "ok": "yes", "limits": {"low": 1}}, {"name": "u", "ok": "no"}]},
    {"id": "B", "tests": []}, {"id": "C", "tests": [{"name": "t", "ok": "yes"}]}, {"id": "D"}]}


@pytest.mark.parametrize(("text", "rows_of", "before"), [
    (json.dumps(DOCUMENT), "tests", ""), (json.dumps(DOCUMENT), "repairs.tests", "repairs."),
    (json.dumps(DOCUMENT["repairs"]), "tests", ""), ("\n".join(map(json.dumps, DOCUMENT["repairs"])), "tests", ""),
])
@pytest.mark.parametrize("name", ["log.json", "log.jsonl"])
def test_each_entry_of_a_list_in_objects_is_a_row(
    ws: Workspace, text: str, rows_of: str, before: str, name: str
) -> None:
    ws.write(name, text)
    ws.load(of(name, "diagnostics", {"rows_of": rows_of, "format": "json"}, columns={
        "job_id": f"{before}id", "test": f"{before}tests.name", "lower_limit": f"{before}tests.limits.low",
        "outcome": {"column": f"{before}tests.ok", "values": {"yes": "pass", "no": "fail"}},
        "run_at": {"constant": "2025-01-02"}}))
    assert ws.rows("select job_id, test, outcome, lower_limit, source_row from diagnostics order by all") == [
        ("A", "t", "pass", 1.0, 1), ("A", "u", "fail", None, 2), ("C", "t", "pass", None, 3)]


def test_a_list_that_is_not_there_is_told(ws: Workspace) -> None:
    ws.write("log.json", json.dumps(DOCUMENT))
    with pytest.raises(SourceError, match="no object of it has a list 'checks'"):
        ws.load(of("log.json", "diagnostics", {"rows_of": "checks"}, columns={"job_id": "id"}))


# The mapping guide

GUIDE = (Path(__file__).parents[2] / "shared" / "mapping.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", GUIDE[GUIDE.index("## Sheets as they are") :], re.DOTALL)
LOADED: list[tuple[str, str | bytes, list[tuple[Any, ...]]]] = [
    ("select job_id, unit_id, model, hour(closed_at) from jobs",
     "Unit,,,Stay,\nOrder,Serial,Type,In,Out\nA,U1,M,2025-01-02 10:00:00,2025-01-02 11:00:00\n",
     [("A", "U1", "M", 11)]),
    ("select job_id, part_no, unit_cost from parts", "A,P-1,1250\n", [("A", "P-1", 12.5)]),
    ("select test, outcome from diagnostics",
     "Order,Check,Day,Result\nA,t,2025-01-02,ok\nA,u,2025-01-02,?\nA,v,2025-01-02,\n", [("t", "pass")]),
    ("select step, hour(started_at), hour(ended_at), technician, outcome from steps",
     "Case,Activity,Phase,When,Who,Result\nA,open,begun,02.01.2025 10:00,Ann,\nA,open,over,02.01.2025 11:00,,ok\n",
     [("open", 10, 11, "Ann", "pass")]),
    ("select step, technician from steps", XES, [("open & look", "Ann")]),
    ("select step, outcome from steps",
     zipped(jobs__csv=JOBS, steps__csv="job_id,step,outcome\nA,open,done\n"), [("open", "done")]),
    ("select job_id, test, outcome from diagnostics",
     json.dumps({"repairs": [{"id": "A", "closed": "2025-01-02", "tests": [{"name": "t", "ok": "yes"}]}]}),
     [("A", "t", "pass")]),
]


@pytest.mark.parametrize("number", range(len(LOADED)))
def test_each_example_of_the_guide_loads(ws: Workspace, number: int) -> None:
    assert len(EXAMPLES) == len(LOADED)
    asked, content, rows = LOADED[number]
    mapping = tomllib.loads(EXAMPLES[number])
    (files,) = mapping["files"].values()
    ws.write(files["path"], content)
    ws.load(mapping)
    assert (ws.rows(asked), ws.refused()) == (rows, [])
