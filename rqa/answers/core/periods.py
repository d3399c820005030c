"""Months and ISO weeks by their first days: which one a day lies in, which comes next, when it is over."""

from datetime import date, timedelta

from rqa.answers.core.scope import month_end, next_month
from rqa.errors import RequestError

PERIODS = ("month", "week")
A_YEAR = {"month": 12, "week": 52}
"""Points of a chart in a year."""


def first_day(day: date, period: str) -> date:
    """The first day of the month or week that a day lies in."""
    return day.replace(day=1) if period == "month" else day - timedelta(days=day.weekday())


def following(first: date, period: str) -> date:
    """The first day of the period after."""
    return next_month(first) if period == "month" else first + timedelta(days=7)


def last_day(first: date, period: str) -> date:
    """The last day of a period."""
    return month_end(first) if period == "month" else first + timedelta(days=6)


def every_period(first: date, last: date, period: str) -> list[date]:
    """All periods from one to another, those without data too."""
    made = []
    while first <= last:
        made.append(first)
        first = following(first, period)
    return made


def period_name(first: date, period: str) -> str:
    """A period as text: 2026-03, 2026-W10, or the day itself."""
    if period == "month":
        return f"{first:%Y-%m}"
    return "{}-W{:02}".format(*first.isocalendar()) if period == "week" else first.isoformat()


def day_of(question: str, given: object) -> date:
    """A day, or the first one of a month given like 2026-03."""
    if isinstance(given, date):
        return date(given.year, given.month, given.day)
    try:
        text = str(given)
        return date.fromisoformat(f"{text}-01" if len(text) == 7 and text[4] == "-" else text)
    except ValueError as error:
        raise RequestError(f"{question}: {given!r} is no day or month; write it like 2026-05-31 or 2026-05.") from error


def span_of(question: str, name: str, given: object) -> tuple[date, date]:
    """First and last day of a span given by two months or days, both ends included, by one, or by a list."""
    ends = (given, given) if isinstance(given, str | date) else tuple(given) if isinstance(given, list | tuple) else ()
    ends = (ends[0], ends[-1]) if ends else ends
    if len(ends) != 2:
        raise RequestError(f'{question}: {name} takes two ends, ("2026-01", "2026-06"), or one month: {given!r}.')
    first, last = (day_of(question, end) for end in ends)
    if isinstance(ends[1], str) and len(ends[1]) == 7:
        last = month_end(last)
    if first > last:
        raise RequestError(f"{question}: {name}: the end, {last}, is before the start, {first}.")
    return first, last
