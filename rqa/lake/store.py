"""A lake open for reading: it answers every question as a store does, bucket by bucket where rows are needed.

What needs the reference tables, the books or kept counts alone is asked of the small store beside the buckets.
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from rqa.errors import StoreError
from rqa.lake.bucket import Task, opened, packed, unpacked
from rqa.lake.engines import Engine, known, spread
from rqa.lake.layout import CURRENT, SPREAD, by_table, current
from rqa.lake.merging import Merge, head, merge_of, merged, order_of, read, read_by, rest, tables_of, tree, used
from rqa.measures.run import concepts
from rqa.store.engine import Store, identity

if TYPE_CHECKING:
    import polars as pl
    import pyarrow as pa


class LakeStore(Store):
    """A lake's state as it was when it was opened; `engine` runs what is asked of its buckets."""

    def __init__(self, lake: Path, engine: Engine = None) -> None:
        state = current(lake)
        if state is None:
            raise StoreError(f"{lake}: there is no lake. Make one with `rqa load WORKSPACE --into {lake}`.")
        self._lake, self._state, self._engine = str(lake), state, known(engine)
        self._buckets = [tuple(files.items()) for b in range(state.buckets) if (files := state.of_bucket(b))]
        super().__init__(lake / state.once)
        self.path, self._seen = lake, identity(lake / CURRENT)

    @property
    def newer(self) -> bool:
        """Whether a load has published a newer state since it was opened."""
        return identity(self.path / CURRENT) != self._seen

    def _count(self, sql: str, given: Mapping[str, object]) -> "pl.DataFrame":
        how = self._how(sql)
        if how is None:
            return super()._count(sql, given)
        import polars as pl

        try:
            found: pl.DataFrame = pl.DataFrame(self._spread(sql, how, given))
        except duckdb.IOException as error:
            raise StoreError(
                f"a file of {self._lake} cannot be read. If it was loaded twice since it was opened, open it again "
                f"with rqa.open. ({error})"
            ) from error
        return found

    def _how(self, sql: str) -> Merge | None:
        """How a query is put together from its buckets; None where it reads nothing of them."""
        known: dict[str, Merge | None] = self.once("how queries merge", "all", dict)
        if sql not in known:
            node = tree(sql)
            reads_rows = bool(tables_of(read_by(node)) & SPREAD)
            how = merge_of(sql, node)
            # A list of cases within `listed_jobs.sql` has no steps that could be counted alone.
            by_bucket = how is not None and not (how.step and "\nlisted as (\n" in sql)
            known[sql] = None if not reads_rows else how if by_bucket else Merge({}, False, whole=True)
        return known[sql]

    def _spread(self, sql: str, how: Merge, values: Mapping[str, object]) -> "pa.Table":
        """Count a query in all buckets, and put it together."""
        given: dict[str, bytes] = {}
        for name in sorted(read_by(tree(sql)) & handed_out()):
            sql, given[f"given_{name}"] = self._handed_out(sql, name, values)
        if how.whole:
            files = tuple(by_table(self._state.files).items())
            return self._over([files], sql, Merge({}, False, as_given=True), values, given, whole=True)
        if not how.step:
            return self._over(self._buckets, sql, how, values, given)
        gathered = self._over(self._buckets, head(sql, how.step), how, values, given, order="")
        if not how.back:
            return self._run_beside(rest(sql, how.step, "given_step"), values, gathered)
        finished = self._run_beside(head(rest(sql, how.step, "given_step"), how.back), values, gathered)
        sql = rest(sql, how.back, "given_back")
        last = merge_of(re.sub(r"^-- Merged[^\n]*(?:\n--   [^\n]*)*", "", sql, flags=re.M), tree(sql))
        assert last is not None
        return self._over(self._buckets, sql, last, values, {**given, "given_back": packed(finished)})

    def _over(
        self, buckets: list[Any], sql: str, how: Merge, values: Mapping[str, object], given: Mapping[str, bytes],
        *, whole: bool = False, order: str | None = None,
    ) -> "pa.Table":
        """The results of a query over some sets of files, put together."""
        bound = used(sql, values)
        needed = {name: table for name, table in given.items() if name in sql}
        once = self._state.once
        tasks = [Task(self._lake, once, files, sql, bound, needed, whole=whole) for files in buckets or [()]]
        parts = [unpacked(found) for found in spread(self._engine, tasks)]
        return merged(self._open(), parts, how, order_of(sql) if order is None else order, values)

    def _run_beside(self, sql: str, values: Mapping[str, object], step: "pa.Table") -> "pa.Table":
        """Run a query beside the buckets, over what one of its steps has given."""
        with self._cursor() as cursor:
            cursor.register("given_step", step)
            return cursor.sql(sql, params=used(sql, values)).to_arrow_table()

    def _handed_out(self, sql: str, name: str, values: Mapping[str, object]) -> tuple[str, bytes]:
        """A query that reads a concept of all buckets as a table, and that table."""
        found = re.search(rf"\b{name}\(([^)]*)\)", sql)
        assert found is not None
        concept = concepts()[name]
        body = concept.body
        for parameter, value in zip(concept.parameters, found[1].split(","), strict=True):
            body = re.sub(rf"\b{parameter}\b", value.strip(), body)
        how = handing_out(name)
        step = self._over(self._buckets, head(body, how.step), how, values, {}, order="")
        table = self._run_beside(rest(body, how.step, "given_step"), values, step)
        return sql.replace(found[0], f"given_{name}"), packed(table)

    def _cursor_for(self, sql: str) -> duckdb.DuckDBPyConnection:
        """A query of a user's own that reads rows is run on this machine, over the files of all buckets."""
        try:
            spread_out = bool(tables_of(read_by(tree(sql))) & SPREAD)
        except ValueError:
            spread_out = False
        if not spread_out:
            return super()._cursor_for(sql)
        return opened(self._lake, self._state.once, tuple(by_table(self._state.files).items()), True).cursor()


@cache
def handing_out(name: str) -> Merge:
    """How a concept that looks at all buckets is put together, which is then handed to each."""
    return read(concepts()[name].header.partition("Merged: ")[2].removesuffix("."))


@cache
def handed_out() -> frozenset[str]:
    """Concepts that say in their header how they merge: what a bucket alone knows of them is not enough."""
    return frozenset(name for name, concept in concepts().items() if " Merged: " in concept.header)
