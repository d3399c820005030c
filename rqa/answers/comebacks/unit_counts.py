"""How often units came back and at which age, by group: the counts that recurrences are estimated from."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.follow_up_counts import Counts, check_index_disposition, days_asked, group_numbers
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_values, scope
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MeanCumulative

GROUPINGS = ("month", *JOB_NAMES)
"""Of the unit's first index job."""


@dataclass(frozen=True, eq=False)
class UnitCounts:
    """One group's units by age at the end of their observation, returns by age and end, pairs by both ages."""

    day: Counts
    ended: Counts
    returned: Counts
    pairs: Counts

    @property
    def units(self) -> int:
        """How many units there are."""
        return int(self.ended.sum())

    @property
    def returns(self) -> int:
        """How many returns they had."""
        return int(self.returned.sum())

    def mean(self, level: float) -> "MeanCumulative":
        """Their mean cumulative function."""
        from rqa.stats import mean_cumulative_from_counts

        return mean_cumulative_from_counts(
            day=self.day, ended=self.ended, returned=self.returned, pairs=self.pairs, level=level
        )


@dataclass(frozen=True, eq=False)
class UnitRequest:
    """What a question about units is about, and the values its measures take."""

    asked: Scope
    values: dict[str, object]


def asked_units(
    question: str, snapshot: Snapshot, *, by: By, where: Where | None, months: Months | None, upto: int,
    index_disposition: str,
) -> UnitRequest:
    """Check a question about units."""
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, question, asked.where)
    values = {"upto": days_asked(question, "upto", upto), "as_of": snapshot.day, "disposition": index_disposition}
    return UnitRequest(asked, values)


def unit_counts(snapshot: Snapshot, units: UnitRequest) -> "tuple[pl.DataFrame, list[UnitCounts]]":
    """The groups in order, and each one's counts."""
    asked = units.asked
    table = counts(
        snapshot.store, "recurrence_counts", by=asked.by, where=asked.where, months=asked.months, values=units.values
    )
    groups, group = group_numbers(table, asked.by)
    kind = table["kind"].to_numpy()
    day, other = table["day"].to_numpy(), table["other_day"].fill_null(-1).to_numpy()
    number = table["number"].to_numpy()
    made = []
    for g in range(groups.height if asked.by else min(table.height, 1)):
        own = group == g
        days = np.unique(np.concatenate((day[own], other[own & (other >= 0)])))
        sizes = {"end": (days.size,), "return": (days.size,) * 2, "pair": (days.size,) * 2}
        full = {name: np.zeros(shape, dtype=np.int64) for name, shape in sizes.items()}
        for name, cells in full.items():
            rows = own & (kind == name)
            place = np.searchsorted(days, day[rows])
            if name == "end":
                np.add.at(cells, place, number[rows])
            else:
                np.add.at(cells, (place, np.searchsorted(days, other[rows])), number[rows])
        made.append(UnitCounts(days, full["end"], full["return"], full["pair"]))
    return groups, made


def unit_notes(snapshot: Snapshot) -> list[str]:
    """What holds for every question about units."""
    return [*snapshot.notes, "Age counts from a unit's first repair in the store; the unit's group is that repair's."]
