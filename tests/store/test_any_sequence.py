"""Whatever was loaded before, the store holds what one fresh load of the present files and mapping gives.

With `vanished = "keep"`, a file that is gone counts with its last content, behind the file that it stood behind.
"""

import io
import json
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rqa.contract import TABLES
from rqa.measures.keep import KEPT, keep
from rqa.store.verdicts import LATER
from tests.examples import examples
from tests.workspaces import Workspace, asked

Files = dict[str, list[tuple[str, ...]]]
HEADERS = {
    "jobs": "job_id,other_id,kind,unit_id,model,site,procedure,opened_at,disposition,closed_at",
    "steps": "job_id,step,outcome,started_at,fault",
    "numbered": "job_id,step,outcome,started_at,fault,step_seq,attempt",
    "tries": "job_id,step,outcome,started_at,fault,attempt",
    "parts": "job_id,part_no",
}
IDS, DAYS = (
    st.sampled_from("123"),
    st.sampled_from(["2024-03-01 10:00", "2024-03-02 10:00", "2024-03-09 10:00", "no day"]),
)


@st.composite
def job_row(draw: st.DrawFn) -> tuple[str, ...]:
    closed = draw(st.sampled_from(["2024-03-04 10:00", "2024-03-05 10:00", ""]))
    return (f"J{draw(IDS)}", f"O{draw(IDS)}", draw(st.sampled_from("xy")), f"U{draw(st.sampled_from('12'))}",
            draw(st.sampled_from(["Quern", "Marl"])), "Alder", "swap", draw(DAYS), "repaired" if closed else "open",
            closed)


STEP = st.tuples(
    IDS.map(lambda i: f"J{i}"), st.sampled_from(["cut", "glue"]), st.sampled_from(["pass", "fail", "maybe"]),
    st.sampled_from(["", "2024-03-01 10:00", "2024-03-01 11:00"]), st.sampled_from(["", "E1"]),
)
ROWS: dict[str, st.SearchStrategy[tuple[str, ...]]] = {
    "jobs": job_row(),
    "steps": STEP,
    "numbered": st.tuples(STEP, st.sampled_from("12"), st.sampled_from("12")).map(lambda r: (*r[0], r[1], r[2])),
    "tries": st.tuples(STEP, st.sampled_from("12")).map(lambda r: (*r[0], r[1])),
    "parts": st.tuples(IDS.map(lambda i: f"J{i}"), st.sampled_from(["P1", "P2"])),
}
NAMES = {"a1": "jobs", "a2": "jobs", "b1": "jobs", "b2": "jobs", "p1": "parts", "p2": "parts"}
SUFFIX = st.sampled_from(["csv", "csv", "csv", "jsonl", "parquet"])
READ = {n: {"path": f"{n}*.*", "optional": True, "times": ["%Y-%m-%d %H:%M"]} for n in "absp"}
"""A set has files of all formats, or none yet; a file of another format is another file."""


@st.composite
def files(draw: st.DrawFn) -> Files:
    """The files of a moment: each with a header line and a few rows; a step log may bring its numbers or not."""
    made: Files = {}
    for name, kind in NAMES.items():
        if draw(st.booleans()):
            made[f"{name}.{draw(SUFFIX)}"] = [tuple(HEADERS[kind].split(",")), *draw(st.lists(ROWS[kind], max_size=3))]
    for name in ("s1", "s2", "s3"):
        if draw(st.booleans()):
            kind = draw(st.sampled_from(["steps", "steps", "tries", "numbered"]))
            made[f"{name}.{draw(SUFFIX)}"] = [tuple(HEADERS[kind].split(",")), *draw(st.lists(ROWS[kind], max_size=3))]
    return made


@st.composite
def mapping(draw: st.DrawFn) -> dict[str, Any]:
    """A mapping of a moment: which rows, which id, which order of the sets, which entries there are."""
    columns = {"job_id": draw(st.sampled_from(["job_id", "job_id", "job_id", "other_id"]))}
    wanted = draw(st.sampled_from([{}, {}, {"where": "kind = 'x'"}]))
    lines = st.sampled_from([{}, {}, {"lines": "one job"}, {"lines": "one job per file"}])
    a: dict[str, Any] = {"table": "jobs", "from": "a", "columns": columns, **wanted, **draw(lines)}
    b: dict[str, Any] = {"table": "jobs", "from": "b"}
    chosen = draw(st.sampled_from(["from", "from", "select", "none"]))
    b = ({"table": "jobs", "select": "select * from b"} if chosen == "select" else b) | draw(lines)
    tables = [a] if chosen == "none" else draw(st.sampled_from([[a, b], [b, a]]))
    steps = [{"table": "steps", "from": "s"}]
    again = [*steps, {"table": "steps", "from": "s", "where": "outcome = 'fail'", "columns": {"step": "outcome"}}]
    tables += draw(st.sampled_from([steps, steps, again]))
    parts = {"table": "parts", "from": "p"}
    tables += draw(st.sampled_from([[parts], [parts], []]))
    return {
        "files": READ,
        "table": tables,
        "workspace": {"vanished": "withdraw", "zone": "Europe/Lisbon"},
    }


def write(folder: Path, given_files: Files) -> None:
    folder.mkdir(exist_ok=True)
    for path in folder.iterdir():
        if path.suffix != ".duckdb" and path.name not in given_files:
            path.unlink()
    for name, rows in given_files.items():
        content, path = content_of(name, rows), folder / name
        if not path.exists() or path.read_bytes() != content:
            path.write_bytes(content)


