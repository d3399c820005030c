"""What a come-back costs that is attributed to a step: the mean of those that found the same subsystem at fault."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.comebacks.cost_parts import RATE, uncounted_notes
from rqa.answers.core.scope import Scope, Snapshot
from rqa.answers.steps.cause_fit import NONE
from rqa.measures.run import counts

if TYPE_CHECKING:
    from rqa.stats import AmountInterval

KNOWN_BY = ("site", "model", "procedure", "billing")
"""Groupings that costs know; by others the mean is that of all groups."""


@dataclass(frozen=True)
class MeanCost:
    """Mean cost of one come-back with limits, in the workspace's currency."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Prices:
    """By which groupings costs are told apart, the mean cost by group and subsystem found, and what is not counted."""

    by: tuple[str, ...]
    mean: Mapping[tuple[tuple[str, ...], str], MeanCost]
    notes: tuple[str, ...]


def mean_costs(snapshot: Snapshot, asked: Scope, values: Mapping[str, Any], level: float) -> Prices:
    """The mean cost of a come-back by group and subsystem found; where few costs are known there is none.

    Labour counts where the workspace says what an hour of it costs; see `rqa.answers.comebacks.cost_parts` for parts
    not given.
    """
    import polars as pl

    from rqa.stats import mean_interval

    by = tuple(name for name in asked.by if name in KNOWN_BY)
    rate = float(snapshot.store.about.get(RATE, 0))
    where = {name: kept for name, kept in asked.where.items() if name in KNOWN_BY}
    found = counts(
        snapshot.store, "comeback_costs", by=[*by, "class", "found"], where=where,
        values={"window": values["window"], "as_of": snapshot.day, "disposition": values["disposition"], "rate": rate},
    )
    own = found.filter(pl.col("class").is_in(values["classes"]))
    notes = tuple(uncounted_notes(own, rate, of=" of all months"))
    table = own.group_by([*by, "found"]).agg(pl.col("known", "cents", "squares", "cubes").sum()).sort(*by, "found")
    if not table.height:
        return Prices(by, {}, notes)
    mean: AmountInterval = mean_interval(
        number=table["known"].to_numpy(), total=table["cents"].to_numpy(), squares=table["squares"].to_numpy(),
        cubes=table["cubes"].to_numpy(), level=level,
    )
    made = {}
    for row, keys in enumerate(table.select(*by, "found").iter_rows()):
        at, low, high = (float(a[row]) / 100 for a in (mean.estimate, mean.low, mean.high))
        if not isnan(at):
            made[keys[:-1], keys[-1]] = MeanCost(at, at if isnan(low) else low, at if isnan(high) else high)
    return Prices(by, made, notes)


def weighted(costs: list[tuple[float, MeanCost]]) -> MeanCost | None:
    """The mean over come-backs of several subsystems, weighted by their numbers; limits by the square of the reach."""
    whole = sum(w for w, _ in costs)
    if whole <= NONE:
        return None
    share = np.array([w / whole for w, _ in costs])
    mean, low, high = (np.array([getattr(c, name) for _, c in costs]) for name in ("mean", "low", "high"))
    at = float(share @ mean)
    down, up = (float(np.sqrt(((share * reach) ** 2).sum())) for reach in (mean - low, high - mean))
    return MeanCost(at, max(at - down, 0.0), at + up)
