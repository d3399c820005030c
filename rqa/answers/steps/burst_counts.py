"""What a search of bursts counts: by period and one dimension after the other, with what the kinds of work bring."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.core.scope import Scope, Snapshot
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import Margin

DIMENSIONS = {
    "comebacks": ("time", "site", "model", "bench", "technician", "tool", "lot"),
    "failed_checks": ("time", "site", "model", "step", "bench", "technician", "tool", "lot"),
}
"""Dimensions in which each kind of event can bunch."""
ASIDE = ("aside_dimensions", "aside_parts", "aside_names", "aside_periods")
MEASURE = {"comebacks": "bursts_comebacks", "failed_checks": "bursts_checks"}
MIX = ("model", "procedure", "billing")
LASTING = ("site", "model", "step", "bench", "technician", "tool")
"""Dimensions whose groups are there all the time, so that each is set against itself at other times."""
BILLION = 10**9
APART = "\x1f"
NO_VALUE = ("",)
"""What keeps nothing: no name is empty."""
EVER = (date(1, 1, 1), date(9999, 12, 1))
Group = tuple[str, str]
"""Part number, or "", and name."""


@dataclass(frozen=True)
class ExcludedPeriods:
    """A group and its periods, by their first days, to be set aside."""

    dimension: str
    group: Group
    periods: tuple[date, ...]


@dataclass(frozen=True)
class BurstRequest:
    """What is searched."""

    what: str
    dimensions: tuple[str, ...]
    period: str
    window: int
    classes: tuple[str, ...]
    mix: tuple[str, ...]
    scope: Scope

    def values(self, snapshot: Snapshot) -> dict[str, object]:
        """The values that the measure's file takes, but for kinds and what is set aside."""
        first, last = self.scope.months or EVER
        made: dict[str, object] = {
            "as_of": snapshot.day, "period": self.period, "first_month": first, "last_month": last,
            **{f"only_{name}": list(self.scope.where[name] or NO_VALUE) if name in self.scope.where else []
               for name in ("site", "model", "procedure", "technician", "billing")},
        }
        return made | ({"window": self.window, "classes": list(self.classes)} if self.what == "comebacks" else {})


def cells(snapshot: Snapshot, asked: BurstRequest, aside: Sequence[ExcludedPeriods]) -> "pl.DataFrame":
    """Counts by dimension, part_no, name, period: cases, events, and the events that their kinds of work bring."""
    import polars as pl

    left_out = [(a.dimension, *a.group, day) for a in aside for day in a.periods]
    lists = zip(*left_out, strict=True) if left_out else [None] * len(ASIDE)
    values = asked.values(snapshot) | {name: left and list(left) for name, left in zip(ASIDE, lists, strict=True)}
    kinds: list[str] = []
    probabilities: list[int] = []
    if asked.mix:
        found = counts(
            snapshot.store, MEASURE[asked.what],
            values=values | {"dimensions": ["kind"], "kinds": [], "probabilities": []},
        )
        kinds, probabilities = _probabilities(found, asked)
    table = counts(
        snapshot.store,
        MEASURE[asked.what],
        values=values | {"dimensions": list(asked.dimensions), "kinds": kinds, "probabilities": probabilities},
    )
    return _once(table).with_columns((pl.col("chance") / BILLION).alias("expected")).drop("chance")


def _once(table: "pl.DataFrame") -> "pl.DataFrame":
    """The counts without the groups that are all work under another name, such as the only site of a depot."""
    import polars as pl

    counted, keys = ["period", "cases", "events", "chance"], ["dimension", "part_no", "name"]
    whole = table.filter(pl.col("dimension") == "time").select(counted).sort(counted)
    sums = [pl.len(), *(pl.col(name).sum() for name in counted[1:])]
    alike = table.group_by(keys).agg(sums).join(whole.select(sums), on=["len", *counted[1:]], how="semi")
    again = [
        key
        for key, own in table.join(alike, on=keys, how="semi").group_by(keys)
        if key[0] in LASTING and own.select(counted).sort(counted).equals(whole)
    ]
    if not again:
        return table
    return table.filter([key not in again for key in table.select(keys).iter_rows()])


def _probabilities(found: "pl.DataFrame", asked: BurstRequest) -> tuple[list[str], list[int]]:
    """Each kind's chance of the event, in billionths; kinds that differ only beyond the mix have the same."""
    import polars as pl

    totals: dict[tuple[str, ...], list[int]] = {}
    kind_of: dict[str, tuple[str, ...]] = {}
    kinds = found.group_by("name").agg(pl.col("cases", "events").sum()).sort("name")
    for name, cases, events in kinds.iter_rows():
        parts = name.split(APART)
        kept = tuple(p for m, p in zip((*MIX, "step"), parts, strict=False) if m in (*asked.mix, "step"))
        kind_of[name] = kept
        total = totals.setdefault(kept, [0, 0])
        total[0] += cases
        total[1] += events
    return list(kind_of), [round(BILLION * totals[kept][1] / totals[kept][0]) for kept in kind_of.values()]


def number(day: Any, period: str) -> int:
    """A period's number, from its first day: weeks since a Monday, or months."""
    return (day.toordinal() - 1) // 7 if period == "week" else day.year * 12 + day.month - 1


def margins(table: "pl.DataFrame", asked: BurstRequest, first: int) -> dict[str, "Margin"]:
    """The tables of all dimensions as the scan takes them; periods counted from `first`."""
    from rqa.stats import Margin

    made = {}
    for dimension in asked.dimensions:
        own = table.filter(table["dimension"] == dimension)
        made[dimension] = Margin(
            events=own["events"].to_numpy(),
            work=own["expected" if asked.mix else "cases"].to_numpy(),
            period=np.array([number(d, asked.period) - first for d in own["period"].to_list()], dtype=np.int64),
            group=None if dimension == "time" else list(own.select("part_no", "name").iter_rows()),
            own_level=dimension != "lot",
            cases=own["cases"].to_numpy() if asked.mix else None,
        )
    return made
