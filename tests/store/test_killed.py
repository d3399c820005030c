"""Killed at any moment, a load leaves the old store or the new one, and nothing that the next load does not clear."""

import random
import shutil
import signal
import sys
import threading
import time

import pytest

import rqa
from rqa.store.engine import open_store
from tests.cases import some_slow
from tests.moments import after, at_moment, moments_of
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
MAPPING = '[files.f]\npath = "*.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
LATE = 0.75
"""The first moments of a load are imports, which `tests/cli/test_stopped_at_any_moment.py` looks at."""
LEFT = {"1.csv", "2.csv", "sources.toml", "depot.duckdb", "depot.duckdb.lock"}


class Trial:
    """A workspace that is put back as it was before each load."""

    def __init__(self, ws: Workspace, *, first: bool) -> None:
        self.ws = ws
        ws.write("sources.toml", MAPPING)
        ws.write("1.csv", csv_of(*(job(f"A{n}", unit_id=f"U{n % 9}") for n in range(40))))
        if not first:
            ws.load_as_before()
        ws.write("2.csv", csv_of(job("B"), job("C")))
        self.kept = ws.folder.parent / "kept"
        shutil.copytree(ws.folder, self.kept)
        self.before = ws.digest()
        self.words = ("load", str(ws.folder))

    def again(self) -> None:
        shutil.rmtree(self.ws.folder)
        shutil.copytree(self.kept, self.ws.folder)

    def is_old_or_new(self) -> bool:
        """Whether the store is the new one; fails if it is neither. Then it is loaded, which clears what was left."""
        new = self.ws.digest() != self.before
        if new:
            with open_store(self.ws.store) as store:
                assert store.unreadable() is None
            assert self.ws.one("select count(*) from jobs") == 42
        rqa.load(self.ws.folder)
        assert self.ws.one("select count(*) from jobs") == 42
        assert self.ws.names() == LEFT
        return new

    def killed_at(self, moment: int) -> bool:
        self.again()
        done = at_moment(signal.SIGKILL, moment, *self.words)
        assert done.returncode in (0, -signal.SIGKILL), done.stderr
        return self.is_old_or_new()

    def killed_after(self, seconds: float) -> bool:
        self.again()
        done = after(seconds, signal.SIGKILL, *self.words)
        assert done.returncode in (0, -signal.SIGKILL), done.stderr
        return self.is_old_or_new()


@pytest.mark.parametrize("first", some_slow([True, False], [False]))
def test_a_killed_load_leaves_the_old_store_or_the_new_one(ws: Workspace, first: bool) -> None:
    trial = Trial(ws, first=first)
    total = moments_of(trial.kept.parent, *trial.words)
    chance = random.Random(5 + first)
    for _ in range(2):
        new = trial.killed_at(chance.randrange(int(total * LATE), total))
        assert (ws.digest() == trial.before) is False, f"the load after the kill (new store: {new}) makes the new one"


@pytest.mark.slow
def test_killed_at_its_last_moment_the_load_has_made_the_new_store(ws: Workspace) -> None:
    trial = Trial(ws, first=False)
    assert trial.killed_at(moments_of(trial.kept.parent, *trial.words))


@pytest.mark.long
@pytest.mark.parametrize("first", [True, False])
def test_a_load_killed_at_200_moments(ws: Workspace, first: bool) -> None:
    trial = Trial(ws, first=first)
    total = moments_of(trial.kept.parent, *trial.words)
    began = time.monotonic()
    trial.again()
    assert after(1000, signal.SIGKILL, *trial.words).returncode == 0
    length = time.monotonic() - began
    chance = random.Random(7 + first)
    new = [trial.killed_at(m) for m in range(total - 100, total + 1, 2)]
    new += [trial.killed_after(chance.random() * length) for _ in range(50)]
    assert {True, False} == set(new)


def test_readers_beside_loads_see_the_old_store_or_the_new_one(ws: Workspace) -> None:
    """Jobs and their steps come and go together; a reader that opens at any moment sees both or none of them."""
    mapping = {
        "files": {"j": {"path": "jobs.csv"}, "s": {"path": "steps.csv"}},
        "table": [{"table": "jobs", "from": "j"}, {"table": "steps", "from": "s"}],
    }

    def content(count: int) -> None:
        ws.write("jobs.csv", csv_of(*(job(f"A{n}", unit_id=f"U{n}") for n in range(count))))
        steps = "".join(f"A{n},1,1,open case,done\n" for n in range(count))
        ws.write("steps.csv", f"job_id,step_seq,attempt,step,outcome\n{steps}")

    def load_all() -> None:
        for turn in range(6):
            content(5 if turn % 2 else 9)
            rqa.load(ws.folder, mapping=mapping)

    content(5)
    rqa.load(ws.folder, mapping=mapping)
    loads = threading.Thread(target=load_all)
    loads.start()
    seen = set()
    while loads.is_alive():
        with rqa.open(ws.folder) as depot:
            seen.add(
                tuple(depot.query(f"select count(*) as n from {t}")["n"].item() for t in ("jobs", "steps", "links"))
            )
    loads.join()
    assert seen == {(5, 5, 5), (9, 9, 9)}
