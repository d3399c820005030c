"""One broken file takes neither all memory nor all time: past a limit it is one clear error within seconds."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

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
import resource, sys
from pathlib import Path
from rqa.errors import SourceError
from tests.workspaces import Workspace, csv_of, job
ws = Workspace(Path(sys.argv[1]))
text = csv_of(job("A")) + 'B,"' + "abcd\\n" * 500_000 + '",x\\n'
try:
    ws.jobs(text)
except SourceError as error:
    print(error)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def test_one_field_of_many_lines_takes_little_memory(ws: Workspace) -> None:
    """It took 3.3 GB before: the engine kept each of its half million lines several times over."""
    pytest.importorskip("resource")
    root = Path(__file__).parents[2]
    done: Any = subprocess.run(
        [sys.executable, "-c", MEASURED, str(ws.folder)], cwd=root, capture_output=True, text=True, check=True
    )
    said, peak = done.stdout.splitlines()
    assert "too many of its records are no rows, such as those with fewer fields" in said
    assert int(peak) < 500, "MB at most"
