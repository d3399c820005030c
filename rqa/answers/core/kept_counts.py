"""Counts of a measure from what the store keeps, where that can tell, else from the rows: both give the same."""

import re
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from rqa.answers.core.scope import Scope, Snapshot
from rqa.measures.run import counts, groupings, measure_sql, sql_files

if TYPE_CHECKING:
    import polars as pl

KEPT = "_kept"
"""Ends the name of the file that reads what is kept, beside the one that reads the rows."""


def measure_of(snapshot: Snapshot, measure: str, asked: Scope) -> str:
    """The cheaper file of a measure that can tell what is asked.

    What is kept holds all that the store does: it can tell nothing of a day after which something is dated, nor be
    grouped by all that rows can. Where there is no such file beside it, a measure reads what it always does.
    """
    kept = f"{measure}{KEPT}"
    if kept not in sql_files() or not snapshot.latest or snapshot.from_rows:
        return measure
    return kept if asked.named <= set(groupings(kept)) else measure


def kept_counts(snapshot: Snapshot, measure: str, asked: Scope, values: Mapping[str, object]) -> "pl.DataFrame":
    """The counts of a measure in the groups asked for, as `rqa.measures.run.counts` gives them.

    `values` are those of the file that reads the rows; what is kept may need fewer.
    """
    file = measure_of(snapshot, measure, asked)
    return counts(
        snapshot.store, file, by=asked.by, where=asked.where, months=asked.months,
        values={name: value for name, value in values.items() if name in parameters(file)},
    )


@cache
def parameters(measure: str) -> frozenset[str]:
    """The names of the values that a measure's file takes."""
    return frozenset(re.findall(r"\$(\w+)", re.sub(r"--[^\n]*", "", measure_sql(measure))))
