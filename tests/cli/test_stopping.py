"""Signals stop every command at any moment: one line, the right exit code, the store as it was, and nothing left."""

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import nbformat
import pytest

from rqa.notebooks import copy_notebooks
from rqa.stopping import Stopped, held, interruptible, released, stoppable
from rqa.store.lock import writing
from tests.cases import some_slow
from tests.made_once import Shelf
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals")
SIGNALS = (signal.SIGINT, signal.SIGTERM)

DRIVER = """
import os, sys
import rqa.store.load as loading
import rqa.progress_line as line
from contextlib import contextmanager
from rqa.__main__ import run

number, moment, *words = sys.argv[1:]
def stop():
    os.kill(os.getpid(), int(number))

@contextmanager
def listening():
    def stop_at(stage):
        if moment in stage.what:
            stop()
    yield stop_at

line.progress_line = listening
put = loading.put_in_place
if moment == "putting in place":
    loading.put_in_place = lambda *a: (stop(), put(*a))
if moment == "after putting in place":
    loading.put_in_place = lambda *a: (put(*a), stop())
if moment == "making the scratch folder":
    import tempfile
    made = tempfile.mkdtemp
    tempfile.mkdtemp = lambda *a, **k: (made(*a, **k), stop())[0]
if moment == "importing":
    import importlib.abc
    class Finder(importlib.abc.MetaPathFinder):
        def find_spec(self, name, path, target=None):
            if name == "rqa.cli":
                stop()
    sys.meta_path.insert(0, Finder())
sys.argv = ["rqa", *words]
run()
"""

SLOW = """
[files.f]
path = "jobs.csv"
[[table]]
table = "jobs"
select = \"\"\"
select f.* from f where 'x' in (
  select case when count(*) > 5 then 'x' else 'y' end from range(30000000000) r(a) where sqrt(a)::varchar like '%77%')
\"\"\"
"""
"""A mapping with which the engine alone works for hours."""


