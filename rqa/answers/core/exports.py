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
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.answers.core.html_table import Cell, html_table
from rqa.answers.core.workbook import MOST_ROWS, Sheet, as_text, write_sheets, written
from rqa.errors import RequestError
from rqa.shown import shown
from rqa.words import counted, spoken

if TYPE_CHECKING:
    from rqa.answers.core.finding import Finding
    from rqa.answers.core.result import Answer

SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"
FORMULA = re.compile(f"^(?=[{SIGNS}\t\r\n])|(?<=[;\t\r\n])(?=[{SIGNS}])")
"""Where a spreadsheet may find a formula: at the beginning of a text or of what may be another cell."""
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
    return written(path, text.getvalue().encode("utf-8"))


def to_excel(answer: "Answer", path: str | Path) -> Path:
    """Write a workbook: the table, what was asked with the notes, and what is statistically clear."""
    return sheets_to_excel({"": answer}, path)


def sheets_to_excel(answers: Mapping[str, "Answer"], path: str | Path) -> Path:
    """Write several answers into one workbook, each with its sheets; the keys name them."""
    sheets: list[Sheet] = []
    for name, answer in answers.items():
        if answer.table.height > MOST_ROWS:
            raise RequestError(
                f"{counted(answer.table.height, 'row is', 'rows are')} more than a sheet holds ({MOST_ROWS:,}); write "
                "a CSV, or ask for fewer groupings."
            )
        front = f"{name} " if name else ""
        sheets.append((f"{front}table", answer.table.columns, answer.table.iter_rows()))
        about = [("question", answer.question), *_settings(answer), *(("note", note) for note in answer.notes)]
        sheets.append((f"{front}about", ("what", "how"), about))
        if answer.findings:
            sheets.append((f"{front}findings", FINDINGS, map(_row_of, answer.findings)))
    return write_sheets(sheets, path)


def to_html(answer: "Answer", path: str | Path) -> Path:
    """Write a page of its own: the table, what was asked, the notes, and what is statistically clear."""
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
        + (f"<h2>Statistically clear</h2>\n{found}\n" if answer.findings else "")
        + (f"<h2>Notes</h2>\n<ul>{notes}</ul>\n" if notes else "")
        + "</body>\n</html>\n"
    )
    return written(path, page.encode("utf-8"))


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
    return value.isoformat() if isinstance(value, date) else harmless(as_text(value))


def _settings(answer: "Answer") -> list[tuple[str, str]]:
    return [(spoken(k), as_text(v)) for k, v in answer.settings.items() if v not in (None, (), {})]


def _row_of(found: "Finding") -> tuple[Any, ...]:
    return tuple(getattr(found, name) for name in FINDINGS)


def _html_table(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    table = html_table([(spoken(name), False) for name in head], ([_html_cell(value) for value in row] for row in rows))
    return f'<div class="wide" tabindex="0">{table}</div>'


def _html_cell(value: Any) -> Cell:
    return shown(_cell(value)), isinstance(value, int | float) and not isinstance(value, bool)


def _cell(value: Any) -> str:
    if value is None:
        return "no data"
    if isinstance(value, float):
        return f"{value:,.4g}" if 0 < abs(value) < 1e-3 else f"{value:,.4f}"
    if isinstance(value, int) and not isinstance(value, bool):
        return f"{value:,}"
    return as_text(value)
