"""A workbook that asks for all memory or all time is one error of a load, and no end of its process."""

import os
import signal
import struct
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Sequence
from pathlib import Path

import psutil
import pytest

from rqa.errors import SourceError
from rqa.intake import sheets
from tests.workspaces import JOB_COLUMNS, Workspace, job

ROWS = [list(JOB_COLUMNS), list(job("A").values())]
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
OPEN_DOCUMENT = "urn:oasis:names:tc:opendocument:xmlns"
SLEEPS = "import pathlib, sys, time; sys.stdin.readline(); pathlib.Path({asked!r}).touch(); time.sleep(600)"
SIGNALS = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def packed(path: Path, parts: dict[str, bytes | str]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, content in parts.items():
            book.writestr(name, content)


def relations(*targets: tuple[str, str]) -> str:
    each = "".join(
        f'<Relationship Id="r{n}" Type="{OFFICE}/{kind}" Target="{part}"/>' for n, (kind, part) in enumerate(targets)
    )
    return f'<Relationships xmlns="{PACKAGE}">{each}</Relationships>'


def record(kind: int, data: bytes = b"") -> bytes:
    """A record of a binary workbook. Source: [MS-XLSB] 2.1.4, from memory."""
    head = bytes([kind]) if kind < 128 else bytes([kind & 127 | 128, kind >> 7])
    return head + bytes([len(data)]) + data


def wide(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16-le")


def xlsb(path: Path, cells: Sequence[tuple[int, int, str]]) -> None:
    body, last = record(129) + record(148, struct.pack("<4I", 0, 0, 0, 0)) + record(145), -1
    for row, column, text in cells:
        body += record(0, struct.pack("<II", row, 0) + bytes(9)) if row != last else b""
        body += record(6, struct.pack("<II", column, 0) + wide(text))
        last = row
    named = record(156, struct.pack("<II", 0, 1) + wide("r0") + wide("Jobs"))
    packed(path, {
        "_rels/.rels": relations(("officeDocument", "xl/workbook.bin")),
        "xl/workbook.bin": record(131) + record(143) + named + record(144) + record(132),
        "xl/_rels/workbook.bin.rels": relations(("worksheet", "worksheets/sheet1.bin")),
        "xl/worksheets/sheet1.bin": body + record(146) + record(130),
    })


def far_cell(path: Path) -> None:
    cells = [(r, c, text) for r, row in enumerate(ROWS) for c, text in enumerate(row)]
    xlsb(path, [*cells, (1_048_575, 16_383, "x")])


def one_long_text_in_many_cells(path: Path) -> None:
    """46 kB that become 90 GB: each cell is a copy of the text that all of them share."""
    main = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    cells = "".join(f'<row r="{r}"><c r="A{r}" t="s"><v>0</v></c></row>' for r in range(1, 3000))
    packed(path, {
        "_rels/.rels": relations(("officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": f'<workbook {main} xmlns:r="{OFFICE}"><sheets><sheet name="Jobs" sheetId="1" r:id="r0"/>'
        "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": relations(
            ("worksheet", "worksheets/sheet1.xml"), ("sharedStrings", "sharedStrings.xml")
        ),
        "xl/worksheets/sheet1.xml": f"<worksheet {main}><sheetData>{cells}</sheetData></worksheet>",
        "xl/sharedStrings.xml": f"<sst {main}><si><t>{'x' * 30_000_000}</t></si></sst>",
    })


def repeated(path: Path, columns: int, rows: int, end: str = "</table:table>") -> None:
    """A sheet of few signs that say how often a cell stands there."""
    spaces = " ".join(f'xmlns:{n}="{OPEN_DOCUMENT}:{n}:1.0"' for n in ("office", "table", "text"))
    cell = f'<table:table-cell office:value-type="string" table:number-columns-repeated="{columns}">' \
        "<text:p>abcdefgh</text:p></table:table-cell>"
    packed(path, {
        "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
        "META-INF/manifest.xml": f'<m:manifest xmlns:m="{OPEN_DOCUMENT}:manifest:1.0"/>',
        "content.xml": f"<office:document-content {spaces}><office:body><office:spreadsheet><table:table "
        f'table:name="Jobs"><table:table-row table:number-rows-repeated="{rows}">{cell}</table:table-row>{end}'
        "</office:spreadsheet></office:body></office:document-content>",
    })


def mapping(name: str) -> dict[str, object]:
    return {"files": {"f": {"path": name}}, "table": [{"table": "jobs", "from": "f"}]}


def test_a_workbook_that_asks_for_all_memory_is_told(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "MEMORY", 1 << 30)
    far_cell(ws.folder / "far.xlsb")
    one_long_text_in_many_cells(ws.folder / "long.xlsx")
    repeated(ws.folder / "wide.ods", 16_000, 6_000)
    for name in ("far.xlsb", "long.xlsx", "wide.ods"):
        with pytest.raises(SourceError, match=rf"^{name}: reading it takes more than 1 GB of memory.*Delete all rows"):
            ws.load(mapping(name))
        assert not ws.store.exists()
    assert psutil.Process().children() == []
    xlsb(ws.folder / "near.xlsb", [(r, c, text) for r, row in enumerate(ROWS) for c, text in enumerate(row)])
    assert ws.load(mapping("near.xlsb")).total("accepted") == 1


@SIGNALS
@pytest.mark.parametrize("damaged", [False, True])
def test_a_workbook_that_takes_all_time_is_told(ws: Workspace, damaged: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "SECONDS", 1)
    if damaged:
        # The reader looks for the end of the table for ever.
        repeated(ws.folder / "jobs.ods", 8, 3, end="</table:table[")
    else:
        repeated(ws.folder / "jobs.ods", 1_000, 20_000)
    with pytest.raises(SourceError, match=r"^jobs\.ods: reading it takes more than 1 second of processor time, which"):
        ws.load(mapping("jobs.ods"))


@SIGNALS
def test_a_signal_ends_the_reader_with_the_load(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = ws.folder.parent / "asked"
    monkeypatch.setattr(sheets, "PROGRAM", SLEEPS.format(asked=str(asked)))
    repeated(ws.folder / "jobs.ods", 8, 2)
    before = psutil.Process().children()

    def stop_once_it_reads() -> None:
        while not asked.exists():
            time.sleep(0.05)
        os.kill(os.getpid(), signal.SIGINT)

    waiting = threading.Thread(target=stop_once_it_reads)
    waiting.start()
    with pytest.raises(KeyboardInterrupt):
        ws.load(mapping("jobs.ods"))
    waiting.join()
    assert psutil.Process().children() == before
    assert ws.names() <= {"jobs.ods", "depot.duckdb.lock"}


# No guard for the main module: the reader must not run the script again.
SCRIPT = """
import os, sys, signal
import rqa
from rqa.intake import sheets
read = sheets.Sheets.read
def seen(self, source, sheet):
    found = read(self, source, sheet)
    print(self.process.pid, flush=True)
    if sys.argv[1] == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    return found
sheets.Sheets.read = seen
print(rqa.load(".", mapping={"files": {"f": {"path": "jobs.xlsb"}}, "table": [{"table": "jobs", "from": "f"}]},
               write=False).files)
"""
ANSWERS_AND_SLEEPS = """
import rqa.intake.sheets as sheets
sheets.PROGRAM = (
    "import time, rqa.own_process as s; s.die_with_parent(); "
    "print('{\\"sheets\\": [\\"a\\"]}', flush=True); time.sleep(600)"
)
"""


@SIGNALS
def test_a_script_without_a_guard_reads_workbooks_and_leaves_no_reader_even_when_killed(ws: Workspace) -> None:
    xlsb(ws.folder / "jobs.xlsb", [(r, c, text) for r, row in enumerate(ROWS) for c, text in enumerate(row)])
    for how, text, code in (("lives", SCRIPT, 0), ("killed", ANSWERS_AND_SLEEPS + SCRIPT, -signal.SIGKILL)):
        (ws.folder / "script.py").write_text(text)
        done = subprocess.run(
            [sys.executable, "script.py", how], cwd=ws.folder, capture_output=True, text=True, timeout=60,
            env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}, check=False,
        )
        assert done.returncode == code, done.stderr
        reader, *said = done.stdout.splitlines()
        assert bool(said) == (how == "lives")
        until = time.monotonic() + 10
        while psutil.pid_exists(int(reader)) and psutil.Process(int(reader)).status() != psutil.STATUS_ZOMBIE:
            assert time.monotonic() < until, "the reader outlives the load"
            time.sleep(0.05)
