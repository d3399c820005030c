"""The page's tables as one workbook: a sheet a table, counts and shares as numbers, every other cell as text."""

import re
from collections.abc import Iterable
from datetime import date
from pathlib import Path

from rqa.answers.core.workbook import Sheet, write_sheets
from rqa.depot import Depot
from rqa.progress import Progress, Stage, silent
from rqa.review.describe import describe
from rqa.review.facts import MonthFacts, PageTable
from rqa.review.ledger import read_ledger
from rqa.review.page import Page, folder_of, target_of
from rqa.stopping import held

COUNT = re.compile(r"\d{1,3}(,\d{3})*|\d+")
SHARE = re.compile(r"(\d+(?:\.\d+)?)[ \u00a0]%")
MEASURES = ("measure", "month", "share", "95 % interval", "counts", "before", "difference", "in a word", "in words")


def write_workbook(depot: Depot, to: str | Path, month: str | date | None = None, progress: Progress = silent) -> Page:
    """Write the tables of one month's page; `to` is the file, or a folder for `review-YYYY-MM.xlsx`."""
    facts = describe(depot, month, read_ledger(folder_of(to)), progress)
    progress(Stage("writing the workbook"))
    with held():
        return Page(write_tables(facts, target_of(to, facts, ".xlsx")), facts.headline)


def write_tables(facts: MonthFacts, path: Path) -> Path:
    """Write the workbook of a page's facts; its first sheet says what the others hold."""
    tables = dict(_tables(facts))
    front: list[tuple[object, ...]] = [
        ("depot", facts.title), ("month", facts.month_name), ("as seen on", facts.as_of), ("in a line", facts.headline),
        *((f"sheet {name}", table.caption) for name, table in tables.items()),
        *(("note", note) for note in (*facts.notes, *(n for s in facts.sections for n in s.notes))),
        *(("caution", caution) for caution in facts.cautions), ("made by", facts.made_by),
    ]
    verdicts = [
        (v.measure, v.month, _value(v.share), v.interval, v.counts, _value(v.before), v.difference, v.word, v.sentence)
        for v in facts.verdicts
    ]
    found = [(p.id, p.state, p.where, p.what, p.size, p.caution, p.check) for p in facts.pointers]
    sheets: list[Sheet] = [("page", ("what", "how"), front), ("measures", MEASURES, verdicts)]
    if found:
        sheets.append(("where to look", ("finding", "state", "where", "what", "size", "mind", "next check"), found))
    for name, table in tables.items():
        sheets.append((name, table.columns, [_row(row, table.names) for row in table.rows]))
    return write_sheets(sheets, path)


def _tables(facts: MonthFacts) -> Iterable[tuple[str, PageTable]]:
    """Every table of the page by a short name."""
    for section in facts.sections:
        for number, table in enumerate(section.tables, 1):
            yield section.key if len(section.tables) == 1 else f"{section.key} {number}", table
    for figure in facts.drawn:
        yield figure.key, figure.table
    for table in (*facts.intake, facts.files):
        if table.rows:
            yield table.caption.lower()[:31], table


def _row(row: tuple[str, ...], names: int) -> tuple[object, ...]:
    return (*row[:names], *map(_value, row[names:]))


def _value(text: str) -> object:
    """A count or share as a number, "no data" as an empty cell, anything else as it is."""
    if text == "no data":
        return None
    if COUNT.fullmatch(text):
        return int(text.replace(",", ""))
    share = SHARE.fullmatch(text)
    return round(float(share[1]) / 100, 6) if share else text
