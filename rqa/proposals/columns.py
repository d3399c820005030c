"""What one column of a set of files holds: how it is filled, and whether as times, numbers, codes or ids."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from rqa.contract import Column
from rqa.intake.names import quoted
from rqa.intake.values import ParseOptions
from rqa.proposals.found import Group
from rqa.proposals.times import CLOCK_ALONE, EPOCH, SERIAL, Readings, readings_of
from rqa.proposals.vocabulary import vocabulary
from rqa.store.looked import Looked
from rqa.words import counted

TIME, NUMBER = Column("t", "time", ""), Column("n", "number", "")
NUMBER_LIKE = re.compile(r"[+-]?\d[\d.,' \u00a0\u202f]*")
COMMA = re.compile(r"[+-]?\d*,\d+")
POINT = re.compile(r"[+-]?\d*\.\d+")
THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,' \u00a0\u202f])\d{3}(?:\1\d{3})*(?:([.,])\d+)?")
WITH_UNIT = re.compile(r"(?:[€$£]|[A-Z]{3})? ?([+-]?\d[\d.,' ]*) ?(?:[A-Za-z€$£%°µΩ/]{1,8})?")
INTEGER = re.compile(r"[+-]?\d+")
NEARLY_ALL = 0.9
CODES = 40
"""Different values up to which a column may be one of codes."""


@dataclass(frozen=True)
class TimeForms:
    """How the times of a column are read: the formats, what decides the order of day and month, what does not fit.

    `order` is "day", "month", "fixed" where the way of writing leaves no choice, or "either" where nothing tells.
    """

    readings: Readings
    order: str
    fits: int
    misfit: str
    why: str

    @property
    def formats(self) -> tuple[str, ...]:
        """The formats; none where the order cannot be told."""
        if self.order == "either":
            return ()
        return self.readings.month_first if self.order == "month" else self.readings.day_first


@dataclass(frozen=True)
class Facts:
    """What is known of one column."""

    name: str
    rows: int
    filled: int
    distinct: int
    texts: tuple[str, ...] = field(repr=False, default=())
    """Values of the sample, without those that mean missing."""
    missing: tuple[str, ...] = ()
    given: int = 0
    """Values that do not mean missing."""
    times: TimeForms | None = None
    number: float = 0.0
    """The share of the sample that are numbers."""
    whole: float = 0.0
    decimal: str = ""
    """The decimal mark that the column shows; "" where it shows none."""
    thousands: str = ""
    with_unit: bool = False
    clock: bool = False
    epoch: str = ""
    values: tuple[tuple[str, int], ...] = ()
    """All values with their counts, where there are few."""

    @property
    def unique(self) -> float:
        """The share of values that are different."""
        return min(1.0, self.distinct / self.filled) if self.filled else 0.0


def facts_of(group: Group, looked: Looked) -> dict[str, Facts]:
    """What each column of a set holds, by its name."""
    named = {c.lower() for one in group.layouts for c in one.columns}
    columns = [c for low, c in looked.columns.get(group.name, {}).items() if low in named]
    rows = looked.rows.get(group.name, 0)
    filled = looked.facts(group.name, columns) if rows else {}
    sample = looked.sample(group.name, columns) if rows else {}
    lacking = looked.among(group.name, columns, vocabulary().missing) if rows else {}
    found = {}
    for column in columns:
        if not rows:
            found[column] = Facts(column, 0, 0, 0)
            continue
        missing: tuple[str, ...] = ()
        if lacking[column]:
            missing = tuple(looked.texts_among(group.name, column, vocabulary().missing))
        texts = tuple(t for t in sample[column] if t is not None and t not in missing)
        made = Facts(column, rows, filled[column].filled, filled[column].distinct, texts, missing,
                     filled[column].filled - lacking[column])
        found[column] = _typed(made, group, looked)
    return found


def _typed(made: Facts, group: Group, looked: Looked) -> Facts:
    texts = made.texts
    if texts:
        numbers = [t for t in texts if NUMBER_LIKE.fullmatch(t)]
        made = replace(
            made,
            number=len(numbers) / len(texts),
            whole=sum(1 for t in texts if INTEGER.fullmatch(t)) / len(texts),
            clock=sum(1 for t in texts if CLOCK_ALONE.fullmatch(t)) >= NEARLY_ALL * len(texts),
        )
        if made.number >= NEARLY_ALL:
            made = _marks(made, numbers)
        elif made.number < 0.5 and sum(1 for t in texts if WITH_UNIT.fullmatch(t)) >= NEARLY_ALL * len(texts):
            bare = [m.group(1).strip() for t in texts if (m := WITH_UNIT.fullmatch(t))]
            units = {re.sub(r"[\d.,' +-]", "", t) for t in texts}
            if len(units) <= 3:
                made = _marks(replace(made, with_unit=True, number=1.0), bare)
        if all(EPOCH.fullmatch(t) for t in texts):
            made = replace(made, epoch="milliseconds" if all(len(t) == 13 for t in texts) else "seconds")
        elif all(SERIAL.fullmatch(t) for t in texts):
            made = replace(made, epoch="days")
        readings = readings_of(texts)
        if readings is not None and not made.epoch:
            made = replace(made, times=_ordered(made, readings, group, looked))
    if made.distinct <= CODES:
        made = replace(made, values=tuple(looked.values(group.name, made.name)))
    return made


def _marks(made: Facts, numbers: Sequence[str]) -> Facts:
    """The decimal and thousands marks that numbers show; one that may be either is none of them."""
    signs: dict[str, int] = {}
    thousands: dict[str, int] = {}
    for text in numbers:
        plain = text.lstrip("+-")
        grouped = THOUSANDS.fullmatch(plain)
        if grouped and grouped[2] and grouped[2] != grouped[1]:
            signs[grouped[2]] = signs.get(grouped[2], 0) + 1
            thousands[grouped[1]] = thousands.get(grouped[1], 0) + 1
        elif grouped and (plain.count(grouped[1]) > 1 or grouped[1] in "' \u00a0\u202f"):
            thousands[grouped[1]] = thousands.get(grouped[1], 0) + 1
        elif grouped:
            # One mark and three digits behind it: thousands or decimals.
            continue
        elif COMMA.fullmatch(plain):
            signs[","] = signs.get(",", 0) + 1
        elif POINT.fullmatch(plain):
            signs["."] = signs.get(".", 0) + 1
    decimal = max(signs, key=lambda s: signs[s]) if signs else ""
    mark = max(thousands, key=lambda s: thousands[s]) if thousands else ""
    return replace(made, decimal=decimal, thousands=mark if mark != decimal else "")


def _ordered(made: Facts, readings: Readings, group: Group, looked: Looked) -> TimeForms | None:
    """How the times of a column are read, decided by all of its values."""
    text = quoted(made.name)

    def fits(forms: Sequence[str]) -> int:
        return looked.fits(group.name, text, TIME, ParseOptions(times=tuple(forms)), made.missing)

    day = fits(readings.day_first)
    if readings.day_first == readings.month_first:
        order, most, why = "fixed", day, ""
    else:
        month = fits(readings.month_first)
        most = max(day, month)
        if day == month:
            order, why = "either", "every value could have the day or the month first"
        else:
            order = "day" if day > month else "month"
            other = readings.month_first if order == "day" else readings.day_first
            seen = looked.misfit(group.name, text, TIME, ParseOptions(times=other), made.missing)
            only = abs(day - month)
            why = f"{only:,} of {counted(made.given, 'value')}, such as {seen}, can only have the {order} first"
            if min(day, month) < most and most < made.given and min(day, month) > 0:
                # Values of both orders: neither fits all.
                left = made.given - most
                why += f"; {left:,} do not fit"
    if most < NEARLY_ALL * made.given * min(1.0, readings.read + 0.1) or most < 0.5 * made.given:
        return None
    forms = readings.month_first if order == "month" else readings.day_first
    misfit = ""
    if most < made.given:
        misfit = looked.misfit(group.name, text, TIME, ParseOptions(times=tuple(forms)), made.missing)
    return TimeForms(readings, order, most, misfit, why)
