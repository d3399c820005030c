"""An engine of its own with staged rows put in by hand, to settle them without files."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

import duckdb

from rqa.contract import TABLES
from rqa.intake.names import DERIVE, FILE_NO, LEFT_OUT
from rqa.store.changed_jobs import begin
from rqa.store.ddl import create_statements
from rqa.store.merge import settle
from rqa.store.order import Changes, StoredFile
from rqa.store.stage import Stager
from rqa.store.staged import Staged
from rqa.store.verdicts import Places, RowsNeededError

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
        self.files: dict[int, Sequence[Sequence[Any]]] = {}
        self.held: dict[str, StoredFile] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    def settle(self, files: Mapping[int, Sequence[Sequence[Any]]]) -> dict[int, dict[str, int]]:
        """Settle one load's files, all others being as they were; the verdicts that rows can get here, by file."""
        self.loads += 1
        self.files |= files
        begin(self.connection)
        changed = frozenset(map(str, files))
        order = tuple(str(n) for n in sorted(self.files))
        what = Changes(order, self.held, tuple(self.held), changed, {}, frozenset())
        try:
            places = self._settle(files, what)
        except RowsNeededError:
            what = what.all_again()
            places = self._settle(self.files, what)
        self.held = what.held_now(places.given, places.repeats)
        self.connection.execute(f"drop table if exists stage_{self.table.name} cascade")
        return {n: {what: v[what] for what in SHOWN} for n, v in places.verdicts.items()}

    def _settle(self, files: Mapping[int, Sequence[Sequence[Any]]], what: Changes) -> Places:
        stager = Stager(self.connection, Path(), sql_minutes=1, memory=None)
        stager.make_tables({self.table.name: self.derive is not None})
        staged, height = [], 0
        for number, rows in sorted(files.items()):
            marked: dict[str, Any] = {FILE_NO: number}
            if self.table.name not in stager.lean:
                marked |= {"source_file": str(number), DERIVE: self.derive, LEFT_OUT: False}
            given = ", ".join(f"? as {n}" for n in [*self.columns, *marked])
            for row in rows:
                self.connection.execute(
                    f"insert into stage_{self.table.name} by name select {given}", [*row, *marked.values()]
                )
            staged.append(Staged(str(number), self.table.name, number, "", "", len(rows), height, 1))
            height += len(rows)
        return settle(self.connection, self.table, staged, self.loads, what)

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """The rows of a query, sorted."""
        return sorted(self.connection.execute(sql).fetchall())
