"""What is accepted and worth a look: names nobody declared, jobless logs, hours that were skipped or came twice."""

from typing import Any

import pytest

from rqa.contract import GOALS, TABLES
from rqa.store import remark_words, remarks
from rqa.store.remark_words import NO_UNIT_TWICE
from rqa.store.remarks import FILE_GONE, OTHER_WORDS, SAME_MOMENT
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

MAPPING = {"files": {"f": {"path": "jobs.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
SKIPPED = "clock skipped (daylight saving), moved on by as much"
REPEATED = "clock repeated (daylight saving), read as the second pass"


def clocks(ws: Workspace, zone: str, *spans: tuple[str, str]) -> list[tuple[Any, ...]]:
    rows = [job(f"J{i}", opened_at=start, closed_at=end) for i, (start, end) in enumerate(spans)]
    ws.write("jobs.csv", csv_of(*rows))
    ws.load({**MAPPING, "workspace": {"zone": zone}})
    shown = "opened_at::varchar, closed_at::varchar, opened_on::varchar, closed_on::varchar"
    return ws.rows(f"select {shown} from jobs order by job_id")


def test_hour_that_was_skipped(ws: Workspace) -> None:
    # Lisbon, 31 March 2024: 01:00 became 02:00.
    found = clocks(
        ws,
        "Europe/Lisbon",
        ("2024-03-31 00:59:59", "2024-03-31 02:00:00"),
        ("2024-03-31 01:30:00", "2024-03-31 10:00:00"),
        ("2024-03-31 01:30:00Z", "2024-03-31 10:00:00"),
    )
    assert found == [
        ("2024-03-31 00:59:59", "2024-03-31 01:00:00", "2024-03-31", "2024-03-31"),
        ("2024-03-31 01:30:00", "2024-03-31 09:00:00", "2024-03-31", "2024-03-31"),
        ("2024-03-31 01:30:00", "2024-03-31 09:00:00", "2024-03-31", "2024-03-31"),
    ]
    of_clocks = "select remark, value, rows, first_row from remarks where remark like 'clock %'"
    assert ws.rows(of_clocks) == [(SKIPPED, "opened_at", 1, 3)]


def test_hour_that_came_twice(ws: Workspace) -> None:
    # Lisbon, 27 October 2024: 02:00 became 01:00.
    found = clocks(
        ws,
        "Europe/Lisbon",
        ("2024-10-27 00:30:00", "2024-10-27 02:00:00"),
        ("2024-10-27 01:50:00", "2024-10-27 01:10:00"),
        ("2024-10-27 01:10:00", "2024-10-27 01:50:00"),
        ("2024-10-27 01:10:00+01:00", "2024-10-27 01:50:00Z"),
    )
    assert [row[:2] for row in found] == [
        ("2024-10-26 23:30:00", "2024-10-27 02:00:00"),
        ("2024-10-27 00:50:00", "2024-10-27 01:10:00"),
        ("2024-10-27 01:10:00", "2024-10-27 01:50:00"),
        ("2024-10-27 00:10:00", "2024-10-27 01:50:00"),
    ]
    assert ws.rows("select remark, sum(rows)::int from remarks group by all") == [(REPEATED, 2)]
    ws.write("jobs.csv", (ws.folder / "jobs.csv").read_text() + "\n")
    ws.load({**MAPPING, "workspace": {"zone": "Europe/Lisbon"}})
    assert ws.rows("select remark, sum(rows)::int from remarks group by all") == [(REPEATED, 2)]


def test_days_are_those_of_the_site(ws: Workspace) -> None:
    found = clocks(ws, "Asia/Tokyo", ("2024-03-01 00:30:00", "2024-03-01T20:00:00Z"))
    assert found == [("2024-02-29 15:30:00", "2024-03-01 20:00:00", "2024-03-01", "2024-03-02")]


def test_each_site_has_its_own_clock(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(*(job(s, site=s) for s in ("Alder", "Birch", "Cedar"))))
    mapping = {
        **MAPPING,
        "workspace": {"zone": "Asia/Tokyo"},
        "sites": {"Alder": {"zone": "Europe/Lisbon"}, "Birch": {"zone": "America/New_York"}},
    }
    ws.load(mapping)
    assert ws.rows("select site, opened_at::varchar from jobs order by 1") == [
        ("Alder", "2024-03-01 10:00:00"),
        ("Birch", "2024-03-01 15:00:00"),
        ("Cedar", "2024-03-01 01:00:00"),
    ]
    assert ws.rows("select remark, value, rows from remarks") == [("unknown site", "Cedar", 1)]


@pytest.mark.parametrize(
    ("named", "kept"),
    some_slow([
        ({}, []),
        ({"workspace": {"zone": "Asia/Tokyo"}}, [(None, "Asia/Tokyo")]),
        ({"sites": {"Alder": {"zone": "UTC"}}}, [("Alder", "UTC")]),
        (
            {"workspace": {"zone": "Asia/Tokyo"}, "sites": {"Alder": {"zone": "UTC"}}},
            [("Alder", "UTC"), (None, "Asia/Tokyo")],
        ),
        ({"files": {"f": {"path": "jobs.csv", "zone": "Asia/Tokyo"}}}, [(None, "Asia/Tokyo")]),
        (
            {
                "files": {"f": {"path": "jobs.csv", "zone": "Asia/Tokyo"}, "g": {"path": "more.csv", "zone": "UTC"}},
                "table": [
                    {"table": "jobs", "from": "f", "columns": {"site": {"constant": "Birch"}}},
                    {"table": "jobs", "from": "g", "columns": {"site": {"constant": "Cedar"}}},
                ],
            },
            [("Birch", "Asia/Tokyo"), ("Cedar", "UTC")],
        ),
    ], 2),
)
def test_the_store_keeps_whatever_zone_the_mapping_tells(
    ws: Workspace, named: dict[str, Any], kept: list[tuple[str | None, str]]
) -> None:
    ws.write("jobs.csv", csv_of(job("J1")))
    ws.write("more.csv", csv_of(job("J2")))
    ws.load(MAPPING | named)
    assert ws.rows("select site, zone from clocks order by site nulls last") == kept


def test_table_without_site_takes_no_zone_by_guess(ws: Workspace) -> None:
    from rqa.errors import MappingError

    ws.write("s.csv", "job_id,step,outcome,started_at\nA,x,pass,2024-07-01 10:00\n")
    mapping: dict[str, Any] = {
        "files": {"s": {"path": "s.csv"}},
        "table": [{"table": "steps", "from": "s"}],
        "sites": {"Alder": {"zone": "Europe/Lisbon"}},
    }
    ws.load(mapping)
    assert ws.one("select started_at::varchar from steps") == "2024-07-01 09:00:00"
    mapping["sites"]["Birch"] = {"zone": "Europe/Warsaw"}
    with pytest.raises(MappingError, match="sites' zones differ"):
        ws.load(mapping)
    mapping["files"]["s"]["zone"] = "Europe/Warsaw"
    ws.load(mapping)
    assert ws.one("select started_at::varchar from steps") == "2024-07-01 08:00:00"


def test_names_nobody_declared_and_logs_without_a_job(ws: Workspace) -> None:
    tables = {
        "jobs": csv_of(job("A"), job("B", model="Quarn", procedure="unheard of"), job("C", opened_at="2099-01-01",
                                                                                      closed_at="2099-01-02")),
        "steps": "job_id,step,outcome\nA,open,pass\nA,opem,pass\nX,open,pass\n",
        "diagnostics": "job_id,test,outcome,run_at\nA,soak,pass,2024-03-01\nA,soap,pass,2024-03-01\n",
        "parts": "job_id,part_no\nY,P\nA,P\n",
        "procedures": "procedure,step_seq,step,phase\nboard swap,1,open,open\n",
        "tests": "test,subsystem\nsoak,board\n",
    }
    for name, text in tables.items():
        ws.write(f"{name}.csv", text)
    mapping = {
        "workspace": {"models": ["Quern"], "zone": "UTC"},
        "files": {n: {"path": f"{n}.csv"} for n in tables},
        "table": [{"table": n, "from": n} for n in tables],
    }
    said = str(ws.load(mapping))
    assert "1 × steps: unknown step: opem" in said
    assert "1 × parts: no job of that id in the store; first in parts.csv, row 2: such as Y" in said
    found = "select table_name, remark, value, rows, first_row from remarks order by all"
    expected = [
        ("diagnostics", "unknown test", "soap", 1, 3),
        ("jobs", "dated after the load", None, 1, 4),
        ("jobs", SAME_MOMENT, "U1", 2, 2),
        ("jobs", "unknown model", "Quarn", 1, 3),
        ("jobs", "unknown procedure", "unheard of", 1, 3),
        ("parts", "no job of that id in the store", "Y", 1, 2),
        ("steps", "no job of that id in the store", "X", 1, 4),
        ("steps", "unknown step", "opem", 1, 3),
    ]
    assert ws.rows(found) == expected
    ws.load(mapping)
    assert ws.rows(found) == expected
    ws.write("jobs.csv", csv_of(job("A"), job("X"), job("Y"), job("B", model="Quern")))
    ws.load(mapping)
    assert [r for r in ws.rows(found) if "no job" in r[1] or "model" in r[1]] == []


@pytest.mark.parametrize(
    ("listed", "found", "told"),
    some_slow([
        ("motor;cable", "motor cable", ["motor cable (list: cable; motor)"]),
        ("motor cable", "Motor cable", ["Motor cable (list: motor cable)"]),
        ("battery esd", "battery", ["battery (list: battery esd)"]),
        ("motor cable", "motor cable", []),
        ("motor;cable", "motor", []),
        ("motor", "motor cable", []),
        ("", "motor", []),
    ], 3),
)
def test_a_fault_that_a_list_has_under_another_name_is_told(
    ws: Workspace, listed: str, found: str, told: list[str]
) -> None:
    """A list with the wrong separators has the words of a fault and not its name, so that no come-back matches it."""
    ws.write("jobs.csv", csv_of(job("A") | {"found": found}, job("B", unit_id="U2") | {"found": "wheel"}))
    ws.write("procedures.csv", f"procedure,step_seq,step,phase,subsystems\nboard swap,1,open,open,{listed}\n")
    names = ("jobs", "procedures")
    mapping = {"files": {n: {"path": f"{n}.csv"} for n in names}, "table": [{"table": n, "from": n} for n in names]}
    for _ in range(2):
        ws.load(mapping)
        assert ws.rows(f"select value from remarks where remark = '{OTHER_WORDS}'") == [(t,) for t in told]


def test_a_goal_of_no_known_measure_is_told(ws: Workspace) -> None:
    known = [*GOALS, "comebacks_30", "comebacks_7"]
    names = [*known, "come_backs_30", "comebacks", "comebacks_30d"]
    ws.write("targets.csv", "measure,from_month,value\n" + "".join(f"{n},2024-03,0.1\n" for n in names))
    ws.load({"files": {"t": {"path": "targets.csv"}}, "table": [{"table": "targets", "from": "t"}]})
    told = ws.rows("select value from remarks where remark = 'goal of no measure that is known' order by first_row")
    assert [value for (value,) in told] == [n for n in names if n not in known]
    assert all(f"`{n}`" in TABLES["targets"].column("measure").meaning for n in (*GOALS, "comebacks_30"))


def test_remark_words_are_told_loudly_and_once(ws: Workspace) -> None:
    """Serials that are mapped wrongly look like a depot without come-backs."""
    ws.write("jobs.csv", csv_of(*(job(f"J{i}", unit_id=f"U{i}") for i in range(3)), job("C", disposition="cancelled")))
    for _ in range(2):
        report = ws.load({**MAPPING, "workspace": {"zone": "UTC"}})
        assert ws.rows("select table_name, remark, rows from remarks") == [("jobs", NO_UNIT_TWICE, 3)]
        assert str(report).count(NO_UNIT_TWICE) == 1
        assert f"CAUTION: {NO_UNIT_TWICE} (3 jobs)" in str(report)
        assert "correct unit_id in the mapping" in str(report)
    ws.write("jobs.csv", csv_of(*(job(f"J{i}") for i in range(3))))
    assert NO_UNIT_TWICE not in str(ws.load(MAPPING))
    ws.write("jobs.csv", csv_of(job("J0")))
    assert NO_UNIT_TWICE not in str(ws.load(MAPPING))


def test_a_file_that_is_gone_is_told_with_its_rows(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("B", site="")))
    ws.write("2.csv", csv_of(job("C")))
    mapping: dict[str, Any] = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.load(mapping)
    (ws.folder / "1.csv").unlink()
    ws.write("2.csv", csv_of(job("C"), job("D")))
    for _ in range(2):
        ws.load(mapping)
        assert ws.rows("select job_id from jobs order by 1") == [("A",), ("C",), ("D",)]
        told = f"select source_file, rows from remarks where remark = '{FILE_GONE}'"
        assert ws.rows(told) == [("1.csv", 1)]
        assert ws.one("select count(*) from refused") == 1
    report = ws.load(mapping | {"workspace": {"vanished": "withdraw"}})
    assert ws.rows("select job_id from jobs order by 1") == [("C",), ("D",)]
    assert report.total("withdrawn") == 1
    assert ws.rows(told) == []
    assert ws.one("select count(*) from refused") == 0
    assert ws.rows("select source_file, reason from superseded") == [("1.csv", "its file is gone")]


def test_half_hour_that_came_twice(ws: Workspace) -> None:
    # Lord Howe Island, 7 April 2024: 02:00 became 01:30, UTC+11 became UTC+10:30.
    found = clocks(
        ws,
        "Australia/Lord_Howe",
        ("2024-04-07 01:50:00", "2024-04-07 01:35:00"),
        ("2024-04-07 01:35:00", "2024-04-07 01:50:00"),
        ("2024-04-07 01:20:00", "2024-04-07 02:10:00"),
    )
    assert [row[:2] for row in found] == [
        ("2024-04-06 14:50:00", "2024-04-06 15:05:00"),
        ("2024-04-06 15:05:00", "2024-04-06 15:20:00"),
        ("2024-04-06 14:20:00", "2024-04-06 15:40:00"),
    ]


@pytest.mark.slow
def test_names_nobody_declared_are_told_whichever_load_brings_them_or_takes_their_declaration(ws: Workspace) -> None:
    """A load looks at the rows of the jobs that it touches; a declaration that goes concerns all rows."""
    mapping = {
        "files": {n: {"path": f"{n}*.csv"} for n in ("step", "plan")},
        "table": [{"table": "steps", "from": "step"}, {"table": "procedures", "from": "plan"}],
    }
    steps, plan = "job_id,step_seq,attempt,step,outcome\n", "procedure,step_seq,step,phase\n"
    told = "select value, rows, first_row from remarks where remark = 'unknown step' order by all"
    lost = "select source_file, value, rows from remarks where remark = 'no job of that id in the store' order by all"

    def loaded(**files: str) -> list[tuple[object, ...]]:
        for name, content in files.items():
            ws.write(f"{name}.csv", content)
        ws.load(mapping)
        assert ws.rows(lost) == [(f"step{n}.csv", f"J{n}", 1) for n in "123" if (ws.folder / f"step{n}.csv").exists()]
        return ws.rows(told)

    assert loaded(step1=f"{steps}J1,1,1,cut,pass\n", plan=f"{plan}swap,1,cut,fit\nswap,2,glue,fit\n") == []
    assert loaded(step2=f"{steps}J2,1,1,glue,pass\n") == []
    assert loaded(step3=f"{steps}J3,1,1,weld,pass\n") == [("weld", 1, 2)]
    assert loaded(step2=f"{steps}J2,1,1,saw,pass\n") == [("saw", 1, 2), ("weld", 1, 2)]
    assert loaded(step3=f"{steps}J3,1,1,glue,pass\n", step2=f"{steps}J2,1,1,glue,fail\n") == []
    assert loaded(plan=f"{plan}swap,1,cut,fit\n") == [("glue", 2, 2)]


def test_the_words_of_remarks_on_values_are_those_that_are_written() -> None:
    assert tuple(remarks.UNKNOWN) == remark_words.UNKNOWN
