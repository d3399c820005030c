"""What the sample's files hold is in the store: cell by cell for every mapped column, less the rows refused."""

import csv
import gzip
import json
import tomllib
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import duckdb
import openpyxl
import pytest

from rqa.contract import TABLES
from tests.made_once import Shelf

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
Cells = dict[str, Any]


@pytest.fixture(scope="module")
def loaded(shelf: Shelf) -> tuple[Path, Any]:
    folder, report = shelf.sample()
    return folder / "depot.duckdb", report


def files_of(spec: dict[str, Any]) -> list[Path]:
    patterns = [spec["path"]] if isinstance(spec["path"], str) else spec["path"]
    return [p for pattern in patterns for p in sorted(SAMPLE.glob(pattern))]


def rows_in(path: Path, spec: dict[str, Any]) -> Iterator[tuple[int, Cells]]:
    """The rows of one file as a reader of its own gives them, each with its number in an editor."""
    if path.suffix == ".xlsx":
        with closing(openpyxl.load_workbook(path, read_only=True)) as book:
            sheet = book[spec["sheet"]].iter_rows(values_only=True)
            names = [str(n) for n in next(sheet)]
            yield from ((n, dict(zip(names, row, strict=False))) for n, row in enumerate(sheet, 2))
        return
    data = gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
    text = data.decode(spec.get("encoding", "utf-8-sig"))
    if ".jsonl" in path.name:
        for n, line in enumerate(text.splitlines(), 1):
            try:
                yield n, json.loads(line)
            except ValueError:
                continue
    else:
        reader = csv.DictReader(text.splitlines(), delimiter=spec.get("delimiter", ","))
        yield from enumerate(reader, 2)


def cell(row: Cells, name: str) -> Any:
    """The value under a name; "a.b" reaches into objects."""
    for part in [name] if name in row else name.split("."):
        row = row.get(part) if isinstance(row, dict) else None  # type: ignore[assignment]
    return row


def sources_of(entry: dict[str, Any], names: tuple[str, ...], row: Cells) -> list[tuple[str, str]]:
    """The table's columns, each with the name under which rows like this one have it."""
    found = []
    for name in names:
        origin = entry.get("columns", {}).get(name, name if name in row else None)
        source = origin.get("column") if isinstance(origin, dict) else origin
        if source:
            found.append((name, source))
    return found


def test_cells_of_the_sources_are_those_of_the_store(loaded: tuple[Path, Any]) -> None:
    """The filled cells of the rows that stand in the store are counted in the files and in the store."""
    store, _ = loaded
    mapping = tomllib.loads((SAMPLE / "sources.toml").read_text())
    compared = set()
    with duckdb.connect(str(store), read_only=True) as connection:
        for entry in mapping["table"]:
            if "from" not in entry:
                continue
            table, spec = TABLES[entry["table"]], mapping["files"][entry["from"]]
            missing = {spec["missing"]} if "missing" in spec else set()
            for path in files_of(spec):
                label = path.relative_to(SAMPLE).as_posix()
                standing = {
                    r for (r,) in connection.execute(
                        f"select source_row from {table.name} where source_file = ?", [label]
                    ).fetchall()
                }
                filled: Counter[str] = Counter()
                sources: dict[tuple[str, ...], list[tuple[str, str]]] = {}
                empty = {"", *missing}
                for number, row in rows_in(path, spec):
                    if number in standing:
                        columns = tuple(row)
                        if columns not in sources:
                            sources[columns] = sources_of(entry, table.names, row)
                            filled.update(dict.fromkeys(table.names, 0))
                        for name, source in sources[columns]:
                            value = cell(row, source)
                            filled[name] += value is not None and str(value).strip() not in empty
                shown = ", ".join(f"count({n})" for n in table.names)
                sql = f"select {shown} from {table.name} where source_file = ?"
                stored = connection.execute(sql, [label]).fetchone()
                assert stored is not None
                for name, count in zip(table.names, stored, strict=True):
                    origin = entry.get("columns", {}).get(name)
                    given = name in filled and not (isinstance(origin, dict) and "constant" in origin)
                    if given and not table.column(name).numbered and table.column(name).default is None:
                        assert count == filled[name], (label, table.name, name)
                        compared |= {(table.name, name)} if count else set()
    # Cells that are filled somewhere in the sample, so that a column that is empty in both cannot pass for a proof.
    optional = {(t.name, c.name) for t in TABLES.values() for c in t.columns if not c.required and c.default is None}
    assert ("steps", "fault") in compared
    assert optional - compared == {("actions", "finding_id"), ("actions", "closed_on")}


def test_rows_of_the_sources_are_accounted_for(loaded: tuple[Path, Any]) -> None:
    """Stored, refused, left out, superseded and repeated rows of each file are all that it holds."""
    store, report = loaded
    with duckdb.connect(str(store), read_only=True) as connection:
        for f in report.files:
            if f.table == "(select)" or f.source_file.startswith("select "):
                continue
            one_table = f"where table_name = '{f.table}' and source_file = ?"
            stored, refused, superseded = (
                connection.execute(f"select count({what} ", [f.source_file]).fetchall()[0][0]
                for what in (
                    f"*) from {f.table} where source_file = ?",
                    f"distinct source_row) from refused {one_table}",
                    f"*) from superseded {one_table}",
                )
            )
            assert (f.accepted, f.refused, f.superseded) == (stored, refused, superseded), f
            assert f.in_file == stored + refused + superseded + f.known + f.left_out, f
