"""Kept tables that a load brings up to date are those that making them anew gives."""

import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from unittest.mock import patch

import duckdb
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.measures import keep as kept
from rqa.measures.keep import KEPT, WORKING, keep, keep_sql
from tests.examples import examples
from tests.workspaces import Workspace, asked

COLUMNS = {
    "jobs": "job_id unit_id model site procedure technician opened_at closed_at disposition complaint found",
    "steps": "job_id step_seq attempt step outcome technician ended_at bench tool",
    "diagnostics": "job_id test run outcome run_at station value",
    "procedures": "procedure step_seq step phase subsystems",
    "tests": "test subsystem", "parts": "job_id line part_no quantity unit_cost lot",
    "pairings": "part_no requires_part_no",
}
DAYS = st.integers(1, 120).map(lambda d: f"2024-{1 + d // 28:02d}-{1 + d % 28:02d}T10:00:00Z")
JOBS = st.sampled_from([f"J{i}" for i in range(8)])
PEOPLE, PARTS = st.sampled_from(["", "T1", "T2"]), st.sampled_from(["", "screen", "battery"])


@st.composite
def jobs(draw: st.DrawFn) -> tuple[Any, ...]:
    opened, closed = sorted([draw(DAYS), draw(DAYS)])
    how = draw(st.sampled_from(["repaired", "repaired", "no_fault_found", "cancelled", "open"]))
    unit, model = draw(st.sampled_from(["U1", "U2", "U3"])), draw(st.sampled_from(["Quern", "Marl-8"]))
    ended = "" if how == "open" else closed
    return (draw(JOBS), unit, model, "Alder", "swap", draw(PEOPLE), opened, ended, how, draw(PARTS), draw(PARTS))


STEPS = st.tuples(
    JOBS, st.integers(1, 3), st.integers(1, 2), st.sampled_from(["cut", "glue"]),
    st.sampled_from(["pass", "fail", "done", "skipped"]), PEOPLE, st.one_of(st.just(""), DAYS),
    st.sampled_from(["", "B1", "B2"]), st.sampled_from(["", "driver"]),
)
RUNS = st.tuples(
    JOBS, st.sampled_from(["touch", "leak"]), st.integers(1, 2), st.sampled_from(["pass", "fail", "aborted"]), DAYS,
    st.sampled_from(["", "S1"]), st.sampled_from(["", "1", "2.5"]),
)
PROCEDURES = st.tuples(
    st.just("swap"),
    st.integers(1, 2),
    st.sampled_from(["cut", "glue"]),
    st.just("fit"),
    st.sampled_from(["", "screen"]),
)
FITTED = st.tuples(
    JOBS, st.integers(1, 2), st.sampled_from(["P1", "P2"]), st.just("2"), st.sampled_from(["", "1.5"]),
    st.sampled_from(["", "L1", "L2"]),
)
LOADS = st.fixed_dictionaries({
    "jobs": st.lists(jobs(), max_size=6), "steps": st.lists(STEPS, max_size=6),
    "diagnostics": st.lists(RUNS, max_size=6), "procedures": st.lists(PROCEDURES, max_size=1),
    "parts": st.lists(FITTED, max_size=4), "pairings": st.lists(st.just(("P1", "P2")), max_size=1),
    "tests": st.lists(st.tuples(st.just("touch"), PARTS.filter(bool)), max_size=1),
})


def mapping(folder: Path) -> dict[str, Any]:
    there = [t for t in COLUMNS if list(folder.glob(f"{t}_*.csv"))]
    return {
        "files": {t: {"path": f"{t}_*.csv"} for t in there},
        "table": [{"table": t, "from": t} for t in there],
        "sites": {"Alder": {"zone": "UTC"}},
    }


def write(folder: Path, number: int, tables: dict[str, Sequence[Sequence[Any]]]) -> None:
    for table, rows in tables.items():
        if rows:
            text = "\n".join(",".join(map(str, row)) for row in [COLUMNS[table].split(), *rows])
            (folder / f"{table}_{number}.csv").write_text(text + "\n")


def rows_of(store: Path) -> tuple[dict[str, Counter[Any]], dict[str, Counter[Any]]]:
    """The kept tables as they stand in the store, and made anew."""
    with asked(store) as c:
        stand = {t: Counter(map(repr, c.execute(f"select * from {t}").fetchall())) for t in KEPT}
        anew = {}
        for name in WORKING + KEPT:
            c.execute(f"create temp table {name} as {keep_sql(name)}")
        for name in KEPT:
            anew[name] = Counter(map(repr, c.execute(f"select * from temp.{name}").fetchall()))
        return stand, anew


@settings(max_examples=examples(10), deadline=None)
@given(loads=st.lists(LOADS, min_size=2, max_size=4))
def test_up_to_date_is_anew(loads: list[dict[str, Any]]) -> None:
    """Corrections, jobs that come later than their logs, logs without a job, procedures that change."""
    with tempfile.TemporaryDirectory() as name, patch.object(kept, "FEW", 1e9):
        folder = Path(name)
        for number, tables in enumerate(loads):
            write(folder, number, tables)
            if mapping(folder)["table"]:
                Workspace(folder).load(mapping(folder), keep=keep)
                stand, anew = rows_of(folder / "depot.duckdb")
                assert stand == anew


def test_few_jobs_are_brought_up_to_date_and_no_more(ws: Workspace) -> None:
    """A load of a few jobs reads the logs of their units alone; other files than before make all anew."""
    sides: list[str] = []

    def watched(connection: duckdb.DuckDBPyConnection, before: str | None) -> None:
        with patch.object(kept, "_run", lambda c, home, none: (sides.append(home), run(c, home, none))):
            keep(connection, before)

    run = kept._run
    old = [(f"J{i}", f"U{i}", "Quern", "Alder", "swap", "", "2024-01-01T10:00:00Z", "2024-01-02T10:00:00Z",
            "repaired", "", "") for i in range(200)]
    write(ws.folder, 0, {"jobs": old})
    ws.load(mapping(ws.folder), keep=watched)
    new = ("N1", "U7", "Quern", "Alder", "swap", "", "2024-01-09T10:00:00Z", "", "open", "", "")
    write(ws.folder, 1, {"jobs": [new]})
    ws.load(mapping(ws.folder), keep=watched)
    assert sides == ["main", "temp", "temp"]
    assert ws.one("select return_job_id from links where job_id = 'J7'") == "N1"
    write(ws.folder, 2, {"jobs": [("N2", *new[1:])]})
    with patch.object(kept, "edition", lambda: "another"):
        ws.load(mapping(ws.folder), keep=watched)
    assert sides == ["main", "temp", "temp", "main"]
