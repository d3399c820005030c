"""Clocks of the invented depot: minutes on the wall of a site, and the same moment in UTC.

Times are whole minutes since 2025-01-01 00:00 as the site's clock shows them. A repeated hour is its first pass.
"""

from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from rqa.demo.catalogue import SITES

Minutes = npt.NDArray[np.int64]
EPOCH = date(2025, 1, 1)
DAY = 1440
HORIZON_DAYS = 366 * 30
"""Days after the epoch for which clock changes are known."""

APART = 7
"""Days in which a clock changes once at most."""


@cache
def _changes(zone: str) -> tuple[list[int], list[int], list[tuple[int, int]], list[tuple[int, int]]]:
    """Wall minutes from which each offset holds, the offsets, the hours skipped and the hours that come twice."""
    here, start = ZoneInfo(zone), datetime(EPOCH.year, EPOCH.month, EPOCH.day, tzinfo=UTC)

    def offset(minute: int) -> int:
        shift = here.utcoffset((start + timedelta(minutes=minute)).astimezone(here))
        return int(shift.total_seconds() // 60) if shift else 0

    begins, offsets = [-(10**9)], [offset(0)]
    skipped: list[tuple[int, int]] = []
    repeated: list[tuple[int, int]] = []
    after = offsets[0]
    for day in range(0, HORIZON_DAYS, APART):
        low, high = day * DAY, (day + APART) * DAY
        before, after = after, offset(high)
        if before == after:
            continue
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if offset(middle) == before else (low, middle)
        begins.append(high + max(before, after))
        offsets.append(after)
        (skipped if after > before else repeated).append((high + min(before, after), high + max(before, after)))
    return begins, offsets, skipped, repeated


def offsets_of(wall: Minutes, zone: str) -> Minutes:
    """Minutes by which the wall clock of a zone is ahead of UTC, for each wall time."""
    begins, offsets, *_ = _changes(zone)
    return np.array(offsets, dtype=np.int64)[np.searchsorted(begins, wall, side="right") - 1]


def to_utc(wall: Minutes, site: npt.NDArray[np.integer]) -> Minutes:
    """Wall times as minutes in UTC; `site` is the place of each one's site in `SITES`."""
    utc = wall.copy()
    for number, s in enumerate(SITES):
        here = site == number
        utc[here] -= offsets_of(wall[here], s.zone)
    return utc


def in_changed_hour(wall: Minutes, zone: str) -> npt.NDArray[np.int8]:
    """1 where a wall time falls into a skipped hour, 2 where into one that comes twice, else 0."""
    *_, skipped, repeated = _changes(zone)
    found = np.zeros(len(wall), dtype=np.int8)
    for mark, spans in ((1, skipped), (2, repeated)):
        for low, high in spans:
            found[(wall >= low) & (wall < high)] = mark
    return found


def day_number(day: date) -> int:
    """A day as a number of days since the epoch."""
    return (day - EPOCH).days


def next_workday(days: npt.NDArray[np.int64], ahead: npt.NDArray[np.int64] | int = 0) -> npt.NDArray[np.int64]:
    """The working day (Monday to Friday) `ahead` working days after each day; a weekend rolls to Monday first."""
    dates = np.datetime64(EPOCH) + days
    moved = np.busday_offset(dates, ahead, roll="forward")
    return (moved - np.datetime64(EPOCH)).astype(np.int64)


def weekday(days: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """0 for Monday to 6 for Sunday."""
    return (days + EPOCH.weekday()) % 7


def last_day(months: int) -> date:
    """The last day of the given number of months from the epoch."""
    year, month = divmod(months, 12)
    return date.fromordinal(date(EPOCH.year + year, month + 1, 1).toordinal() - 1)
