"""The page's tables as one workbook: a sheet a table, counts and shares as numbers, every other cell as text."""

import re
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path

from rqa.answers.core.workbook import Share, Sheet, write_sheets
from rqa.depot import Depot
from rqa.progress import Progress, Stage, silent
from rqa.review.describe import describe
from rqa.review.facts import MonthFacts, PageTable
from rqa.review.ledger import read_ledger
from rqa.review.page import Page, folder_of, target_of
from rqa.stopping import held

COUNT = re.compile(r"\d{1,3}(,\d{3})*|\d+")
SHARE = re.compile(r"(\d+(?:\.\d+)?)[ \u00a0]%")
NUMBER = r"[−-]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
RANGE = re.compile(rf"({NUMBER})(?:[ \u00a0]%)? to ({NUMBER})([ \u00a0]%)?")
"""An interval as texts give it: two numbers, or two percentages of which the last alone may say so."""
MISSING = ("no data", "–")
FRONT = ("measure", "month", "share", "95 % from", "95 % to", "state", "goal")
PROBLEMS = ("place", "what", "cases", "of", "avoidable", "worth", "next", "action", "state", "findings")
DAYS = "days out"
MEASURES = ("measure", "month", "share", "95 % interval", "counts", "before", "difference", "in a word", "in words")


def write_workbook(depot: Depot, to: str | Path, month: str | date | None = None, progress: Progress = silent) -> Page:
    """Write the tables of one month's page; `to` is the file, or a folder for `review-YYYY-MM.xlsx`."""
    facts = describe(depot, month, read_ledger(folder_of(to)), progress)
    progress(Stage("writing the workbook"))
    with held():
        return Page(write_tables(facts, target_of(to, facts, ".xlsx")), facts.headline, facts.sheet.to_act)


def write_tables(facts: MonthFacts, path: Path) -> Path:
    """Write the workbook of a page's facts; the sheet's figures come first, then what the other tables hold."""
    tables = dict(_tables(facts))
    front: list[tuple[object, ...]] = [
        ("depot", facts.title), ("month", facts.month_name), ("as seen on", facts.as_of), ("in a line", facts.headline),
        *((f"sheet {name}", table.caption) for name, table in tables.items()),
        *(("note", note) for note in (*facts.notes, *(n for s in facts.sections for n in s.notes))),
        *(("caution", caution) for caution in facts.cautions), ("made by", facts.made_by),
    ]
    verdicts = [
        (v.measure, v.month, v.share, v.interval, v.counts, v.before, v.difference, v.word, v.sentence)
        for v in facts.verdicts
    ]
    measures = [
        (v.measure, v.month, _value(v.share), *_ends(v.interval), t.word, t.goal)
        for v, t in zip(facts.verdicts, facts.sheet.tiles, strict=True)
    ]
    problems = [
        (p.where, p.what, p.events, p.jobs, p.avoided, p.worth, p.check, p.action, p.state, ", ".join(p.ids))
        for p in facts.sheet.problems
    ]
    said: list[tuple[object, ...]] = [*((f"verdict {n}", text) for n, text in enumerate(facts.sheet.verdict, 1))]
    said += [(line.heading.lower(), item) for line in facts.sheet.lines for item in line.items]
    front[3:3] = said
    found = [(p.id, p.state, p.where, p.what, p.size, p.caution, p.check) for p in facts.pointers]
    sheets: list[Sheet] = [("sheet", FRONT, measures)]
    sheets += [("what to act on", PROBLEMS, problems)] if problems else []
    sheets += [("page", ("what", "how"), front), ("measures", *_cells(MEASURES, verdicts, 1))]
    if found:
        sheets.append(("where to look", ("finding", "state", "where", "what", "size", "mind", "next check"), found))
    if facts.lists:
        sheets.append(("jobs behind findings", *_listed(facts)))
    for name, table in tables.items():
        sheets.append((name, *_cells(table.columns, table.rows, table.names)))
    return write_sheets(sheets, path)


def _listed(facts: MonthFacts) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """The jobs behind the findings, as far as the page shows them, each with its finding; ids stay texts."""
    heads = tuple(dict.fromkeys(head for made in facts.lists for head in made.table.columns))
    rows: list[tuple[object, ...]] = []
    for made in facts.lists:
        for row in made.table.rows:
            cells = dict(zip(made.table.columns, row, strict=True))
            rows.append((made.id, made.what, *(_cell(head, cells.get(head, "–")) for head in heads)))
    return ("finding", "behind it", *heads), rows


def _cell(head: str, text: str) -> object:
    return None if text in MISSING else int(text) if head == DAYS else text


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


def _cells(
    heads: Sequence[str], rows: Sequence[tuple[str, ...]], names: int
) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """A table of texts as head and cells: numbers as numbers, and each column of intervals as two of numbers."""
    apart = [n >= names and _is_range([row[n] for row in rows]) for n in range(len(heads))]
    head = [name for n, h in enumerate(heads) for name in ((f"{h}, from", f"{h}, to") if apart[n] else (h,))]
    cells = [
        tuple(
            cell for n, text in enumerate(row)
            for cell in (_ends(text) if apart[n] else (text if n < names else _value(text),))
        )
        for row in rows
    ]
    return tuple(head), cells


def _is_range(texts: Sequence[str]) -> bool:
    """Whether a column holds intervals, as far as it holds anything."""
    said = [text for text in texts if text not in MISSING]
    return bool(said) and all(RANGE.fullmatch(text) for text in said)


def _ends(text: str) -> tuple[object, object]:
    """Both ends of an interval as numbers; empty where there is none."""
    found = RANGE.fullmatch(text)
    if not found:
        return None, None
    low, high = (float(end.replace(",", "").replace("−", "-")) for end in found.groups()[:2])
    return (Share(round(low / 100, 6)), Share(round(high / 100, 6))) if found[3] else (low, high)


def _value(text: str) -> object:
    """A count or share as a number, "no data" as an empty cell, anything else as it is."""
    if text == "no data":
        return None
    if COUNT.fullmatch(text):
        return int(text.replace(",", ""))
    share = SHARE.fullmatch(text)
    return Share(round(float(share[1]) / 100, 6)) if share else text
