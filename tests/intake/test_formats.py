"""JSON Lines, Excel, Parquet, SQLite and frames: typed values arrive as they were, faults are told."""

import gzip
import json
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import polars as pl
import pytest

from rqa.errors import MappingError, SourceError
from tests.cases import some_slow
from tests.workspaces import Workspace, job

LISBON_SUMMER = timezone(timedelta(hours=1))


def jsonl(*rows: object) -> str:
    return "\n".join(r if isinstance(r, str) else json.dumps(r, ensure_ascii=False) for r in rows) + "\n"


def test_json_lines_each_record_is_accounted_for(ws: Workspace) -> None:
    text = jsonl(
        job("A"),
        "",
        '{"job_id": "B", ',
        '["job_id", "C"]',
        '"D"',
        "17",
        "null",
        job("\\u0045é"),
        json.dumps(job("F")).replace('"F"', '"\\u0046"'),
        json.dumps(job("G"))[:-1] + ', "job_id": "H"}',
        json.dumps(job("I")) + " trailing",
        "   ",
        job("J") | {"extra": {"deep": [1, 2]}, "": "no name"},
        job("K") | {"site": ""},
        job("L") | {"labour_minutes": 12.5, "billing": None, "technician": 7},
        json.dumps(job("M"))[:-1] + ', "note": "\\ud83d"}',
        "[" * 5_000,
    )
    report = ws.jobs(text, name="jobs.jsonl")
    assert ws.rows("select job_id from jobs order by 1") == [("A",), ("F",), ("J",), ("L",), ("\\u0045é",)]
    assert ws.one("select labour_minutes, billing, technician from jobs where job_id = 'L'") == (12.5, None, "7")
    assert [(r, c, rule) for r, c, rule, _ in ws.refused()] == [
        (3, None, "not valid JSON"),
        (4, None, "not a JSON object"),
        (5, None, "not a JSON object"),
        (6, None, "not a JSON object"),
        (7, None, "not a JSON object"),
        (10, None, "a key is given twice"),
        (11, None, "not valid JSON"),
        (14, "site", "missing"),
        (16, None, "not valid JSON"),
        (17, None, "not valid JSON"),
    ]
    (count,) = report.files
    assert (count.in_file, count.left_out, count.accepted, count.refused) == (17, 2, 5, 10)
    assert ws.one("select raw from refused where source_row = 3") == '{"job_id": "B", '


def test_json_values_keep_their_text(ws: Workspace) -> None:
    rows = [
        json.dumps(job("x")).replace('"x"', raw) + end
        for raw, end in [
            ("12", "\r"),
            ("123456789012345678901234567890", ""),
            ("true", ""),
            ('"007"', ""),
            ('"NA"', ""),
        ]
    ]
    ws.jobs("\ufeff" + "\n".join(rows), name="jobs.jsonl")
    assert sorted(i for (i,) in ws.rows("select job_id from jobs")) == [
        "007", "12", "123456789012345678901234567890", "NA", "true",
    ]


def test_json_key_that_first_stands_far_down_is_read(ws: Workspace) -> None:
    rows: list[object] = [job(f"J{i}") for i in range(10_001)]
    ws.jobs(jsonl(*rows, job("LAST") | {"found": "cable"}), name="jobs.jsonl")
    assert ws.rows("select job_id, found from jobs where found is not null") == [("LAST", "cable")]


def test_json_key_that_another_file_of_the_set_has_is_missing_in_this_one(ws: Workspace) -> None:
    """The first month has no fault found at all; a key that no file has is still a slip."""
    ws.write("1.jsonl", jsonl(job("A"), job("B")))
    ws.write("2.jsonl", jsonl(job("C") | {"cause": "cable"}))
    entry: dict[str, Any] = {"table": "jobs", "from": "f", "columns": {"found": "cause"}}
    reading = {"files": {"f": {"path": "*.jsonl"}}, "table": [entry]}
    ws.load(reading)
    assert ws.rows("select job_id, found from jobs order by 1") == [("A", None), ("B", None), ("C", "cable")]
    entry["columns"] = {"found": "couse"}
    with pytest.raises(MappingError, match="'couse'"):
        ws.load(reading)


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_json_in_another_encoding(ws: Workspace, encoding: str) -> None:
    text = jsonl(job("Größe"), '{"broken', job("B"))
    ws.jobs(text.encode(encoding), name="jobs.jsonl", encoding=encoding)
    assert ws.rows("select job_id, source_row from jobs order by 1") == [("B", 3), ("Größe", 1)]
    assert [r for r, *_ in ws.refused()] == [2]


