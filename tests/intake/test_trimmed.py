"""A file in which there is nothing to trim is read without trimming, and a first load writes less beside its rows:
neither changes what is accepted, what is refused, or why."""

import csv
import io
import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.intake import sources
from rqa.intake.mapping import Files
from rqa.intake.quotes import Quotes
from rqa.intake.records import look
from rqa.intake.sources import SourceFile
from rqa.intake.values import SPACES
from tests.examples import examples
from tests.workspaces import Workspace

TEXT = st.lists(
    st.sampled_from([",", ";", "a", "B1", " ", "\n", "\r\n", "\r", "\t", '"', "\x0b", "\x00", "\x1f", "\x7f", "é"]),
    max_size=14,
).map("".join)


@settings(max_examples=examples(100), suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=TEXT, delimiter=st.sampled_from([",", ";", " "]), piece=st.integers(1, 5))
def test_a_bare_file_has_nothing_to_trim(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, delimiter: str, piece: int
) -> None:
    """Held against Python's own reader of CSV and its `strip`, whatever pieces the file is read in."""
    path = tmp_path / "f.csv"
    path.write_bytes(text.encode())
    monkeypatch.setattr(sources, "PIECE", piece)
    source = SourceFile("f", path, "csv", Files.model_construct(), "f.csv")
    seen = look(source, Quotes(b'"', delimiter.encode()), skip=0)
    fields = [f for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) for f in row]
    padded = any(f != f.strip(SPACES) for f in fields)
    if seen.bare:
        assert not padded
        assert text.isascii()
        assert '"' not in text
    elif seen.plain and delimiter != " ":
        shown = all(s >= " " for s in text.replace("\r\n", "").replace("\n", ""))
        assert padded or '"' in text or not shown, "such a file is bare"


VALUES = {
    "step_seq": ["1.5", "01", "1_0", "1e1", "-1", "", "100", "3.0", "+4", "0x1", "99999999999999999999", "x", "7."],
    "attempt": ["0", "1.0", "", "1.5", "2"],
    "step": ["", "pad", "NULL", "a b"],
    "outcome": ["PASS", "Fail", "ok", "", "N/A", "done."],
    "started_at": [
        "2025-01-03T12:20:00+02:00", "2025-01-03 12:20:00", "2025-01-03T12:20:00", "2025-01-03T12:20:00.5Z",
        "2025-1-3T12:20:00Z", "2025-01-03T2:20:00Z", "2025-02-30T12:20:00Z", "2025-01-03T24:00:00Z", "2025-01-03",
        "2025-01-03T12:60:00Z", "", "2025-01-03t12:20:00z", "1849-01-03T12:20:00Z", "2300-01-03T12:20:00Z", "soon",
        "02025-01-03T12:20:00Z", "2025-01-03T12:20:0Z", "2025-01-03T 2:20:00Z", "2025-03-30T03:30:00",
    ],
    "ended_at": ["2025-01-03T12:00:00Z", "2025-01-03T12:20:00+02:00", "", "2025-10-26T03:30:00"],
    "value": ["1_0.5", "nan", "inf", "1e3", "1.", ".5", "+3", "-0", "1e999", "0x10", "--1", ""],
    "job_id": ["", "J", "j\x7f"],
}
"""Values of each column that are wrong, odd, or right in another form."""
GOOD = {
    "job_id": "J1", "step_seq": "1", "attempt": "1", "step": "open", "outcome": "pass", "technician": "T1",
    "bench": "B1", "tool": "", "started_at": "2025-01-03T11:20:00Z", "ended_at": "2025-01-03T13:00:00Z", "fault": "",
    "value": "1.25",
}


def spoilt() -> list[dict[str, str]]:
    """Rows with a good key, each with one odd value or two."""
    ones = [{name: value} for name, values in VALUES.items() for value in values]
    twos = [{**a, **b} for a, b in itertools.pairwise(ones) if a.keys() != b.keys()]
    return [GOOD | {"job_id": f"J{n}"} | {k: v + f"{n}" * (k == "job_id" and v == "J") for k, v in odd.items()}
            for n, odd in enumerate([*ones, *twos])]


def told(ws: Workspace, most: int) -> Any:
    kept = ws.rows(f"select * from steps where source_row <= {most} order by source_row")
    refused = ws.rows(
        "select source_row, column_name, rule, value, raw, job_id from refused "
        f"where source_row <= {most} order by all"
    )
    remarks = ws.rows("select remark, value, rows, first_row from remarks where remark like 'clock %' order by all")
    return kept, refused, remarks


@pytest.mark.parametrize("zone", [None, "Europe/Helsinki"])
def test_however_a_file_is_read_the_same_rows_are_accepted_and_refused(
    tmp_path: Path, zone: str | None
) -> None:
    """As it is; beside a row that must be trimmed; beside quotes; into a store that has rows already."""
    rows = [",".join(r.values()) for r in [GOOD, *spoilt()]]
    text = "\n".join([",".join(GOOD), *rows]) + "\n"
    padded = text + ",".join((GOOD | {"job_id": " pad", "step": "open "}).values()) + "\n"
    quoted = text + ",".join((GOOD | {"job_id": '"quoted"'}).values()) + "\n"
    more = {"zone": zone} if zone else {}
    ways = (("bare", text, ""), ("padded", padded, ""), ("quoted", quoted, ""), ("later", text, "x"))
    found = []
    for name, content, first in ways:
        (folder := tmp_path / name).mkdir()
        ws = Workspace(folder)
        mapping = {"files": {"s": {"path": ["*.csv"], **more}}, "table": [{"table": "steps", "from": "s"}]}
        if first:
            ws.write("first.csv", ",".join(GOOD) + "\n" + ",".join((GOOD | {"job_id": first}).values()) + "\n")
            ws.load(mapping)
        ws.write("steps.csv", content)
        ws.load(mapping)
        kept, refused, remarks = told(ws, len(rows) + 1)
        found.append(([r for r in kept if "steps.csv" in r], refused, remarks))
    assert text.isascii()
    assert len(found[0][0]) > 20
    assert len(found[0][1]) > 40
    assert found[1] == found[0]
    assert found[2] == found[0]
    assert found[3] == found[0]