def content_of(name: str, rows: list[tuple[str, ...]]) -> bytes:
    """A file of a header and rows, in the format that its name tells."""
    head, *body = rows
    if name.endswith(".csv"):
        return ("\n".join(",".join(r) for r in rows) + "\n").encode()
    if name.endswith(".jsonl"):
        return "".join(json.dumps(dict(zip(head, r, strict=True))) + "\n" for r in body).encode()
    made = io.BytesIO()
    pl.DataFrame(body, schema=dict.fromkeys(head, pl.String), orient="row").write_parquet(made)
    return made.getvalue()


def held(ws: Workspace, kept: Iterable[str] = KEPT) -> dict[str, Counter[str]]:
    """All that the store holds, but for the numbers of loads and what was there once."""
    those = {t: f"from {t}" for t in (*TABLES, *kept)}
    those["refused"] = "select * exclude (load_id) from refused"
    those["remarks"] = "select * exclude (load_id) from remarks"
    those["superseded"] = f"select * exclude (load_id) from superseded where reason = '{LATER}'"
    those["held_files"] = "select table_name, source_file, derive, repeats, gone from held_files"
    with asked(ws.store) as c:
        return {name: Counter(map(repr, c.execute(sql).fetchall())) for name, sql in those.items()}


def differing(found: dict[str, Counter[str]], due: dict[str, Counter[str]]) -> dict[str, Any]:
    return {n: (found[n] - due[n], due[n] - found[n]) for n in due if found[n] != due[n]}


MOMENTS = st.lists(st.tuples(files(), mapping()), min_size=2, max_size=4)


@settings(max_examples=examples(8))
@given(moments=MOMENTS)
def test_any_sequence_of_loads_ends_like_one_fresh_load(moments: list[tuple[Files, dict[str, Any]]]) -> None:
    """Files that come, change and go, corrections across files, numbers given or not, mappings that change."""
    with tempfile.TemporaryDirectory() as name:
        ws, fresh = Workspace(Path(name) / "ws"), Workspace(Path(name) / "fresh")
        for given_files, rules in moments:
            write(ws.folder, given_files)
            report = ws.load(rules, keep=keep)
            kept_rows = "select table_name, source_file, count(distinct source_row) from refused group by all"
            refused = {(table, of): n for table, of, n in ws.rows(kept_rows)}
            told = Counter((f.table, f.source_file) for f in report.files)
            for f in report.files:
                if f.table != "(select)" and not f.source_file.startswith("select "):
                    assert told[f.table, f.source_file] > 1 or f.refused == refused.get((f.table, f.source_file), 0)
        given_files, rules = moments[-1]
        write(fresh.folder, given_files)
        fresh.load(rules, keep=keep)
        before = held(ws)
        assert differing(before, held(fresh)) == {}
        again = ws.load(rules, keep=keep)
        assert all(f.unchanged for f in again.files)
        assert (again.total("accepted"), again.total("withdrawn")) == (0, 0)
        assert differing(held(ws), before) == {}


KEPT_SETS = {"jobs": "ab", "steps": "s", "parts": "p"}
"""The sets of files of each table, in the order of the mapping that keeps vanished files."""


def marked(given_files: Files) -> Files:
    """The same with a column that tells the files' rows apart: of a row in two files, one file alone has it kept."""
    return {
        name: [(*rows[0], "technician" if name[0] in "abs" else "lot"), *((*r, f"of {name}") for r in rows[1:])]
        for name, rows in given_files.items()
    }


def place_of(name: str) -> tuple[int, str]:
    return ("absp".index(name[0]), name)


def standing(order: list[str], present: list[str]) -> list[str]:
    """The present files in their order, each followed by those that are gone and stood behind it; first the others."""
    behind: dict[str, list[str]] = {"": []}
    last = ""
    for name in order:
        if name in present:
            last = name
            behind[last] = []
        else:
            behind[last].append(name)
    return [*behind[""], *(n for p in present for n in (p, *behind.get(p, [])))]


@pytest.mark.slow
@settings(max_examples=examples(10))
@given(moments=st.lists(files().map(marked), min_size=2, max_size=4), lines=st.booleans())
def test_files_that_are_gone_count_with_their_last_content(moments: list[Files], lines: bool) -> None:
    """The same law with `vanished = "keep"`: the fresh load has the files that are gone, at the place they had."""
    assume(any(moments))
    of_jobs = {"lines": "one job per file"} if lines else {}
    more = {table: of_jobs if table == "jobs" else {} for table in KEPT_SETS}
    tables = [{"table": table, "from": n} | more[table] for table, names in KEPT_SETS.items() for n in names]
    workspace = {"vanished": "keep", "zone": "Europe/Lisbon"}
    last: Files = {}
    orders: dict[str, list[str]] = {table: [] for table in KEPT_SETS}
    with tempfile.TemporaryDirectory() as name:
        ws, fresh = Workspace(Path(name) / "ws"), Workspace(Path(name) / "fresh")
        for given_files in moments:
            write(ws.folder, given_files)
            ws.load({"files": READ, "table": tables, "workspace": workspace})
            last |= given_files
            for table, names in KEPT_SETS.items():
                present = sorted((n for n in given_files if n[0] in names), key=place_of)
                orders[table] = standing(orders[table], present)
        write(fresh.folder, last)
        one_by_one = {table: READ["a"] | {"path": order} for table, order in orders.items() if order}
        one_table_each = [{"table": table, "from": table} | more[table] for table in one_by_one]
        fresh.load({"files": one_by_one, "table": one_table_each, "workspace": workspace})
        rows = (*TABLES, "refused", "superseded")
        found, due = ({n: of for n, of in held(w, kept=()).items() if n in rows} for w in (ws, fresh))
        assert differing(found, due) == {}
