"""SQL that hears of no interruption, and a reader that ends its process, end a load plainly and leave nothing."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import pandas as pd
import polars as pl
import psutil
import pytest
from click.testing import CliRunner

import rqa
from rqa import load_apart
from rqa.cli import main
from rqa.errors import MappingError, RequestError, RqaError, SourceError, StoreError
from rqa.intake.draft import parse_mapping
from rqa.intake.given import mapping_given
from rqa.loading import load_here
from rqa.own_process import started
from rqa.progress import Stage, silent
from rqa.store.doing import Doing, untold
from rqa.store.report import LoadReport
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
ENDLESS = {
    "format": " || ".join(f"format('{{:>{30_000_000 + n}}}', job_id)[1:1]" for n in range(30)),
    "printf": " || ".join(f"printf('%{30_000_000 + n}s', job_id)[1:1]" for n in range(30)),
    "replace": "replace(replace(replace(replace(repeat('J' || job_id, 900), 'J', repeat('J', 900)), 'J', "
    "repeat('J', 900)), 'J', repeat('J', 90)), 'J', job_id)",
    "regexp_replace": "regexp_replace(repeat('J', 100000), '(J?){900}J{900}x', 'y', 'g')",
}
"""Calls within each of which the engine 2.0.1 heard of no interruption for 3 to 130 seconds."""
LIMIT, SAYS = 0.005, r"table\.1 \(jobs\): its SQL \({}\) did not end within {} minutes over {}.*set sql_minutes"
TEXT = '[workspace]\nsql_minutes = {}\n[files.log]\npath = "{}"\n[[table]]\ntable = "jobs"\nfrom = "log"\n'


@pytest.fixture
def room(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store of one job, little patience, and a folder for what is temporary."""
    made = ws.folder.parent / "temporary"
    made.mkdir()
    monkeypatch.setattr(load_apart, "GRACE_SECONDS", 0.2)
    monkeypatch.setattr(load_apart, "STOP_SECONDS", 0.5)
    monkeypatch.setattr("tempfile.tempdir", str(made))
    ws.jobs(csv_of(job("A")))
    return made


def written(ws: Workspace, sql: str, *, minutes: float = LIMIT, name: str = "jobs.csv") -> None:
    """A mapping file whose complaint is computed so."""
    column = f"[table.columns]\ncomplaint = {{ sql = {json.dumps(sql)} }}\n"
    ws.write("sources.toml", TEXT.format(minutes, name) + column)


class AsItWas:
    """What must be as it was before: the store, the files beside it, temporary files, processes and threads."""

    def __init__(self, ws: Workspace, room: Path) -> None:
        self.ws, self.room = ws, room
        self.before = self.seen()

    def seen(self) -> list[object]:
        """All of it."""
        processes, threads = psutil.Process().children(recursive=True), threading.active_count()
        return [self.ws.digest(), self.ws.names(), list(self.room.iterdir()), processes, threads]

    def check(self) -> None:
        assert self.seen() == self.before


@pytest.mark.parametrize(("command", "call"), some_slow([("load", "format"), ("inspect", "printf")], 1))
def test_commands_end_what_hears_of_no_interruption(ws: Workspace, room: Path, command: str, call: str) -> None:
    written(ws, ENDLESS[call])
    before = AsItWas(ws, room)
    done = CliRunner().invoke(main, [command, str(ws.folder)])
    assert done.exit_code == 1
    assert done.output.startswith(
        "rqa: sources.toml, table.1 (jobs): its SQL (columns.complaint.sql) did not end within 0.005 minutes over "
        "jobs.csv, and was stopped. Make it simpler, or set sql_minutes in [workspace]. Nothing was loaded; the store "
        "is as it was."
    )
    before.check()


