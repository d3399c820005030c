"""No name of a load's own can be taken for a column: of the contract, whatever it holds, or of a source."""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

import rqa.intake
import rqa.store
from rqa.contract import TABLES, Column, Table
from rqa.intake.draft import parse_mapping
from rqa.intake.entries import entry_of
from rqa.intake.names import PLACE_COLUMNS, quoted
from rqa.intake.sources import TextSource
from rqa.store.validate import EXTRA_COLUMNS, judging_select
from tests.cases import some_slow
from tests.workspaces import HEADER, Workspace, csv_of, job

ZONES = {"A": {"zone": "Europe/Lisbon"}, "B": {"zone": "Asia/Tokyo"}}


def judged(table: str) -> str:
    """The SELECT that judges a source with every column of the table, its times in two zones."""
    names = TABLES[table].names
    raw = {"files": {"f": {"path": "f.csv"}}, "table": [{"table": table, "from": "f"}], "workspace": {"zone": "UTC"}}
    mapping = parse_mapping(raw | {"sites": ZONES})
    entry = entry_of(mapping, 1, mapping.table[0])
    return judging_select(entry, TextSource(names, "source_rows", {n: quoted(n) for n in names}), "f.csv", 0)


@pytest.mark.parametrize("table", TABLES)
def test_names_of_the_judging_select_are_the_contracts_or_marked(table: str) -> None:
    """Each name that the SELECT gives is a column or day of the table, or bears the mark; none is given twice."""
    contract = {*TABLES[table].names, *(day for day, _ in TABLES[table].days)}
    steps = re.split(r"^\), |^with |^\)$", judged(table), flags=re.MULTILINE)
    for step in steps[2:]:
        select = re.sub(r"\n *from [^\n]+$", "", step.rstrip())
        given = re.findall(r' as ("[^"]+"|[a-z_]+)(?=,|\n|$)', select.split("\n", 1)[1])
        assert all(g.startswith('"~') or g in contract or g in ("source_file", "varchar") for g in given)
        assert len(given) == len(set(given)), step
    assert all(re.fullmatch(r"[a-z][a-z_]*", name) for name in contract)
    assert not contract & {*PLACE_COLUMNS, "rowid"}
    assert all(name == "source_file" or name.startswith('"~') for name, _ in EXTRA_COLUMNS)


def texts_of(code: str) -> Iterator[str]:
    """The texts in a module's code, without its docstrings and messages."""
    nodes = list(ast.walk(ast.parse(code)))
    apart = {id(n.value) for n in nodes if isinstance(n, ast.Expr)}
    apart |= {id(c) for n in nodes if isinstance(n, ast.Raise) for c in ast.walk(n)}
    texts = (n for n in nodes if isinstance(n, ast.Constant) and id(n) not in apart)
    yield from (n.value for n in texts if isinstance(n.value, str))


def words_of_the_code() -> list[str]:
    """Every word in the SQL of a load that could be a column's name."""
    with duckdb.connect(":memory:") as connection:
        taken = {w for (w,) in connection.execute("select keyword_name from duckdb_keywords()").fetchall()}
    files = [f for room in (rqa.intake, rqa.store) for f in Path(room.__path__[0]).glob("*.py")]
    words = {w for f in files for text in texts_of(f.read_text()) for w in re.findall(r"\b[a-z][a-z_]+\b", text)}
    contract = {n for t in TABLES.values() for n in (*t.names, *(day for day, _ in t.days))}
    return sorted(words - taken - contract - {*PLACE_COLUMNS, "rowid"})


PARTS = range(3)
"""A file may have so many columns; the words are tried a part at a time."""


