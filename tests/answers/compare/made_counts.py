"""Depots whose kept counts are given outright, for questions that read nothing else."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import polars as pl

from rqa.depot import Depot
from rqa.measures.keep import keep
from tests.depots import depot_of

LOG = """
insert into steps (job_id, step_seq, attempt, step, technician, outcome)
select technician || ' ' || model || ' ' || place, 1, 1, step, technician,
    case when place <= failed then 'fail' else 'pass' end
from given, range(1, exposures + 1) as each_check (place);
insert into jobs (job_id, unit_id, model, site, procedure, opened_at, disposition, billing, technician)
select technician || ' ' || model || ' ' || place, technician || model || place, model, site, procedure,
    timestamp '2026-01-05 09:00:00', 'open', billing, technician
from given, range(1, exposures + 1) as each_check (place);
"""


@contextmanager
def depot_of_checks(cells: pl.DataFrame, *, logged: bool = False) -> Iterator[Depot]:
    """A depot in which the first checks were those of the cells: technician, model, …, trials, events (failed).

    `logged`: with the log of these checks, each in a job of its own, and not their counts alone.
    """
    columns = {"month": None, "site": "Alder", "model": "Marl-8", "procedure": "board", "billing": "warranty",
               "technician": "T01", "step": "seat board"}
    named = [
        pl.col(name).cast(pl.String) if name in cells.columns else pl.lit(value, pl.String).alias(name)
        for name, value in columns.items()
        if name != "month"
    ]
    counts = cells.select(
        pl.lit(None, pl.Date).alias("month"), *named, pl.col("trials").alias("exposures"),
        (pl.col("trials") - pl.col("events")).alias("passed"), pl.col("events").alias("failed"),
        pl.lit(0, pl.Int64).alias("done"), pl.lit(0, pl.Int64).alias("skipped"),
    )

    def kept(connection: Any) -> None:
        connection.register("given", counts.to_arrow())
        if logged:
            connection.execute(LOG)
        keep(connection)
        connection.execute("delete from step_counts")
        connection.execute("insert into step_counts select * from given")
        connection.unregister("given")

    with depot_of({}, kept=kept) as depot:
        yield depot


def cells_of(events: Any, trials: Any, kind: str = "model") -> pl.DataFrame:
    """Cells from two arrays by technician and kind of work."""
    x, n = np.asarray(events, dtype=np.int64), np.asarray(trials, dtype=np.int64)
    who, what = np.indices(x.shape)
    names = [f"T{i + 1:04d}" for i in who.ravel()]
    return pl.DataFrame(
        {"technician": names, kind: [f"M{j + 1:03d}" for j in what.ravel()], "events": x.ravel(), "trials": n.ravel()}
    )