def test_json_objects_are_opened_and_lists_kept_whole(ws: Workspace) -> None:
    rows = [
        {"p": {"name": "swap", "a.b": 1}, "n": 1, 'q"\\': "fit", "s": ["main board", "cable"], "h": ["esd", "pinch"]},
        {"p": {"name": "swap"}, "n": 2, 'q"\\': "close", "s": [], "h": ["esd", "acid"]},
        {"p": {}, "n": 3, 'q"\\': "close"},
    ]
    ws.write("p.jsonl", jsonl(*rows))
    columns = {"procedure": "p.name", "step_seq": "n", "step": "n", "phase": 'q"\\', "subsystems": "s", "hazards": "h"}
    ws.load({"files": {"p": {"path": "p.jsonl"}}, "table": [{"table": "procedures", "from": "p", "columns": columns}]})
    assert ws.rows("select procedure, step_seq, subsystems, hazards from procedures") == [
        ("swap", 1, ["cable", "main board"], ["esd", "pinch"])
    ]
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(2, "hazards"), (3, "procedure")]


def workbook(path: Path, rows: list[list[Any]], title: str = "Jobs", first: int = 1) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for r, row in enumerate(rows, first):
        for c, value in enumerate(row, 1):
            if value is not None:
                sheet.cell(r, c, value)
    book.save(path)


def excel_job(job_id: object, **changes: object) -> list[object]:
    return list(({**job(), "job_id": job_id, "labour_minutes": None} | changes).values())


HEADER_CELLS = [*job(), "labour_minutes"]


@pytest.mark.parametrize(("first", "header_row"), some_slow([(1, 1), (1, None), (4, None), (4, 4)], 2))
def test_excel(ws: Workspace, first: int, header_row: int | None) -> None:
    rows = [
        HEADER_CELLS,
        excel_job("007", opened_at=datetime(2024, 3, 1, 9, 30), closed_at=date(2024, 3, 2)),
        excel_job(12, labour_minutes=12.5),
        [],
        excel_job(13.0, labour_minutes="#N/A", site=None),
        excel_job(123456789012, labour_minutes=0.1, opened_at="2024-03-01T10:00:00+01:00"),
        excel_job("B", labour_minutes=True),
        excel_job(" C "),
    ]
    workbook(ws.folder / "jobs.xlsx", rows, first=first)
    reading = {} if header_row is None else {"header_row": header_row}
    report = ws.load({"files": {"f": {"path": "jobs.xlsx", **reading}}, "table": [{"table": "jobs", "from": "f"}]})
    assert ws.rows("select job_id, source_row, opened_at::varchar, labour_minutes from jobs order by 2") == [
        ("007", first + 1, "2024-03-01 09:30:00", None),
        ("12", first + 2, "2024-03-01 10:00:00", 12.5),
        ("123456789012", first + 5, "2024-03-01 09:00:00", 0.1),
        ("C", first + 7, "2024-03-01 10:00:00", None),
    ]
    assert ws.one("select closed_at::varchar from jobs where job_id = '007'") == "2024-03-02 00:00:00"
    assert [(r, c, v) for r, c, _, v in ws.refused()] == [
        (first + 4, "labour_minutes", "#N/A"),
        (first + 4, "site", None),
        (first + 6, "labour_minutes", "true"),
    ]
    (count,) = report.files
    assert (count.in_file, count.left_out, count.read) == (7, 1, 6)


