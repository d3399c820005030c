"""Runs of one test done again with nothing done in between: did outcome and value agree, at one station and at two."""

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.result import rounded, with_shares
from rqa.answers.core.scope import Scope, Snapshot
from rqa.answers.core.told_sites import sites_without_log

if TYPE_CHECKING:
    import polars as pl

LEAST = 10
"""Pairs that began with a pass, and with a fail, below which no kappa is given."""
OUTCOMES = ("pass", "fail")
NO_STATION = "unknown"
"""What the measure calls a run without a station."""
SAME, OTHER, UNKNOWN = "same station", "another station", "station not known"


def repeated_runs(
    snapshot: Snapshot, *, test: str | None, tests: Collection[str] | None, level: float
) -> "pl.DataFrame":
    """A row a test, unit and whether the station was the same, another one, or not known of both runs.

    pairs, agreed with its share and limits; pass_pass, pass_fail, fail_pass, fail_fail; kappa with limits where both
    outcomes came first often enough; measured, change (second less first value, mean) and sigma (root of half the mean
    squared difference: what repeatability would be, were the pairs a fair sample).
    """
    import polars as pl

    where = {} if test is None else {"test": (test,)}
    table = kept_counts(
        snapshot, "repeated_runs", Scope(("test",), where),
        {"as_of": snapshot.day, "unlogged": sites_without_log(snapshot)},
    )
    if tests is not None:
        table = table.filter(pl.col("test").is_in(list(tests)))
    first, second = pl.col("first_outcome"), pl.col("second_outcome")
    sums = [pl.col(n).sum() for n in ("pairs", "measured", "difference", "squares")]
    sums += [
        pl.col("pairs").filter((first == a) & (second == b)).sum().alias(f"{a}_{b}") for a in OUTCOMES for b in OUTCOMES
    ]
    one, two = pl.col("first_station"), pl.col("second_station")
    known = (one != NO_STATION) & (two != NO_STATION)
    same = pl.when(~known).then(pl.lit(UNKNOWN)).when(one == two).then(pl.lit(SAME)).otherwise(pl.lit(OTHER))
    grouped = table.with_columns(same.alias("stations"))
    made = grouped.group_by(["test", "unit", "stations"]).agg(sums).sort(["test", "unit", "stations"])
    made = made.with_columns((pl.col("pass_pass") + pl.col("fail_fail")).alias("agreed"))
    made = with_shares(made, part="agreed", whole="pairs", share="share", level=level)
    kappas = [_kappa(r, level) for r in made.iter_rows(named=True)]
    number = made["measured"].to_numpy().astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        change = made["difference"].to_numpy() / number
        sigma = np.sqrt(made["squares"].to_numpy() / (2.0 * number))
    made = made.with_columns(
        *(rounded([k[i] for k in kappas]).alias(n) for i, n in enumerate(("kappa", "kappa_low", "kappa_high"))),
        rounded(change).alias("change"), rounded(sigma).alias("sigma"),
    )
    return made.select(
        "test", "unit", "stations", "pairs", "agreed", "share", "low", "high", "pass_pass", "pass_fail", "fail_pass",
        "fail_fail", "kappa", "kappa_low", "kappa_high", "measured", "change", "sigma",
    )


def _kappa(r: dict[str, int], level: float) -> tuple[float, float, float]:
    from rqa.stats import cohen_kappa

    table = [[r[f"{a}_{b}"] for b in OUTCOMES] for a in OUTCOMES]
    if min(map(sum, table)) < LEAST:
        return (float("nan"),) * 3
    made = cohen_kappa(table, level=level)
    return made.kappa, made.low, made.high
