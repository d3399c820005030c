"""What part of the depot a question is about: groupings, filters, months and the as-of day, checked once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import isfinite
from typing import TYPE_CHECKING

from rqa.answers.core.filters import Where as Where
from rqa.answers.core.filters import filters_of, quotes_needed
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.measures.groupings import names_only
from rqa.measures.run import counts
from rqa.words import did_you_mean, enumerated, month_name

if TYPE_CHECKING:
    from rqa.store.engine import Store

By = str | Sequence[str]
Months = tuple[str | date, str | date] | str | date
PERIODS = ("month", "week")
"""Groupings by time: a month or an ISO week (Monday to Sunday), by its first day."""
SHOWN_VALUES = 12
"""Values listed in an error about a filter."""

VALUES_OF = {
    "site": "values_jobs", "model": "values_jobs", "procedure": "values_jobs", "billing": "values_jobs",
    "step": "values_steps", "test": "values_tests", "station": "values_tests",
}
"""Filters whose values are checked before a question is asked; those of the others are too many to list."""
DECLARED = ("procedure", "step", "test")
"""Filters that may name what a reference table declares and no log has: there is none of it, which is no mistake."""


@dataclass(frozen=True)
class Snapshot:
    """A store, and the time at which it is looked at.

    `at` is that time and `day` its date; `latest` says that nothing in the store is dated later, so that counts over
    the whole store hold; `first` is the day of its first dated row, None where it has none. `from_rows` has counts made
    from the rows even where the store keeps them, which gives the same.
    """

    store: "Store"
    at: datetime
    day: date
    latest: bool
    notes: tuple[str, ...] = ()
    first: date | None = None
    from_rows: bool = False


@dataclass(frozen=True)
class Scope:
    """Groupings, filters and months of one question, as they go to the measures.

    `left_out` says which of the work asked about they leave out (`rqa.answers.core.told_sites`).
    """

    by: tuple[str, ...]
    where: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    months: tuple[date, date] | None = None
    left_out: tuple[str, ...] = ()

    @property
    def named(self) -> set[str]:
        """Every name the question uses."""
        return {*self.by, *self.where} | ({"month"} if self.months else set())

    def settings(self) -> dict[str, object]:
        """What was asked, for the answer's settings."""
        return {"by": self.by, "where": dict(self.where), "months": self.months}


def snapshot_at(store: "Store", as_of: str | date | datetime | None) -> Snapshot:
    """The time a store is looked at: the one given, else the latest in the store.

    Days are those of the sites' own calendars, so the latest day is theirs too: midnight in Warsaw is the day before
    in UTC, and a clock west of Greenwich is a day behind it.
    """
    found = counts(store, "latest").row(0, named=True)
    latest: datetime | None = found["latest_at"]
    last_day: date | None = found["latest_on"]
    notes: list[str] = []
    if store.newer:
        notes.append("A newer store is there: it was loaded again after this one was opened; open it again to see it.")
    if as_of is None:
        if latest is None or last_day is None:
            return Snapshot(
                store, datetime(1970, 1, 1), date(1970, 1, 1), True, ("The store holds no jobs yet.", *notes)
            )
        at = latest if latest.date() == last_day else datetime(last_day.year, last_day.month, last_day.day)
        return Snapshot(store, at, last_day, True, tuple(notes), found["first_on"])
    at = time_of(as_of)
    if last_day is not None and at.date() > last_day:
        notes.append(
            f"As of {at.date()}, but the latest day in the store is {last_day}: "
            "returns after that day could not be seen."
        )
    return Snapshot(store, at, at.date(), last_day is None or at.date() >= last_day, tuple(notes), found["first_on"])


def time_of(given: str | date | datetime) -> datetime:
    """A day or time as given, in UTC; `RequestError` for what is none."""
    if isinstance(given, str):
        try:
            given = datetime.fromisoformat(given)
        except ValueError as error:
            raise RequestError(f"as_of: {given!r} is no date; write it like 2026-05-31.") from error
    if isinstance(given, datetime):
        if given.tzinfo is not None:
            from datetime import UTC

            given = given.astimezone(UTC).replace(tzinfo=None)
        return given
    if isinstance(given, date):
        return datetime(given.year, given.month, given.day)
    raise RequestError(f"as_of takes a date, a time or a text like 2026-05-31, not {given!r}.")


def scope(question: str, *, by: By, where: Where | None, months: Months | None, allowed: Sequence[str]) -> Scope:
    """The question's scope, or `RequestError` naming what is wrong and what exists."""
    names = named_groups(question, by)
    names_only(question, "grouping", names, allowed)
    if len(set(names)) < len(names):
        raise RequestError(f"{question}: a grouping is named twice in {', '.join(names)}.")
    kept = {}
    filters = [name for name in allowed if name not in PERIODS]
    for name, listed in filters_of(question, where).items():
        if name in PERIODS:
            raise RequestError(f'{question}: to choose months, give months=("2026-01", "2026-06").')
        names_only(question, "filter", (name,), filters)
        kept[name] = listed
        if name == "class":
            names_only(question, "class", listed, CLASSES)
    return Scope(names, kept, month_range(question, months))


def named_groups(question: str, by: By) -> tuple[str, ...]:
    """The groupings as a tuple, or `RequestError` if they are neither a text nor a list."""
    if isinstance(by, str):
        return (by,)
    if not isinstance(by, Iterable):
        raise RequestError(f"{question}: by takes a grouping or a list of groupings, not {by!r}.")
    return tuple(by)


