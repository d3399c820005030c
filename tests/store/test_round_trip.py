"""Nothing is lost on its way: every column of every table, in every source format, from the value written to the store.

Values are made from the contract's kinds, so that a new column or table is covered without a change here.
"""

import csv
import gzip
import json
import re
import sqlite3
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import polars as pl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.contract import TABLES, UNIT_COLUMN, Column, Table
from rqa.intake.values import SQL_TYPES
from tests.examples import examples
from tests.workspaces import Workspace, engine

Row = dict[str, Any]
"""A row's values by column, as stored: text, int, float, datetime, bool, list of texts, date, or None."""

WORDS = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=6)
TEXTS = st.one_of(st.sampled_from(["0007", "NULL", "nan", "-", "true", '{"a":1}', "a,b;c", 'say "no"', "~x"]), WORDS)
TIMES = st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 30))
DATES = st.dates(date(1990, 1, 1), date(2099, 12, 31))


def values_of(column: Column) -> st.SearchStrategy[Any]:
    """The values that a column of the contract can hold, as they are stored."""
    least = int(column.at_least or 0)
    words = st.sampled_from(column.allowed or ("board", "screen", "port"))
    made: dict[str, st.SearchStrategy[Any]] = {
        "text": st.text("ABXYZ0189-", min_size=1, max_size=8) if column.name == UNIT_COLUMN else TEXTS,
        "code": words,
        "integer": st.integers(least, 2**53),
        # A sheet holds 15 digits.
        "number": st.floats(least, 1e9, allow_nan=False).map(lambda x: round(x, 3)),
        "time": st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 30)).map(
            lambda t: t.replace(microsecond=0, fold=0)
        ),
        "boolean": st.booleans(),
        "list": st.lists(words, unique=True, min_size=1).map(sorted),
        "date": DATES,
        "month": DATES.map(lambda d: d.replace(day=1)),
    }
    return made[column.kind]


def ordered(table: Table, row: Row) -> Row:
    """The row with two values changed about where a rule says which of them is the larger."""
    for rule in table.rules:
        if found := re.fullmatch(r"(\w+) ([<>]) (\w+)", rule.broken):
            below, above = (found[3], found[1]) if found[2] == "<" else (found[1], found[3])
            if None not in (row[below], row[above]):
                row[below], row[above] = sorted((row[below], row[above]))
    return row


@st.composite
def rows_of(draw: st.DrawFn, table: Table) -> list[Row]:
    """Rows of one table with keys of their own, the first with a value in every column."""
    key = st.fixed_dictionaries({k: values_of(table.column(k)) for k in table.key})
    keys = draw(st.lists(key, min_size=2, max_size=5, unique_by=lambda k: tuple(k.values())))
    made = []
    for number, start in enumerate(keys):
        rest = {}
        for c in table.columns:
            if not c.key:
                some = values_of(c)
                # A column with a default cannot be stored without a value.
                rest[c.name] = draw(some if not number or c.required or c.default is not None else st.none() | some)
        made.append(ordered(table, start | rest))
    return made


DEPOTS = st.fixed_dictionaries({t.name: rows_of(t) for t in TABLES.values()})


def written(table: Table, row: Row) -> dict[str, str | None]:
    """The row as texts, as an export would write them."""
    texts: dict[str, str | None] = {}
    for name, value in row.items():
        month = table.column(name).kind == "month"
        texts[name] = (
            None if value is None
            else "; ".join(value) if isinstance(value, list)
            else str(value).lower() if isinstance(value, bool)
            else f"{value:%Y-%m}" if month
            else str(value)
        )
    return texts