@pytest.mark.parametrize(
    ("place", "over", "entry"),
    some_slow([("where", "jobs.csv", {"from": "log", "where": f"{ENDLESS['replace']} <> ''"}),
     pytest.param(
         "select and columns.complaint.sql", "select 1 over log",
         {"select": f"select *, {ENDLESS['replace']} as c from log", "columns": {"complaint": {"sql": "c"}}},
         marks=pytest.mark.long)], 1),
)
def test_a_load_in_python_ends_it_and_names_where_it_stands(
    ws: Workspace, room: Path, place: str, over: str, entry: dict[str, Any]
) -> None:
    before = AsItWas(ws, room)
    mapping = {"files": {"log": {"path": "jobs.csv"}}, "table": [{"table": "jobs", **entry}]}
    for minutes in (LIMIT, 4 * LIMIT, 16 * LIMIT):
        with pytest.raises(MappingError, match=SAYS.format(place, f"{minutes:g}", over)) as told:
            rqa.load(ws.folder, mapping={"workspace": {"sql_minutes": minutes}, **mapping})
        before.check()
        if told.value.__cause__ is None:
            # It was ended from here. Where a slow machine passes the limit before the call has begun, the engine hears.
            break
    else:
        pytest.fail("the engine has always heard of it: this tries nothing")


# No guard for the main module: the worker must not run the script again.
SCRIPT = """
import sys, rqa, rqa.load_apart
rqa.load_apart.GRACE_SECONDS = 0.2
print("run", flush=True)
rqa.load(".", progress=lambda stage: print(stage.what, flush=True))
"""


def script(ws: Workspace) -> subprocess.Popen[str]:
    (ws.folder / "script.py").write_text(SCRIPT)
    places = {"PYTHONPATH": str(Path(__file__).parents[2])}
    return subprocess.Popen(
        [sys.executable, "script.py"], cwd=ws.folder, env=os.environ | places, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )


@pytest.mark.usefixtures("room")
def test_a_script_without_a_guard_is_run_once(ws: Workspace) -> None:
    written(ws, ENDLESS["regexp_replace"])
    with script(ws) as running:
        out, err = running.communicate(timeout=60)
    assert out.splitlines() == ["run"], "the engine computes what is the same for all rows before it reads any"
    assert "MappingError: sources.toml, table.1 (jobs): its SQL (columns.complaint.sql) did not end within 0.005" in err


@pytest.mark.usefixtures("room")
def test_a_killed_load_leaves_no_worker(ws: Workspace) -> None:
    written(ws, ENDLESS["replace"], minutes=30)
    before = ws.digest()
    with script(ws) as running:
        assert running.stdout is not None
        while running.stdout.readline() != "reading jobs.csv\n":
            assert running.poll() is None
        (worker,) = psutil.Process(running.pid).children()
        time.sleep(0.3)
        assert worker.is_running()
        running.kill()
        psutil.wait_procs([worker], timeout=10)
        assert not worker.is_running() or worker.status() == psutil.STATUS_ZOMBIE
    assert ws.digest() == before
    ws.jobs(csv_of(job("A"), job("B")))
    assert ws.names() == {"jobs.csv", "sources.toml", "script.py", "depot.duckdb", "depot.duckdb.lock"}


def test_ctrl_c_ends_a_worker_that_does_not_hear(ws: Workspace, room: Path) -> None:
    written(ws, ENDLESS["replace"], minutes=30)
    before = AsItWas(ws, room)
    stop = threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT))

    def begun(stage: Stage) -> None:
        stop.start()

    with pytest.raises(KeyboardInterrupt):
        rqa.load(ws.folder, progress=begun)
    stop.join()
    before.check()


