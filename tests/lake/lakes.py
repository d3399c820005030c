"""Lakes for tests: a store of Python rows, and the same rows in buckets beside it."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import polars as pl
from polars.testing import assert_frame_equal

from rqa.lake.store import LakeStore
from rqa.lake.writing import write_lake
from rqa.measures.run import counts
from rqa.store.engine import Store, open_store
from tests.depots import Row, make_store
from tests.measures.test_files import values_for

SUMMED = {"station_values": ("total", "squares"), "station_values_kept": ("total", "squares")}
"""Sums of measured values, which another order of adding changes by parts in 10^15; all else is equal in every bit."""


@contextmanager
def both(store: Path, lake: Path, buckets: int, engine: Any = None) -> Iterator[tuple[Store, LakeStore]]:
    """A store, and the lake that is made of it, both open."""
    write_lake(store, lake, buckets=buckets)
    with open_store(store) as whole, LakeStore(lake, engine) as spread:
        yield whole, spread


def stored(folder: Path, tables: Mapping[str, Sequence[Row]], name: str = "depot") -> Path:
    """A store that holds these rows."""
    return make_store(folder / f"{name}.duckdb", tables)


def check_same(
    whole: Store, spread: Store, measure: str, by: tuple[str, ...], values: Mapping[str, Any] | None = None
) -> None:
    """Fail unless a file gives the same rows, in the same order and of the same types, of both."""
    asked = values_for(measure) | {n: v for n, v in (values or {}).items() if n in values_for(measure)}
    expected, found = (counts(store, measure, by=by, values=asked) for store in (whole, spread))
    assert found.schema == expected.schema, (measure, by)
    summed = SUMMED.get(measure, ())
    for columns, exact in ((pl.exclude(summed), True), (pl.col(summed), False)):
        try:
            assert_frame_equal(found.select(columns), expected.select(columns), check_exact=exact, rel_tol=1e-12)
        except AssertionError as error:
            raise AssertionError(f"{measure} by {by}: {error}") from error
