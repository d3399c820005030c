"""A signal at any moment of a command, from its start to its end: one line, the right exit code, no traceback."""

import random
import signal
import subprocess
import sys

import pytest

import rqa
from tests.moments import after, at_moment, moments_of
from tests.workspaces import Workspace, csv_of, job

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
MAPPING = '[files.f]\npath = "*.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'


def standing(ws: Workspace, mapping: str = MAPPING) -> tuple[str, str]:
    """A workspace with a store, and a second file to load; the command that loads it."""
    ws.write("sources.toml", mapping)
    ws.write("1.csv", csv_of(job("A")))
    rqa.load(ws.folder)
    ws.write("2.csv", csv_of(job("B"), job("C")))
    return "load", str(ws.folder)


def assert_clean(ws: Workspace, before: str, number: int, done: "subprocess.CompletedProcess[str]") -> None:
    """It ended as stopped or as done, said one line that is true, and left nothing."""
    said = done.stderr.splitlines()
    changed = ws.digest() != before
    assert ws.names() == {"1.csv", "2.csv", "sources.toml", "depot.duckdb", "depot.duckdb.lock"}
    if done.returncode == 0:
        assert said == []
        assert changed
        return
    assert done.returncode == 128 + number, done.stderr
    assert len(said) == 1, done.stderr
    assert said[0].startswith("rqa: stopped; ")
    assert said[0].endswith(" is the new store.") if changed else "unchanged" in said[0] or "nothing was" in said[0]


def put_back(ws: Workspace, store: bytes) -> None:
    ws.store.write_bytes(store)


SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")
STOPPED = [130, 143, 129]


def codes_at(ws: Workspace, shares: list[float]) -> list[int]:
    """The exit codes of the command, each time signalled at a share of its moments, and each time clean."""
    codes = []
    words = standing(ws)
    before, store = ws.digest(), ws.store.read_bytes()
    total = moments_of(ws.folder.parent, *words)
    for n, share in enumerate(shares):
        number = getattr(signal, SIGNALS[n % 3])
        put_back(ws, store)
        done = at_moment(number, 1 + int(share * total), *words)
        assert_clean(ws, before, number, done)
        codes.append(done.returncode)
    return codes


@pytest.mark.slow
def test_a_signal_at_seeded_moments(ws: Workspace) -> None:
    """Of each kind one while modules are imported, one in the load, one at its end."""
    chance = random.Random(11)
    codes = codes_at(ws, [chance.uniform(*w) for w in ((0.02, 0.4), (0.4, 0.9), (0.97, 1.0)) for _ in SIGNALS])
    assert codes[:6] == STOPPED * 2, "before its end each signal stops it"


@pytest.mark.long
def test_a_signal_at_many_moments(ws: Workspace) -> None:
    chance = random.Random(12)
    codes = codes_at(ws, [chance.uniform(0.001, 1.0) for _ in range(60)] + [1 - n / 3000 for n in range(60)])
    assert set(STOPPED) <= set(codes) <= {0, *STOPPED}


@pytest.mark.long
@pytest.mark.parametrize("own", ["", "where = \"job_id <> ''\"\n"], ids=["in its process", "apart"])
def test_a_signal_at_many_times(ws: Workspace, own: str) -> None:
    words = standing(ws, MAPPING + own)
    before, store = ws.digest(), ws.store.read_bytes()
    chance = random.Random(13)
    for n in range(90):
        number = getattr(signal, SIGNALS[n % 3])
        put_back(ws, store)
        assert_clean(ws, before, number, after(0.002 + 1.5 * chance.random(), number, *words))