def driven(number: signal.Signals, moment: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command that gets the signal at the moment named."""
    return subprocess.run(
        [sys.executable, "-c", DRIVER, str(int(number)), moment, *words],
        capture_output=True, text=True, check=False, timeout=120,
    )


def assert_stopped(done: "subprocess.CompletedProcess[str]", number: signal.Signals, says: str) -> None:
    assert done.returncode == 128 + number, done.stderr
    (line,) = done.stderr.splitlines()
    assert line.startswith("rqa: stopped")
    assert says in line


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def standing(ws: Workspace) -> Workspace:
    """A workspace with a store of one job, and a second file to load."""
    ws.write("1.csv", csv_of(job("A")))
    mapping = '[files.f]\npath = "*.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
    ws.write("sources.toml", mapping)
    ws.load()
    ws.write("2.csv", csv_of(job("B"), job("C")))
    return ws


@pytest.mark.parametrize(
    ("moment", "number"),
    some_slow(list(
        zip(
            ("importing", "making the scratch folder", "reading 2.csv", "checking jobs", "linking jobs"),
            (*SIGNALS, *SIGNALS, signal.SIGINT),
            strict=True,
        )
    ), 3),
)
def test_a_load_stopped_before_its_end_leaves_the_old_store(
    standing: Workspace, moment: str, number: signal.Signals
) -> None:
    before, names = digest(standing.store), standing.names()
    done = driven(number, moment, "load", str(standing.folder))
    says = "nothing was changed" if moment == "importing" else f"the store {standing.store} is unchanged"
    assert_stopped(done, number, says)
    assert done.stdout == ""
    assert digest(standing.store) == before
    assert standing.names() == names


@pytest.mark.parametrize("moment", some_slow(["putting in place", "after putting in place"], 1))
def test_a_load_stopped_at_its_end_says_that_the_store_is_new(standing: Workspace, moment: str) -> None:
    before, names = digest(standing.store), standing.names()
    done = driven(signal.SIGINT, moment, "load", str(standing.folder))
    assert_stopped(done, signal.SIGINT, "is the new store")
    assert digest(standing.store) != before
    assert standing.names() == names
    assert standing.one("select count(*) from jobs") == 3


def test_a_first_load_stopped_makes_no_store(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.write("sources.toml", '[files.f]\npath = "*.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n')
    assert_stopped(driven(signal.SIGINT, "checking", "load", str(ws.folder)), signal.SIGINT, "no store was made")
    assert ws.names() == {"1.csv", "sources.toml", "depot.duckdb.lock"}


@pytest.mark.parametrize(("command", "number"), some_slow(list(zip(("load", "inspect"), SIGNALS, strict=True)), 1))
def test_a_signal_from_outside_ends_what_the_engine_is_asked(
    ws: Workspace, command: str, number: signal.Signals
) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.write("sources.toml", '[files.f]\npath = "1.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n')
    ws.load()
    ws.write("jobs.csv", csv_of(job("A")))
    ws.write("sources.toml", SLOW)
    before, names = digest(ws.store), ws.names()
    command_line = [sys.executable, "-m", "rqa", command, str(ws.folder)]
    with subprocess.Popen(command_line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        time.sleep(4)
        assert running.poll() is None, running.communicate()
        running.send_signal(number)
        sent = time.monotonic()
        out, err = running.communicate(timeout=60)
        assert time.monotonic() - sent < 30
    assert_stopped(subprocess.CompletedProcess([], running.returncode, out, err), number, "is unchanged")
    assert digest(ws.store) == before
    assert ws.names() == names


def test_a_signal_ends_waiting_for_another_load(standing: Workspace) -> None:
    with writing(standing.store, wait=0), stoppable():
        before = digest(standing.store)
        threading.Timer(0.2, signal.raise_signal, (signal.SIGTERM,)).start()
        began = time.monotonic()
        with pytest.raises(Stopped):
            standing.load(wait=30)
        assert time.monotonic() - began < 15
    assert digest(standing.store) == before
    assert standing.names() == {"1.csv", "2.csv", "sources.toml", "depot.duckdb", "depot.duckdb.lock"}


@pytest.fixture(scope="module")
def demo(shelf: Shelf, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small demo depot with its store."""
    return shutil.copytree(shelf.demo(300), tmp_path_factory.mktemp("demo") / "out")


@pytest.mark.parametrize(
    ("number", "moment"),
    [(signal.SIGINT, "goals"), pytest.param(signal.SIGTERM, "bursts", marks=pytest.mark.slow)],
)
def test_a_page_stopped_is_not_begun(demo: Path, moment: str, number: signal.Signals) -> None:
    names, before = {p.name for p in demo.iterdir()}, digest(demo / "depot.duckdb")
    done = driven(number, moment, "review", str(demo))
    assert_stopped(done, number, "is unchanged")
    # What was worked out by then is whole, and kept for the next page.
    assert {p.name for p in demo.iterdir()} - {"depot.duckdb.answers"} == names - {"depot.duckdb.answers"}
    assert digest(demo / "depot.duckdb") == before


@pytest.mark.parametrize("number", [SIGNALS[0], *(pytest.param(n, marks=pytest.mark.slow) for n in SIGNALS[1:])])
def test_notebooks_stopped_leave_their_files_and_no_kernel(ws: Workspace, number: signal.Signals) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.write("sources.toml", '[files.f]\npath = "1.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n')
    ws.load()
    for path in copy_notebooks(ws.folder):
        run = nbformat.read(path, as_version=4)
        run.cells = [nbformat.v4.new_code_cell("1", execution_count=1)]
        nbformat.write(run, path)
    slow = ws.folder / "notebooks" / "slow.ipynb"
    begun = ws.folder / "begun"
    told = f"import os, pathlib, time\npathlib.Path({str(begun)!r}).write_text(str(os.getpid()))\ntime.sleep(600)"
    nbformat.write(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(told)]), slow)
    before, store = digest(slow), digest(ws.store)
    command = [sys.executable, "-m", "rqa", "notebooks", str(ws.folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        wait_until(lambda: begun.exists() and begun.read_text() != "")
        running.send_signal(number)
        out, err = running.communicate(timeout=60)
    assert_stopped(subprocess.CompletedProcess([], running.returncode, out, err), number, "is unchanged")
    assert (digest(slow), digest(ws.store)) == (before, store)
    wait_until(lambda: not is_running(int(begun.read_text())))


def wait_until(there: Callable[[], bool]) -> None:
    end = time.monotonic() + 60
    while not there():
        assert time.monotonic() < end
        time.sleep(0.1)


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize(
    ("number", "moment"),
    [(signal.SIGTERM, "Birch"), pytest.param(signal.SIGINT, "linking", marks=pytest.mark.slow)],
)
def test_a_demo_stopped_can_be_made_again(tmp_path: Path, moment: str, number: signal.Signals) -> None:
    folder = tmp_path / "out"
    done = driven(number, moment, "demo", str(folder), "--jobs", "300")
    assert_stopped(done, number, "no store was made")
    left = {p.name for p in folder.iterdir()}
    assert left == (set() if moment != "linking" else {
        "alder", "birch", "cedar", "reference", "sources.toml", "truth.json", "depot.duckdb.lock",
    })


class Endless:
    """An engine that answers only when it is interrupted."""

    def __init__(self) -> None:
        self.told = threading.Event()

    def interrupt(self) -> None:
        self.told.set()


@pytest.mark.parametrize("number", some_slow(SIGNALS, 1))
def test_an_engine_that_hears_of_no_signal_is_interrupted(number: signal.Signals) -> None:
    engine = Endless()
    with stoppable() as stopping:
        threading.Timer(0.05, signal.raise_signal, (number,)).start()
        with pytest.raises(Stopped), interruptible(engine):  # noqa: PT012
            engine.told.wait(30)
            time.sleep(1)
    assert engine.told.is_set()
    assert stopping.exit_code == 128 + number


class Closed:
    """An engine that was closed, and says so when it is told to end."""

    def interrupt(self) -> None:
        raise RuntimeError("already closed")


def test_an_engine_closed_at_that_moment_keeps_no_other_from_being_interrupted() -> None:
    engine = Endless()
    with stoppable():
        threading.Timer(0.05, signal.raise_signal, (signal.SIGINT,)).start()
        with pytest.raises(Stopped), interruptible(Closed()), interruptible(engine):  # noqa: PT012
            engine.told.wait(5)
            time.sleep(1)
    assert engine.told.is_set()


def test_what_is_held_is_done_to_its_end() -> None:
    done: list[str] = []
    with stoppable(), pytest.raises(Stopped):  # noqa: PT012
        with held():
            signal.raise_signal(signal.SIGINT)
            done.append("held")
        done.append("after it")
    assert done == ["held"]


def test_what_is_released_within_can_be_stopped_and_is_cleaned_up_undisturbed() -> None:
    done: list[str] = []
    with stoppable(), pytest.raises(Stopped), held():  # noqa: PT012
        try:
            with released():
                signal.raise_signal(signal.SIGINT)
                done.append("not reached")
        finally:
            signal.raise_signal(signal.SIGINT)
            done.append("cleaned up")
    assert done == ["cleaned up"]


SCRIPT = """
import os, signal, sys, threading
import rqa
number, how = int(sys.argv[1]), sys.argv[2]
met = []
if how == "handled":
    signal.signal(number, lambda n, frame: met.append(n))
def stop(stage):
    if "checking jobs" in stage.what:
        os.kill(os.getpid(), number)
def load():
    rqa.load(".", mapping={"files": {"f": {"path": "1.csv"}}, "table": [{"table": "jobs", "from": "f"}]}, progress=stop)
before = signal.getsignal(number)
if how == "a thread":
    signal.signal(number, signal.SIG_IGN)
    thread = threading.Thread(target=load)
    thread.start()
    thread.join()
else:
    load()
    assert signal.getsignal(number) == before
print("went on", met)
"""


@pytest.mark.parametrize(
    ("how", "number", "code", "left"),
    some_slow([("plain", signal.SIGTERM, -signal.SIGTERM, False), ("plain", signal.SIGHUP, -signal.SIGHUP, False),
     ("handled", signal.SIGTERM, 0, True), ("a thread", signal.SIGTERM, 0, True)], 2),
)
def test_a_script_that_loads_is_ended_by_a_signal_and_leaves_nothing(
    ws: Workspace, how: str, number: signal.Signals, code: int, left: bool
) -> None:
    """A handler of the script's own is the one that is called, and the load goes on."""
    ws.write("1.csv", csv_of(job("A")))
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(int(number)), how], cwd=ws.folder, capture_output=True, text=True,
        check=False, timeout=60, env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert done.returncode == code, done.stderr
    assert done.stderr == ""
    assert done.stdout == (f"went on {[15] if how == 'handled' else []}\n" if left else "")
    assert ws.names() == {"1.csv", "depot.duckdb.lock"} | ({"depot.duckdb"} if left else set())


def test_a_signal_of_the_program_itself_interrupts_no_engine() -> None:
    engine = Endless()
    before = signal.signal(signal.SIGALRM, lambda *_: None)
    try:
        with stoppable(), interruptible(engine):
            signal.raise_signal(signal.SIGALRM)
            assert not engine.told.wait(0.3)
    finally:
        signal.signal(signal.SIGALRM, before)


def test_signals_mean_afterwards_what_they_meant_before() -> None:
    before = [signal.getsignal(n) for n in SIGNALS]
    with stoppable() as outer, stoppable() as inner:
        assert inner is outer
        assert [signal.getsignal(n) for n in SIGNALS] != before
    assert [signal.getsignal(n) for n in SIGNALS] == before
