"""One broken file takes neither all memory nor all time: past a limit it is one clear error within seconds."""

import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from rqa.errors import SourceError
from rqa.intake import records
from rqa.intake.sources import MOST_COLUMNS
from tests.workspaces import Workspace, csv_line, csv_of, job

WIDE = {f"column {n}": "x" for n in range(5_000)}
GROWING = [{**job(f"J{n}"), f"key {n}": "x"} for n in range(MOST_COLUMNS)]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("jobs.csv", csv_of({**job(), **WIDE})),
        ("jobs.jsonl", json.dumps({**job(), **WIDE})),
        ("jobs.jsonl", "\n".join(map(json.dumps, GROWING))),
    ],
)
def test_a_source_of_too_many_columns_is_told(ws: Workspace, name: str, content: str) -> None:
    with pytest.raises(SourceError, match=rf"and {MOST_COLUMNS} are read at most"):
        ws.jobs(content, name=name)


@pytest.mark.parametrize("form", ["named", "first", "prefixed"])
def test_a_stray_cell_far_away_is_told_and_ends_nothing(ws: Workspace, form: str) -> None:
    """The reader makes room for the whole rectangle and ends the process when there is none."""
    path = ws.folder / "jobs.xlsx"
    book = openpyxl.Workbook()
    book.create_sheet("Jobs" if form == "named" else "Other", 1)
    sheet = book.worksheets[1 if form == "named" else 0]
    for row in (list(job()), list(job("A").values())):
        sheet.append(row)
    sheet["XFD1048576"] = "x"
    book.save(path)
    if form == "prefixed":
        with zipfile.ZipFile(path) as packed:
            parts = {name: packed.read(name) for name in packed.namelist()}
        main = "xl/worksheets/sheet1.xml"
        parts[main] = re.sub(rb"<(/?)c\b", rb"<\1x:c", parts[main]).replace(b"xmlns=", b'xmlns:x="a" xmlns=')
        with zipfile.ZipFile(path, "w") as packed:
            for name, content in parts.items():
                packed.writestr(name, content)
    reading = {"path": "jobs.xlsx", **({"sheet": "Jobs"} if form == "named" else {})}
    with pytest.raises(SourceError, match="reaches to column XFD and row 1,048,576"):
        ws.load({"files": {"f": reading}, "table": [{"table": "jobs", "from": "f"}]})


SHORT, LONG, OPEN = "abcd", csv_line(job("X")) + ",more", 'Y,"' + "z" * 20
BROKEN: dict[str, list[str]] = {
    "short": [SHORT] * 60,
    "long": [LONG] * 60,
    "short and long in turn": [SHORT, LONG] * 30,
    "quotes never closed": [OPEN] * 61,
}


@pytest.mark.parametrize("name", BROKEN)
def test_too_many_records_that_are_no_rows_are_one_error(
    ws: Workspace, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = "\n".join([*csv_of(job("A")).splitlines(), *BROKEN[name], csv_line(job("B")), ""])
    monkeypatch.setattr(records, "MOST_REJECTS", 50)
    with pytest.raises(SourceError, match="too many of its records are no rows") as caught:
        ws.jobs(text)
    assert "Nothing was loaded" in str(caught.value)
    assert not ws.store.exists()


def test_notes_of_many_lines_are_not_taken_for_short_records(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(records, "MOST_REJECTS", 5)
    row = job("A", complaint='"' + "one line\n" * 40 + '"')
    assert ws.jobs(csv_of(row)).total("accepted") == 1


MEASURED = """
import sys
from pathlib import Path
from tests.workspaces import Workspace, csv_of, job
ws = Workspace(Path(sys.argv[1]))
text = csv_of(job("A")) + 'B,"' + "abcd\\n" * 500_000 + '",x\\n'
report = ws.jobs(text)
print(report.total("accepted"), *ws.rows("select source_row, rule from refused"))
# The most this program had itself; what getrusage says begins with what its parent had.
print(next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM")) // 1024)
"""


def test_one_field_of_many_lines_takes_little_memory(ws: Workspace) -> None:
    """It took 3.3 GB before: the engine kept each of its half million lines several times over."""
    if not Path("/proc/self/status").exists():
        pytest.skip("the most memory of a program is not told here")
    root = Path(__file__).parents[2]
    done: Any = subprocess.run(
        [sys.executable, "-c", MEASURED, str(ws.folder)], cwd=root, capture_output=True, text=True, check=True
    )
    said, peak = done.stdout.splitlines()
    assert said == "1 (3, 'line longer than 2,000,000 bytes')"
    assert int(peak) < 500, "MB at most"
