"""Derived attempt, run, step_seq and line: equal to a slow loop, however the rows are spread over files and loads."""

from collections import Counter, defaultdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rqa.measures.keep import keep
from tests.cases import some_slow
from tests.examples import examples
from tests.store.merging import Depot
from tests.workspaces import Workspace, csv_of, job

STEPS = {"job_id": "", "step": "", "outcome": "", "started_at": ""}
START = datetime(2024, 3, 1)
StepRow = tuple[str, str, str, datetime | None]
TIMES = st.one_of(st.none(), st.integers(0, 5).map(lambda h: START + timedelta(hours=h)))
ROW = st.tuples(st.sampled_from("JK"), st.sampled_from("abc"), st.sampled_from(["pass", "fail"]), TIMES)
LOADS = st.lists(st.lists(st.lists(ROW, max_size=5), min_size=1, max_size=2), min_size=1, max_size=3)


def numbered(rows: list[StepRow]) -> list[tuple[Any, ...]]:
    """What the contract says: by time, rows without one last, then in the order given."""
    found = []
    for name in sorted({r[0] for r in rows}):
        mine = sorted((r for r in rows if r[0] == name), key=lambda r: r[3] or datetime.max)
        sequence: dict[str, int] = {}
        attempts: Counter[str] = Counter()
        for _, step, outcome, at in mine:
            sequence.setdefault(step, len(sequence) + 1)
            attempts[step] += 1
            found.append((name, sequence[step], attempts[step], step, outcome, str(at)))
    return sorted(found)


NUMBERED = "select job_id, step_seq, attempt, step, outcome::varchar, coalesce(started_at::varchar, 'None') from steps"


@settings(max_examples=examples(12), deadline=None)
@given(loads=LOADS)
def test_numbers_equal_a_slow_loop_over_all_rows(loads: list[list[list[StepRow]]]) -> None:
    """Each file holds rows that no other has; a copy counts once for each time it stands in one file."""
    with Depot("steps", STEPS, "step_seq attempt") as depot:
        kept: list[StepRow] = []
        number = 0
        for files in loads:
            given_files = {}
            for rows in files:
                given_files[number] = [list(r) for r in rows]
                number += 1
            verdicts = depot.settle(given_files)
            for n, rows in zip(sorted(given_files), files, strict=True):
                known, new = Counter(kept), []
                seen: Counter[StepRow] = Counter()
                for row in rows:
                    seen[row] += 1
                    if seen[row] > known[row]:
                        new.append(row)
                kept += new
                assert verdicts[n] == {"accepted": len(new), "known": len(rows) - len(new), "superseded": 0}
            assert depot.rows(NUMBERED) == numbered(kept)


@settings(max_examples=examples(12), deadline=None)
@example(rows=[("J", "a", "pass", None)] * 2, cuts=[1, 2])
@given(rows=st.lists(ROW, max_size=8), cuts=st.lists(st.integers(0, 8), max_size=3))
def test_cumulative_exports_equal_one_reading(rows: list[StepRow], cuts: list[int]) -> None:
    with Depot("steps", STEPS, "step_seq attempt") as depot:
        for number, cut in enumerate([*sorted(cuts), len(rows)]):
            depot.settle({number: [list(r) for r in rows[:cut]]})
        assert depot.rows(NUMBERED) == numbered(rows)
        assert depot.rows("select * from superseded") == []


def steps(ws: Workspace, name: str, *rows: str, header: str = "job_id,step,outcome,started_at") -> dict[str, int]:
    ws.write(name, "\n".join([header, *rows, ""]))
    report = ws.load({"files": {"s": {"path": "*.csv"}}, "table": [{"table": "steps", "from": "s"}]})
    return {what: report.total(what) for what in ("accepted", "refused", "known", "superseded")}


def stored(ws: Workspace) -> list[tuple[Any, ...]]:
    return ws.rows("select job_id, step_seq, attempt, step, outcome from steps order by all")


def test_attempt_of_an_earlier_time_that_comes_later_is_counted_in(ws: Workspace) -> None:
    steps(ws, "1.csv", "J,b,fail,2024-03-01 11:00", "J,a,pass,2024-03-01 10:00")
    steps(ws, "2.csv", "J,b,fail,2024-03-01 09:00", "J,b,pass,2024-03-01 12:00")
    assert stored(ws) == [
        ("J", 1, 1, "b", "fail"),
        ("J", 1, 2, "b", "fail"),
        ("J", 1, 3, "b", "pass"),
        ("J", 2, 1, "a", "pass"),
    ]


def test_ties_keep_their_order_when_rows_are_added(ws: Workspace) -> None:
    rows = [f"J,{s},{o}," for s, o in [("b", "fail"), ("a", "fail"), ("b", "pass"), ("a", "done"), ("a", "pass")]]
    steps(ws, "1.csv", "X,a,pass,", "X,a,fail,", *rows)
    expected = [("J", 1, 1, "b", "fail"), ("J", 1, 2, "b", "pass"), ("J", 2, 1, "a", "fail"), ("J", 2, 2, "a", "done"),
                ("J", 2, 3, "a", "pass")]
    assert stored(ws)[:5] == expected
    for number in (2, 3):
        steps(ws, f"{number}.csv", f"J,c{number},pass,")
        assert stored(ws)[:5] == expected