def to_csv(table: Table, rows: list[Row], path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(written(table, r) for r in rows)


def to_gzip(table: Table, rows: list[Row], path: Path) -> None:
    to_csv(table, rows, path)
    path.write_bytes(gzip.compress(path.read_bytes()))


def to_jsonl(table: Table, rows: list[Row], path: Path) -> None:
    path.write_text("".join(json.dumps(r, default=str, ensure_ascii=False) + "\n" for r in rows), encoding="utf-8")


def to_xlsx(table: Table, rows: list[Row], path: Path) -> None:
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        forms = {t: book.add_format({"num_format": f}) for t, f in
                 ((datetime, "yyyy-mm-dd hh:mm:ss"), (date, "yyyy-mm-dd"))}
        for c, name in enumerate(rows[0]):
            sheet.write_string(0, c, name)
            for r, row in enumerate(rows, 1):
                value = row[name]
                if isinstance(value, bool):
                    sheet.write_boolean(r, c, value)
                elif isinstance(value, int | float):
                    sheet.write_number(r, c, value)
                elif type(value) in forms and table.column(name).kind != "month":
                    sheet.write_datetime(r, c, value, forms[type(value)])
                elif value is not None:
                    sheet.write_string(r, c, str(written(table, row)[name]))


def frame(table: Table, rows: list[Row]) -> pl.DataFrame:
    """The rows with types of their own."""
    types = {"integer": pl.Int64, "number": pl.Float64, "time": pl.Datetime, "boolean": pl.Boolean,
             "list": pl.List(pl.String), "date": pl.Date, "month": pl.Date}
    return pl.DataFrame(rows, schema={n: types.get(table.column(n).kind, pl.String) for n in rows[0]})


def to_parquet(table: Table, rows: list[Row], path: Path) -> None:
    frame(table, rows).write_parquet(path)


def to_sqlite(table: Table, rows: list[Row], path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        names = ", ".join(f'"{n}"' for n in rows[0])
        connection.execute(f"create table t ({names})")
        plain = [[v if isinstance(v, int | float) else written(table, r)[n] for n, v in r.items()] for r in rows]
        connection.executemany(f"insert into t values ({', '.join('?' * len(rows[0]))})", plain)
        connection.commit()


FORMATS: dict[str, Callable[[Table, list[Row], Path], None]] = {
    "csv": to_csv, "csv.gz": to_gzip, "jsonl": to_jsonl, "xlsx": to_xlsx, "parquet": to_parquet, "sqlite": to_sqlite,
}


def expected(table: Table, rows: list[Row]) -> list[Row]:
    """The rows that break no rule over several columns, as the engine reads the contract's rules."""
    with engine() as connection:
        connection.execute(
            f"create temp table t (place INT, {', '.join(f'{c.name} {SQL_TYPES[c.kind]}' for c in table.columns)})"
        )
        for place, row in enumerate(rows):
            values = [row.get(n) for n in table.names]
            connection.execute(f"insert into t values ({', '.join('?' * (len(values) + 1))})", [place, *values])
        broken = " or ".join(f"coalesce({r.broken}, false)" for r in table.rules) or "false"
        kept = {p for (p,) in connection.execute(f"select place from t where not ({broken})").fetchall()}
    return [r for place, r in enumerate(rows) if place in kept]


def counted(rows: list[tuple[Any, ...]]) -> Counter[str]:
    return Counter(map(repr, rows))


@pytest.mark.parametrize(
    ("way", "numbers"),
    [
        ("from", "given"),
        pytest.param("select", "given", marks=pytest.mark.slow),
        pytest.param("from", "derived", marks=pytest.mark.slow),
    ],
)
@pytest.mark.parametrize("form", [*FORMATS, "frame"])
@settings(max_examples=examples(2))
@given(depot=DEPOTS)
def test_every_value_of_every_column_is_stored(form: str, way: str, numbers: str, depot: dict[str, list[Row]]) -> None:
    tables = {n: t for n, t in TABLES.items() if numbers == "given" or any(c.numbered for c in t.columns)}
    names = {n: [c.name for c in t.columns if numbers == "given" or not c.numbered] for n, t in tables.items()}
    rows = {n: [{k: r[k] for k in names[n]} for r in depot[n]] for n in tables}
    with TemporaryDirectory() as folder:
        ws = Workspace(Path(folder))
        files: dict[str, Any] = {
            n: {"path": f"{n}.{form}"} | ({"table": "t"} if form == "sqlite" else {}) for n in tables
        }
        frames = None
        if form == "frame":
            files = {n: {"format": "frame"} for n in tables}
            frames = {n: frame(t, rows[n]) for n, t in tables.items()}
        else:
            for n, t in tables.items():
                FORMATS[form](t, rows[n], ws.folder / f"{n}.{form}")
        read = {"from": lambda n: {"from": n}, "select": lambda n: {"select": f"select * from {n}"}}[way]
        report = ws.load({"files": files, "table": [{"table": n} | read(n) for n in tables]}, frames=frames)
        for n, t in tables.items():
            due = expected(t, rows[n])
            stored = counted(ws.rows(f"select {', '.join(names[n])} from {n}"))
            sent = counted([tuple(r.values()) for r in due])
            assert (stored - sent, sent - stored) == (Counter(), Counter()), n
            (count,) = [f for f in report.files if f.table == n]
            assert count.accepted == len(due)
            assert count.refused == len(rows[n]) - len(due)
            assert ws.one(f"select count(distinct source_row) from refused where table_name = '{n}'") == count.refused
