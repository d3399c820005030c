"""Whatever bytes a file or a mapping holds: rows that add up or one of our errors, and no row lost."""

import csv
import io
import tomllib
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.errors import RqaError
from tests.examples import examples
from tests.workspaces import JOB_COLUMNS, Workspace, csv_line, job

MAPPING = '[files.f]\npath = "jobs.csv"\n[[table]]\ntable = "jobs"\nfrom = "f"\n'
HEADER = ",".join(JOB_COLUMNS).encode()
ALIVE = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
PARTS = st.sampled_from(
    [b",", b'"', b"\n", b"\r\n", b"\n\n", b" ", b"\x00", b"\xff", b"\xef\xbb\xbf", b"{", b"}", b"[", b"]", b":", b"\\",
     b"null", b"1e999", b'"job_id":', b"PAR1", b"PK\x03\x04", HEADER, csv_line(job()).encode()]
)
BYTES = st.lists(st.one_of(PARTS, st.binary(max_size=6)), max_size=12).map(b"".join)


def outcome(ws: Workspace, name: str, content: bytes, **reading: Any) -> None:
    """Load a file; every row read is accounted for (the workspace checks that), or the error is ours."""
    try:
        report = ws.jobs(content, name=name, **reading)
    except RqaError:
        return
    if content.strip() and not report.total("read"):
        assert any("gives no row" in r.remark for r in report.remarks), "nothing was read, in silence"


def fuzzed(ws: Workspace, data: bytes, form: str) -> None:
    reading = {"jobs.db": {"table": "jobs"}}.get(form, {})
    outcome(ws, form, data, **reading)


FORMS = ["jobs.csv", "jobs.csv.gz", "jobs.jsonl", "jobs.xlsx", "jobs.parquet", "jobs.db"]


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=examples(4), suppress_health_check=ALIVE, deadline=None)
@given(data=BYTES)
def test_any_bytes(ws: Workspace, form: str, data: bytes) -> None:
    fuzzed(ws, data, form)


@pytest.mark.long
@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=examples(100), suppress_health_check=ALIVE, deadline=None)
@given(data=BYTES)
def test_any_bytes_at_length(ws: Workspace, form: str, data: bytes) -> None:
    fuzzed(ws, data, form)


FIELDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8)
RECORDS = st.lists(st.lists(FIELDS, min_size=1, max_size=10).filter(lambda fields: fields != [""]), max_size=8)


def counted_apart(ws: Workspace, records: list[list[str]]) -> None:
    """Every record that a writer of CSV wrote is read or refused, each once."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerows([list(JOB_COLUMNS), *records])
    report = ws.jobs(out.getvalue())
    assert report.total("in_file") == len(records)


@settings(max_examples=examples(15), suppress_health_check=ALIVE, deadline=None)
@given(records=RECORDS)
def test_every_record_is_accounted_for(ws: Workspace, records: list[list[str]]) -> None:
    counted_apart(ws, records)


@pytest.mark.long
@settings(max_examples=examples(150), suppress_health_check=ALIVE, deadline=None)
@given(records=RECORDS)
def test_every_record_is_accounted_for_at_length(ws: Workspace, records: list[list[str]]) -> None:
    counted_apart(ws, records)


def any_mapping(ws: Workspace, cut: int, put: str, length: int) -> None:
    ws.write("jobs.csv", "\n".join([",".join(JOB_COLUMNS), csv_line(job()), ""]))
    text = MAPPING[:cut] + put + MAPPING[cut + length :]
    ws.write("sources.toml", text.encode("utf-8", "replace"))
    said = ""
    try:
        ws.load()
    except RqaError as error:
        said = str(error)
    else:
        tomllib.loads(text)
    assert [w for w in ("Traceback", "Input should") if w in said] == []


EDITS = {
    "cut": st.integers(0, len(MAPPING)), "length": st.integers(0, 12),
    "put": st.one_of(st.sampled_from(["[]", "{}", "1", "true", '""', "\n", "= 1", "[[table]]\n", '"x" = 2\n']),
                     st.text(max_size=5)),
}


@settings(max_examples=examples(25), suppress_health_check=ALIVE, deadline=None)
@given(**EDITS)
def test_any_mapping(ws: Workspace, cut: int, put: str, length: int) -> None:
    any_mapping(ws, cut, put, length)


@pytest.mark.long
@settings(max_examples=examples(300), suppress_health_check=ALIVE, deadline=None)
@given(**EDITS)
def test_any_mapping_at_length(ws: Workspace, cut: int, put: str, length: int) -> None:
    any_mapping(ws, cut, put, length)
