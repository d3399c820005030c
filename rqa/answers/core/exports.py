"""An answer as a file: CSV, an Excel workbook, or a page, none of which can do more than be read.

A cell that a spreadsheet would take for a formula is text here: in CSV with an apostrophe before it, in Excel written
as a string. A spreadsheet for which semicolons part cells finds new cells within a text: what begins there like a
formula has its apostrophe too. Numbers stay numbers. The page loads and runs nothing.
"""

import csv
import hashlib
import io
import re
from base64 import b64encode
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from html import escape
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.errors import RequestError
from rqa.shown import shown
from rqa.words import counted, spoken
from rqa.written import write_whole

if TYPE_CHECKING:
    from rqa.answers.core.finding import Finding
    from rqa.answers.core.result import Answer

SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
FORMULA = re.compile(f"^(?=[{SIGNS}\t\r\n])|(?<=[;\t\r\n])(?=[{SIGNS}])")
"""Where a spreadsheet may find a formula: at the beginning of a text or of what may be another cell."""
MOST_ROWS, MOST_LETTERS = 1_048_575, 32_767
"""What a sheet holds below its head row, and a cell."""
WIDEST = 60
FINDINGS = ("where", "what", "measure", "size", "low", "high", "jobs", "p_value", "caution", "check")
STYLE = (
    "body{font:15px/1.5 'Liberation Sans',Arial,Helvetica,sans-serif;color:#1b2a38;background:#fff;margin:2rem}"
    "h1{font-size:1.3rem}h2{font-size:1.05rem}table{border-collapse:collapse;font-size:.9rem}"
    "th{text-align:left;border-bottom:2px solid #1b2a38;padding:.25rem .7rem}"
    "td{border-bottom:1px solid #d3dae0;padding:.2rem .7rem;vertical-align:top}"
    ".n{text-align:right;font-variant-numeric:tabular-nums}.wide{overflow-x:auto}"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem}dt{color:#55626e}dd{margin:0}"
)


def to_csv(answer: "Answer", path: str | Path) -> Path:
    """Write the table as UTF-8 CSV: a head row, empty cells where there is no data, times and days in ISO form."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(harmless(name) for name in answer.table.columns)
    for row in answer.table.iter_rows():
        writer.writerow(_in_csv(value) for value in row)
    return _written(path, text.getvalue().encode("utf-8"))


def to_excel(answer: "Answer", path: str | Path) -> Path:
    """Write a workbook: the table, what was asked with the notes, and what is more than luck."""
    return sheets_to_excel({"": answer}, path)


def sheets_to_excel(answers: Mapping[str, "Answer"], path: str | Path) -> Path:
    """Write several answers into one workbook, each with its sheets; the keys name them."""
    made, book = _workbook()
    taken: set[str] = set()
    for name, answer in answers.items():
        if answer.table.height > MOST_ROWS:
            raise RequestError(
                f"{counted(answer.table.height, 'row is', 'rows are')} more than a sheet holds ({MOST_ROWS:,}); write "
                "a CSV, or ask for fewer groupings."
            )
        front = f"{name} " if name else ""
        _sheet(book, _sheet_name(f"{front}table", taken), answer.table.columns, answer.table.iter_rows())
        about = [("question", answer.question), *_settings(answer), *(("note", note) for note in answer.notes)]
        _sheet(book, _sheet_name(f"{front}about", taken), ("what", "how"), about)
        if answer.findings:
            _sheet(book, _sheet_name(f"{front}findings", taken), FINDINGS, map(_row_of, answer.findings))
    book.close()
    return _written(path, made.getvalue())


def tables_to_excel(tables: Mapping[str, tuple[Sequence[str], Iterable[Sequence[Any]]]], path: str | Path) -> Path:
    """Write tables that are no answers into one workbook: by the sheet's name, the head row and the rows."""
    made, book = _workbook()
    taken: set[str] = set()
    for name, (head, rows) in tables.items():
        _sheet(book, _sheet_name(name, taken), head, rows)
    book.close()
    return _written(path, made.getvalue())


