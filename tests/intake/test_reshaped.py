"""Wide sheets, lists and merged cells become rows, held against a loop over the same cells; faults are told plainly."""

import csv
import io
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.errors import MappingError
from tests.examples import examples
from tests.workspaces import Workspace, engine

HEAD = ["Order", "When", "Display", "Battery", "Faults"]
CELL = st.sampled_from(["", "OK", "NOK"])
ROWS = st.lists(
    st.tuples(st.sampled_from(["", "A1", "A2", "B 7"]), CELL, CELL, st.sampled_from(["", "x", "x;y", "y; ;z", ";"])),
    min_size=1, max_size=8,
)


def sheet(rows: list[tuple[str, ...]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(
        [HEAD, *([order, "2025-01-02 10:00:00", display, battery, faults] for order, display, battery, faults in rows)]
    )
    return out.getvalue()


def mapping(**shape: Any) -> dict[str, Any]:
    return {
        "files": {"sheet": {"path": "sheet.csv"}},
        "table": [{
            "table": "diagnostics", "from": "sheet", **shape,
            "columns": {"job_id": "Order", "run_at": "When", "outcome": {
                "column": "outcome", "values": {"OK": "pass", "NOK": "fail"}}},
        }],
    }


LIST = st.sampled_from(["", "x", "x;y", "y; ;z", ";", "x;y;z"])
WIDE = {"name": "test", "value": "outcome", "columns": ["Display", "Battery"]}


def by_hand(rows: list[tuple[str, ...]]) -> list[tuple[str, str, str, int]]:
    """(job, test, outcome, line) of every cell that is filled; an empty order is that of the row above."""
    made: list[tuple[str, str, str, int]] = []
    above = ""
    for line, (order, display, battery, _) in enumerate(rows, 2):
        above = order or above
        made += [(above, t, cell, line) for t, cell in (("Display", display), ("Battery", battery)) if cell]
    return sorted(made)


def asked(rows: list[tuple[str, ...]], *shape: Any) -> list[dict[str, Any]]:
    """What the SELECT makes of a table with these rows, an empty cell as NULL, the first on line 2."""
    from rqa.intake.reshaped import reshaping_select

    cells = [("f", line, *(c or None for c in row)) for line, row in enumerate(rows, 2)]
    with engine() as cursor:
        columns = 'source_file varchar, source_row bigint, "Order" varchar, "Display" varchar, "Battery" varchar'
        cursor.execute(f'create or replace temp table sheet ({columns}, "Faults" varchar)')
        cursor.executemany("insert into sheet values (?, ?, ?, ?, ?, ?)", cells)
        return cursor.sql(reshaping_select("sheet", *shape)).pl().to_dicts()


@settings(max_examples=examples(100))
@given(rows=ROWS)
def test_columns_become_rows_and_empty_cells_take_the_value_above(rows: list[tuple[str, ...]]) -> None:
    found = asked(rows, ["Order"], {}, "test", {"Display": {"outcome": "Display"}, "Battery": {"outcome": "Battery"}})
    assert sorted((r["Order"] or "", r["test"], r["outcome"], r["source_row"]) for r in found) == by_hand(rows)


@settings(max_examples=examples(100))
@given(rows=ROWS)
def test_lists_become_rows(rows: list[tuple[str, ...]]) -> None:
    """An entry without a text is none; a row without entries stays."""
    by_loop = [
        (line, entry) for line, row in enumerate(rows, 2)
        for entry in ([e for e in row[3].split(";") if e.strip()] or [""])
    ]
    found = asked(rows, (), {"Faults": ";"}, "", {})
    assert sorted((r["source_row"], r["Faults"] or "") for r in found) == sorted(by_loop)


@settings(max_examples=examples(60))
@given(rows=st.lists(st.tuples(LIST, LIST), min_size=1, max_size=5))
def test_lists_of_two_columns_go_in_pairs(rows: list[tuple[str, str]]) -> None:
    """The first entry of one column stands with the first of the other; a pair without a text is none."""
    by_loop = []
    for line, (left, right) in enumerate(rows, 2):
        a, b = left.split(";"), right.split(";")
        pairs = [(a[i] if i < len(a) else "", b[i] if i < len(b) else "") for i in range(max(len(a), len(b)))]
        by_loop += [(line, *p) for p in pairs if any(e.strip() for e in p)] or [(line, "", "")]
    found = asked([("A1", "OK", left, right) for left, right in rows], (), {"Battery": ";", "Faults": ";"}, "", {})
    assert sorted((r["source_row"], r["Battery"] or "", r["Faults"] or "") for r in found) == sorted(by_loop)


def test_what_is_reshaped_is_stored_with_its_place(ws: Workspace) -> None:
    rows = [("A1", "OK", "NOK", ""), ("", "OK", "", ""), ("B 7", "", "", "")]
    ws.write("sheet.csv", sheet(rows))
    ws.load(mapping(columns_to_rows=WIDE, fill_down="Order"))
    assert ws.rows("select job_id, test, outcome, source_row from diagnostics order by all") == [
        (job, test, {"OK": "pass", "NOK": "fail"}[cell], line) for job, test, cell, line in by_hand(rows)]


def test_several_columns_make_one_row(ws: Workspace) -> None:
    ws.write("sheet.csv", "Order,When,Disp ok,Disp mm,Batt ok,Batt V\nA1,2025-01-02 10:00:00,OK,1.5,NOK,3.2\n"
                          "A2,2025-01-02 10:00:00,,,OK,\n")
    shape = {"name": "test", "columns": {"display": {"outcome": "Disp ok", "value": "Disp mm"},
                                         "battery": {"outcome": "Batt ok", "value": "Batt V"}}}
    ws.load(mapping(columns_to_rows=shape))
    assert ws.rows("select job_id, test, outcome, value from diagnostics order by all") == [
        ("A1", "battery", "fail", 3.2), ("A1", "display", "pass", 1.5), ("A2", "battery", "pass", None)]


def test_a_cell_that_is_no_outcome_is_refused_with_its_place(ws: Workspace) -> None:
    ws.write("sheet.csv", sheet([("A1", "OK", "?", "")]).replace("?", "maybe"))
    ws.load(mapping(columns_to_rows=WIDE))
    assert ws.refused() == [(2, "outcome", "not one of pass, fail, aborted", "maybe")]


def test_names_in_a_wide_sheet_become_pseudonyms_and_stand_nowhere_else(ws: Workspace) -> None:
    key = ws.write("../safe/key", b"secret").resolve()
    ws.write("sheet.csv", "Order,Who,Display,Battery\nA1,Ann Bee,OK,NOK\nA2,Cid Dee,OK,maybe\n")
    plain = {"files": {"sheet": {"path": "sheet.csv"}}, "table": [{
        "table": "steps", "from": "sheet", "columns_to_rows": WIDE | {"name": "step"}, "columns": {
            "job_id": "Order", "technician": {"column": "Who", "key_file": str(key)},
            "outcome": {"column": "outcome", "values": {"OK": "pass", "NOK": "fail"}}}}]}
    ws.load(plain)
    assert ws.one("select count(*) from steps") == 3
    stored = ws.store.read_bytes()
    assert [name for name in (b"Ann Bee", b"Cid Dee") if name in stored] == []
    entry: dict[str, Any] = plain["table"][0]  # type: ignore[assignment]  # a mapping as plain data
    copied = entry | {"columns": entry["columns"] | {"fault": "Who"}}
    with pytest.raises(MappingError, match="fault: it would hold 'Who' as it is"):
        ws.load(plain | {"table": [copied]})
    turned = entry | {"columns_to_rows": WIDE | {"name": "step", "columns": ["Display", "Who"]}}
    with pytest.raises(MappingError, match="outcome: it would hold, or may hold, what stands in 'who' of sheet"):
        ws.load(plain | {"table": [turned]})


def test_a_day_and_a_clock_time_are_joined(ws: Workspace) -> None:
    ws.write("sheet.csv",
             "Order,Test,Result,Day,Clock\nA1,t,pass,31.01.2025,14:05\n"
                          "A2,t,pass,31.01.2025,\nA3,t,pass,,14:05\n")
    ws.load({"files": {"sheet": {"path": "sheet.csv", "times": ["%d.%m.%Y %H:%M"]}}, "table": [{
        "table": "diagnostics", "from": "sheet", "columns": {
            "job_id": "Order", "test": "Test", "outcome": "Result", "run_at": {"join": ["Day", "Clock"]}}}]})
    assert [str(v) for (v,) in ws.rows("select run_at from diagnostics")] == ["2025-01-31 14:05:00"]
    assert [(r, c, v) for r, c, _, v in ws.refused()] == [(3, "run_at", "31.01.2025"), (4, "run_at", "14:05")]


@pytest.mark.parametrize(("shape", "said"), [
    ({"columns_to_rows": WIDE | {"columns": ["Display", "Batery"]}}, "no column 'Batery'; did you mean 'Battery'"),
    ({"columns_to_rows": WIDE | {"columns": []}}, "table.1.columns_to_rows: columns names no column"),
    ({"columns_to_rows": {"name": "test", "columns": ["Display"]}}, "value says which column takes the cells"),
    ({"columns_to_rows": WIDE | {"colums": ["Display"]}}, "table.1.columns_to_rows.colums: unknown key; did you mean"),
    ({"columns_to_rows": WIDE, "from": "shet"}, "did you mean 'sheet'"),
    ({"fill_down": ["Ordre"], "columns_to_rows": WIDE}, "did you mean 'Order'"),
    ({"split_rows": {"Fault": ";"}, "columns_to_rows": WIDE}, "did you mean 'Faults'"),
    ({"fill_down": ["Order"], "select": "select * from sheet"}, "stand beside from, not beside select"),
])
def test_faults_are_told_with_their_place(ws: Workspace, shape: dict[str, Any], said: str) -> None:
    ws.write("sheet.csv", sheet([("A1", "OK", "OK", "x")]))
    given_shape = mapping(**shape)
    if "select" in shape:
        del given_shape["table"][0]["from"]
    with pytest.raises(MappingError) as error:
        ws.load(given_shape)
    assert said in str(error.value)


@pytest.mark.parametrize("joined", [["Day"], [], ["Day", 1], "Day"])
def test_a_join_of_fewer_than_two_columns_is_a_fault(ws: Workspace, joined: Any) -> None:
    ws.write("sheet.csv", sheet([("A1", "OK", "OK", "x")]))
    plain = mapping()
    plain["table"][0]["columns"]["run_at"] = {"join": joined}
    with pytest.raises(MappingError, match=r"run_at"):
        ws.load(plain)


@pytest.mark.parametrize("other", [{"sql": "'2025-01-02'"}, {"column": "When"}, {"constant": "2025-01-02"}])
def test_a_join_beside_another_origin_is_a_fault(ws: Workspace, other: dict[str, str]) -> None:
    ws.write("sheet.csv", sheet([("A1", "OK", "OK", "x")]))
    plain = mapping()
    plain["table"][0]["columns"]["run_at"] = {"join": ["When", "Order"]} | other
    with pytest.raises(MappingError, match=r"run_at.*exactly one of column, constant, sql, join"):
        ws.load(plain)
