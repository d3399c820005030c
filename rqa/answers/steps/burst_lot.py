"""The lot in which a burst of all work lies, where the lot by itself was too little to stand out over all months."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.steps.burst_counts import BurstRequest, number

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MarginBurst

ALLOWED = 0.05


@dataclass(frozen=True)
class LotInside:
    """Part and lot, its events in the burst's periods, those expected, the p-value adjusted for the lots looked at."""

    part_no: str
    lot: str
    events: int
    expected: float
    p_adjusted: float


def lot_inside(burst: "MarginBurst", table: "pl.DataFrame", asked: BurstRequest, first: int) -> LotInside | None:
    """The lot that holds more of the burst's events than its part of the work brings, beyond chance; None without one.

    Given the events of the burst's periods, a lot's are binomial with its part of the work there, so that the burst was
    picked for being full does not bear on it. All lots fitted in these periods are compared (Benjamini and Hochberg).
    """
    import numpy as np
    import polars as pl
    from scipy import special

    from rqa.stats import benjamini_hochberg

    if burst.dimension != "time" or not burst.work:
        return None
    work = "expected" if asked.mix else "cases"
    inside = [burst.first <= number(day, asked.period) - first <= burst.last for day in table["period"].to_list()]
    lots = (
        table.filter(inside)
        .filter(pl.col("dimension") == "lot")
        .group_by("part_no", "name")
        .agg(pl.col("events", work).sum())
        .sort("part_no", "name")
    )
    if not lots.height:
        return None
    x = lots["events"].to_numpy()
    share = np.clip(lots[work].to_numpy() / burst.work, 0.0, 1.0)
    p = np.where(x > 0, special.betainc(np.maximum(x, 1), np.maximum(burst.events - x, 0) + 1.0, share), 1.0)
    found = benjamini_hochberg(p_values=p, allowed=ALLOWED)
    best = int(np.argmin(p))
    if not found.found[best]:
        return None
    part, name = lots.row(best)[:2]
    return LotInside(part, name, int(x[best]), float(burst.events * share[best]), float(found.p_adjusted[best]))