def test_several_files_of_each_format(ws: Workspace) -> None:
    for number in range(3):
        rows = [job(f"{n}{number}") for n in "AB"]
        workbook(ws.folder / f"{number}.xlsx", [list(rows[0]), *(list(r.values()) for r in rows)])
        pl.DataFrame(rows).write_parquet(ws.folder / f"{number}.parquet")
        ws.write(f"{number}.jsonl", jsonl(*rows))
        with closing(sqlite3.connect(ws.folder / f"{number}.db")) as connection:
            connection.execute(f"create table jobs ({', '.join(rows[0])})")
            connection.executemany(f"insert into jobs values ({', '.join('?' * 8)})", [list(r.values()) for r in rows])
            connection.commit()
    endings = ("xlsx", "parquet", "jsonl", "db")
    files = {e: {"path": f"*.{e}", **({"table": "jobs"} if e == "db" else {})} for e in endings}
    tables = [{"table": "jobs", "from": e, "columns": {"job_id": {"sql": f"job_id || '.{e}'"}}} for e in endings]
    assert ws.load({"files": files, "table": tables}).total("accepted") == 24
    sql = " union all by name ".join(f"select * replace (job_id || '.s{e}' as job_id) from {e}" for e in endings)
    report = ws.load({"files": files, "table": [*tables, {"table": "jobs", "select": sql}]})
    assert report.total("accepted") - 24 == 24
    assert ws.one("select count(*) from jobs") == 48


def test_excel_times_in_other_formats_and_numbers_with_comma(ws: Workspace) -> None:
    rows = [
        HEADER_CELLS,
        excel_job("A", opened_at=datetime(2024, 2, 3, 9, 30), labour_minutes=1.5),
        excel_job("B", opened_at="03.02.2024 09:30", labour_minutes="1,5"),
    ]
    workbook(ws.folder / "jobs.xlsx", rows)
    reading = {"path": "jobs.xlsx", "times": ["%d.%m.%Y %H:%M"], "decimal": ","}
    ws.load({"files": {"f": reading}, "table": [{"table": "jobs", "from": "f"}]})
    found = ws.rows("select opened_at::varchar, labour_minutes from jobs")
    assert found == [("2024-02-03 09:30:00", 1.5)] * 2
    with pytest.raises(MappingError, match="cannot be told from the point"):
        ws.load({"files": {"f": {**reading, "thousands": "."}}, "table": [{"table": "jobs", "from": "f"}]})


@pytest.mark.parametrize(
    ("rows", "reading", "error", "part"),
    [
        ([HEADER_CELLS, excel_job("A")], {"sheet": "Job"}, MappingError, "did you mean 'Jobs'"),
        ([HEADER_CELLS, excel_job("A")], {"sheet": 3}, SourceError, "3"),
        ([[*HEADER_CELLS, "site"], excel_job("A")], {}, MappingError, "'site' more than once"),
        ([["a", "b"], [1, 2]], {}, MappingError, "job_id is required"),
    ],
)
def test_excel_faults(ws: Workspace, rows: list[list[Any]], reading: dict[str, Any], error: type, part: str) -> None:
    workbook(ws.folder / "jobs.xlsx", rows)
    with pytest.raises(error, match=part):
        ws.load({"files": {"f": {"path": "jobs.xlsx", **reading}}, "table": [{"table": "jobs", "from": "f"}]})


@pytest.mark.parametrize(
    ("name", "reading"),
    [("jobs.xlsx", {}), ("jobs.parquet", {}), ("jobs.sqlite", {"table": "jobs"}), ("jobs.csv.gz", {})],
)
def test_file_that_is_not_what_its_ending_says(ws: Workspace, name: str, reading: dict[str, Any]) -> None:
    with pytest.raises(SourceError, match=f"{name}.*Nothing was loaded"):
        ws.jobs("job_id,model\n1,2\n" * 1_000, name=name, **reading)
    assert not ws.store.exists()


def test_empty_workbook_has_no_rows(ws: Workspace) -> None:
    workbook(ws.folder / "jobs.xlsx", [])
    report = ws.load({"files": {"f": {"path": "jobs.xlsx"}}, "table": [{"table": "jobs", "from": "f"}]})
    assert report.total("in_file") == 0


