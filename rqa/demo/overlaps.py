"""Jobs that overlap another on their unit, a few of them, and the come-backs as they truly were before any mess."""

import numpy as np
import polars as pl

from rqa.demo.chunk import Chunk
from rqa.demo.clock import DAY

PER_THOUSAND = 2.0


def quiet_jobs(chunk: Chunk) -> np.ndarray:
    """True for jobs whose unit had no other job and to which no planted effect happened: free to be spoiled."""
    drawn = chunk.drawn
    _, inverse, counts = np.unique(drawn.unit, return_inverse=True, return_counts=True)
    repaired = chunk.jobs["disposition"].to_numpy() == "repaired"
    quiet: np.ndarray = (counts[inverse] == 1) & repaired & ~drawn.pinched & ~drawn.early & ~drawn.bad_lot
    return quiet


def plant_overlaps(rng: np.random.Generator, jobs: pl.DataFrame, quiet: np.ndarray) -> tuple[pl.DataFrame, np.ndarray]:
    """Give a few jobs the unit of another job of the site and model that was open meanwhile.

    Returns the jobs, and which of them now overlap another.
    """
    free = jobs.filter(pl.Series(quiet)).sort("site", "model", "opened_at", "at")
    following = pl.all().shift(-1).name.suffix("_next")
    pairs = free.with_columns(following).filter(
        (pl.col("site") == pl.col("site_next"))
        & (pl.col("model") == pl.col("model_next"))
        & (pl.col("opened_at_next") < pl.col("closed_at"))
    )
    wanted = max(2, round(PER_THOUSAND * jobs.height / 1000))
    used: set[int] = set()
    units, place = jobs["unit_id"].to_list(), dict(zip(jobs["at"], range(jobs.height), strict=True))
    for row in rng.permutation(pairs.height).tolist():
        a, b = int(pairs["at"][row]), int(pairs["at_next"][row])
        if len(used) >= 2 * wanted:
            break
        if a not in used and b not in used:
            units[place[b]] = units[place[a]]
            used |= {a, b}
    overlapping = np.isin(jobs["at"].to_numpy(), sorted(used))
    return jobs.with_columns(pl.Series("unit_id", units)), overlapping


def true_comebacks(jobs: pl.DataFrame, overlapping: np.ndarray, days: int) -> dict[str, dict[str, int]]:
    """Matured repaired jobs and those that came back, by window, before any mess."""
    linked = (
        jobs.filter(~pl.Series(overlapping) & (pl.col("disposition") != "cancelled"))
        .sort("unit_id", "opened_at", "job_id")
        .with_columns(
            (pl.col("closed_at") // DAY).alias("closed_on"),
            (pl.col("opened_at").shift(-1).over("unit_id") // DAY).alias("return_on"),
        )
        .filter(pl.col("disposition") == "repaired")
    )
    found = {}
    for window in (30, 90):
        matured = linked.filter(pl.col("closed_on") + window <= days - 1)
        back = matured.filter(pl.col("return_on") - pl.col("closed_on") <= window)
        found[str(window)] = {"matured": matured.height, "returned": back.height}
    return found
