"""Local clocks: the days on which a zone's clock is changed, so that skipped and repeated hours can be reported."""

from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

FIRST_YEAR, LAST_YEAR = 1990, 2060


@cache
def change_days(zone: str) -> tuple[date, ...]:
    """The local days, 1990 to 2060, on which the clock of `zone` is put forward or back; sorted."""
    here = ZoneInfo(zone)
    found: set[date] = set()
    moment = datetime(FIRST_YEAR, 1, 1, tzinfo=UTC)
    end = datetime(LAST_YEAR, 12, 31, tzinfo=UTC)
    step = timedelta(days=1)
    before = here.utcoffset(moment.astimezone(here))
    while moment < end:
        moment += step
        after = here.utcoffset(moment.astimezone(here))
        if after != before:
            # The change lies between the two moments, so it falls on one of their local days.
            found |= {(moment - step).astimezone(here).date(), moment.astimezone(here).date()}
        before = after
    return tuple(sorted(found))
