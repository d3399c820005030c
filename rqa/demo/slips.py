"""Small departures from the procedures, alike everywhere: steps in another order, or not done at all."""

import numpy as np
import polars as pl

from rqa.demo.effects import SLIPS
from rqa.demo.jobs import REPAIRED, Jobs

SWAPPED = (
    ("isolate battery", ("release display cable", "release antenna cable", "measure old cell", "release camera cable"),
     SLIPS.battery_isolated_late),
    ("count connectors", ("reconnect battery",), SLIPS.battery_reconnected_early),
    ("record identity", ("write identity",), SLIPS.irreversible_before_hold_point),
    ("measure new cell", ("reset cell counter",), SLIPS.irreversible_before_hold_point),
)  # fmt: skip
"""Two steps that change places, the second being the first of those that the job has, and in what share of jobs."""
DROPPED = (
    (("count connectors",), SLIPS.connectors_not_counted),
    (("reseat camera cable", "reseat antenna cable", "reseat port cable"), SLIPS.connector_not_reseated),
)
"""The first of these steps that a job has is not in its log, and in what share of jobs."""
LAST = "inspect unit"
PLACE = ("step_seq", "started_at", "ended_at")


def slips(rng: np.random.Generator, jobs: Jobs, steps: pl.DataFrame) -> pl.DataFrame:
    """The step log with its slips; only repaired jobs have any, and only where both steps went right the first time."""
    released = jobs.disposition == REPAIRED
    once = steps.with_row_index("~row").filter(pl.len().over("at", "step_seq") == 1).select("at", "step", "~row")
    for step, others, share in SWAPPED:
        at = np.flatnonzero(released & (rng.random(len(jobs)) < share))
        steps = _swapped(steps, _first(once, at, (step,)), _first(once, at, others))
    gone = [
        _first(once, np.flatnonzero(released & (rng.random(len(jobs)) < share)), names)["~row"]
        for names, share in DROPPED
    ]
    late = np.flatnonzero(released & (rng.random(len(jobs)) < SLIPS.inspected_after_the_tests))
    rows = _first(once, late, (LAST,))
    after = pl.Series(jobs.closed).gather(rows["at"])
    ends = pl.DataFrame({"~row": rows["~row"], "~end": after - 1})
    steps = steps.with_row_index("~row").join(ends, on="~row", how="left", maintain_order="left")
    steps = steps.with_columns(
        pl.when(pl.col("~end").is_not_null()).then(pl.col("~end") - 3).otherwise("started_at").alias("started_at"),
        pl.coalesce("~end", "ended_at").alias("ended_at"),
    )
    dropped = pl.concat(gone)
    return (
        steps.filter(~pl.col("~row").is_in(dropped.implode()))
        .drop("~row", "~end")
        .sort("at", "step_seq", "attempt", maintain_order=True)
    )


def _first(once: pl.DataFrame, at: np.ndarray, names: tuple[str, ...]) -> pl.DataFrame:
    """Of each of these jobs the row of the first of the steps that it has."""
    order = pl.DataFrame({"step": list(names), "~order": range(len(names))})
    return (
        once.filter(pl.col("at").is_in(pl.Series(at).implode()))
        .join(order, on="step")
        .sort("at", "~order")
        .unique("at", keep="first", maintain_order=True)
    )


def _swapped(steps: pl.DataFrame, one: pl.DataFrame, other: pl.DataFrame) -> pl.DataFrame:
    """The steps of the two rows of each job change their places in the log and in time."""
    pairs = one.join(other, on="at", suffix="_other")
    here, there = pairs["~row"].to_numpy(), pairs["~row_other"].to_numpy()
    source = np.arange(steps.height)
    source[here], source[there] = there, here
    return steps.with_columns(steps[name].gather(source).alias(name) for name in PLACE)
