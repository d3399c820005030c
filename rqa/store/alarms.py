"""What of a load most likely went wrong as a whole: most rows of a file refused or withdrawn, a table left empty."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence

import duckdb

from rqa.store.report import FileCount
from rqa.words import counted, plural

MOST = 0.5
"""Share of a file's rows that must be refused or withdrawn to be told first, and as a failure."""
FEW = 0.1
"""Share of a file's rows that must be refused for a date before its format is doubted: fewer are typing errors."""
SHOWN = 60
"""Characters of a refused value that are shown."""
CHECKS = (
    ("not a date", "`times` of its files"), ("not a month", "`times` of its files"),
    ("outside ", "`times` of its files"),
    ("not a number", "`decimal` and `thousands` of its files"), ("not a whole number", "the column it is taken from"),
    ("not one of", "`values` of that column"), ("holds an entry", "its separators, and `values` of that column"),
    ("not the same in all lines", "that `job_id` tells one visit from another, and `lines`"),
    ("missing", "the column it is taken from"), ("bytes that", "`encoding` of its files"),
    ("more fields", "`delimiter` and `quote` of its files"), ("fewer fields", "`delimiter` and `quote` of its files"),
    ("a quote", "`quote` of its files"), ("quotes", "`quote` of its files"),
    ("not valid JSON", "that each line of the file is one JSON object"),
)
"""What to check in the mapping, by how the broken rule begins."""


def alarms(connection: duckdb.DuckDBPyConnection, counts: Sequence[FileCount]) -> tuple[str, ...]:
    """One line for each file of which most rows were refused or withdrawn, and for each table that `where` empties."""
    refused = [_refused(connection, c) for c in counts if c.refused > MOST * c.read]
    withdrawn = [_withdrawn(c) for c in counts if c.had and c.withdrawn > MOST * c.had]
    swapped = [said for c in counts if (said := _swapped(connection, c))]
    return (*refused, *withdrawn, *swapped, *_emptied(counts))


def _swapped(connection: duckdb.DuckDBPyConnection, file: FileCount) -> str | None:
    """That the rows accepted of a file most likely have day and month in each other's place; None where not.

    A time format with the two the wrong way round takes every day up to the 12th, and refuses the others.
    """
    found = connection.execute(
        "select column_name, rule, list(value) from refused where table_name = $table and source_file = $file "
        "and rule like 'not a date%' group by all having count(*) > $few order by count(*) desc, 1, 2",
        {"table": file.table, "file": file.source_file, "few": FEW * file.read},
    ).fetchall()
    accepted = file.read - file.refused
    for column, rule, values in found if accepted else []:
        for form in rule.partition("tried: ")[2].rstrip(")").split(", "):
            other = re.sub("(%-?)([dm])", lambda m: m[1] + {"d": "m", "m": "d"}[m[2]], form)
            (fits,) = connection.execute(
                "select count(*) from (select unnest($values) as v) where try_strptime(v, $other) is not null",
                {"values": values, "other": other},
            ).fetchall()[0]
            if other != form and fits > MOST * len(values):
                return (
                    f"{counted(accepted, 'row')} of {file.source_file} ({file.table}) most likely "
                    f"{plural(accepted, 'has', 'have')} day and month swapped: with {form}, {fits:,} of "
                    f"{counted(len(values), 'refused value')} of {column} have a day after the 12th in the place of "
                    f"the month. Write {other} in `times` of its files."
                )
    return None


def _refused(connection: duckdb.DuckDBPyConnection, file: FileCount) -> str:
    said = f"{file.refused:,} of {counted(file.read, 'row')} of {file.source_file} ({file.table}) were refused"
    # Rows that a SELECT makes of several files are refused under the names of these.
    of_file = "source_file = $file or not exists (from refused where table_name = $table and source_file = $file)"
    found = connection.execute(
        f"select column_name, rule, count(*), arg_min(left(value, {SHOWN}), source_row), min(source_row) from refused "
        f"where table_name = $table and ({of_file}) group by all order by 3 desc, 1, 2 limit 1",
        {"table": file.table, "file": file.source_file},
    ).fetchall()
    if not found:
        return f"{said}."
    ((column, rule, rows, value, row),) = found
    shown = f" {value!r}" if value else ""
    check = next((what for begins, what in CHECKS if rule.startswith(begins)), "the mapping of that column")
    return f"{said}, {rows:,} for {column or 'the row'}: {rule}; first{shown} in row {row:,}. Check {check}."


def _withdrawn(file: FileCount) -> str:
    return (
        f"{file.withdrawn:,} of the {counted(file.had, 'row')} that the store had of {file.source_file} ({file.table}) "
        "are withdrawn: the present files and mapping do not give them any more. If that was not meant, correct the "
        "file or the mapping and load again."
    )


def _emptied(counts: Iterable[FileCount]) -> list[str]:
    tables = defaultdict[str, list[FileCount]](list)
    for c in counts:
        tables[c.table].append(c)
    return [
        f"nothing is loaded into {name}: its files hold {counted(sum(c.in_file for c in of), 'row')}, blank or left "
        "out by `where`. Check `where` in sources.toml."
        for name, of in tables.items()
        if sum(c.in_file for c in of) and not sum(c.read for c in of)
    ]
