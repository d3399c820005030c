"""Names that become pseudonyms in one column must not be stored as they are in another, whatever SQL they pass.

Each mapped column is followed to the columns of files that it takes its values from.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from rqa.intake.column_source import ColumnSource
from rqa.intake.names import quoted
from rqa.shown import told
from rqa.store.drawn_on import NOTHING, Origins, drawn_by, union
from rqa.words import listed

ROW = "row"
"""What a row is called for an expression over it."""


@dataclass
class CopiedNames:
    """What the columns of all [[table]]s draw on, and which of them become pseudonyms."""

    keyed: set[tuple[str, str]] = field(default_factory=set)
    plain: dict[tuple[str, str], Origins] = field(default_factory=dict)
    """By the place of a [[table]] and its column."""
    equal: list[tuple[Origins, Origins]] = field(default_factory=list)

    def of_file(
        self,
        place: str,
        label: str,
        columns: Sequence[str],
        given: Mapping[str, ColumnSource],
        keyed: Collection[str],
    ) -> None:
        """Note what a [[table]] takes of one file; names of its `keyed` columns do not pass its expressions."""
        own = frozenset((label, c.lower()) for c in keyed)
        of_column = {c: frozenset({(label, c.lower())}) for c in columns}
        for name, origin in given.items():
            drawn = _drawn(origin, of_column)
            if origin.sql is not None and origin.key_file is None and not re.search(r"\bover\b", origin.sql.lower()):
                drawn -= own
            self._note(place, name, origin, drawn)

    def of_reshaped(
        self, place: str, labels: Sequence[str], columns: Sequence[str], given: Mapping[str, ColumnSource],
        made: Mapping[str, Sequence[str]],
    ) -> None:
        """Note what a [[table]] takes of files that are reshaped; `made` are the columns made of others."""
        of_column = {
            c: frozenset((label, drawn.lower()) for label in labels for drawn in made.get(c, (c,))) for c in columns
        }
        for name, origin in given.items():
            self._note(place, name, origin, _drawn(origin, of_column))

    def of_select(
        self,
        place: str,
        select: str,
        sets: Mapping[str, Sequence[str]],
        labels: Mapping[str, Sequence[str]],
        columns: Sequence[str],
        given: Mapping[str, ColumnSource],
    ) -> None:
        """Note what a [[table]] takes of a SELECT over `sets` of files, given the columns and labels of each."""
        drawn = drawn_by(select, sets, columns)
        of_set = {name.lower(): found for name, found in labels.items()}

        def in_files(origins: Origins) -> Origins:
            return frozenset((label, column) for name, column in origins for label in of_set.get(name, ()))

        self.equal += [(in_files(one), in_files(other)) for one, other in drawn.equal]
        of_column = {c: in_files(origins) for c, origins in zip(columns, drawn.columns, strict=True)}
        for name, origin in given.items():
            self._note(place, name, origin, _drawn(origin, of_column))

    def _note(self, place: str, name: str, origin: ColumnSource, drawn: Origins) -> None:
        if origin.key_file is not None:
            self.keyed |= drawn
        else:
            self.plain[place, name] = self.plain.get((place, name), NOTHING) | drawn

    def faults(self) -> list[str]:
        """Every column that would hold names as they are, with its place."""
        names = set(self.keyed)
        while more := [b for pair in self.equal for a, b in (pair, pair[::-1]) if a & names and not b <= names]:
            names |= union(more)
        found = []
        for (place, column), drawn in self.plain.items():
            if held := sorted(drawn & names):
                said = listed(list(dict.fromkeys(f"{told(name)} of {label}" for label, name in held[:3])))
                found.append(
                    f"{place}: {column}: it would hold, or may hold, what stands in {said}, and the mapping makes "
                    f"pseudonyms of that elsewhere. Leave it out, or give {column} a key_file, with the same key"
                )
        return found


def _drawn(origin: ColumnSource, of_column: Mapping[str, Origins]) -> Origins:
    """What a mapped column draws on."""
    if origin.column is not None:
        return of_column.get(origin.column, NOTHING)
    if origin.sql is None:
        return NOTHING
    (drawn,) = drawn_by(
        f"select (\n{origin.sql}\n) as made from {quoted(ROW)}", {ROW: list(of_column)}, ["made"]
    ).columns
    by_lower = {c.lower(): o for c, o in of_column.items()}
    return union(by_lower[column] for _, column in drawn)