def _workbook() -> tuple[io.BytesIO, Any]:
    """An empty workbook in memory, in which no text becomes a formula, a link or a number."""
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(
        made, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    # A fixed date keeps the same answer the same file.
    book.set_properties({"created": datetime(2000, 1, 1)})
    return made, book


def to_html(answer: "Answer", path: str | Path) -> Path:
    """Write a page of its own: the table, what was asked, the notes, and what is more than luck."""
    allowed = b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    asked = "".join(f"<dt>{escape(shown(k))}</dt><dd>{escape(shown(v))}</dd>" for k, v in _settings(answer))
    notes = "".join(f"<li>{escape(shown(note))}</li>" for note in answer.notes)
    found = _html_table(FINDINGS, map(_row_of, answer.findings))
    page = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'sha256-{allowed}'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(shown(answer.question))}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        f"<h1>{escape(shown(answer.question))}</h1>\n<dl>{asked}</dl>\n"
        f"{_html_table(answer.table.columns, answer.table.iter_rows())}\n"
        + (f"<h2>More than luck</h2>\n{found}\n" if answer.findings else "")
        + (f"<h2>Notes</h2>\n<ul>{notes}</ul>\n" if notes else "")
        + "</body>\n</html>\n"
    )
    return _written(path, page.encode("utf-8"))


def harmless(text: str) -> str:
    """The text as a spreadsheet shows it and never computes it."""
    return FORMULA.sub("'", text)


def _in_csv(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return value
    return value.isoformat() if isinstance(value, date) else harmless(_as_text(value))


def _as_text(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "; ".join(f"{k} = {_as_text(v)}" for k, v in value.items())
    if isinstance(value, Iterable) and not isinstance(value, str):
        return ", ".join(_as_text(v) for v in value)
    return str(value)


def _settings(answer: "Answer") -> list[tuple[str, str]]:
    return [(spoken(k), _as_text(v)) for k, v in answer.settings.items() if v not in (None, (), {})]


def _row_of(found: "Finding") -> tuple[Any, ...]:
    return tuple(getattr(found, name) for name in FINDINGS)


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
    day, time = (book.add_format({"num_format": form}) for form in ("yyyy-mm-dd", "yyyy-mm-dd hh:mm:ss"))
    widths = [len(column) for column in head]
    for c, column in enumerate(head):
        sheet.write_string(0, c, column, bold)
    for r, row in enumerate(rows, start=1):
        for c, value in enumerate(row):
            if value is None:
                continue
            widths[c] = max(widths[c], min(len(_as_text(value)), WIDEST))
            if isinstance(value, bool):
                sheet.write_boolean(r, c, value)
            elif isinstance(value, int | float) and isfinite(value):
                sheet.write_number(r, c, value)
            elif isinstance(value, datetime):
                sheet.write_datetime(r, c, value, time)
            elif isinstance(value, date):
                sheet.write_datetime(r, c, value, day)
            else:
                _text_cell(sheet, r, c, _as_text(value))
    for c, width in enumerate(widths):
        sheet.set_column(c, c, width + 2)
    sheet.freeze_panes(1, 0)


def _text_cell(sheet: Any, row: int, column: int, text: str) -> None:
    if len(text) > MOST_LETTERS:
        raise RequestError(
            f"a text of {counted(len(text), 'letter')} is more than a cell holds ({MOST_LETTERS:,}); write a CSV."
        )
    sheet.write_string(row, column, shown(text))


def _html_table(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    cells = "".join(f'<th scope="col">{escape(spoken(name))}</th>' for name in head)
    return (
        f'<div class="wide" tabindex="0"><table><thead><tr>{cells}</tr></thead>\n<tbody>\n'
        + "".join(_html_rows(rows))
        + "</tbody></table></div>"
    )


def _html_rows(rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    for row in rows:
        cells = []
        for value in row:
            number = isinstance(value, int | float) and not isinstance(value, bool)
            cells.append(f'<td class="n">{_cell(value)}</td>' if number else f"<td>{escape(shown(_cell(value)))}</td>")
        yield f"<tr>{''.join(cells)}</tr>\n"


def _cell(value: Any) -> str:
    if value is None:
        return "no data"
    if isinstance(value, float):
        return f"{value:,.4g}" if 0 < abs(value) < 1e-3 else f"{value:,.4f}"
    if isinstance(value, int) and not isinstance(value, bool):
        return f"{value:,}"
    return _as_text(value)


def _written(path: str | Path, content: bytes) -> Path:
    place = Path(path)
    try:
        write_whole(place, content)
    except OSError as error:
        raise RequestError(f"{place} cannot be written: {error.strerror or error}.") from error
    return place
