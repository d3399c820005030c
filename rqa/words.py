"""Numbers and names as a reader says them: the same wording in findings, on charts, in alternatives, on the page."""

import math
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from difflib import SequenceMatcher, get_close_matches

HARD_SPACE = "\u00a0"
"""The space before a percent sign, at which no line breaks."""
LIKE = 0.6
"""How alike two names are, of 1, before one is taken for the other mistyped."""
STEMS_LIKE = 0.75
"""How alike names must be before a last word that they share, such as `_at` or `_id`."""
MINUS = "−"
LEAST_SHARE = 0.00005
"""Shares below it, and as near to all, are said to be under or over what two decimals tell."""
OWN_UNITS = re.compile(r"\b(job|day|minute|check)s\b")
NAMES = {
    "month": "month", "week": "week", "site": "site", "model": "model", "procedure": "procedure",
    "technician": "technician", "bench": "bench", "step": "step", "test": "test", "billing": "billing",
    "class": "class", "tool": "tool", "phase": "phase", "fault": "fault", "shift": "shift",
    "shift_hour": "hour of the shift", "days_since_training": "days since a training", "part_no": "part",
}
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")


def known(value: object) -> bool:
    """Whether a figure is there: neither missing nor not-a-number."""
    return value is not None and not (isinstance(value, float) and math.isnan(value))


def fixed(value: float, decimals: int) -> str:
    """A number with so many decimals, thousands set apart, and the sign of a minus; nothing is "−0.0"."""
    text = f"{abs(value):,.{decimals}f}"
    return f"{MINUS}{text}" if value < 0 and float(text.replace(",", "")) else text


def signed(value: float, decimals: int) -> str:
    """A difference with so many decimals and its sign, plus or minus; none where it rounds to 0."""
    text = fixed(value, decimals)
    return f"+{text}" if value > 0 and float(text.replace(",", "")) else text


def percent(value: float | None, *, decimals: int | None = None) -> str:
    """A share as text, with one decimal as its interval has; "no data" when there is none.

    None and all have no decimal, and what would read as these though it is neither has two, or is said to be near
    them: "0 %", "0.04 %", "under 0.01 %".
    """
    if value is None or math.isnan(value):
        return "no data"
    if decimals is None:
        if 0.0 < value < LEAST_SHARE or 1.0 - LEAST_SHARE < value < 1.0:
            return f"{'under 0.01' if value < LEAST_SHARE else 'over 99.99'}{HARD_SPACE}%"
        decimals = 0 if value in (0.0, 1.0) else 1 if 0.0005 <= value < 0.9995 else 2
    return f"{fixed(value * 100, decimals)}{HARD_SPACE}%"


def interval(low: float | None, high: float | None) -> str:
    """An interval as text: "2.1 to 4.0 %"."""
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        return "no data"
    return f"{fixed(low * 100, 1)} to {fixed(high * 100, 1)}{HARD_SPACE}%"


def figure(value: float | None, unit: str) -> str:
    """A value in its unit: a share as a percentage, else four digits and the unit."""
    if unit == "share":
        return percent(value)
    if value is None or math.isnan(value):
        return "no data"
    number = fixed(value, 0) if abs(value) >= 1000 else _digits(value, 4)
    return f"{number}{HARD_SPACE}{plural(number, _one_of(unit), unit)}" if unit else number


def _one_of(unit: str) -> str:
    """A unit of our own that is a noun of several, as it is said of one; those of a log stay as they are."""
    return OWN_UNITS.sub(r"\1", unit, count=1)


def _digits(value: float, digits: int) -> str:
    """A number with so many digits that count, and never as a power of ten."""
    return f"{Decimal(f'{value + 0.0:.{digits}g}'):,f}"


def estimate(value: float, unit: str = "") -> str:
    """A figure estimated from cases, and its ends: three digits, wherever it is said, and the unit."""
    number = fixed(abs(value), 0) if abs(value) >= 1000 else _digits(abs(value), 3)
    sign = MINUS if value < 0 else ""
    return f"{sign}{number}{HARD_SPACE}{unit}" if unit else f"{sign}{number}"


def count(value: object) -> str:
    """A count with thousands set apart by a thin-free plain comma."""
    return f"{int(str(value)):,}"


