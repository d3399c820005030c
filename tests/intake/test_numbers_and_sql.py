"""Numbers in another unit, what SQL turns into nothing, rules that only follow, settings of sets in a SELECT."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.errors import MappingError
from tests.cases import some_slow
from tests.examples import examples
from tests.workspaces import Workspace, csv_of, job

HOURS = {"labour_minutes": {"column": "Hours", "times": 60}}
GERMAN = {"decimal": ",", "thousands": ".", "delimiter": ";"}


@pytest.mark.parametrize(
    ("text", "reading", "minutes"),
    some_slow([
        ("2,5", GERMAN, 150.0),
        ("1.000,5", GERMAN, 60_030.0),
        ("2.5", GERMAN, None),
        ("2.5", {}, 150.0),
        ("2,5", {"delimiter": ";"}, None),
        ("ca. 2", {}, None),
        ("2 h", {}, None),
        ("1e307", {}, None),
        ("0", {}, 0.0),
        ("1e2", {}, 6_000.0),
    ], 4),
)
def test_a_number_with_a_factor_is_judged_like_any_other(
    ws: Workspace, text: str, reading: dict[str, Any], minutes: float | None
) -> None:
    """What is no number in the given form is refused with the text as the source has it, never counted as missing."""
    row = job("A") | {"Hours": text}
    ws.jobs(csv_of(row, delimiter=reading.get("delimiter", ",")), columns=HOURS, **reading)
    assert ws.rows("select labour_minutes from jobs") == ([] if minutes is None else [(minutes,)])
    rule = "not a number" + (", written with decimal = ','" if "decimal" in reading else "")
    assert [(c, r, v) for _, c, r, v in ws.refused()] == ([("labour_minutes", rule, text)] if minutes is None else [])


def test_a_factor_may_be_a_fraction_and_holds_for_every_way_of_giving_a_number(ws: Workspace) -> None:
    rows = [job("A") | {"s": "90", "x": "-1"}, job("B") | {"s": "", "x": "1"}]
    columns = {
        "labour_minutes": {"column": "s", "times": "1/60", "default": "30"},
        "parts_cost": {"sql": "x", "times": 0.01},
        "freight_cost": {"constant": 5, "times": 2},
    }
    ws.jobs(csv_of(*rows), columns=columns)
    assert ws.rows("select job_id, labour_minutes, parts_cost, freight_cost from jobs") == [("B", 0.5, 0.01, 10.0)]
    assert [(c, r, v) for _, c, r, v in ws.refused()] == [("parts_cost", "below 0", "-1")]


@pytest.mark.parametrize(
    ("origin", "part"),
    [
        ({"column": "x", "times": 0}, "greater than 0"),
        ({"column": "x", "times": -60}, "greater than 0"),
        ({"column": "x", "times": "inf"}, "is no factor"),
        ({"column": "x", "times": "1/0"}, "is no factor"),
        ({"column": "x", "times": "an hour"}, "is no factor"),
        ({"column": "x", "times": float("nan")}, "greater than 0"),
    ],
)
def test_factor_that_is_none(ws: Workspace, origin: dict[str, Any], part: str) -> None:
    ws.write("jobs.csv", csv_of(job("A") | {"x": "1"}))
    entry = {"table": "jobs", "from": "f", "columns": {"labour_minutes": origin}}
    with pytest.raises(MappingError, match=rf"table\.1\.columns\.labour_minutes\.times: .*{part}"):
        ws.load({"files": {"f": {"path": "jobs.csv"}}, "table": [entry]})


NOTHING_FROM = "sql for labour_minutes gave nothing where the source has a value"
TRY = "try_cast(replace(\"Hours\", ',', '.') as double) * 60"


def emptied(ws: Workspace) -> list[tuple[Any, ...]]:
    return ws.rows(
        "select source_file, remark, value, rows, first_row from remarks where remark like 'sql for%' order by all"
    )


def test_what_sql_turns_into_nothing_is_told_by_column_and_file(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(*(job(f"A{i}") | {"Hours": h} for i, h in enumerate(("2", "ca. 2", "", "3 h", "n/a")))))
    ws.write("2.csv", csv_of(job("B") | {"Hours": "x"}, job("C", site="") | {"Hours": "y"}, job("D") | {"Hours": "1"}))
    ws.write("3.csv", csv_of(job("E") | {"Hours": "1"}))
    columns = {"labour_minutes": {"sql": TRY}, "complaint": {"sql": "nullif(upper(\"hours\"), 'X')", "default": "none"}}
    entry = {"table": "jobs", "from": "f", "columns": columns, "where": "job_id <> 'D'"}
    mapping = {"files": {"f": {"path": "*.csv", "missing": "n/a"}}, "table": [entry], "workspace": {"zone": "UTC"}}
    for _ in range(2):
        report = ws.load(mapping)
        assert emptied(ws) == [
            ("1.csv", NOTHING_FROM, "Hours = ca. 2", 2, 3),
            ("2.csv", NOTHING_FROM.replace("labour_minutes", "complaint"), "Hours = x", 1, 2),
            ("2.csv", NOTHING_FROM, "Hours = x", 2, 2),
        ]
        if report.total("accepted"):
            assert f"4 × jobs: {NOTHING_FROM}; first in 1.csv, row 3 (2 files): Hours = ca. 2" in str(report)
    ws.write("1.csv", csv_of(job("A1") | {"Hours": "2"}))
    ws.load(mapping)
    assert {file for file, *_ in emptied(ws)} == {"2.csv"}


@settings(max_examples=examples(20), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(st.sampled_from(["", "1", "2,5", "x", " "]), st.sampled_from(["", "a"])), min_size=1, max_size=9)
)
def test_cells_told_are_those_counted_by_hand(ws: Workspace, cells: list[tuple[str, str]]) -> None:
    """Where one of the columns that the SQL names has a value and the result is nothing."""
    rows = [job(f"J{i}") | {"Hours": h, "other": o, "third": "x"} for i, (h, o) in enumerate(cells)]
    sql = (
        "/* third */ case when \"OTHER\" = 'a' then try_cast(hours as int)::text else nullif(hours, 'x') end "
        "|| ' third' -- third"
    )
    ws.jobs(csv_of(*rows, delimiter=";"), delimiter=";", columns={"complaint": {"sql": sql}})
    lost = [
        i for i, (h, o) in enumerate(cells)
        if (h.strip() or o) and (not h.strip() or (h.strip() in ("x", "2,5") if o else h == "x"))
    ]
    found = emptied(ws)
    assert [(n, row) for *_, n, row in found] == ([(len(lost), lost[0] + 2)] if lost else [])


def test_no_name_that_becomes_a_pseudonym_is_shown_as_an_example(ws: Workspace) -> None:
    key = ws.write("../key", b"secret")
    columns = {
        "technician": {"column": "Name", "key_file": str(key.resolve())},
        "complaint": {"sql": "case when Name <> 'Ann' then Name end"},
    }
    ws.jobs(csv_of(job("A") | {"Name": "Ann"}), columns=columns)
    assert [(v, n) for _, _, v, n, _ in emptied(ws)] == [("", 1)]


FOLLOWS: list[tuple[dict[str, str], list[tuple[str, str]]]] = [
    # what is wrong, the refusals told (column, beginning of the rule)
    ({"closed_at": "2.3.2024"}, [("closed_at", "not a date and time in the given formats (tried: iso")]),
    ({"closed_at": ""}, [("closed_at", "closing time missing")]),
    ({"disposition": "fixed", "closed_at": ""}, [("disposition", "not one of repaired")]),
    ({"disposition": "open", "closed_at": "soon"}, [("closed_at", "not a date and time")]),
    ({"closed_at": "0001-01-01"}, [("closed_at", "outside 1990-01-01")]),
    ({"opened_at": "9999-01-01"}, [("opened_at", "outside 1990-01-01")]),
    ({"closed_at": "2024-02-01"}, [("closed_at", "closed before it was opened")]),
    ({"opened_at": "x", "closed_at": "", "disposition": "repaired"},
     [("closed_at", "closing time missing"), ("opened_at", "not a date and time")]),
    ({"opened_at": "x", "closed_at": "y"}, [("closed_at", "not a date"), ("opened_at", "not a date")]),
]


@pytest.mark.parametrize(("wrong", "told"), FOLLOWS)
def test_a_rule_that_only_follows_from_a_wrong_value_is_not_told(
    ws: Workspace, wrong: dict[str, str], told: list[tuple[str, str]]
) -> None:
    ws.jobs(csv_of(job("A", **wrong)))
    found = [(c, r) for _, c, r, _ in ws.refused()]
    assert [(c, r[: len(begins)]) for (c, r), (_, begins) in zip(found, told, strict=True)] == told


def test_each_format_that_was_tried_is_named(ws: Workspace) -> None:
    ws.jobs(csv_of(job("A", closed_at="2024/03/01")), times=["%d.%m.%Y", "%d/%m/%y %H:%M", "iso"])
    rules = {r for _, c, r, _ in ws.refused() if c == "closed_at"}
    assert rules == {
        "not a date and time in the given formats (tried: %d.%m.%Y, %d/%m/%y %H:%M, iso, such as 2026-05-31 14:30)"
    }


SET = {"decimal": ",", "times": ["%d.%m.%Y %H:%M"], "zone": "Europe/Lisbon", "thousands": "."}
COMMA_JOB = job("A", opened_at="01.07.2024 10:00", closed_at="02.07.2024 10:00") | {"labour_minutes": "1.000,5"}
SHOWN = "select opened_at::varchar, labour_minutes from jobs"


def over(select: str, **entry: Any) -> dict[str, Any]:
    return {"table": "jobs", "select": select, **entry}


def test_settings_of_a_set_hold_for_a_select_over_it(ws: Workspace) -> None:
    """The same file gives the same rows, read plainly or by a SELECT."""
    ws.write("jobs.csv", csv_of(COMMA_JOB, delimiter=";"))
    files = {"f": {"path": "jobs.csv", "delimiter": ";", **SET}}
    for entry in (
        {"table": "jobs", "from": "f"},
        over("select * from f"),
        over("select * exclude (source_row) from f"),
    ):
        ws.load({"files": files, "table": [entry]})
        assert ws.rows(SHOWN) == [("2024-07-01 09:00:00", 1000.5)]
    # What the SELECT computes has its own form beside that of the files.
    ws.load({"files": files, "table": [over("select * replace (timestamp '2024-07-01 12:00' as opened_at) from f")]})
    assert ws.rows(SHOWN) == [("2024-07-01 11:00:00", 1000.5)]


@pytest.mark.parametrize(
    ("key", "other"), [("decimal", {}), ("zone", {}), ("thousands", {"decimal": ","}), ("times", {"times": ["iso"]})]
)
def test_sets_that_differ_need_the_tables_own_setting(ws: Workspace, key: str, other: dict[str, Any]) -> None:
    ws.write("1.csv", csv_of(COMMA_JOB, delimiter=";"))
    ws.write("2.csv", "job_id;x\nA;y\n")
    same = {k: v for k, v in SET.items() if k != key} | other
    files = {"a": {"path": "1.csv", "delimiter": ";", **SET}, "b": {"path": "2.csv", "delimiter": ";", **same}}
    select = "select a.* from a join b using (job_id)"
    with pytest.raises(MappingError) as caught:
        ws.load({"files": files, "table": [over(select)]})
    said = str(caught.value)
    assert said.startswith(f"sources.toml, table.1 (jobs): the files of its SELECT differ in {key} (a: ")
    assert f"Set {key} in this [[table]]" in said
    assert len(said.splitlines()) == 1
    ws.load({"files": files, "table": [over(select, **{key: SET[key]})]})
    assert ws.rows(SHOWN) == [("2024-07-01 09:00:00", 1000.5)]


def test_a_set_without_times_of_its_own_does_not_stand_against_another(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(COMMA_JOB, delimiter=";"))
    ws.write("2.csv", "job_id;x\nA;y\n")
    bare = {k: v for k, v in SET.items() if k != "times"}
    files = {"a": {"path": "1.csv", "delimiter": ";", **SET}, "b": {"path": "2.csv", "delimiter": ";", **bare}}
    ws.load({"files": files, "table": [over("select a.* from a join b using (job_id)")]})
    assert ws.rows(SHOWN) == [("2024-07-01 09:00:00", 1000.5)]


ZONE = "no zone is set, so times without an offset are read as UTC"


@pytest.mark.parametrize(
    ("setting", "opened", "told"),
    [
        ({}, "2024-03-01 10:00", True),
        ({}, "2024-03-01T10:00:00Z", False),
        ({"workspace": {"zone": "UTC"}}, "2024-03-01 10:00", False),
        ({"sites": {"Alder": {"zone": "UTC"}}}, "2024-03-01 10:00", False),
    ],
)
def test_that_utc_was_taken_for_lack_of_a_zone_is_told_once(
    ws: Workspace, setting: dict[str, Any], opened: str, told: bool
) -> None:
    ws.write("j.csv", csv_of(job("A", opened_at=opened, closed_at="2024-03-02T10:00:00Z")))
    ws.write("s.csv", f"job_id,step,outcome,ended_at\nA,x,pass,{opened}\n")
    files = {"j": {"path": "j.csv"}, "s": {"path": "s.csv"}}
    report = ws.load(
        {"files": files, "table": [{"table": "jobs", "from": "j"}, {"table": "steps", "from": "s"}], **setting}
    )
    assert str(report).count(ZONE) == told
    assert ("2 × jobs, steps: " + ZONE in str(report)) == told


PLAIN = [
    "select job_id, unit_id, model, site, procedure, opened_at, disposition, closed_at from f",
    "select job_id, unit_id, model, upper(site) as site, procedure, opened_at, disposition, closed_at from "
    "(select * exclude (source_file, source_row) from f) where job_id <> ''",
    "with g as (select job_id, unit_id, model, site, procedure, opened_at, disposition, closed_at from f) "
    "select * from g",
    "select * exclude (source_file, source_row) from f order by job_id desc",
    "select j.* exclude (source_file, source_row, x), u.y as found from f as j, unnest([1]) as u(y)",
    "select * exclude (source_file, source_row) from f where job_id < 'C' union all by name "
    "select * exclude (source_file, source_row) from f where job_id >= 'C'",
]
GATHERED = [
    "select any_value(columns(* exclude (job_id, source_file, source_row))), job_id from f group by job_id",
    "select distinct * exclude (source_file, source_row) from f",
    "select a.* exclude (source_file, source_row) from f a join f b using (job_id)",
    "select max(job_id) as job_id, 'U' as unit_id, '' as model, 'S' as site, 'p' as procedure, "
    "'2024-01-01' as opened_at, 'open' as disposition from f",
]


@pytest.mark.parametrize("sql", some_slow([*PLAIN, *GATHERED], [PLAIN[0], GATHERED[0], PLAIN[-1], GATHERED[-1]]))
def test_every_refusal_names_a_file_that_is_there_and_a_row_that_holds_the_value(ws: Workspace, sql: str) -> None:
    rows = {"1.csv": [job("A"), job("B", model="")], "2.csv": [job("C", closed_at="never"), job("D", model="")]}
    for name, of_file in rows.items():
        ws.write(name, csv_of(*(r | {"x": ""} for r in of_file)))
    report = ws.load({"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "select": sql}]})
    found = ws.rows("select source_file, source_row, column_name, value from refused")
    assert found
    if sql in PLAIN:
        assert len(found) == 3
        for file, row, column, value in found:
            assert rows[file][row - 2][column] == (value or "")
        assert " of what select" not in str(report)
    else:
        assert {file for file, *_ in found} == {"select 1 over f"}
        assert "gives (from 1.csv, 2.csv; name source_file and source_row in it to see which row)" in str(report)


def test_people_marked_in_the_mapping_stand_in_the_store(ws: Workspace) -> None:
    from rqa.store.engine import open_store

    ws.write("s.csv", "job_id,step,outcome,who,with\nA,x,pass,Ann,Bob\n")
    ws.write("d.csv", "job_id,test,outcome,run_at,by\nA,x,pass,2024-01-01,Cem\n")
    files = {"s": {"path": "s.csv"}, "d": {"path": "d.csv"}}
    steps: dict[str, Any] = {"bench": {"column": "who", "person": True}, "tool": {"column": "with", "person": False}}
    tests = {"station": {"column": "by", "person": True}}
    mapping = {
        "files": files,
        "table": [
            {"table": "steps", "from": "s", "columns": steps},
            {"table": "diagnostics", "from": "d", "columns": tests},
        ],
    }
    ws.load(mapping)
    assert ws.rows("from person_columns order by all") == [("diagnostics", "station"), ("steps", "bench")]
    with open_store(ws.store) as store:
        assert store.people == {"technician", "bench", "station"}
    steps["bench"]["person"] = False
    ws.load(mapping)
    assert ws.rows("from person_columns") == [("diagnostics", "station")]
