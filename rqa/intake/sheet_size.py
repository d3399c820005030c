"""How large a sheet of an .xlsx workbook is: the reader makes room for all of its rectangle, or ends the process."""

import re
import zipfile
import zlib
from pathlib import Path
from xml.etree import ElementTree

from rqa.words import counted

MOST_CELLS = 100_000_000
"""Cells of the rectangle that a sheet spans; one stray cell far away makes it as large as a sheet can be."""
LETTERS, PIECE, OVERLAP = 26, 1 << 20, 64
CELL = re.compile(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Z]{1,3})(\d{1,7})"')
RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def too_large(path: Path, sheet: str | int) -> str:
    """What to say of a sheet that spans more cells than are read; nothing for one that does not, or cannot be told."""
    try:
        with zipfile.ZipFile(path) as book:
            part = _part(book, sheet)
            column, row = _last(book, part) if part else ("A", 1)
    except (OSError, zipfile.BadZipFile, zlib.error, ElementTree.ParseError, KeyError, IndexError):
        return ""
    cells = _number(column) * row
    if cells <= MOST_CELLS:
        return ""
    return (
        f"reaches to column {column} and row {row:,}, {counted(cells, 'cell')}, and {MOST_CELLS:,} are read at most. "
        "Delete the rows and columns outside of the table, or export it as CSV"
    )


def _part(book: zipfile.ZipFile, sheet: str | int) -> str:
    """The name of the part of the workbook that holds a sheet; nothing for a kind without such parts."""
    if "xl/workbook.xml" not in book.namelist():
        return ""
    sheets = [e for e in ElementTree.fromstring(book.read("xl/workbook.xml")).iter() if e.tag.endswith("}sheet")]
    found = sheets[sheet] if isinstance(sheet, int) else next(e for e in sheets if e.get("name") == sheet)
    relations = ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
    target = {e.get("Id"): e.get("Target", "") for e in relations}[found.get(RELATION)]
    return target.removeprefix("/") if target.startswith("/") else f"xl/{target}"


def _last(book: zipfile.ZipFile, part: str) -> tuple[str, int]:
    """The last column and the last row in which a cell stands."""
    columns, row, held = {b"A"}, 1, b""
    with book.open(part) as stream:
        while piece := stream.read(PIECE):
            text = held + piece
            cells = CELL.findall(text)
            columns |= {c for c, _ in cells}
            row = max(row, max((int(r) for _, r in cells), default=1))
            held = text[-OVERLAP:]
    return max(columns, key=lambda c: (len(c), c)).decode(), row


def _number(column: str) -> int:
    number = 0
    for letter in column:
        number = number * LETTERS + ord(letter) - ord("A") + 1
    return number
