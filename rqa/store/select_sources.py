"""Named files for a SELECT of the mapping: each set becomes one table of texts, every record of it accounted for."""

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass

import duckdb

from rqa.intake.literals import literal
from rqa.intake.names import PLACE_COLUMNS, inner, quoted
from rqa.intake.records import KEPT_RAW, Reject
from rqa.intake.sources import SourceFile, TextSource
from rqa.store.read_complete import read_complete
from rqa.store.readers import ONLY_LOOK
from rqa.store.rejects import in_order
from rqa.store.validate import cleaned


@dataclass(frozen=True)
class NamedRead:
    """One file read for SELECTs: how many rows they see of it, and what could not become a row."""

    label: str
    digest: str
    rows: int
    first_row: int
    rejects: list[Reject]


class NamedFiles:
    """The named files that the SELECTs of one load draw on."""

    def __init__(
        self, connection: duckdb.DuckDBPyConnection, text: Callable[..., TextSource], prefix: str = "named"
    ) -> None:
        self.connection, self.text, self.prefix = connection, text, prefix
        self.columns: dict[str, dict[str, str]] = {}
        """For each set of files, its columns by their names in lower case, as a SELECT sees them."""
        self.done: dict[tuple[str, str], NamedRead] = {}

    def table(self, name: str) -> str:
        """The temporary table that holds a set of files."""
        return quoted(f"{self.prefix} {name}")

    def bind(self, files: Sequence[SourceFile], sets: Sequence[str], wanted: frozenset[str]) -> None:
        """Make an empty table for each set of files not met before, with every column that one of its files has.

        A set that has no file yet has the columns of a place alone.
        """
        found: dict[str, dict[str, str]] = {n: {} for n in sets if n not in self.columns}
        for f in files:
            if f.name not in self.columns:
                for column in self.text(f, wanted, ONLY_LOOK).columns:
                    found[f.name].setdefault(column.lower(), column)
        for name, columns in found.items():
            for column in [c for c in columns if c in PLACE_COLUMNS]:
                columns[column] = _free(f"own_{columns[column]}", columns)
            places = [f"{c} {kind}" for c, kind in zip(PLACE_COLUMNS, ("varchar", "bigint"), strict=True)]
            body = [*(f"{quoted(c)} varchar" for c in columns.values()), *places]
            self.connection.execute(f"create or replace temp table {self.table(name)} ({', '.join(body)})")
            self.columns[name] = columns

    def read(self, files: Sequence[SourceFile], wanted: frozenset[str]) -> None:
        """Fill the tables of files that were not read before."""
        for f in files:
            if (f.name, f.label) not in self.done:
                self.done[f.name, f.label] = self._read(f, wanted)

    def scan(self, select: str, sets: Sequence[str]) -> str:
        """A SELECT over sets of files as SQL for a FROM clause; the names mean the files and nothing else."""
        named = ", ".join(f"{quoted(n)} as (select * from temp.{self.table(n)})" for n in sets)
        return f"(with {named} select * from (\n{select.strip().rstrip(';')}\n))"

    def _read(self, source: SourceFile, wanted: frozenset[str]) -> NamedRead:
        done = read_complete(
            self.connection,
            source,
            lambda options: self.text(source, wanted, options),
            lambda text: self._take(source, text),
            lambda: None,
        )
        text, rejects = done.text, done.rejects
        if not text.columns:
            return NamedRead(source.label, source.digest(), 0, 1, [])
        self.connection.execute("create or replace temp table named_gaps (from_place BIGINT, shift BIGINT)")
        if done.shifts:
            places, gap_shifts = (list(x) for x in zip(*done.shifts, strict=True))
            self.connection.execute("insert into named_gaps select unnest($1), unnest($2)", [places, gap_shifts])
        self.connection.execute(
            "create or replace temp view named_placed as select t.*, t.rowid + coalesce(g.shift, 0) as place "
            "from named_taken t asof left join named_gaps g on t.rowid >= g.from_place"
        )
        of_set = self.columns[source.name]
        given = ", ".join(f"{inner(c)} as {quoted(of_set[c.lower()])}" for c in text.columns)
        moved = self.connection.execute(
            f"insert into temp.{self.table(source.name)} by name select {given}, "
            f"{literal(source.label)} as source_file, place + {text.first_row} as source_row from named_placed "
            "where not blank and fault is null order by place"
        ).fetchall()
        faults = self.connection.execute(
            f"select place, fault, '', left(whole, {KEPT_RAW}) from named_placed "
            "where not blank and fault is not null order by place"
        ).fetchall()
        self.connection.execute("drop view named_placed")
        self.connection.execute("drop table named_taken")
        rows = int(moved[0][0]) if moved else 0
        return NamedRead(
            source.label,
            source.digest(),
            rows,
            text.first_row,
            in_order([*rejects, *((*place, source.kept(whole)) for *place, whole in faults)]),
        )

    def _take(self, source: SourceFile, text: TextSource) -> int:
        # The source's columns bear the mark here: what stands beside them may be called as it likes.
        given = [f"{sql} as {inner(c)}" for c, sql in cleaned(text, tuple(source.spec.missing or ())).items()]
        marks = [f"{text.blank} as blank", f"{text.fault}::varchar as fault", f"{text.whole}::varchar as whole"]
        taken = self.connection.execute(
            f"create or replace temp table named_taken as select {', '.join([*given, *marks])} from {text.scan}"
        ).fetchall()
        return int(taken[0][0]) if taken else 0


def _free(name: str, taken: Container[str]) -> str:
    """The name, or a longer one where a column has it already."""
    while name.lower() in taken:
        name += "_"
    return name
