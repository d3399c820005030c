"""A table as a person reads it in a notebook: shares in per cent, days and months by name, texts to the left.

What a column holds is told by its name and type; limits (`low`, `rate_high`) are written like what they belong to. An
answer names the units of columns for which that does not do (`Answer.units`). `.table` keeps the raw values.
"""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from html import escape
from typing import TYPE_CHECKING, Any

from rqa.answers.core.html_table import plain_table
from rqa.shown import one_line
from rqa.words import counted, day_name, estimate, fixed, month_name, percent, signed, spoken

if TYPE_CHECKING:
    import polars as pl

MOST_COLUMNS = 10
"""Columns that are shown; a wider table is not read."""
SHOWN_ROWS = 40
"""Rows that are shown."""
SHARES = frozenset({
    "rate", "share", "yield", "normalised_yield", "incidence", "of_returns", "of_row", "projected", "came_true",
    "sensitivity", "others", "other_rate", "cumulative", "hazard", "raw", "worst", "escaping", "overkill",
    "fail_value", "pass_value", "yield_before", "yield_after", "chance", "fitted", "unchanged", "passes",
})
"""Columns that hold shares in every table."""
SHARE, POINTS, P_VALUE, NUMBER = "share", "points", "p-value", "number"
UNITS = (SHARE, POINTS, P_VALUE, NUMBER)
NAMED = frozenset({"load_id", "load", "year", "closed_in", "burst", "cluster", "echo_of", "first_row", "source_row"})
"""Whole numbers that name something and count nothing."""
CODES = frozenset({"class", "kind", "mark", "event", "state", "after", "check", "shape", "way"})
"""Columns of our own words, of which several stand together with underscores."""
PERIOD = ("month", "period")
VERDICT = "verdict"
LIMIT = re.compile(r"(?:(?P<stem>\w+)_)?(?:low|high|lower|upper|se)(?:_\d+)?")
SURE = 0.001
"""A p-value below is said to be below."""
ONE_LINE = 28
"""Signs of a text that is kept on one line; a longer one with blanks may break at them, an id never."""
LEFT, RIGHT, UNBROKEN = "text-align:left", "text-align:right", ";white-space:nowrap"


def readable_table(
    table: "pl.DataFrame", *, units: Mapping[str, str] | None = None, columns: Sequence[str] | None = None
) -> str:
    """The first rows of a table as HTML; `columns` are those shown, by default as many as can be read."""
    kinds = kinds_of(table, units or {})
    seen = list(columns_shown(table) if columns is None else columns)
    held = table.select(seen).head(SHOWN_ROWS)
    decimals = _decimals_of(held, kinds)
    written = [_written(name, held[name].to_list(), kinds[name], decimals.get(name)) for name in seen]
    aligned = [RIGHT if _is_number(kinds[name], held[name].dtype) else LEFT for name in seen]
    head = [(one_line(spoken(name)), side) for name, side in zip(seen, aligned, strict=True)]
    rows = [
        [(text, side + (UNBROKEN if _stays_whole(text) else "")) for text, side in zip(row, aligned, strict=True)]
        for row in zip(*written, strict=True)
    ]
    return plain_table(head, rows)


def columns_shown(table: "pl.DataFrame", left_out: Sequence[str] = ()) -> tuple[str, ...]:
    """The columns of a table that can be read: no more than ten, a verdict among them.

    Where there are more, those named go first, then the last ones.
    """
    names = table.columns
    if len(names) > MOST_COLUMNS:
        names = [name for name in names if name not in left_out]
    beyond = [name for name in names if name != VERDICT][MOST_COLUMNS - (VERDICT in names):]
    return tuple(name for name in names if name not in beyond)


def readable_frame(table: "pl.DataFrame") -> str:
    """A frame as a notebook shows it, with what is not shown said below."""
    notes = [] if table.height <= SHOWN_ROWS else [counted(table.height - SHOWN_ROWS, "more row")]
    if more := [name for name in table.columns if name not in columns_shown(table)]:
        notes.append(f"{counted(len(more), 'more column')}: {', '.join(map(one_line, more))}")
    return readable_table(table) + (plain_list([f"Not shown: {'; '.join(notes)}."]) if notes else "")


def plain_list(sentences: Sequence[str]) -> str:
    """Sentences as a list in a notebook."""
    return f"<ul>{''.join(f'<li>{escape(sentence)}</li>' for sentence in sentences)}</ul>"