@pytest.mark.parametrize(
    ("number", "kind", "says"),
    some_slow([
     (signal.SIGABRT, SourceError, r"^jobs\.parquet: the process that read it for .*table\.1 \(jobs\) has ended "
      r"\(SIGABRT\)\. The file is most likely damaged, or columns\.complaint\.sql asks for .*\. Export it again, or"),
     (signal.SIGKILL, StoreError, r"was killed while it read jobs\.parquet for .*table\.1 \(jobs\), .*no more memory"),
     (signal.SIGTERM, StoreError, r"the load was stopped by a signal to its process\. Load again\.")], 1),
    ids=["SIGABRT", "SIGKILL", "SIGTERM"],
)
def test_a_reader_that_ends_its_process_is_told(
    ws: Workspace, room: Path, monkeypatch: pytest.MonkeyPatch, number: int, kind: type[RqaError], says: str
) -> None:
    """No file is known that makes the readers abort, so the worker gets the signal that it would die of."""
    pl.DataFrame([job("B")]).write_parquet(ws.folder / "jobs.parquet")
    written(ws, ENDLESS["replace"] if number != signal.SIGTERM else f"job_id || {NEVER}", minutes=30,
            name="jobs.parquet")
    before, told = AsItWas(ws, room), list[Doing]()

    def doing(**given: Any) -> Doing:
        told.append(Doing(**given))
        if len(told) == 2:
            # It was bound before; now its rows are read.
            threading.Timer(0.2, psutil.Process().children()[0].send_signal, (number,)).start()
        return told[-1]

    monkeypatch.setattr(load_apart, "Doing", doing)
    with pytest.raises(kind, match=says) as raised:
        rqa.load(ws.folder)
    assert str(raised.value).endswith("Nothing was loaded; the store is as it was.")
    before.check()


@pytest.mark.parametrize(
    ("keyed", "after"), some_slow([(False, ", after 'no module called \\x07 here'"), (True, "")], 1)
)
def test_a_worker_that_ends_by_itself_says_why(
    ws: Workspace, room: Path, monkeypatch: pytest.MonkeyPatch, keyed: bool, after: str
) -> None:
    """Its last printed line is told; with a key_file nothing that it prints is written anywhere."""
    program = "import sys; print('x' * 9000, file=sys.stderr); sys.exit('no module called \a here')"
    prints = list[bool]()

    def begun(words: list[str], to: Any, **places: str) -> subprocess.Popen[bytes]:
        assert words == ["-m", "rqa.load_worker"]
        prints.append(os.path.samestat(os.fstat(to.fileno()), Path(os.devnull).stat()))
        return started(["-c", program], to, **places)

    monkeypatch.setattr(load_apart, "started", begun)
    ws.write("../key.txt", "k" * 40)
    key = {"technician": {"column": "model", "key_file": str(ws.folder.parent / "key.txt")}}
    columns = {"complaint": {"sql": "job_id"}}
    entries = [{"table": "jobs", "from": "log", "columns": columns}]
    entries += [{"table": "steps", "from": "log", "columns": key}] if keyed else []
    before = AsItWas(ws, room)
    with pytest.raises(StoreError) as raised:
        rqa.load(ws.folder, mapping={"files": {"log": {"path": "jobs.csv"}}, "table": entries})
    assert str(raised.value) == (
        f"the process that loads has ended (exit code 1{after}). Load again, or report it. "
        "Nothing was loaded; the store is as it was."
    )
    assert prints == [keyed]
    before.check()