def test_row_corrected_in_place_replaces_the_old_reading(ws: Workspace) -> None:
    steps(ws, "1.csv", "J,a,fail,2024-03-01 10:00", "J,a,pass,2024-03-01 11:00")
    done = steps(ws, "1.csv", "J,a,skipped,2024-03-01 10:00", "J,a,pass,2024-03-01 11:00")
    assert done == {"accepted": 1, "refused": 0, "known": 1, "superseded": 0}
    assert stored(ws) == [("J", 1, 1, "a", "skipped"), ("J", 1, 2, "a", "pass")]
    assert ws.rows("select content->>'outcome', by_file, by_row from superseded") == [("fail", "1.csv", 2)]


def test_rows_put_before_others_are_no_corrections(ws: Workspace) -> None:
    steps(ws, "1.csv", "J,a,fail,2024-03-01 10:00", "J,a,pass,2024-03-01 11:00")
    steps(ws, "1.csv", "J,a,fail,2024-03-01 12:00", "J,a,pass,2024-03-01 11:00", "J,a,fail,2024-03-01 10:00")
    assert [r[4] for r in stored(ws)] == ["fail", "pass", "fail"]
    assert ws.rows("from superseded") == []


def test_step_seq_derived_while_attempt_is_given(ws: Workspace) -> None:
    header = "job_id,step,outcome,started_at,attempt"
    rows = ["J,b,fail,,1", "J,b,pass,,2", "J,a,pass,,1"]
    assert steps(ws, "1.csv", *rows, "J,a,fail,,1", header=header) == {
        "accepted": 3, "refused": 0, "known": 0, "superseded": 1,
    }
    assert stored(ws) == [("J", 1, 1, "b", "fail"), ("J", 1, 2, "b", "pass"), ("J", 2, 1, "a", "fail")]
    done = steps(ws, "2.csv", "J,b,skipped,,1", "J,a,fail,,1", "J,c,pass,,1", header=header)
    assert done == {"accepted": 2, "refused": 0, "known": 5, "superseded": 0}
    assert stored(ws) == [
        ("J", 1, 1, "b", "skipped"), ("J", 1, 2, "b", "pass"), ("J", 2, 1, "a", "fail"), ("J", 3, 1, "c", "pass"),
    ]


def test_numbers_given_but_missing_in_a_row_are_refused(ws: Workspace) -> None:
    done = steps(ws, "1.csv", "J,a,pass,,1,", "J,b,pass,,2,1", header="job_id,step,outcome,started_at,step_seq,attempt")
    assert (done["accepted"], done["refused"]) == (1, 1)
    assert ws.refused()[0][:3] == (2, "attempt", "missing")


@pytest.mark.parametrize("shuffled", [False, True])
def test_runs_and_lines(ws: Workspace, shuffled: bool) -> None:
    runs = ["J,t,fail,2024-03-01 10:00", "J,u,pass,2024-03-01 10:00", "J,t,pass,2024-03-01 11:00"]
    ws.write("d.csv", "\n".join(["job_id,test,outcome,run_at", *(runs[::-1] if shuffled else runs)]))
    ws.write("p.csv", "job_id,part_no\nJ,P1\nJ,P1\nK,P1\nJ,P0\n")
    mapping = {
        "files": {"d": {"path": "d.csv"}, "p": {"path": "p.csv"}},
        "table": [{"table": "diagnostics", "from": "d"}, {"table": "parts", "from": "p"}],
    }
    ws.load(mapping)
    assert ws.rows("select test, run, outcome from diagnostics order by all") == [
        ("t", 1, "fail"), ("t", 2, "pass"), ("u", 1, "pass"),
    ]
    lines = defaultdict(list)
    for name, line, part in ws.rows("select job_id, line, part_no from parts order by all"):
        lines[name].append((line, part))
    assert lines == {"J": [(1, "P1"), (2, "P1"), (3, "P0")], "K": [(1, "P1")]}


WITHDRAWN = {"workspace": {"vanished": "withdraw"}, "files": {"s": {"path": "s*.csv"}, "j": {"path": "jobs.csv"}},
             "table": [{"table": "steps", "from": "s"}, {"table": "jobs", "from": "j"}]}


@pytest.mark.parametrize("given", some_slow(["step,outcome", "step,outcome,attempt"], 1))
@pytest.mark.parametrize("moved", ["to a later file", "within its file"])
def test_a_row_that_stands_in_another_place_is_numbered_and_counted_anew(
    tmp_path: Path, given: str, moved: str
) -> None:
    """Held against a fresh load: a file is gone whose row a later file gives, too; or two lines change places."""
    tried = ",1" if "attempt" in given else ""
    cut, other = f"J1,cut,fail{tried}\n", f"J1,{'glue' if tried else 'cut'},pass{tried}\n"
    more = f"J2,saw,pass{tried}\n"
    first = {"s1.csv": cut, "s2.csv": other, "s3.csv": cut} if moved == "to a later file" else {"s1.csv": cut + other}
    then = {"s2.csv": other, "s3.csv": cut + more} if moved == "to a later file" else {"s1.csv": other + cut}
    jobs = csv_of(*(job(f"J{n}", unit_id=f"U{n}") for n in range(1, 120)))

    def held(name: str, *loads: dict[str, str]) -> list[list[tuple[Any, ...]]]:
        (folder := tmp_path / name).mkdir()
        ws = Workspace(folder)
        ws.write("jobs.csv", jobs)
        for files in loads:
            for old in folder.glob("s*.csv"):
                old.unlink()
            for file, rows in files.items():
                ws.write(file, f"job_id,{given}\n{rows}")
            ws.load(WITHDRAWN, keep=keep)
        rows = "select job_id, step, step_seq, attempt, source_file, source_row from steps order by all"
        return [ws.rows(rows), ws.rows("select step, passed, failed from step_counts order by all")]

    now = held("one after the other", first, then)
    assert now == held("at once", then)
    assert now != held("before", first)