TYPED = {
    "job_id": ["A", "B", "C"],
    "unit_id": [1.0, 2.0, None],
    "model": ["Quern", None, "Quern"],
    "site": ["Alder"] * 3,
    "procedure": [7, 8, 9],
    "opened_at": [datetime(2024, 7, 1, 10, tzinfo=LISBON_SUMMER)] * 3,
    "closed_at": [datetime(2024, 7, 2, 10, tzinfo=UTC)] * 3,
    "disposition": ["repaired"] * 3,
    "labour_minutes": [0.1, 2.0, float("nan")],
}
EXPECTED = [("A", "1", "7", "2024-07-01 09:00:00", "2024-07-02 10:00:00", 0.1)]
SHOWN = "select job_id, unit_id, procedure, opened_at::varchar, closed_at::varchar, labour_minutes from jobs order by 1"


def typed_checks(ws: Workspace) -> None:
    assert ws.rows(SHOWN) == EXPECTED
    assert [(c, r) for _, c, r, _ in ws.refused()] == [("model", "missing"), ("unit_id", "missing")]


def polars_typed() -> pl.DataFrame:
    return pl.DataFrame({k: v if k != "opened_at" else [x.astimezone(UTC) for x in v] for k, v in TYPED.items()})


def test_parquet(ws: Workspace) -> None:
    polars_typed().write_parquet(ws.folder / "jobs.parquet")
    ws.load({"files": {"f": {"path": "jobs.parquet"}}, "table": [{"table": "jobs", "from": "f"}]})
    typed_checks(ws)


def test_polars_frame(ws: Workspace) -> None:
    ws.load(frames={"jobs": polars_typed()})
    typed_checks(ws)


def test_pandas_frame(ws: Workspace) -> None:
    frame = pd.DataFrame(TYPED)
    frame["site"] = frame["site"].astype("category")
    frame["opened_at"] = frame["opened_at"].dt.tz_convert("Asia/Tokyo")
    ws.load(frames={"jobs": frame})
    typed_checks(ws)


def test_pandas_gaps_and_mixed_objects(ws: Workspace) -> None:
    frame = pd.DataFrame([job("A"), job("B"), job("C"), job("D")])
    frame["job_id"] = pd.Series(["007", 7, 7.5, None], dtype=object)
    frame["closed_at"] = pd.to_datetime(["2024-03-02 10:00", None, "2024-03-02 10:00", "2024-03-02 10:00"])
    frame["labour_minutes"] = pd.Series([1, None, 3, 4], dtype="Int64")
    ws.load(frames={"jobs": frame})
    assert ws.rows("select job_id, labour_minutes from jobs order by 1") == [("007", 1.0), ("7.5", 3.0)]
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(2, "closed_at"), (4, "job_id")]


@pytest.mark.parametrize(
    ("frame", "error", "part"),
    [
        (pd.DataFrame([[1, 2]], columns=["job_id", "job_id"]), SourceError, "twice"),
        (pl.DataFrame({"a": [1]}), MappingError, "job_id is required"),
        (object(), SourceError, "no pandas or polars frame"),
    ],
)
def test_frame_faults(ws: Workspace, frame: object, error: type, part: str) -> None:
    with pytest.raises(error, match=part):
        ws.load(frames={"jobs": frame})


def test_frame_under_another_name_is_mapped(ws: Workspace) -> None:
    frame = pl.DataFrame([job("A")]).rename({"job_id": "nr"})
    mapping = {
        "files": {"export": {"format": "frame"}},
        "table": [{"table": "jobs", "from": "export", "columns": {"job_id": "nr"}}],
    }
    ws.load(mapping, frames={"export": frame})
    assert ws.one("select job_id, source_file from jobs") == ("A", "frame:export")
    with pytest.raises(MappingError, match="export"):
        ws.load(mapping)


def test_parquet_lists_stay_whole(ws: Workspace) -> None:
    pl.DataFrame(
        {
            "procedure": ["p"], "step_seq": [1], "step": ["s"], "phase": ["fit"],
            "subsystems": [["main board", "o'ring, \"x\""]],
        }
    ).write_parquet(ws.folder / "p.parquet")
    ws.load({"files": {"p": {"path": "p.parquet"}}, "table": [{"table": "procedures", "from": "p"}]})
    assert ws.one("select subsystems from procedures") == ["main board", 'o\'ring, "x"']


