"""Local clocks: when a zone's clock is changed and how far it is put back, so that changed hours can be reported."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

FIRST_YEAR, LAST_YEAR = 1990, 2060
STEP = timedelta(days=5)
"""No zone's clock is changed twice in so short a time; in the zone database (IANA, 2025b) the shortest is a week."""


@cache
def _changes(zone: str) -> tuple[tuple[date, date, int], ...]:
    """The changes of a zone's clock, 1990 to 2060: a local day at their beginning and end, minutes put forward."""
    here = ZoneInfo(zone)
    found: list[tuple[date, date, int]] = []
    moment, end = datetime(FIRST_YEAR, 1, 1, tzinfo=UTC), datetime(LAST_YEAR, 12, 31, tzinfo=UTC)
    while moment < end:
        later = min(moment + STEP, end)
        if moment.astimezone(here).utcoffset() != later.astimezone(here).utcoffset():
            found += _day_by_day(here, moment, later)
        moment = later
    return tuple(found)


def _day_by_day(here: ZoneInfo, moment: datetime, end: datetime) -> Iterator[tuple[date, date, int]]:
    """The changes of a zone's clock between two moments that are whole days apart."""
    before = moment.astimezone(here)
    while moment < end:
        moment += timedelta(days=1)
        after = moment.astimezone(here)
        moved = (after.utcoffset() or timedelta()) - (before.utcoffset() or timedelta())
        if moved:
            # The change lies between the two moments, so it falls on one of their local days.
            yield before.date(), after.date(), moved // timedelta(minutes=1)
        before = after


@cache
def change_days(zone: str) -> tuple[date, ...]:
    """The local days, 1990 to 2060, on which the clock of `zone` is put forward or back, or that it leaves out."""
    spans = ((first, (last - first).days) for first, last, _ in _changes(zone))
    return tuple(sorted({first + timedelta(days=n) for first, length in spans for n in range(length + 1)}))


@cache
def minutes_put_back(zone: str) -> tuple[int, ...]:
    """By how many minutes the clock of `zone` is put back, each amount met from 1990 to 2060 once; sorted."""
    return tuple(sorted({-moved for _, _, moved in _changes(zone) if moved < 0}))
