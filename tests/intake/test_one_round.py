"""All faults of a mapping are told in one round: any set of faults planted at once is told, and nothing besides."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.errors import MappingError, SourceError
from tests.cases import some_slow
from tests.examples import examples
from tests.workspaces import Workspace, csv_of, job

GOOD: dict[str, Any] = {
    "workspace": {"zone": "UTC"},
    "sites": {"Alder": {"zone": "Europe/Lisbon"}},
    "files": {
        "j": {"path": "jobs.csv"}, "s": {"path": "steps.csv"}, "p": {"path": "parts.jsonl"}, "d": {"path": "tests.csv"},
    },
    "table": [
        {"table": "jobs", "from": "j",
         "columns": {"found": "cause", "billing": {"column": "pays", "values": {"W": "warranty"}}}},
        {"table": "steps", "from": "s", "columns": {"bench": "place"}},
        {"table": "parts", "from": "p", "columns": {"part_no": "no", "unit_cost": {"column": "price", "times": 0.01}}},
        {"table": "diagnostics", "select": "select * from d", "columns": {"run_at": "at"}},
    ],
}
FILES = {
    "jobs.csv": csv_of(job("A") | {"cause": "cable", "pays": "W"}),
    "steps.csv": "job_id,step,outcome,place,seat\nA,open,pass,B1,S1\n",
    "parts.jsonl": '{"job_id": "A", "no": "P1", "price": "100"}\n',
    "tests.csv": "job_id,test,outcome,at\nA,soak,pass,2024-03-01\n",
    "extra.csv": "a\n1\n",
}


def put(at: list[Any], value: object) -> tuple[list[Any], object]:
    """Where in the mapping something is put, and what; `...` takes out what stands there."""
    return at, value


FAULTS: dict[str, tuple[list[tuple[list[Any], object]], list[str]]] = {
    # name: (what is put where, what must be said); those of a name's first word stand in each other's way
    "workspace key": ([put(["workspace", "titel"], "x")], ["workspace.titel: unknown key; did you mean 'title'"]),
    "sites zone": ([put(["sites", "Alder", "zone"], "Lisbon")], ["sites.Alder.zone", "'Lisbon'"]),
    "top key": ([put(["file"], {})], ["file: unknown key; did you mean 'files'"]),
    "j path": ([put(["files", "j", "path"], "job.csv")], ["no file 'job.csv'", "jobs.csv"]),
    "j zone": ([put(["files", "j", "zone"], "x")], ["files.j.zone"]),
    "jobs column": ([put(["table", 0, "columns", "found"], "couse")], ["no column 'couse'; did you mean 'cause'"]),
    "jobs name": ([put(["table", 0, "columns", "techician"], "x")], ["'techician'; did you mean 'technician'"]),
    "jobs target": (
        [put(["table", 0, "columns", "billing", "values", "X"], "warrenty")],
        ["columns.billing.values.X", "'warrenty' is no value of billing; did you mean 'warranty'"],
    ),
    "jobs default": ([put(["table", 0, "columns", "billing", "default"], "fre")], ["columns.billing.default", "'fre'"]),
    "jobs person": (
        [put(["table", 0, "columns", "model"], {"column": "model", "person": True})],
        ["table.1.columns.model.person", "bench of steps"],
    ),
    "jobs where": ([put(["table", 0, "wher"], "x")], ["table.1.wher: unknown key; did you mean 'where'"]),
    "steps column": ([put(["table", 1, "columns", "tool"], "seet")], ["no column 'seet'; did you mean 'seat'"]),
    "steps constant": (
        [put(["table", 1, "columns", "outcome"], {"constant": "passed"})],
        ["table.2.columns.outcome.constant", "did you mean 'pass'"],
    ),
    "steps two origins": ([put(["table", 1, "columns", "step"], {"column": "step", "sql": "1"})], ["exactly one of"]),
    "steps regex": (
        [put(["table", 1, "columns", "fault"], {"column": "step", "replace": [["(", ""]]})],
        ["table.2.columns.fault.replace: '(' is no regular expression"],
    ),
    "parts format": ([put(["files", "p", "delimeter"], ";")], ["files.p.delimeter", "'delimiter'"]),
    "parts factor": (
        [put(["table", 2, "columns", "lot"], {"column": "no", "times": 2})],
        ["table.3.columns.lot.times", "kind is text"],
    ),
    "parts zero": ([put(["table", 2, "columns", "quantity"], {"constant": "-1"})], ["quantity.constant", "below 0"]),
    "tests column": ([put(["table", 3, "columns", "station"], "seat")], ["table.4", "no column 'seat'"]),
    "tests outcome": (
        [put(["table", 3, "columns", "outcome"], {"column": "outcome", "values": {"P": "pas"}})],
        ["table.4.columns.outcome.values.P", "did you mean 'pass'"],
    ),
    "tests sql": ([put(["table", 3, "columns", "unit"], {"sql": "lower(nowhere)"})], ["table.4", "nowhere"]),
    "new table": ([put(["table", 4], {"table": "actons", "from": "j"})], ["no table 'actons'; did you mean 'actions'"]),
    "new from": ([put(["table", 4], {"table": "tests", "from": "t"})], ["table.5.from: no files 't'"]),
    "new both": ([put(["table", 4], {"table": "tests", "from": "s", "select": "s"})], ["table.5", "either from"]),
    "new required": (
        [put(["table", 4], {"table": "tests", "from": "x"}), put(["files", "x"], {"path": "extra.csv"})],
        ["test is required", "subsystem is required (the subsystem the test covers)", 'subsystem = "…"'],
    ),
}


def planted(names: list[str]) -> dict[str, Any]:
    mapping = copy.deepcopy(GOOD)
    for name in names:
        for at, value in FAULTS[name][0]:
            part: Any = mapping
            for key in at[:-1]:
                part = part[key]
            if isinstance(part, list):
                part.append(value)
            else:
                part[at[-1]] = value
    return mapping


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    ws = Workspace(tmp_path_factory.mktemp("ws"))
    for name, text in FILES.items():
        ws.write(name, text)
    return ws


def test_without_a_fault_it_loads(room: Workspace) -> None:
    assert room.load(GOOD, write=False).total("accepted") == 5


HIDES = {"j path": ["jobs column"]}
"""Faults that cannot be seen beside another: columns of a file that is not there."""


def compatible(names: list[str]) -> list[str]:
    """Those that can be seen beside each other: one new entry alone, and none that another hides."""
    new = [n for n in names if n.startswith("new")]
    hidden = {h for n in names for h in HIDES.get(n, [])}
    return [n for n in names if n not in hidden and n not in new[1:]]


ALONE: dict[str, set[str]] = {}


def alone(room: Workspace, name: str) -> set[str]:
    """What is told of one fault planted by itself."""
    if name not in ALONE:
        with pytest.raises(MappingError) as one:
            room.load(planted([name]), write=False)
        ALONE[name] = {f.removeprefix("sources.toml, ") for f in one.value.faults}
    return ALONE[name]


@settings(max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from(sorted(FAULTS)), min_size=1, max_size=9, unique=True))
def test_every_planted_fault_is_told_in_one_round(room: Workspace, chosen: list[str]) -> None:
    names = compatible(chosen)
    with pytest.raises(MappingError) as caught:
        room.load(planted(names), write=False)
    said = str(caught.value)
    assert [p for name in names for p in FAULTS[name][1] if p not in said] == [], said
    assert "Traceback" not in said
    # Nothing is told but what was planted: each fault tells no more than it does alone.
    assert {f.removeprefix("sources.toml, ") for f in caught.value.faults} <= {f for n in names for f in alone(room, n)}


@pytest.mark.parametrize("name", some_slow(FAULTS, list(FAULTS)[::3]))
def test_each_fault_alone_is_told_once(room: Workspace, name: str) -> None:
    with pytest.raises(MappingError) as caught:
        room.load(planted([name]), write=False)
    assert [p for p in FAULTS[name][1] if p not in str(caught.value)] == [], str(caught.value)
    assert len(caught.value.faults) == (2 if name == "new required" else 1), str(caught.value)


def test_unreadable_files_and_faults_of_the_mapping_are_told_together(ws: Workspace) -> None:
    for name, text in FILES.items():
        ws.write(name, text)
    ws.write("jobs.csv", b"\x1f\x8b")
    ws.write("tests.csv", b"PAR1")
    with pytest.raises(MappingError) as caught:
        ws.load(planted(["steps column"]))
    said = str(caught.value)
    assert "(3 faults)" in said
    assert all(p in said for p in ("jobs.csv: this is packed with gzip", "tests.csv: this is a Parquet file", "'seet'"))
    with pytest.raises(SourceError, match="2 files cannot be read"):
        ws.load(GOOD)


def test_of_many_files_that_do_not_fit_a_few_are_named(ws: Workspace) -> None:
    for number in range(60):
        ws.write(f"{number}.csv", csv_of(job(f"J{number}")))
    entry = {"table": "jobs", "from": "f", "columns": {"found": "cause"}}
    with pytest.raises(MappingError) as caught:
        ws.load({"files": {"f": {"path": "*.csv"}}, "table": [entry]})
    said = str(caught.value)
    assert said.count("no column 'cause'") == 3
    assert "57 more files do not fit either" in said


BACKSLASH = {
    "hex": ('[files.f]\npath = "C:\\Users\\x.csv"\n', ["C:\\Users\\x.csv", "Write / between folders", "line 2"]),
    "sign": ('[files.f]\npath = "a\\jobs.csv"\n', ["single quotes"]),
    "newline": ('[files.f]\npath = "a\\new.csv"\n', ["files.f.path", "Write / between folders"]),
    "key": ("table = [{table='jobs', from='f', columns={technician={column='x', key_file=\"C:\\Users\\key\"}}}]\n",
            ["Write / between folders", "single quotes"]),
    "drive": ("[files.f]\npath = 'C:\\depot\\jobs.csv'\n", ["is absolute"]),
    "no backslash": ('[files.f]\npath = "x\n', ["not valid TOML"]),
}


@pytest.mark.parametrize("name", BACKSLASH)
def test_path_of_another_system(ws: Workspace, name: str) -> None:
    text, parts = BACKSLASH[name]
    ws.write("sources.toml", text)
    with pytest.raises(MappingError) as caught:
        ws.load()
    assert [p for p in parts if p not in str(caught.value)] == [], str(caught.value)
    assert ("Write /" in str(caught.value)) == (name not in ("drive", "no backslash"))


def test_backslashes_in_single_quotes_are_read_as_folders(ws: Workspace) -> None:
    ws.write("alder/jobs.csv", csv_of(job("A")))
    ws.write("sources.toml", "[files.f]\npath = 'alder\\*.csv'\n[[table]]\ntable = 'jobs'\nfrom = 'f'\n")
    assert [f.source_file for f in ws.load().files] == ["alder/jobs.csv"]


def test_frame_that_a_table_names_is_read_once(ws: Workspace) -> None:
    import polars as pl

    frame = pl.DataFrame([job("A"), job("B")])
    entry: dict[str, Any]
    for entry in ({"table": "jobs", "from": "jobs"}, {"table": "jobs", "select": "select * from jobs"}):
        report = ws.load({"table": [entry]}, frames={"jobs": frame}, write=False)
        assert [(f.table, f.in_file) for f in report.files if f.table == "jobs"] == [("jobs", 2)]


def test_plain_data_of_any_shape_is_a_fault_and_no_crash(ws: Workspace) -> None:
    shapes: list[Any] = [3, "x", [], {}, None, [3], {"a": 3}, [{"table": 3}], {"f": {"path": 3}}, [{"columns": 3}]]
    for files in shapes:
        for table in shapes:
            raw = {"files": files, "table": table, "sites": table, "workspace": files}
            with pytest.raises(MappingError):
                ws.load(json.loads(json.dumps(raw)))


def test_scratch_of_a_failed_load_is_gone(ws: Workspace, tmp_path: Path) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    with pytest.raises(MappingError):
        ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f", "x": 1}]})
    assert ws.names() == {"jobs.csv"}
