"""Small departures from the procedures, alike everywhere: steps in another order, or not done at all."""

from dataclasses import asdict

import numpy as np
import polars as pl

from rqa.demo.effects import SLIPS
from rqa.demo.jobs import REPAIRED, Jobs

SWAPPED = (
    (
        "battery_isolated_late", "isolate battery",
        ("release display cable", "release antenna cable", "measure old cell", "release camera cable"),
    ),
    ("battery_reconnected_early", "count connectors", ("reconnect battery",)),
    ("irreversible_before_hold_point", "record identity", ("write identity",)),
    ("irreversible_before_hold_point", "measure new cell", ("reset cell counter",)),
)
"""A slip, and the two steps that change places for it, the second being the first of those that the job has."""
DROPPED = (
    ("connectors_not_counted", ("count connectors",)),
    ("connector_not_reseated", ("reseat camera cable", "reseat antenna cable", "reseat port cable")),
)
"""A slip, and the steps of which the first that a job has is not in its log."""
LAST = "inspect unit"
MOST_STEPS = 1000
"""More than any procedure has: a job and the place of a step make one number."""
PLACE = ("step_seq", "started_at", "ended_at")


def slips(rng: np.random.Generator, jobs: Jobs, steps: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """The step log with its slips, and how many jobs have each.

    Only repaired jobs have any, and only where both steps went right the first time.
    """
    released = jobs.disposition == REPAIRED
    shares = asdict(SLIPS)
    counts: dict[str, int] = {}
    one_step = pl.col("at") * MOST_STEPS + pl.col("step_seq")
    once = steps.with_row_index("~row").filter(pl.len().over(one_step) == 1).select("at", "step", "~row")

    def drawn(slip: str) -> np.ndarray:
        return np.flatnonzero(released & (rng.random(len(jobs)) < shares[slip]))

    for slip, step, others in SWAPPED:
        at = drawn(slip)
        one, other = _first(once, at, (step,)), _first(once, at, others)
        pairs = one.join(other, on="at", suffix="_other")
        steps = _swapped(steps, pairs)
        counts[slip] = counts.get(slip, 0) + pairs.height
    gone = []
    for slip, names in DROPPED:
        gone.append(_first(once, drawn(slip), names)["~row"])
        counts[slip] = len(gone[-1])
    rows = _first(once, drawn("inspected_after_the_tests"), (LAST,))
    counts["inspected_after_the_tests"] = rows.height
    after = pl.Series(jobs.closed).gather(rows["at"])
    ends = pl.DataFrame({"~row": rows["~row"], "~end": after - 1})
    steps = steps.with_row_index("~row").join(ends, on="~row", how="left", maintain_order="left")
    steps = steps.with_columns(
        pl.when(pl.col("~end").is_not_null()).then(pl.col("~end") - 3).otherwise("started_at").alias("started_at"),
        pl.coalesce("~end", "ended_at").alias("ended_at"),
    )
    dropped = pl.concat(gone)
    kept = steps.filter(~pl.col("~row").is_in(dropped.implode())).drop("~row", "~end")
    return kept.sort("at", "step_seq", "attempt", maintain_order=True), counts


def _first(once: pl.DataFrame, at: np.ndarray, names: tuple[str, ...]) -> pl.DataFrame:
    """Of each of these jobs the row of the first of the steps that it has."""
    step = pl.Series("step", names, dtype=once.schema["step"])
    order = pl.DataFrame({"step": step, "~order": range(len(names))})
    return (
        once.filter(pl.col("at").is_in(pl.Series(at).implode()))
        .join(order, on="step")
        .sort("at", "~order")
        .unique("at", keep="first", maintain_order=True)
    )


def _swapped(steps: pl.DataFrame, pairs: pl.DataFrame) -> pl.DataFrame:
    """The steps of the two rows of each pair change their places in the log and in time."""
    here, there = pairs["~row"].to_numpy(), pairs["~row_other"].to_numpy()
    source = np.arange(steps.height)
    source[here], source[there] = there, here
    return steps.with_columns(steps[name].gather(source).alias(name) for name in PLACE)