def counted(number: object, one: str, many: str | None = None) -> str:
    """A count with its noun: "1 file", "2 files", "0 files"; `many` where an s is not enough.

    A figure that is no count is given as the text it is said with: "1 week", "1.0 weeks". Nothing else puts a figure
    before a noun of several.
    """
    return f"{number if isinstance(number, str) else count(number)} {plural(number, one, many)}"


def counted_of(number: object, many: str) -> str:
    """A count with a noun that is named in the plural: "2 matured jobs", "1 matured job", "1 unit that came back".

    The noun is the first word that ends in a single s.
    """
    return counted(number, re.sub(r"(?<![s\W])s(?=\W|$)", "", many, count=1), many)


def plural(number: object, one: str, many: str | None = None) -> str:
    """The noun, or the verb, that goes with a count: one of them, or several; `many` where an s is not enough."""
    return one if number in (1, "1") else many if many is not None else f"{one}s"


def duration(seconds: float) -> str:
    """A time taken, as said: "8 s", "2 min 10 s", "1 h 05 min"."""
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s" if whole % 60 else f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def month_key(value: object) -> str:
    """A month as sortable text, "2025-03"."""
    if isinstance(value, date | datetime):
        return f"{value.year:04d}-{value.month:02d}"
    return str(value)


def day_name(day: date) -> str:
    """A day as said: "3 May 2026"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def week_of(day: date) -> str:
    """The ISO week of a day as sortable text, 2025-W10."""
    return "{}-W{:02}".format(*day.isocalendar())


def month_name(value: object) -> str:
    """A month or week as said: "March 2025", "week 10 of 2025" for 2025-W10; other texts as they are."""
    key = month_key(value)
    if len(key) == 8 and key[4:6] == "-W" and key[6:].isdigit():
        return f"week {int(key[6:])} of {key[:4]}"
    if len(key) == 7 and key[4] == "-" and key[5:].isdigit() and 1 <= int(key[5:]) <= 12:
        return f"{MONTHS[int(key[5:]) - 1]} {key[:4]}"
    return key


def months_said(first: date, last: date) -> str:
    """Months from first to last as said: "June 2024 to May 2026", or the one month."""
    return month_name(first) if month_key(first) == month_key(last) else f"{month_name(first)} to {month_name(last)}"


def spoken(value: object) -> str:
    """A grouping value as said: codes with underscores become words, months get their names."""
    if isinstance(value, date):
        return month_name(value)
    return str(value).replace("_", " ")


def did_you_mean(given: str, there: Iterable[str]) -> str:
    """What somebody who wrote `given` most likely meant, as an end of a message: " Did you mean 'model'?", or ""."""
    near = nearest(given, there)
    return "" if near is None else f" Did you mean {near!r}?"


def there_is(given: object, there: Iterable[str]) -> str:
    """What there is in the stead of something that there is not, as an end of a message."""
    names = tuple(there)
    return f"There is: {enumerated(names) or 'none'}.{did_you_mean(str(given), names)}"


def nearest(given: str, there: Iterable[str]) -> str | None:
    """The name most like the one given, whatever its capitals; None if none is like it."""
    by_key: dict[str, str] = {}
    for name in there:
        by_key.setdefault(name.casefold(), name)
    found = get_close_matches(given.casefold(), by_key, n=len(by_key) or 1, cutoff=LIKE)
    return next((by_key[f] for f in found if _stems_alike(given.casefold(), f)), None)


def _stems_alike(a: str, b: str) -> bool:
    """Whether two names are alike before a last word that they share: "opened_at" is not "closed_at" mistyped."""
    (stem, mark, end), (other, _, other_end) = a.rpartition("_"), b.rpartition("_")
    if not mark or end != other_end or not stem or not other:
        return True
    return SequenceMatcher(None, stem, other).ratio() > STEMS_LIKE


def enumerated(words: Iterable[str]) -> str:
    """Words with commas between, or semicolons where a word holds a comma itself: "Lark, Ada; Finch, Bo"."""
    given = tuple(words)
    return _mark(given).join(given)


def _mark(words: Sequence[str]) -> str:
    return "; " if any(", " in word for word in words) else ", "


def listed(words: Sequence[str], *, last: str = "and") -> str:
    """Words joined as in a sentence."""
    if len(words) <= 1:
        return "".join(words)
    return f"{_mark(words).join(words[:-1])} {last} {words[-1]}"