@pytest.mark.slow
def test_a_full_disk_does_not_hide_why_a_load_was_ended(
    ws: Workspace, room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was left is to be removed under the lock of a load, which a full disk refuses."""
    written(ws, ENDLESS["replace"])
    monkeypatch.setattr("rqa.store.load._scratch", Mock(side_effect=OSError(28, "No space left on device")))
    with pytest.raises(MappingError, match="did not end within"):
        rqa.load(ws.folder)


NEVER = "(with recursive r as (select 1 as n union all select n + 1 from r) select count(*)::varchar from r)"


def here(ws: Workspace, mapping: Mapping[str, Any], **given: Any) -> LoadReport:
    """The same load in this process."""
    frames = given.get("frames")
    how = {"write": False, "wait": 1, "memory": "1GB", "progress": silent} | given | {"tell": untold}
    return load_here(ws.folder, mapping_given(ws.folder, frames, mapping), **how | {"frames": frames})


class Odd:
    """A value of a type that no other process knows."""

    def __str__(self) -> str:
        return "odd"


def test_the_report_and_the_rows_are_those_of_a_load_in_this_process(ws: Workspace, room: Path) -> None:
    """Refusals, a correction, SQL, a SELECT, Parquet, SQLite, and frames with values of any type."""
    ws.write("jobs.csv", csv_of(job("A"), job("B"), job("B", model="Marl"), job("C", disposition="?"), job("A")))
    pl.DataFrame([job("P"), job("Q", opened_at="soon")]).write_parquet(ws.folder / "p.parquet")
    with closing(sqlite3.connect(ws.folder / "s.db")) as book, book:
        book.execute("create table s (job_id, step_seq, attempt, step, outcome)")
        book.execute("insert into s values ('A', 1, 1, 'open', 'done'), ('A', 2, 1, 'close', 'maybe')")
    mapping = {
        "files": {"c": {"path": "jobs.csv"}, "p": {"path": "p.parquet"}, "s": {"path": "s.db", "table": "s"},
                  "f": {"format": "frame"}},
        "table": [
            {"table": "jobs", "from": "c", "where": "job_id <> 'Z'", "columns": {"found": {"sql": "'c' || job_id"}}},
            {"table": "jobs", "select": "select *, source_file, source_row from p"},
            {"table": "steps", "from": "s"},
            {"table": "jobs", "from": "f"},
        ],
    }
    mixed = pd.DataFrame([job("F"), job("G")]).assign(complaint=[Odd(), 7])
    objects = pl.DataFrame([job("H")]).with_columns(pl.Series("found", [Odd()], dtype=pl.Object))
    steps = pl.DataFrame([{"job_id": "F", "step_seq": 1, "attempt": 1, "step": "open", "outcome": "done"}])
    frames = {"f": mixed, "jobs": objects, "steps": steps}
    stages: list[list[str]] = [[], []]
    tables = ("jobs", "steps", "refused")
    ws.store.unlink()
    before = AsItWas(ws, room)
    expected = here(ws, mapping, frames=frames, write=True, progress=lambda stage: stages[0].append(stage.what))
    rows = [ws.rows(f"select * from {table} order by all") for table in tables]
    ws.store.unlink()
    found = rqa.load(ws.folder, mapping=mapping, frames=frames, progress=lambda stage: stages[1].append(stage.what))
    assert replace(found, seconds=0) == replace(expected, seconds=0)
    assert [ws.rows(f"select * from {table} order by all") for table in tables] == rows
    assert stages[0] == stages[1] != []
    assert found.total("refused") == 3
    assert ws.rows("select job_id from jobs where 'odd' in (complaint, found) order by all") == [("F",), ("H",)]
    ws.store.unlink()
    before.check()


@pytest.mark.parametrize(
    ("mapping", "frames", "kind"),
    [({"files": {"c": {"path": "none.csv"}, "d": {"path": "p.parquet"}}, "table": [
        {"table": "jobs", "from": "c", "where": "read_text('x') = ''", "colums": {}},
        {"table": "jobs", "from": "d", "columns": {"site": {"sql": "nowhere"}}}]}, None, MappingError),
     ({"files": {"d": {"path": "cut.parquet"}}, "table": [{"table": "jobs", "from": "d"}]}, None, SourceError),
     ({"files": {"f": {"format": "frame"}}, "table": [{"table": "jobs", "from": "f", "where": "true"}]},
      {"f": object()}, SourceError)],
    ids=["all faults at once", "a damaged file", "no frame"],
)
def test_errors_are_those_of_a_load_in_this_process(
    ws: Workspace, room: Path, mapping: dict[str, Any], frames: dict[str, Any] | None, kind: type[RqaError]
) -> None:
    pl.DataFrame([job("P")]).write_parquet(ws.folder / "p.parquet")
    ws.write("cut.parquet", (ws.folder / "p.parquet").read_bytes()[:-40])
    with pytest.raises(kind) as expected:
        here(ws, mapping, frames=frames)
    before = AsItWas(ws, room)
    with pytest.raises(kind) as found:
        rqa.load(ws.folder, mapping=mapping, frames=frames)
    assert (type(found.value), str(found.value)) == (type(expected.value), str(expected.value))
    if isinstance(expected.value, MappingError):
        assert isinstance(found.value, MappingError)
        assert found.value.faults == expected.value.faults
        assert len(found.value.faults) == 4
    before.check()


def test_whoever_listens_can_stop_the_load_at_a_stage(ws: Workspace, room: Path) -> None:
    written(ws, "job_id")
    ws.write("jobs.csv", csv_of(job("A"), job("B")))
    before = AsItWas(ws, room)

    def listen(stage: Stage) -> None:
        if stage.what.startswith("writing"):
            raise LookupError(stage.what)

    with pytest.raises(LookupError):
        rqa.load(ws.folder, progress=listen)
    before.check()


@pytest.mark.parametrize(
    "error",
    [MappingError("a\nb", ["a", "b\x07"]), SourceError("x" * 2000), StoreError("\ud800"), RequestError("r"),
     RqaError("q"), MemoryError("m"), KeyError("k"), KeyError(("a", 1)), ValueError(), ValueError("a", 1, None),
     OSError("text alone"), OSError(28, "No space left on device"), FileNotFoundError(2, "No such file", "a\udcff.csv"),
     PermissionError(13, "Permission denied", Path("a.csv")), OSError(5, "Input/output error", b"a.csv"),
     UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid"), KeyboardInterrupt()],
    ids=lambda e: type(e).__name__,
)
def test_errors_keep_their_types_and_texts_on_their_way(error: BaseException) -> None:
    made = load_apart._error(json.loads(json.dumps(load_apart.error_told(error)))["error"])
    if isinstance(error, UnicodeDecodeError | KeyboardInterrupt):
        assert isinstance(made, RuntimeError), "bytes are no JSON, and what is no Exception is not raised as one"
        assert str(made) == f"{type(error).__name__}: {error}"
    elif error.args == (("a", 1),):
        assert made.args == ("('a', 1)",)
    else:
        assert (type(made), made.args) == (type(error), error.args)
    if isinstance(error, OSError):
        assert isinstance(made, OSError)
        name = None if error.filename is None else os.fsdecode(error.filename)
        assert (made.errno, made.strerror, made.filename) == (error.errno, error.strerror, name)
    if isinstance(error, MappingError):
        assert isinstance(made, MappingError)
        assert made.faults == error.faults


@pytest.mark.parametrize(
    ("files", "entry", "apart"),
    [({"path": ["a.csv", "b*.tsv", "c.csv.gz"]}, {}, False), ({"path": ["a.xlsx", "b.jsonl.gz"]}, {}, False),
     ({"path": "a", "format": "csv"}, {}, False), ({"format": "frame"}, {}, False),
     ({"path": "a.parquet"}, {}, True), ({"path": ["a.csv", "A.DB"]}, {}, True), ({"path": "a*"}, {}, True),
     ({"path": "a.[cp]*"}, {}, True), ({"path": "a.csv", "format": "sqlite"}, {}, True),
     ({"path": "a.csv"}, {"where": "true"}, True), ({"path": "a.csv"}, {"columns": {"site": {"sql": "'x'"}}}, True),
     ({"path": "a.csv"}, {"columns": {"site": {"column": "s", "replace": [["a", "b"]]}}}, True),
     ({"path": "a.csv"}, {"columns": {"site": {"column": "s", "values": {"a": "b"}}}}, False),
     ({"path": "a.csv"}, {"from": None, "select": "select * from f"}, True)],
)
def test_what_is_loaded_apart(files: dict[str, Any], entry: dict[str, Any], apart: bool) -> None:
    given = {key: value for key, value in ({"table": "jobs", "from": "f"} | entry).items() if value is not None}
    assert parse_mapping({"files": {"f": files}, "table": [given]}).is_read_apart == apart
