"""In which order the files of a table stand, and what a load changes of them: some are read, some are gone.

Later rows correct earlier ones, so the order decides what stands. A file that is gone keeps the place that it had.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import duckdb

from rqa.store.planned import SELECT, Plan

GONE, UNMAPPED, WITHDRAWN = (
    "its file is gone",
    "the mapping no longer reads its file",
    "its file, as mapped now, no longer gives it",
)
"""Why a row is withdrawn."""
ORDER = "file_order"
"""The temporary table of a table's files while it is settled: where each stands, stood, and what is to be done."""


@dataclass(frozen=True)
class StoredFile:
    """What the store knows of one file whose rows it holds: the numbers it lacks, how many of its rows repeat others.

    `gone` says that the file was not there when the store was last loaded.
    """

    derive: str
    repeats: int
    gone: bool = False


@dataclass(frozen=True)
class Changes:
    """What a load is to do with one table's files.

    `order` has all of them, those that are gone too; `changed` are those whose rows are taken back and, where the file
    is still read, given anew; `reasons` says why rows of those no longer read go. `whole`: every file is read again.
    """

    order: tuple[str, ...]
    before: Mapping[str, StoredFile]
    old_order: tuple[str, ...]
    changed: frozenset[str]
    reasons: Mapping[str, str]
    kept: frozenset[str]
    whole: bool = False

    @property
    def any(self) -> bool:
        """Whether there is anything to do."""
        return bool(self.changed) or self.whole

    @property
    def unsure(self) -> frozenset[str]:
        """Unchanged files behind a changed one with rows that the store does not hold as theirs: repeats of others.

        Of a file that is gone nothing is known but what the store holds.
        """
        first = next((i for i, label in enumerate(self.order) if label in self.changed), len(self.order))
        behind = (label for label in self.order[first:] if label not in self.changed and label not in self.kept)
        return frozenset(label for label in behind if label in self.before and self.before[label].repeats)

    def all_again(self) -> "Changes":
        """The same with every file that is still there read again."""
        return replace(self, changed=frozenset(self.order) - self.kept, whole=True)

    def held_now(self, given: Mapping[str, StoredFile], repeats: Mapping[str, int]) -> dict[str, StoredFile]:
        """What is known of each file whose rows the store holds after the load, in order.

        `given` is what was found of files that were read, `repeats` how many more rows of the others repeat some now.
        """
        found = {}
        for label in self.order:
            if label in given:
                found[label] = given[label]
            elif label in self.before and label not in self.reasons:
                kept = self.before[label]
                # The rows of a file that is gone are those that the store holds.
                more = 0 if label in self.kept else kept.repeats + repeats.get(label, 0)
                found[label] = StoredFile(kept.derive, more, label in self.kept)
        return found


def merged(old: Sequence[str], new: Iterable[str]) -> list[str]:
    """The new order, with names of the old one that it lacks behind what they stood behind."""
    found = list(dict.fromkeys(new))
    there = set(found)
    for place, label in enumerate(old):
        if label not in there:
            found.insert(found.index(old[place - 1]) + 1 if place else 0, label)
            there.add(label)
    return found


def changes(
    items: Sequence[Plan], read: Iterable[int], before: Mapping[str, StoredFile], there: Iterable[str], *, keep: bool
) -> Changes:
    """What is to be done with one table: `items` are its readings in order, `read` the places of those to be read.

    `before` are the files that the store holds rows of, in their order; `there` the files that stand in the folder
    though nothing reads them. `keep` says that rows of files that are gone stay.
    """
    new = list(dict.fromkeys(label for i in items for label in i.labels))
    changed = {label for n in read for label in items[n].labels}
    reasons, kept, present = {}, set(), set(there)
    for label in before:
        if label not in new:
            if label.startswith(SELECT) or label in present:
                reasons[label] = UNMAPPED
            elif keep:
                kept.add(label)
            else:
                reasons[label] = GONE
    found = Changes(
        tuple(merged(list(before), new)), before, tuple(before), frozenset(changed | set(reasons)), reasons,
        frozenset(kept),
    )
    stood = [label for label in before if label in new]
    if stood != [label for label in new if label in before]:
        return found.all_again()
    return found


def write_order(connection: duckdb.DuckDBPyConnection, what: Changes) -> None:
    """Make the temporary table `file_order` for the settling of one table."""
    connection.execute(
        f"create or replace temp table {ORDER} (source_file VARCHAR, place INTEGER, old_place INTEGER, derive VARCHAR, "
        "changed BOOLEAN, unsure BOOLEAN, reason VARCHAR)"
    )
    old = {label: place for place, label in enumerate(what.old_order)}
    unsure = what.unsure
    rows = [
        (label, place, old.get(label), what.before[label].derive if label in what.before else None,
         label in what.changed, label in unsure, what.reasons.get(label, WITHDRAWN))
        for place, label in enumerate(what.order)
    ]
    if rows:
        connection.executemany(f"insert into {ORDER} values (?, ?, ?, ?, ?, ?, ?)", rows)
