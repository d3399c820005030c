"""Tables as an Excel workbook, where no text becomes a formula, a link or a number: the one writer of the project."""

import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from math import isfinite
from pathlib import Path
from typing import Any

from rqa.errors import RequestError
from rqa.shown import shown
from rqa.words import counted
from rqa.written import write_whole

MOST_ROWS, MOST_LETTERS = 1_048_575, 32_767
"""What a sheet holds below its head row, and a cell."""
WIDEST = 60
FINE = 0.0005
"""Shares below it have two decimals, as texts give them."""
CREATED = datetime(2000, 1, 1)
"""A fixed date keeps the same tables the same file."""
Sheet = tuple[str, Sequence[str], Iterable[Sequence[Any]]]
"""A sheet's wanted name, its head row and its rows."""


class Share(float):
    """A share, which a cell shows as per cent."""


def write_sheets(sheets: Iterable[Sheet], path: str | Path) -> Path:
    """Write sheets with a bold head row: texts as texts, numbers as numbers, shares as per cent, days and times as
    dates, nulls empty."""
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(
        made, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    book.set_properties({"created": CREATED})
    taken: set[str] = set()
    for name, head, rows in sheets:
        _sheet(book, _sheet_name(name, taken), head, rows)
    book.close()
    return written(path, made.getvalue())


def written(path: str | Path, content: bytes) -> Path:
    """Write a whole file or leave what was there; `RequestError` says why it cannot be written."""
    place = Path(path)
    try:
        write_whole(place, content)
    except OSError as error:
        raise RequestError(f"{place} cannot be written: {error.strerror or error}.") from error
    return place


def as_text(value: Any) -> str:
    """A value of a table as a cell of text."""
    if isinstance(value, str):
        return value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "; ".join(f"{k} = {as_text(v)}" for k, v in value.items())
    if isinstance(value, Iterable):
        return ", ".join(as_text(v) for v in value)
    return str(value)


def _sheet_name(wanted: str, taken: set[str]) -> str:
    """A name that a workbook accepts: 31 letters, none of []:*?/\\, no apostrophe at an end, not there yet."""
    plain = "".join(" " if c in "[]:*?/\\" else c for c in wanted).strip("' ")[:31].rstrip("' ") or "sheet"
    name, number = plain, 2
    while name.lower() in taken:
        name, number = f"{plain[:27]} {number}", number + 1
    taken.add(name.lower())
    return name


def _sheet(book: Any, name: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    sheet = book.add_worksheet(name)
    bold = book.add_format({"bold": True})
    forms = ("yyyy-mm-dd", "yyyy-mm-dd hh:mm:ss", "0.0%", "0.00%")
    day, time, share, small = (book.add_format({"num_format": form}) for form in forms)
    widths = [len(column) for column in head]
    for c, column in enumerate(head):
        sheet.write_string(0, c, column, bold)
    for r, row in enumerate(rows, start=1):
        if r > MOST_ROWS:
            raise RequestError(f"the table for sheet {name!r} has more rows than a sheet holds ({MOST_ROWS:,}).")
        for c, value in enumerate(row):
            if value is None:
                continue
            text = value if type(value) is str else as_text(value)
            if len(text) > widths[c]:
                widths[c] = max(widths[c], min(len(text), WIDEST))
            if isinstance(value, str):
                _text_cell(sheet, r, c, text)
            elif isinstance(value, bool):
                sheet.write_boolean(r, c, value)
            elif isinstance(value, int | float) and isfinite(value):
                form = (small if 0 < abs(value) < FINE else share) if isinstance(value, Share) else None
                sheet.write_number(r, c, value, form)
            elif isinstance(value, datetime):
                sheet.write_datetime(r, c, value, time)
            elif isinstance(value, date):
                sheet.write_datetime(r, c, value, day)
            else:
                _text_cell(sheet, r, c, text)
    for c, width in enumerate(widths):
        sheet.set_column(c, c, width + 2)
    sheet.freeze_panes(1, 0)


def _text_cell(sheet: Any, row: int, column: int, text: str) -> None:
    if len(text) > MOST_LETTERS:
        raise RequestError(
            f"a text of {counted(len(text), 'letter')} is more than a cell holds ({MOST_LETTERS:,}); write a CSV."
        )
    sheet.write_string(row, column, shown(text))
