"""A table of texts as HTML: the one writer of answers in a notebook, of answers as a page, and of the monthly page."""

from collections.abc import Iterable, Sequence
from html import escape

Cell = tuple[str, bool]
"""A text, and whether it is a number, which stands to the right."""


def html_table(
    head: Iterable[Cell], rows: Iterable[Sequence[Cell]], *, caption: str = "", row_names: bool = False
) -> str:
    """The table, a line a row; every text is escaped. With `row_names` the first cell of a row is its name."""
    lines = ["<table>", f"<caption>{escape(caption)}</caption>"] if caption else ["<table>"]
    lines += ["<thead>" + _row(_named(cell, "col") for cell in head) + "</thead>", "<tbody>"]
    for row in rows:
        first = 1 if row_names else 0
        lines.append(_row([*(_named(cell, "row") for cell in row[:first]), *map(_held, row[first:])]))
    return "\n".join([*lines, "</tbody>", "</table>"])


def plain_table(head: Iterable[tuple[str, str]], rows: Iterable[Iterable[tuple[str, str]]]) -> str:
    """The table as a notebook keeps it: one line; each text has its style, as a notebook's page has none for it."""
    top = _row(f'<th style="{style}">{escape(text)}</th>' for text, style in head)
    body = "".join(_row(f'<td style="{style}">{escape(text)}</td>' for text, style in row) for row in rows)
    return f"<table><thead>{top}</thead><tbody>{body}</tbody></table>"


def _row(cells: Iterable[str]) -> str:
    return f"<tr>{''.join(cells)}</tr>"


def _named(cell: Cell, scope: str) -> str:
    text, number = cell
    right = ' class="n"' if number else ""
    return f'<th scope="{scope}"{right}>{escape(text)}</th>'


def _held(cell: Cell) -> str:
    text, number = cell
    right = ' class="n"' if number else ""
    return f"<td{right}>{escape(text)}</td>"
