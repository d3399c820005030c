"""Workbooks read in a process of its own, one for all of a load (`sheet_reader`). If it fails, the load says so."""

import json
import select
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Any

from rqa.errors import SourceError
from rqa.intake.sources import SourceFile
from rqa.own_process import started
from rqa.shown import told
from rqa.stopping import AGAIN_SECONDS, check
from rqa.words import counted

MEMORY = 4 << 30
"""Bytes that reading one workbook may take."""
SECONDS, SECONDS_PER_MB = 60, 60
"""Seconds of processor that reading one sheet may take: whatever its size, and more for each megabyte of the file."""
PROGRAM = "import sys; from rqa.intake.sheet_reader import serve; serve(*map(int, sys.argv[1:]))"


@dataclass(frozen=True)
class Sheet:
    """The sheets of a workbook by name, and the cells of one, `name`: an Arrow array a column, all text.

    `name` is None where the workbook has no sheet that was asked for.
    """

    sheets: list[str]
    name: str | int | None
    columns: list[Any]


class Sheets:
    """Reads sheets for one load, in a process that begins with the first of them and ends with `close`."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[bytes] | None = None

    def read(self, source: SourceFile, sheet: str | int | None) -> Sheet:
        """The cells of a sheet, of the first one where none is named; raises `SourceError` where it cannot be read."""
        found, content = self._ask(source, sheet)
        names = found.get("sheets")
        if names is None:
            raise SourceError(
                f"{source.label}: is no readable workbook{_why(source, found['error'])}. Nothing was loaded."
            )
        sheet = names[0] if sheet is None else sheet
        if "large" in found:
            raise SourceError(f"{source.label}, sheet {told(sheet)}: {found['large']}. Nothing was loaded.")
        if "error" in found:
            said = f"cannot be read{_why(source, found['error'])}"
            raise SourceError(f"{source.label}, sheet {told(sheet)}: {said}. Nothing was loaded.")
        if "size" not in found:
            return Sheet(names, None, [])
        return Sheet(names, sheet, _columns(content, found["faults"]))

    def close(self) -> None:
        """End the process; without one this does nothing."""
        process, self.process = self.process, None
        if process is not None:
            process.kill()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):
                    pipe.close()  # type: ignore[union-attr]  # both are pipes
            process.wait()

    def _ask(self, source: SourceFile, sheet: str | int | None) -> tuple[dict[str, Any], bytes]:
        path = source.path.absolute()
        seconds = SECONDS + SECONDS_PER_MB * (path.stat().st_size >> 20)
        asked = json.dumps({"path": str(path), "sheet": sheet, "seconds": seconds}).encode() + b"\n"
        process = self.process = self.process or started(["-c", PROGRAM, str(MEMORY)])
        line, content = b"", b""
        with suppress(BrokenPipeError):
            process.stdin.write(asked)  # type: ignore[union-attr]  # it is a pipe
            process.stdin.flush()  # type: ignore[union-attr]  # it is a pipe
        _wait_for(process.stdout)  # type: ignore[arg-type]  # it is a pipe
        line = process.stdout.readline()  # type: ignore[union-attr]  # it is a pipe
        if line.endswith(b"\n"):
            found: dict[str, Any] = json.loads(line)
            content = process.stdout.read(found.get("size", 0))  # type: ignore[union-attr]  # it is a pipe
            if len(content) == found.get("size", 0):
                return found, content
        ended = process.wait()
        self.close()
        check()
        raise SourceError(f"{source.label}: {_ended(ended, seconds)} Nothing was loaded.")


def _wait_for(pipe: IO[bytes]) -> None:
    """Wait until something is written, or the other end is closed.

    A signal that comes just before a read is begun does not end it: so it is begun only when there is something.
    """
    if sys.platform != "win32":
        while not select.select([pipe], [], [], AGAIN_SECONDS)[0]:
            check()


def _columns(content: bytes, faults: list[tuple[int, int, str]]) -> list[Any]:
    """The columns of a sheet; a cell that holds an error holds what the sheet shows."""
    import pyarrow as pa

    table = pa.ipc.open_stream(content).read_all()
    columns = [column.combine_chunks() for column in table.columns]
    shown: dict[int, dict[int, str]] = {}
    for row, column, text in faults:
        shown.setdefault(column, {})[row] = text
    for column, texts in shown.items():
        given = columns[column].to_pylist()
        for row, text in texts.items():
            given[row] = text
        columns[column] = pa.array(given, type=pa.string())
    return columns


def _ended(code: int, seconds: int) -> str:
    """What to say of a workbook at which the reader ended."""
    if code == -getattr(signal, "SIGXCPU", 1000):
        said = (
            f"reading it takes more than {counted(seconds, 'second')} of processor time, which no sound file of its "
            "size should: it may be damaged."
        )
    else:
        said = (
            f"reading it takes more than {MEMORY >> 30} GB of memory, or fails: a cell may stand far outside of the "
            "table, or the file is damaged."
        )
    return f"{said} Delete all rows and columns outside of the table and save it anew, or export it as CSV."


def _why(source: SourceFile, error: str) -> str:
    """What the reader says, where it cannot hold a cell that must not be told."""
    return "" if source.sealed else f" ({error})"