def kinds_of(table: "pl.DataFrame", units: Mapping[str, str]) -> dict[str, str]:
    """What each column of numbers holds, one of `UNITS`; "" for what is no decimal number."""
    kinds: dict[str, str] = {}
    for name, dtype in table.schema.items():
        if not dtype.is_float():
            kinds[name] = ""
        else:
            kind = units.get(name) or _kind(name, kinds)
            kinds[name] = NUMBER if kind == SHARE and not _within_one(table[name]) else kind
    return kinds


def _kind(name: str, before: Mapping[str, str]) -> str:
    if name in SHARES or name.endswith("_share"):
        return SHARE
    if LIMIT.fullmatch(name):
        owner = _owner(name, before)
        return before[owner] if owner else NUMBER
    if name.startswith("p_") or name.endswith("_p"):
        return P_VALUE
    return POINTS if name == "difference" and SHARE in before.values() else NUMBER


def _owner(name: str, before: Mapping[str, str]) -> str:
    """The column before to which limits belong: of their name, or else the last; "" for none."""
    limit = LIMIT.fullmatch(name)
    stem = (limit and limit["stem"]) or ""
    owners = [n for n, kind in before.items() if kind not in ("", P_VALUE) and not LIMIT.fullmatch(n)]
    near = [n for n in owners if n == stem] or [n for n in owners if n.startswith(f"{stem}_")] or owners
    return near[-1] if near else ""


def _within_one(values: "pl.Series") -> bool:
    """Whether values can be shares; a sum of rounded ones may lie a little above 1."""
    return all(v is None or math.isnan(v) or -0.001 <= v <= 1.001 for v in values.to_list())


def _is_number(kind: str, dtype: Any) -> bool:
    return bool(kind) or dtype.is_numeric()


def _stays_whole(text: str) -> bool:
    return " " not in text or len(text) <= ONE_LINE


def _decimals_of(held: "pl.DataFrame", kinds: Mapping[str, str]) -> dict[str, int]:
    """The decimals of each column of numbers, which a figure and its limits have in common.

    None are set where rows have units of their own: three digits of each number are shown there.
    """
    if "unit" in held.columns:
        return {}
    families: dict[str, list[str]] = {}
    before: dict[str, str] = {}
    for name, kind in kinds.items():
        if kind == NUMBER and name in held.columns:
            owner = _owner(name, before) if LIMIT.fullmatch(name) else ""
            families.setdefault(owner or name, []).append(name)
        before[name] = kind
    decimals: dict[str, int] = {}
    for family in families.values():
        values = [abs(v) for name in family for v in held[name].to_list() if v is not None and math.isfinite(v)]
        decimals |= dict.fromkeys(family, _decimals(values))
    return decimals


def _written(name: str, values: Sequence[Any], kind: str, decimals: int | None) -> list[str]:
    """The cells of a column."""
    if kind == NUMBER:
        return [_number(value, decimals) for value in values]
    as_month = name == "month" or (name in PERIOD and all(_begins_a_month(v) for v in values if v is not None))
    cells = [_cell(value, kind, as_month=as_month, names=name in NAMED) for value in values]
    return [spoken(cell) for cell in cells] if name in CODES else cells


def _begins_a_month(value: Any) -> bool:
    return isinstance(value, date) and value.day == 1


def _decimals(sizes: Sequence[float]) -> int:
    """Decimals that a column of numbers has in common: three digits of its largest, and none where all are whole."""
    largest = max(sizes, default=0.0)
    if largest >= 1000 or all(size == int(size) for size in sizes):
        return 0
    return 1 if largest >= 10 else 2 if largest >= 1 else 3 if largest >= 0.1 else 4


def _number(value: float | None, decimals: int | None) -> str:
    if value is None or math.isnan(value):
        return "no data"
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    return estimate(value) if decimals is None else fixed(value, decimals)


def _cell(value: Any, kind: str, *, as_month: bool, names: bool) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "no data"
    if kind == SHARE:
        return percent(value)
    if kind == POINTS:
        return f"{signed(value * 100, 1)} points"
    if kind == P_VALUE:
        return f"under {SURE}" if value < SURE else fixed(value, 3)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value) if names else f"{value:,}"
    if as_month:
        return month_name(value)
    if isinstance(value, datetime):
        return f"{day_name(value)}, {value:%H:%M}"
    if isinstance(value, date):
        return day_name(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return one_line(", ".join(map(str, value)))
    return one_line(str(value))
