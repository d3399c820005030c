"""What a mapping that does not fit is told in: its own words, with what there is, and one fault for one slip."""

import json
from typing import Any

import pytest

from rqa.errors import MappingError
from rqa.words import nearest
from tests.cases import some_slow
from tests.workspaces import JOB_COLUMNS, Workspace, csv_of, job

ROWS = [job("A"), job("B", labour_minutes="12.5")]
ENGINE = ("Binder", "Error:", "FROM clause", "Candidate", "LINE 1", "Expected Number")


def faults(ws: Workspace, files: dict[str, Any], **table: Any) -> list[str]:
    entry = {"table": "jobs", **({} if "select" in table else {"from": "f"}), **table}
    with pytest.raises(MappingError) as caught:
        ws.load({"files": {"f": {"path": "jobs.*", **files}}, "table": [entry]}, write=False)
    assert [e for e in ENGINE if e in str(caught.value)] == []
    return list(caught.value.faults)


@pytest.mark.parametrize(
    ("table", "place"),
    [
        ({"where": "model <> quote"}, "where"),
        ({"columns": {"complaint": {"sql": "coalesce(quote, model)"}}}, "columns.complaint.sql"),
        ({"columns": {"complaint": {"sql": 'case when model = "quote" then site end'}}}, "columns.complaint.sql"),
        ({"select": "select * from f where model <> quote"}, "its SQL"),
    ],
)
def test_a_column_that_there_is_not_is_told_with_those_there_are(
    ws: Workspace, table: dict[str, Any], place: str
) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    (said,) = faults(ws, {}, **table)
    assert f"{place} does not fit" in said
    assert "there is no column 'quote'; There is: job_id, unit_id, " in said
    assert "A text takes single quotes: 'quote'" in said


def test_a_mistyped_column_in_sql_is_answered_with_the_nearest(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    (said,) = faults(ws, {}, where="modell <> 'x'")
    assert "there is no column 'modell'; did you mean 'model'?" in said


def test_sql_that_computes_with_texts_is_told_how(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job("A")))
    (said,) = faults(ws, {}, columns={"labour_minutes": {"sql": "unit_id + 1"}})
    assert "Columns of a source are text" in said
    assert "try_cast(" in said


@pytest.mark.parametrize("delimiter", [";", "\t", "|", ","])
@pytest.mark.parametrize("said_to_be", some_slow([";", "|", ","], 1))
def test_a_wrong_delimiter_is_one_fault(ws: Workspace, delimiter: str, said_to_be: str) -> None:
    if delimiter == said_to_be:
        return
    ws.write("jobs.csv", csv_of(job("A"), delimiter=delimiter))
    (said,) = faults(ws, {"delimiter": said_to_be})
    assert (
        f"has only one column, {delimiter.join(JOB_COLUMNS)[:60]!r}, when cut at {said_to_be!r}; is the delimiter "
        in said
    )
    assert f"Set delimiter = {delimiter!r}" in said
    assert "did you mean" not in said


def test_a_file_of_other_columns_is_not_taken_for_one_cut_wrongly(ws: Workspace) -> None:
    ws.write("jobs.csv", "a,b;c\n1,2\n")
    assert len(faults(ws, {})) > 3


@pytest.mark.parametrize(
    ("given", "there"), [("opened_at", "closed_at"), ("opened_at", "ended_at"), ("job_id", "unit_id")]
)
def test_another_name_with_the_same_last_word_is_no_slip(given: str, there: str) -> None:
    assert nearest(given, [there]) is None


def test_a_number_refused_for_its_decimal_mark_says_so(ws: Workspace) -> None:
    ws.jobs(csv_of(*(job(i, labour_minutes=m) for i, m in (("A", "12.5"), ("B", "12,5"))), delimiter=";"), decimal=",")
    assert ws.refused() == [(2, "labour_minutes", "not a number, written with decimal = ','", "12.5")]


def test_a_record_of_other_length_says_how_many_fields_it_has(ws: Workspace) -> None:
    report = ws.jobs(csv_of(job("A")) + "short\n" + ",".join([*job("B").values(), "", "x"]) + "\n")
    assert [(r, v) for r, _, _, v in ws.refused()] == [(3, "1 field, 8 names"), (4, "10 fields, 8 names")]
    assert [e for e in ENGINE if e in report.text()] == []


NESTED = [{**job(i), "fault": f} for i, f in (("A", {"part": "cable", "at": {}}), ("B", None), ("C", {}))]


@pytest.mark.parametrize("path", ["fault.prat", "fault.part.name", "fault.at.x.y", "fault.gone.x"])
def test_a_path_that_no_row_has_is_a_fault(ws: Workspace, path: str) -> None:
    rows = [*NESTED, {**job("D"), "fault": {"at": {"x": 1}}}]
    ws.write("jobs.jsonl", "\n".join(map(json.dumps, rows)))
    (said,) = faults(ws, {}, columns={"found": path})
    assert f"has no column {path!r}" in said


@pytest.mark.parametrize("path", ["fault.part", "fault.at"])
def test_a_path_that_one_row_has_is_none(ws: Workspace, path: str) -> None:
    report = ws.jobs("\n".join(map(json.dumps, reversed(NESTED))), name="jobs.jsonl", columns={"found": path})
    assert report.total("accepted") == 3


def test_a_path_into_what_every_row_lacks_is_none(ws: Workspace) -> None:
    report = ws.jobs("\n".join(map(json.dumps, NESTED[1:])), name="jobs.jsonl", columns={"found": "fault.part"})
    assert report.total("accepted") == 2
