"""The tables of one load, one after the other: which files are read for each, and how it is brought up to date."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import duckdb

from rqa.contract import TABLES, Table
from rqa.intake.faults import Faults
from rqa.progress import Progress
from rqa.store.account import Account, prove, read_files, unread_file, with_stored_rows
from rqa.store.lines import forget_lines
from rqa.store.load_log import earlier_accounts, one, unchanged
from rqa.store.merge import settle
from rqa.store.meter import Meter, work
from rqa.store.order import GONE, Changes, StoredFile, changes
from rqa.store.planned import Plan
from rqa.store.stage import Stager
from rqa.store.staged import Staged
from rqa.store.verdicts import LATER, Places, RowsNeededError


class Tables:
    """What one load reads for each table; `known` are the readings that need not be made, with their last account."""

    def __init__(
        self,
        connection: duckdb.DuckDBPyConnection,
        stager: Stager,
        items: Sequence[Plan],
        load_id: int,
        progress: Progress,
    ) -> None:
        self.connection, self.stager, self.items, self.load_id = connection, stager, items, load_id
        self.earlier = earlier_accounts(connection)
        self.known = unchanged(items, self.earlier)
        self.progress = progress
        self.meter = Meter(progress, connection, 0)

    def _of(self, table: str) -> list[int]:
        return [n for n, i in enumerate(self.items) if i.entry.table.name == table]

    def plan(self, held: Mapping[str, Mapping[str, StoredFile]], folder: Path, *, keep: bool) -> dict[str, Changes]:
        """What is to be done with each table; `held` are the files whose rows the store holds.

        `keep` says that the rows of files that are gone from the folder stay.
        """
        todo = {}
        for name in TABLES:
            of_table, before = self._of(name), held.get(name, {})
            there = [label for label in before if (folder / label).is_file()]
            read = [place for place, n in enumerate(of_table) if n not in self.known]
            todo[name] = changes([self.items[n] for n in of_table], read, before, there, keep=keep)
            if todo[name].whole:
                self._read_all(name)
        return todo

    def _read_all(self, table: str) -> list[int]:
        """Have every file of a table read; returns those that would not have been."""
        more = [n for n in self._of(table) if n in self.known]
        for n in more:
            del self.known[n]
        return more

    def bind(self, tables: Mapping[str, bool]) -> None:
        """Hold the mapping against every file to be read; make staging tables for those `tables` that change."""
        faults = Faults()
        reading = [i for n, i in enumerate(self.items) if n not in self.known]
        # A name may be copied by an entry whose files need not be read again.
        for item in [i for i in self.items if i.entry.guard.sealed] or reading:
            with faults.gathered(item.entry.place):
                self.stager.bind(item)
        faults.said += self.stager.copied.faults()
        faults.stop()
        self.stager.make_tables({n: self.stager.bound.get(n, True) for n, any_work in tables.items() if any_work})
        self.meter = Meter(self.progress, self.connection, sum(work(i.label, i.size) for i in reading))

    def settle(self, table: Table, what: Changes) -> tuple[Account, dict[str, StoredFile]]:
        """Bring one table up to date; its account, and what is known of each file whose rows it holds.

        Raises `StoreError` if it does not add up.
        """
        of_table = self._of(table.name)
        places = Places(self.load_id, {})
        account: Account = []
        had: Mapping[str, int] = {}
        if what.any:
            before = one(self.connection, f"select count(*) from main.{table.name}")
            had = self._had(table, what)
            files = self._stage(n for n in of_table if n not in self.known)
            self.meter.checking(table.name, sum(work(f.label, self.items[f.file_no].size) for f in files))
            try:
                places = settle(self.connection, table, files, self.load_id, what)
            except RowsNeededError:
                more = self._read_all(table.name)
                for n in more:
                    self.stager.bind(self.items[n])
                files += self._stage(more)
                places = settle(self.connection, table, files, self.load_id, what.all_again())
            account = read_files(files, places)
        account += [unread_file(self.items[n], n, self.known[n]) for n in of_table if n in self.known]
        account.sort(key=lambda found: found[0].file_no)
        items = [self.items[n] for n in of_table]
        account = with_stored_rows(account, table, places, items, had)
        if what.any:
            prove(self.connection, table, account, places, items, before)
        self.connection.execute(f"drop table if exists stage_{table.name} cascade")
        if table.lines is not None:
            forget_lines(self.connection)
        return account, what.held_now(places.given, places.repeats)

    def _had(self, table: Table, what: Changes) -> dict[str, int]:
        """How many rows the store has of each file, but for those that are gone and that the mapping has withdrawn."""
        rows = self.connection.execute(
            f"select source_file, count(*) from (select source_file from main.{table.name} union all "
            "select source_file from main.superseded where table_name = $1 and reason = $2) group by all",
            [table.name, LATER],
        ).fetchall()
        return {label: n for label, n in rows if what.reasons.get(label) != GONE}

    def _stage(self, numbers: Iterable[int]) -> list[Staged]:
        found = []
        for n in numbers:
            self.meter.reading(self.items[n].label, self.items[n].size)
            found.append(self.stager.stage(self.items[n], n))
            self.meter.read(found[-1].rows)
        return found