def is_number(value: object) -> bool:
    """Whether a value is a single finite number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def whole_number(
    question: str, name: str, value: object, minimum: int, maximum: int | None = None, *, of: str = ""
) -> int:
    """A whole number from `minimum` on, `of` days or cases, or `RequestError`."""
    if isinstance(value, bool) or not isinstance(value, int) or value < minimum or (
        maximum is not None and value > maximum
    ):
        what = f"a whole number of {of}" if of else "a whole number"
        reach = f"{minimum} or more" if maximum is None else f"{minimum} to {maximum:,}"
        raise RequestError(f"{question}: {name} is {what}, {reach}: {value!r}.")
    return value


def check_level(question: str, level: float, name: str = "level") -> None:
    """Raise `RequestError` unless the level is a number between 0 and 1."""
    if not is_number(level) or not 0 < level < 1:
        raise RequestError(f"{question}: {name} is a number between 0 and 1, such as 0.95: {level!r}.")


def check_values(store: "Store", question: str, where: Mapping[str, Sequence[str]]) -> None:
    """Raise `RequestError` for a filter value that the store does not have."""
    for name, values in where.items():
        if name not in VALUES_OF or not values:
            continue
        there = counts(store, VALUES_OF[name], by=(name,))[name].to_list()
        if name in DECLARED and not set(values) <= set(there):
            declared = counts(store, "declared_names").rows()
            there += [value for kind, value in declared if kind == name and value not in there]
        if set(there) <= {"unknown"} and set(values) - set(there) and name not in DECLARED:
            raise RequestError(
                f"{question}: {name} is never given in the store, so it chooses nothing. Add to [table.columns] of the "
                f'[[table]] that knows it in sources.toml: {name} = "…".'
            )
        for value in values:
            if value not in there:
                shown = enumerated([*there[:SHOWN_VALUES], *(["…"] if len(there) > SHOWN_VALUES else [])]) or "none"
                meant = quotes_needed(name, value, there) or did_you_mean(value, there)
                raise RequestError(f"{question}: there is no {name} {value!r} in the store. There is: {shown}.{meant}")


def check_one_of(question: str, name: str, given: object, allowed: Iterable[str]) -> None:
    """Raise `RequestError` unless an argument is one of the words it can be."""
    words = tuple(allowed)
    if given not in words:
        meant = did_you_mean(str(given), words)
        raise RequestError(f"{question}: {name} is one of {', '.join(words)}: {given!r}.{meant}")


def check_one_quantity(question: str, at: str, asked: Scope) -> None:
    """Raise `RequestError` if readings at different steps or tests (`at`; none: "") would be put together."""
    if at and at not in asked.by and len(asked.where.get(at, ())) != 1:
        raise RequestError(
            f"{question}: what is read at one {at} is another quantity than at the next; name {at} in by=, or one {at} "
            "in where=."
        )


def split_groups(question: str, by: By) -> tuple[str, ...]:
    """The groupings of a question whose answer runs by period already."""
    groups = named_groups(question, by)
    for name in PERIODS:
        if name in groups:
            raise RequestError(f"{question}: the chart runs by period already; leave {name} out of by=.")
    return groups


def month_range(question: str, months: Months | None) -> tuple[date, date] | None:
    """The first days of the first and the last month."""
    if months is None:
        return None
    ends = (months, months) if isinstance(months, str | date) else months
    if not isinstance(ends, Sequence) or len(ends) != 2:
        raise RequestError(f'{question}: months takes two ends, ("2026-01", "2026-06"), or one month: {months!r}.')
    first, last = (month_of(question, end) for end in ends)
    if first > last:
        raise RequestError(f"{question}: months: the end, {last:%Y-%m}, is before the start, {first:%Y-%m}.")
    return first, last


def month_of(question: str, given: str | date) -> date:
    """The first day of a month given as 2026-05, as a day of it, or as a date."""
    if isinstance(given, date):
        return date(given.year, given.month, 1)
    try:
        text = str(given)
        return date.fromisoformat(f"{text}-01" if len(text) == 7 else text).replace(day=1)
    except ValueError as error:
        raise RequestError(f"{question}: {given!r} is no month; write it like 2026-05.") from error


def held_months(snapshot: Snapshot) -> str:
    """The months that a store's data is of, as said; it must hold some."""
    first, last = (snapshot.first or snapshot.day).replace(day=1), snapshot.day.replace(day=1)
    return month_name(first) if first == last else f"{month_name(first)} to {month_name(last)}"


def is_held(snapshot: Snapshot, month: date) -> bool:
    """Whether a month lies neither before nor after all data; of an empty store nothing can be said against it."""
    return snapshot.first is None or snapshot.first.replace(day=1) <= month <= snapshot.day


def check_month_held(question: str, snapshot: Snapshot, month: date) -> None:
    """Raise `RequestError` for a month that lies before or after all data."""
    if not is_held(snapshot, month):
        raise RequestError(
            f"{question}: the store holds nothing of {month_name(month)}; its data is of {held_months(snapshot)}."
        )


def next_month(month: date) -> date:
    """The first day of the month after."""
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def months_back(month: date, months: int) -> date:
    """The first day of the month so many months before."""
    place = month.year * 12 + month.month - 1 - months
    return date(place // 12, place % 12 + 1, 1)


def month_end(month: date) -> date:
    """The last day of a month."""
    return next_month(month) - timedelta(days=1)
