"""The program that reads workbooks for a load: a process of its own, which may run out of memory or time, or fail.

The reader of workbooks ends its process where it gets no memory, and a small file may ask for any amount of it. `serve`
answers one request a line, `{"path": …, "sheet": …, "seconds": …}`, with a line of JSON and, where it tells a `size`,
so many bytes of an Arrow stream: the cells of the sheet by column, as text.
"""

import json
import os
import sys
from pathlib import Path
from typing import IO, Any

from rqa.intake.sheet_size import too_large
from rqa.own_process import die_with_parent, limit

EXCEL_ERRORS = {
    "Div0": "#DIV/0!", "NA": "#N/A", "Name": "#NAME?", "Null": "#NULL!", "Num": "#NUM!", "Ref": "#REF!",
    "Value": "#VALUE!",
}


def serve(memory: int) -> None:
    """Answer requests until there are no more, with so many bytes of memory, and each with its own time."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    die_with_parent()
    limit("RLIMIT_CORE", 0)
    limit("RLIMIT_DATA", memory)
    for line in sys.stdin.buffer:
        asked = json.loads(line)
        limit("RLIMIT_CPU", int(sum(os.times()[:2])) + asked["seconds"])
        try:
            told, cells = answer(Path(asked["path"]), asked["sheet"])
        except MemoryError:
            # Whatever is left may not suffice for another answer.
            return
        except BaseException as error:
            told, cells = {"error": str(error).splitlines()[0] if str(error) else type(error).__name__}, None
        _send(answers, told, cells)


def answer(path: Path, sheet: str | int | None) -> tuple[dict[str, Any], Any]:
    """What a workbook holds: the names of its `sheets`, and the cells of the one asked for, or else of its first.

    There are none where it has no sheet of that name. `faults` are the cells that hold an error: row, column, and what
    the sheet shows. `error` says why a sheet cannot be read, `large` that it is too large to be.
    """
    import fastexcel

    book = fastexcel.read_excel(path)
    names = list(book.sheet_names)
    if not names:
        raise ValueError("it has no sheet")
    sheet = names[0] if sheet is None else sheet
    told: dict[str, Any] = {"sheets": names}
    if isinstance(sheet, str) and sheet not in names:
        return told, None
    if said := too_large(path, sheet):
        return told | {"large": said}, None
    try:
        # Without a header, so that rows keep their places and no column is renamed unasked.
        cells, faults = book.load_sheet(sheet, header_row=None, skip_rows=0, dtypes="string").to_arrow_with_errors()
    except MemoryError:
        raise
    except BaseException as error:
        return told | {"error": str(error).splitlines()[0] if str(error) else type(error).__name__}, None
    return told | {"faults": [[*f.position, _shown(f.detail)] for f in (faults.errors if faults else ())]}, cells


def _send(answers: IO[bytes], told: dict[str, Any], cells: Any) -> None:
    import pyarrow as pa

    def write(out: Any) -> Any:
        with pa.ipc.new_stream(out, cells.schema) as stream:
            stream.write_batch(cells)
        return out

    if cells is not None:
        told = told | {"size": write(pa.MockOutputStream()).size()}
    answers.write(json.dumps(told).encode() + b"\n")
    if cells is not None:
        write(answers)
    answers.flush()


def _shown(detail: str) -> str:
    """What the sheet shows in a cell that holds an error; a cell must not become empty unnoticed."""
    return next((shown for code, shown in EXCEL_ERRORS.items() if f"Error({code})" in detail), "#ERROR")
