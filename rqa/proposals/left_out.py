"""Blocks of a mapping that stand behind # until a needed column is filled in: how they are written and read again."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from rqa.contract import Column, Table
from rqa.proposals.columns import CODES, Facts
from rqa.proposals.vocabulary import notions_of
from rqa.shown import one_line
from rqa.words import counted, percent

SAID = "# # Not complete, so it is left out: "
HOW = "Fill it in, and take the first # off each line of this block."
TO_FILL = '"…"'
MOST_NAMED = 3
ID_NOTIONS = {"id", "seq", "serial", "unit"}
"""Notions of a header that may name a unit."""
TABLE, FROM = re.compile(r'# table = "(\w+)"'), re.compile(r'# from = "((?:[^"\\]|\\.)*)"')
NEEDED_LINE = re.compile(r"# (\w+) = (.*)")
COULD_BE = re.compile(r"could be .*$")


@dataclass(frozen=True)
class LeftOut:
    """A block behind #: its table, its set of files, and the columns to fill, with what each could be."""

    table: str
    source: str
    unfilled: Mapping[str, str]


def behind_marks(lines: Sequence[str], table: Table, lacking: Collection[str]) -> list[str]:
    """The lines of a table that lacks columns, so that taking the first # off each line makes them TOML again.

    What explains a line keeps a # of its own then, and so does a line that need not be filled. The block ends at an
    empty line.
    """
    first, *others = lines
    needed = tuple(f"# {name} = " for name in lacking)
    said = f"{SAID}{table.name} needs {', '.join(lacking)}. {HOW}"
    return [first, said, *(line if not line or line.startswith(needed) else f"# {line}" for line in others)]


def blocks_left_out(text: str) -> list[LeftOut]:
    """The blocks of a mapping's text that still stand behind #."""
    found = []
    for part in text.split(SAID)[1:]:
        lines = re.split(r"\n[ \t]*\r?\n", part, maxsplit=1)[0].splitlines()
        head, body = lines[0], lines[1:]
        table = next((m[1] for line in body if (m := TABLE.match(line))), "")
        source = next((m[1] for line in body if (m := FROM.match(line))), "")
        if not table or "# [[table]]" not in (line.strip() for line in body):
            continue
        names = head.partition(" needs ")[2].partition(". ")[0].split(", ")
        unfilled = {}
        for at, line in enumerate(body):
            needed = NEEDED_LINE.match(line)
            if needed is not None and needed[1] in names and needed[2].startswith(TO_FILL):
                before = body[at - 1] if at and "required, and not found" in body[at - 1] else ""
                could = COULD_BE.search(line) or COULD_BE.search(before)
                unfilled[needed[1]] = could[0] if could else ""
        found.append(LeftOut(table, source, unfilled))
    return found


def could_be(
    column: Column, table: str, likely: Sequence[tuple[str, float]], facts: Mapping[str, Facts], used: Collection[str]
) -> str:
    """Which columns that are not used a needed one could be, the most likely first; "" where there is none.

    `likely` are those whose headers say so, with how sure each is.
    """
    named = [f"{name!r} ({percent(sure, decimals=0)})" for name, sure in likely]
    there = {name for name, _ in likely}
    left = [f for f in facts.values() if f.name not in used and f.name not in there and _may_be(column, table, f)]
    for one in sorted(left, key=_by_likeness):
        what = f"{counted(one.distinct, 'different value')} in {counted(one.filled, 'row')}"
        named.append(f"{one.name!r} ({what})")
    return one_line(f"could be {' or '.join(named[:MOST_NAMED])}") if named else ""


def _may_be(column: Column, table: str, one: Facts) -> bool:
    if column.kind == "time":
        return one.times is not None
    if one.times is not None or one.clock or one.decimal or one.distinct < 2:
        return False
    if column.kind == "code":
        return bool(one.values) and one.distinct <= CODES
    # A job's number stands once; a unit, a step, a test or a part comes again.
    once = (table, column.name) == ("jobs", "job_id")
    return (one.distinct == one.filled) is once


def _by_likeness(one: Facts) -> tuple[bool, bool, float, float]:
    """The order of columns that could be a unit's: a header that says number, no note, well filled, many values."""
    said = set[str]().union(*notions_of(one.name))
    return not said & ID_NOTIONS, "other" in said, -round(one.given / one.rows if one.rows else 0.0, 2), -one.unique
