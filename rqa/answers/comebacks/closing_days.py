"""Index jobs by closing day and days until their return, so that every past day can be looked from again."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.follow_up_counts import Counts

if TYPE_CHECKING:
    from rqa.stats import ProjectedShare

RECENT = 12
"""Closing months, up to the one of the as-of day, whose hazard stands for the days a young month has not seen."""


@dataclass(frozen=True, eq=False)
class ClosingDays:
    """One group: day of closing, days until the return (beyond the window: none within it), how many jobs.

    Days count from 1970-01-01. Returns count from their own day on, so the months can be looked at from any
    earlier day.
    """

    window: int
    closed: Counts
    elapsed: Counts
    jobs: Counts

    def upto(self, day: int) -> "ClosingDays":
        """Only jobs closed by then."""
        there = self.closed <= day
        return ClosingDays(self.window, self.closed[there], self.elapsed[there], self.jobs[there])

    @property
    def month(self) -> Counts:
        """The closing month of each entry, in months since 1970."""
        return self.closed.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)


@dataclass(frozen=True, eq=False)
class SeenMonths:
    """Closing months as they looked on a day: months since 1970, jobs, jobs of full follow-up, and the projection."""

    month: Counts
    matured: Counts
    projection: "ProjectedShare"
    spread_known: bool
    reaches: bool


def closing_days(window: int, closed: Counts, elapsed: Counts, jobs: Counts) -> ClosingDays:
    """Entries from a count table; `elapsed` below 0 means none within the window. Days count from 1970-01-01."""
    return ClosingDays(window, closed, np.where((elapsed < 0) | (elapsed > window), window + 1, elapsed), jobs)


def seen_on(days: ClosingDays, day: int, *, recent: int, level: float) -> SeenMonths:
    """What each closing month looked like on that day, and what was to be expected of it.

    The figure projected is the mature rate, which takes a unit that left service as one that did not come back; so a
    retirement does not end the follow-up here, neither of a month's own jobs nor of the recent ones.
    """
    from rqa.stats import kaplan_meier, month_spread, projected_share

    there = days.upto(day)
    window = days.window
    age = np.minimum(day - there.closed, window)
    back = there.elapsed <= age
    at = np.where(back, there.elapsed, age)
    months, row = np.unique(there.month, return_inverse=True)
    shape = (months.size, window + 1)
    returned, followed = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    np.add.at(returned, (row, at), np.where(back, there.jobs, 0))
    np.add.at(followed, (row, at), np.where(back, 0, there.jobs))
    matured = np.bincount(row, weights=np.where(day - there.closed >= window, there.jobs, 0), minlength=months.size)

    now = int(np.datetime64(day, "D").astype("datetime64[M]").astype(np.int64))
    lately = months > now - recent
    every = np.arange(window + 1)
    pooled = kaplan_meier(
        day=every, returned=returned[lately].sum(axis=0), censored=followed[lately].sum(axis=0), level=level
    )
    jobs = (returned + followed).sum(axis=1)
    whole = lately & (last_days(months) + window <= day)
    spread = month_spread(returned=returned[whole].sum(axis=1), jobs=jobs[whole]) if whole.any() else float("nan")
    projection = projected_share(
        day=every, returned=returned, censored=followed, pooled=pooled, window=window,
        month_spread=0.0 if np.isnan(spread) else spread, level=level,
    )
    return SeenMonths(
        months, matured.astype(np.int64), projection, not np.isnan(spread), bool(pooled.at_risk[-1:].sum() > 0)
    )


def last_days(months: Counts) -> Counts:
    """The last day of each month, both counted from 1970."""
    after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return after - 1


def first_days(months: Counts) -> list[date]:
    """The first day of each month counted from 1970."""
    return [date(1970 + int(m) // 12, int(m) % 12 + 1, 1) for m in months]


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return day.toordinal() - date(1970, 1, 1).toordinal()
