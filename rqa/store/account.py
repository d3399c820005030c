"""The account of a load: what became of every row of every file, read again or not, and the proof that it adds up."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import duckdb

from rqa.contract import Table
from rqa.errors import StoreError
from rqa.store.load_log import LastLoad, one
from rqa.store.merge import keep_rejects
from rqa.store.planned import SELECT, Plan
from rqa.store.report import FileCount
from rqa.store.select_sources import NamedRead
from rqa.store.staged import Staged
from rqa.store.verdicts import Places
from rqa.words import counted

SELECTED = "(select)"
"""What stands for a table in the account of a file whose rows go to SELECTs of the mapping."""
Account = list[tuple[Staged, FileCount]]


def read_files(files: Iterable[Staged], places: Places) -> Account:
    """The account of the files that were read for one table."""
    found = []
    for f in files:
        v, in_file = places.verdicts[f.file_no], f.rows + len(f.rejects)
        found.append(
            (f, FileCount(f.label, f.table, in_file, v["left_out"], in_file - v["left_out"], v["accepted"],
                          v["refused"], v["known"], v["superseded"], merged=v["merged"]))
        )
    return found


def unread_file(item: Plan, number: int, earlier: LastLoad) -> tuple[Staged, FileCount]:
    """The account of a file that is what it was when last loaded: all is known but what is still refused or merged."""
    same = Staged(item.label, item.entry.table.name, number, item.digest, item.fingerprint)
    return same, _still(item.label, same.table, earlier)


def _still(label: str, table: str, e: LastLoad) -> FileCount:
    known = e.read - e.refused - e.merged
    return FileCount(
        label, table, e.in_file, e.left_out, e.read, 0, e.refused, known, 0, unchanged=True, merged=e.merged
    )


def with_stored_rows(
    account: Account, table: Table, places: Places, items: Iterable[Plan], had: Mapping[str, int]
) -> Account:
    """The account of a table with what became of rows that the store held: restored, replaced, withdrawn.

    `items` are the readings for the table; rows that bear a file's name may be those of a SELECT over it. What several
    entries make of one file is told with the first of them. `had` is how many rows the store held of each file.
    """
    own = {i.label for i in items}
    reading = {label: i.label for i in items for label in i.labels if label not in own}

    def of_readings(counts: Mapping[str, int]) -> Counter[str]:
        found = Counter[str]()
        for label, n in counts.items():
            found[reading.get(label, label)] += n
        return found

    restored, replaced, withdrawn = map(of_readings, (places.restored, places.replaced, places.withdrawn))
    held = of_readings(had)
    found = []
    for file, count in account:
        again = restored.pop(count.source_file, 0)
        found.append((
            file,
            replace(count, accepted=count.accepted + again, known=count.known - again,
                    replaced=replaced.pop(count.source_file, 0), withdrawn=withdrawn.pop(count.source_file, 0),
                    had=held[count.source_file]),
        ))
    for label in dict.fromkeys([*restored, *replaced, *withdrawn]):
        n, changed, lost = restored[label], replaced[label], withdrawn[label]
        count = FileCount(label, table.name, n, 0, n, n, 0, 0, 0, False, lost, changed, held[label])
        found.append((Staged(label, table.name, -1, "", ""), count))
    return found


def named_files(
    connection: duckdb.DuckDBPyConnection,
    read: Iterable[NamedRead],
    items: Sequence[Plan],
    earlier: Mapping[str, Sequence[LastLoad]],
    kept: Iterable[str],
    load_id: int,
) -> Account:
    """The account of files read for SELECTs: their rows go on to these; what is no row is refused here.

    `earlier` are the accounts of the last load by file; refusals of `kept` files stay.
    """
    account: Account = []
    done = list(read)
    labels = {f.label for f in done}
    still = dict.fromkeys(f.label for i in items for f in i.named if f.label not in labels)
    stay = [*still, *kept]
    beside = {f.label for i in items for f in i.named if f.name in i.beside}
    connection.execute(
        "delete from refused where table_name = $1 and not list_contains($2, source_file)", [SELECTED, stay]
    )
    for f in done:
        staged = Staged(f.label, SELECTED, -1, f.digest, "", f.rows, first_row=f.first_row, rejects=f.rejects)
        staged.beside = f.label in beside
        keep_rejects(connection, staged, load_id)
        n, none = f.rows + len(f.rejects), len(f.rejects)
        left_out, refused = (none, 0) if staged.beside else (0, none)
        account.append((staged, FileCount(f.label, SELECTED, n, left_out, n - left_out, f.rows, refused, 0, 0)))
    for label in still:
        for e in earlier.get(label, ()):
            account.append((Staged(label, SELECTED, -1, e.digest, ""), _still(label, SELECTED, e)))
    return account


def prove(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    account: Account,
    places: Places,
    items: Iterable[Plan],
    rows_before: int,
) -> None:
    """Raise `StoreError` unless every row of every file, and every row of the table, is accounted for."""
    counts = [c for _, c in account]
    wrong = [f"{c.source_file}: {c}" for c in counts if not c.adds_up]
    due = rows_before + sum(c.accepted for c in counts) - places.left
    there = one(connection, f"select count(*) from main.{table.name}")
    if there != due:
        wrong.append(f"{table.name}: {counted(due, 'row is', 'rows are')} due, {there} are there")
    labels = Counter(label for i in items for label in i.labels)
    refused = dict(
        connection.execute(
            "select source_file, count(distinct source_row) from refused where table_name = $1 group by all",
            [table.name],
        ).fetchall()
    )
    for c in counts:
        # Rows of a SELECT are refused under the names of the files that it draws on.
        alone = labels[c.source_file] == 1 and not c.source_file.startswith(SELECT)
        if alone and c.refused != refused.get(c.source_file, 0):
            wrong.append(
                f"{c.source_file}: {counted(c.refused, 'row')} refused, {refused.get(c.source_file, 0)} kept as refused"
            )
    if wrong:
        faults = "\n".join(f"  - {w}" for w in wrong)
        raise StoreError(f"the load does not add up, so nothing was stored; please report it:\n{faults}")
