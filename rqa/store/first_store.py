"""A store that holds no row, with which a workspace's first load begins.

A process makes it once and writes it out wherever one is needed: to define all that a store has takes an engine as long
as to load thousands of rows.
"""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import duckdb

from rqa.store.ddl import create_statements
from rqa.store.engine import connect

Prepare = Callable[[duckdb.DuckDBPyConnection], None]
"""Puts into an empty store what does not hang on rows."""

_MADE: dict[tuple[Prepare, str], bytes] = {}


def bare(_: duckdb.DuckDBPyConnection) -> None:
    """Leave a store with its tables alone."""


def first_store(prepare: Prepare, path: Path) -> None:
    """Write a store without rows; all made by the same `prepare` are alike."""
    statements = "; ".join(create_statements())
    kind = (prepare, statements)
    if kind in _MADE:
        path.write_bytes(_MADE[kind])
        return
    with closing(connect(path, read_only=False, scratch=path.parent)) as connection:
        connection.execute(statements)
        prepare(connection)
        connection.execute("checkpoint")
    _MADE[kind] = path.read_bytes()
