"""An engine of its own with staged rows put in by hand, to settle them without files."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

import duckdb

from rqa.contract import TABLES
from rqa.store.ddl import create_statements
from rqa.store.settle import settle
from rqa.store.stage import Staged, Stager
from rqa.store.touched import begin

SHOWN = ("accepted", "known", "superseded")


class Depot:
    """One table under settling; files are numbers and named by them."""

    def __init__(self, table: str, columns: Mapping[str, str], derive: str | None = None) -> None:
        self.table, self.columns, self.derive = TABLES[table], list(columns), derive
        self.connection = duckdb.connect(":memory:", config={"threads": 1})
        needed = {f" {n} (" for n in (table, "refused", "superseded", "remarks")}
        for statement in create_statements():
            if any(n in statement for n in needed):
                self.connection.execute(statement)
        self.loads = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    def settle(self, files: Mapping[int, Sequence[Sequence[Any]]], unread: set[int]) -> dict[int, dict[str, int]]:
        """Settle one load's files; the verdicts that rows can get here, by file."""
        self.loads += 1
        begin(self.connection)
        Stager(self.connection, Path()).make_tables({self.table.name: self.derive is not None})
        staged, height = [], 0
        for number, rows in sorted(files.items()):
            names = [*self.columns, "source_file", "file_no", "derive", "left_out"]
            for row in rows:
                self.connection.execute(
                    f"insert into stage_{self.table.name} by name select {', '.join(f'? as {n}' for n in names)}",
                    [*row, str(number), number, self.derive, False],
                )
            staged.append(Staged(str(number), self.table.name, number, "", "", len(rows), height, 1))
            height += len(rows)
        names_unread = {str(n): n for n in unread}
        verdicts = settle(self.connection, self.table, staged, self.loads, names_unread)
        self.connection.execute(f"drop table if exists stage_{self.table.name} cascade")
        return {n: {what: v[what] for what in SHOWN} for n, v in verdicts.items()}

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """The rows of a query, sorted."""
        return sorted(self.connection.execute(sql).fetchall())
