"""A row's number is the line that an editor shows its record to begin on, whatever stands before it."""

import gzip
import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.cases import some_slow
from tests.examples import examples
from tests.workspaces import HEADER, Workspace, job

PIECES = ["row", "two lines", "blank", "short", "long", "refused", "blank within"]
"""What may stand in a file, one after the other, without a quote that another one would close."""


def record(kind: str, name: str) -> tuple[list[str], str]:
    """The lines of a record, and what becomes of it."""
    row = list(job(name).values())
    if kind == "two lines":
        row[4] = '"board\nswap"'
    if kind == "blank within":
        row[4] = '"board\n\n\nswap"'
    if kind == "refused":
        row[3] = ""
    if kind == "not closed":
        row[4] = '"board'
    if kind == "overlong":
        row[4] = "x" * 2_100_000
    text = {"blank": "", "short": name, "long": ",".join([*row, "x"])}.get(kind, ",".join(row))
    accepted = kind in ("row", "two lines", "blank within")
    return text.split("\n"), "" if kind == "blank" else "accepted" if accepted else "refused"


def made(kinds: list[str], *, before: list[str], end: str) -> tuple[str, list[tuple[str, int]], list[int]]:
    """A file, the lines of its good rows, and those of what is refused."""
    lines, good, bad = [*before, HEADER], [], []
    for i, kind in enumerate(kinds):
        text, becomes = record(kind, f"J{i:03}")
        if becomes == "accepted":
            good.append((f"J{i:03}", len(lines) + 1))
        if becomes == "refused":
            bad.append(len(lines) + 1)
        lines += text
    return end.join([*lines, ""]), good, bad


def found(ws: Workspace) -> tuple[list[tuple[str, int]], list[int]]:
    rows = ws.rows("select job_id, source_row from jobs order by 1")
    return rows, [r for (r,) in ws.rows("select distinct source_row from refused order by 1")]


CASES: dict[str, list[str]] = {
    "plain": ["row", "row"],
    "a blank line": ["row", "blank", "row", "refused"],
    "blank lines first and last": ["blank", "blank", "row", "short", "row", "blank"],
    "line ends within quotes": ["two lines", "row", "short", "blank within", "refused", "row", "long", "row"],
    "all at once": [*PIECES, "blank", *PIECES, "two lines", "row"],
    "a quote never closed": ["two lines", "blank", "row", "not closed", "row", "short", "row"],
    "an overlong line": ["two lines", "blank", "row", "overlong", "row", "blank", "short", "row"],
}
OVER: dict[str, dict[str, Any]] = {
    "a table": {"table": "jobs", "from": "f"},
    "a SELECT": {"table": "jobs", "select": "select * from f"},
}


@pytest.mark.parametrize("form", some_slow(["\n", "\r\n", "gz", "utf-16"], 1))
@pytest.mark.parametrize("over", OVER)
@pytest.mark.parametrize("case", CASES)
def test_a_row_is_named_by_the_line_it_begins_on(ws: Workspace, case: str, over: str, form: str) -> None:
    end = "\r\n" if form == "\r\n" else "\n"
    text, good, bad = made(CASES[case], before=["", "Export"], end=end)
    content = text.encode("utf-16" if form == "utf-16" else "utf-8")
    name = "jobs.csv.gz" if form == "gz" else "jobs.csv"
    ws.write(name, gzip.compress(content) if form == "gz" else content)
    reading = {"path": name, "header_row": 3, **({"encoding": "utf-16"} if form == "utf-16" else {})}
    ws.load({"files": {"f": reading}, "table": [OVER[over]]})
    assert found(ws) == (good, bad)


@settings(max_examples=examples(12), suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(kinds=st.lists(st.sampled_from(PIECES), max_size=12))
def test_any_order_of_records_keeps_their_lines(ws: Workspace, kinds: list[str]) -> None:
    text, good, bad = made(kinds, before=[], end="\n")
    ws.jobs(text)
    assert found(ws) == (good, bad)


def test_a_header_over_two_lines(ws: Workspace) -> None:
    names = ["job_id", *list(job())[1:-1], '"closed\nat"']
    rows = [",".join(job(n).values()) for n in ("A", "B")]
    ws.jobs("\n".join([",".join(names), *rows, ""]), columns={"closed_at": "closed\nat"})
    assert found(ws) == ([("A", 3), ("B", 4)], [])


@pytest.mark.parametrize("over", OVER)
def test_blank_lines_of_json_are_lines(ws: Workspace, over: str) -> None:
    lines = ["", json.dumps(job("A")), "", "", "{broken", json.dumps(job("B", site="")), "  ", json.dumps(job("C")), ""]
    ws.write("jobs.jsonl", "\n".join(lines))
    ws.load({"files": {"f": {"path": "jobs.jsonl"}}, "table": [OVER[over]]})
    assert found(ws) == ([("A", 2), ("C", 8)], [5, 6])


GIVEN = ", ".join(job())
SEVERAL = {
    "union": f"select {GIVEN} from a union all select {GIVEN} from b",
    "union by name": "select * from a union all by name select * from b",
    "where": f"select {GIVEN} from a where job_id <> 'A' union all select {GIVEN} from b where job_id <> 'A'",
    "join": "select a.*, b.model as other from a left join b on a.unit_id = b.job_id",
    "CTE": f"with both_sets as (select {GIVEN} from a union all select {GIVEN} from b) select * from both_sets",
}


@pytest.mark.parametrize("form", SEVERAL)
def test_a_select_over_several_files_keeps_the_place_of_what_is_refused(ws: Workspace, form: str) -> None:
    ws.write("a.csv", "\n".join([HEADER, *(",".join(r.values()) for r in (job("A"), job("B", site=""))), ""]))
    rows = [job("C", model='"Quern\nMarl"'), job("D", closed_at="never"), job("E", site="")]
    ws.write("b.csv", "\n".join([HEADER, "", *(",".join(r.values()) for r in rows), ""]))
    files = {"a": {"path": "a.csv"}, "b": {"path": "b.csv"}}
    report = ws.load({"files": files, "table": [{"table": "jobs", "select": SEVERAL[form]}]})
    refused = ws.rows("select source_file, source_row, column_name from refused order by all")
    of_b = [("b.csv", 5, "closed_at"), ("b.csv", 6, "site")]
    assert refused == [("a.csv", 3, "site"), *(of_b if form != "join" else [])]
    assert "a.csv, row 3" in str(report)
