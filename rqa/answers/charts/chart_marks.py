"""What a chart of a whole measure by month is drawn with, beside its points: a change of level, and the goal."""

from dataclasses import dataclass
from datetime import date

from rqa.answers.charts.level import Level, level
from rqa.answers.core.scope import Snapshot, Where
from rqa.contract import GOALS
from rqa.measures.run import counts
from rqa.words import month_name, percent


@dataclass(frozen=True)
class LevelChange:
    """The first month at the level of now, its last month, the first month before it, and the mean of either side."""

    since: date
    until: date
    before_from: date
    before: float
    after: float

    @property
    def said(self) -> str:
        """The same in a sentence, for text alternatives."""
        return (
            f"The level changed in {month_name(self.since)}: mean {percent(self.before)} before, "
            f"{percent(self.after)} since."
        )


def change_in(found: Level | None) -> LevelChange | None:
    """A change of level as charts draw it; None where there is none."""
    if found is None or None in (found.since, found.before_from, found.before, found.share):
        return None
    return LevelChange(found.since, found.month, found.before_from, found.before, found.share)  # type: ignore[arg-type]


def change_of_measure(snapshot: Snapshot, measure: str, *, window: int, where: Where | None) -> LevelChange | None:
    """The change of level of a share in the last year, as `charts.level` tells it."""
    return change_in(level(snapshot, measure, window=window, where=where))


def goal_of(snapshot: Snapshot, measure: str, window: int) -> float | None:
    """The goal of a share that is in force on the as-of day; None where there is none that can be read."""
    import polars as pl

    named = measure if measure in GOALS else f"{measure}_{window}"
    goals = counts(snapshot.store, "targets").filter(
        (pl.col("measure") == named) & (pl.col("from_month") <= snapshot.day)
    )
    value = float(goals["value"][-1]) if goals.height else -1.0
    return value if 0 <= value <= 1 else None
