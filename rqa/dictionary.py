"""The data dictionary, made from the contract: `python -m rqa.dictionary shared/data_dictionary.md` renews it."""

import sys
from pathlib import Path

from rqa.contract import TABLES, Column, Table
from rqa.words import listed

START, END = "<!-- data dictionary: start -->", "<!-- data dictionary: end -->"


def _says(column: Column) -> str:
    text = column.meaning
    if column.allowed:
        text += ": " + ", ".join(f"`{a}`" for a in column.allowed)
    if column.unit:
        text += f" ({column.unit})"
    if column.at_least is not None:
        text += f"; at least {column.at_least:g}"
    if column.default is not None:
        text += f"; default {column.default}"
    if column.numbered:
        text += "; derived when the source has none"
    return text


def _need(column: Column) -> str:
    return "key" if column.key else "required" if column.required else ""


def _section(table: Table) -> str:
    lines = [f"**`{table.name}`**: {table.row}{' (reference)' if table.reference else ''}", ""]
    lines += ["| column | kind | | meaning |", "|---|---|---|---|"]
    lines += [f"| `{c.name}` | {c.kind} | {_need(c)} | {_says(c)} |" for c in table.columns]
    for day, times in table.days:
        lines.append(f"| `{day}` | date | added | day of {' or else '.join(times)} in the site's own calendar |")
    for rule in table.rules:
        lines.append(f"| `{rule.column}` | | rule | refused: {rule.name} |")
    return "\n".join([*lines, *_of_lines(table)])


def _of_lines(table: Table) -> list[str]:
    """How lines of a source become one row of the table, where the mapping says that they do."""
    of = table.lines
    if of is None:
        return []
    same, each, key = (listed([f"`{n}`" for n in names]) for names in (of.same, of.each, table.key))
    return [
        "",
        f"With `lines` in the mapping, rows that give the same {key} are lines of one row.",
        f"`{of.start}` is the earliest and `{of.end}` the latest of them. `{of.state}` is `{of.open}` while a line is,",
        f"and `{of.void}` only if all lines are. Of every other column the first value counts.",
        f"Each line gives {key} and {each}. Lines that differ in one of {same} are refused.",
    ]


def data_dictionary() -> str:
    """The eleven tables as Markdown."""
    return "\n\n".join(_section(t) for t in TABLES.values())


def renewed(page: str) -> str:
    """The page's text with the dictionary between its two marks made anew; `ValueError` if a mark is missing."""
    before, rest = page.split(START)
    _, after = rest.split(END)
    return f"{before}{START}\n\n{data_dictionary()}\n\n{END}{after}"


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