@pytest.mark.parametrize("part", some_slow(PARTS, 1))
def test_a_source_may_name_its_columns_like_anything_inside(ws: Workspace, part: int) -> None:
    """Columns named like a load's own names, marked or not, are read, mapped, left out and kept like any other."""
    inside = sorted(set(re.findall(r'"(~[^"]+)"', judged("jobs"))))
    words = sorted({"left_out", *words_of_the_code()[part :: len(PARTS)]})
    hostile = [*inside, "~~row", "rowid", *PLACE_COLUMNS, "own_source_file", *words]
    line = [f"v{i}" for i in range(len(hostile))]
    rows = [",".join([*job(n, site=s).values(), *line]) for n, s in (("A", "Alder"), ("B", ""))]
    ws.write("1.csv", "\n".join([",".join([HEADER, *hostile]), *rows]))
    found = {"table": "jobs", "from": "f", "where": '"left_out" is not null and "~left_out" is not null'}
    columns = {"technician": "~row", "found": "~fault", "complaint": {"sql": 'upper("~blank") || source_row || rowid'}}
    ws.load({"files": {"f": {"path": "1.csv"}}, "table": [found | {"columns": columns}]})
    row, fault, blank, place, rowid = (
        line[hostile.index(n)] for n in ("~row", "~fault", "~blank", "source_row", "rowid")
    )
    assert ws.rows("select job_id, technician, found, complaint from jobs") == [
        ("A", row, fault, blank.upper() + place + rowid)
    ]
    ((raw,),) = ws.rows("select raw from refused")
    assert list(json.loads(raw)) == [*HEADER.split(","), *hostile]


def test_a_select_sees_every_column_of_a_hostile_file(ws: Workspace) -> None:
    hostile = ["rowid", "~blank", "blank", "fault", "whole", "place", "source_file", "source_row", "own_source_file"]
    ws.write("1.csv", csv_of(*(job(n) | {h: f"{n}{i}" for i, h in enumerate(hostile)} for n in "AB")))
    for name, seen in [*zip(hostile[:6], hostile[:6], strict=True), ("source_row", "own_source_row"),
                       ("source_file", "own_source_file_"), ("own_source_file", "own_source_file")]:
        columns = {"technician": seen}
        ws.load(
            {"files": {"f": {"path": "1.csv"}}, "table": [{"table": "jobs", "select": "from f", "columns": columns}]}
        )
        assert ws.rows("select job_id, technician, source_file, source_row from jobs order by 1") == [
            (n, f"{n}{hostile.index(name)}", "1.csv", i) for i, n in enumerate("AB", 2)
        ]


@pytest.mark.parametrize("part", some_slow(PARTS, 1))
def test_the_contract_may_name_a_new_column_like_anything_inside(
    ws: Workspace, monkeypatch: pytest.MonkeyPatch, part: int
) -> None:
    """A table with a column for every word in the code is loaded, corrected and numbered without losing a value."""
    words = words_of_the_code()[part :: len(PARTS)]
    more = tuple(Column(w, "text", "") for w in words)
    for name in ("tests", "parts"):
        table = TABLES[name]
        wider = Table(name, table.row, (*table.columns, *more), table.rules, table.reference, table.order)
        monkeypatch.setitem(TABLES, name, wider)
    mapping = {
        "files": {"t": {"path": "t*.csv"}, "p": {"path": "p*.csv"}},
        "table": [{"table": "tests", "from": "t"}, {"table": "parts", "from": "p"}],
    }

    def row(start: dict[str, str], mark: str) -> dict[str, str]:
        return start | {w: f"{mark}{i}" for i, w in enumerate(words)}

    tests = [row({"test": t, "subsystem": "s"}, t) for t in "ab"]
    parts = [row({"job_id": "J", "part_no": p}, p) for p in "xyx"]
    ws.write("t1.csv", csv_of(*tests, row({"test": "a", "subsystem": "s"}, "c")))
    ws.write("p1.csv", csv_of(*parts))
    ws.load(mapping)
    ws.write("t2.csv", csv_of(row({"test": "b", "subsystem": "s"}, "d")))
    ws.write("p2.csv", csv_of(row({"job_id": "J", "part_no": "z"}, "z")))
    ws.load(mapping)
    shown = ", ".join(quoted(w) for w in words)
    assert ws.rows(f"select {shown} from tests order by test") == [
        tuple(f"{mark}{i}" for i in range(len(words))) for mark in "cd"
    ]
    assert ws.rows(f"select {shown} from parts order by line") == [
        tuple(f"{mark}{i}" for i in range(len(words))) for mark in "xyxz"
    ]