def test_sqlite(ws: Workspace) -> None:
    with closing(sqlite3.connect(ws.folder / "x.db")) as connection:
        connection.execute(f"create table jobs ({', '.join(job())}, labour_minutes, found)")
        rows = [("007", 1, "cable"), (8, 1.5, None), (9.0, "2", b"bo\xc3\xa4rd"), (None, 1, None)]
        for job_id, minutes, found in [*rows, ("x", float("inf"), b"\xff")]:
            connection.execute(
                f"insert into jobs values ({', '.join('?' * 10)})",
                [job_id, *list(job().values())[1:], minutes, found],
            )
        connection.commit()
    mapping = {"files": {"f": {"path": "x.db", "table": "jobs"}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.load(mapping)
    assert ws.rows("select job_id, labour_minutes, found from jobs order by 1") == [
        ("007", 1.0, "cable"),
        ("8", 1.5, None),
        ("9", 2.0, "boärd"),
    ]
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(4, "job_id"), (5, "labour_minutes")]
    for wrong in ({"table": "job"}, {}):
        with pytest.raises(MappingError, match="There is: jobs"):
            ws.load({"files": {"f": {"path": "x.db", **wrong}}, "table": [{"table": "jobs", "from": "f"}]})


@pytest.mark.parametrize("wrapped", [False, True])
@pytest.mark.parametrize("name", ["jobs.json", "jobs.json.gz"])
def test_a_json_document_gives_a_row_of_each_object(ws: Workspace, wrapped: bool, name: str) -> None:
    rows = [job("A"), job("B") | {"why": {"part": "Größe 3"}}, job("C") | {"why": {"part": "Lüfter"}}]
    text = json.dumps({"count": 3, "jobs": rows} if wrapped else rows, indent=2, ensure_ascii=True).encode()
    ws.jobs(gzip.compress(text) if name.endswith(".gz") else text, name=name, columns={"found": "why.part"})
    assert ws.rows("select job_id, source_row from jobs order by 2") == [("A", 1), ("B", 2), ("C", 3)]
    assert ws.one("select found from jobs where job_id = 'C'") == "Lüfter"


def test_a_json_document_whose_only_list_is_empty_gives_no_row(ws: Workspace) -> None:
    ws.write("2.json", '{"jobs": []}')
    ws.write("1.json", json.dumps({"jobs": [job("A")]}))
    report = ws.load({"files": {"f": {"path": "*.json"}}, "table": [{"table": "jobs", "from": "f"}]})
    assert ws.rows("select job_id from jobs") == [("A",)]
    assert ws.rows("select * from refused") == []
    assert [f.read for f in report.files] == [1, 0]


def test_half_a_sign_in_a_json_document_is_refused_as_in_json_lines(ws: Workspace) -> None:
    ws.jobs(json.dumps([job("A"), job("B") | {"found": "\ud83d"}]), name="jobs.json")
    assert ws.rows("select job_id from jobs") == [("A",)]
    assert ws.rows("select source_row, rule from refused") == [(2, "not valid JSON")]


def test_what_is_in_a_json_document_and_is_no_object_is_refused_with_its_number(ws: Workspace) -> None:
    ws.jobs(json.dumps([job("A"), 7, job("B")]), name="jobs.json")
    assert ws.rows("select job_id, source_row from jobs order by 2") == [("A", 1), ("B", 3)]
    assert ws.rows("select source_row, rule from refused") == [(2, "not a JSON object")]


def test_json_lines_may_end_in_json(ws: Workspace) -> None:
    ws.jobs(jsonl(job("A"), job("B")), name="jobs.json")
    assert ws.rows("select job_id from jobs order by 1") == [("A",), ("B",)]


@pytest.mark.parametrize(("text", "said"), [
    ('[{"job_id": 1},\n {"job', "no valid JSON at line 2, column 3"), ("3", "neither a list nor an object"),
    ('{"a": [{"x": 1}], "b": [{"y": 2}]}', "2 lists of objects ('a' and 'b')"), ('[{"a": 1, "a": 2}]',
                                                                                 "gives a key twice: 'a'"),
    ("[" * 100_000, "nested too deep"),
])
def test_a_json_document_that_is_no_list_is_told(ws: Workspace, text: str, said: str) -> None:
    with pytest.raises(SourceError) as error:
        ws.jobs(text, name="jobs.json")
    assert said in str(error.value)
    assert "Nothing was loaded." in str(error.value)
