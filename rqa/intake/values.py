"""From text to value: SQL that converts a text to a column's kind and says what is wrong with one that does not fit."""

from dataclasses import dataclass

from rqa.contract import EARLIEST, LATEST, Column
from rqa.intake.sources import literal
from rqa.intake.zones import change_days

SQL_TYPES = {
    "text": "VARCHAR", "code": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "time": "TIMESTAMP",
    "boolean": "BOOLEAN", "list": "VARCHAR[]", "date": "DATE", "month": "DATE",
}  # fmt: skip
ISO_LOCAL = r"^\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.]\d+)?)?)?$"
ISO_OFFSET = r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.]\d+)?)? ?(Z|z|[+-]\d\d(:?\d\d)?)$"
WHOLE = r"^[+-]?\d+([.]0*)?$"
DECIMAL = r"^[+-]?(\d+[.]?\d*|[.]\d+)([eE][+-]?\d+)?$"
BETWEEN_WORDS = r'[\s,;|\[\]"]+'
TRUE, FALSE = ("true", "t", "yes", "y", "1"), ("false", "f", "no", "n", "0")


@dataclass(frozen=True)
class Manner:
    """How texts are to be read: decimal mark, thousands mark, time formats, the zone of clocks without an offset.

    `zone` is SQL that gives a zone's name; `zones` are the names it can give (for the days on which clocks change).
    """

    decimal: str = "."
    thousands: str = ""
    times: tuple[str, ...] = ("iso",)
    zone: str = "'UTC'"
    zones: tuple[str, ...] = ()


def _words(values: tuple[str, ...]) -> str:
    return "(" + ", ".join(literal(v) for v in values) + ")"


def trimmed(text: str) -> str:
    """SQL for a text without spaces around it, NULL when nothing is left; the usual text is not copied."""
    return f"case when starts_with({text}, ' ') or ends_with({text}, ' ') then nullif(trim({text}), '') else {text} end"


def _plain_number(text: str, manner: Manner) -> str:
    if manner.thousands:
        text = f"replace({text}, {literal(manner.thousands)}, '')"
    return f"replace({text}, ',', '.')" if manner.decimal == "," else text


def _local(text: str, manner: Manner) -> str:
    """A clock reading without offset, as TIMESTAMP, or NULL."""
    tries = []
    for form in manner.times:
        if form == "iso":
            # The usual length is told by two characters; the pattern is for the rest.
            usual = f"length({text}) = 19 and {text}[5] = '-' and {text}[17] = ':'"
            cast = f"try_cast({text} as timestamp)"
            pattern = f"regexp_matches({text}, {literal(ISO_LOCAL)})"
            tries.append(f"case when {usual} then {cast} when {pattern} then {cast} end")
        elif "%z" not in form:
            tries.append(f"try_strptime({text}, {literal(form)})")
    return tries[0] if len(tries) == 1 else f"coalesce({', '.join(tries)})" if tries else "null::timestamp"


def _instant(text: str, manner: Manner) -> str:
    """A time that carries its own offset, as UTC TIMESTAMP, or NULL."""
    tries = []
    for form in manner.times:
        if form == "iso":
            utc = f"length({text}) = 20 and {text}[17] = ':' and {text}[20] = 'Z'"
            tries.append(
                f"case when {utc} then try_cast(left({text}, 19) as timestamp) when length({text}) < 16 or "
                f"length({text}) = 19 and {text}[17] = ':' then null "
                f"when regexp_matches({text}, {literal(ISO_OFFSET)}) "
                f"then timezone('UTC', try_cast(replace(replace({text}, ' +', '+'), ' -', '-') as timestamptz)) end"
            )
        elif "%z" in form:
            tries.append(f"timezone('UTC', try_strptime({text}, {literal(form)}))")
    return tries[0] if len(tries) == 1 else f"coalesce({', '.join(tries)})" if tries else "null::timestamp"


def parsed(column: Column, text: str, manner: Manner) -> dict[str, str]:
    """First step of the conversion: SQL for each part a value is made of, by suffix ('' is the value itself).

    A time has two parts, `_local` (a clock reading without offset) and `_utc` (an instant); `timed` joins them.
    """
    kind = column.kind
    if kind == "time":
        return {"_local": _local(text, manner), "_utc": _instant(text, manner)}
    if kind == "code":
        return {"": f"lower({text})"}
    if kind == "integer":
        number = _plain_number(text, manner)
        cast = f"try_cast({number} as bigint)"
        pattern = f"regexp_matches({number}, {literal(WHOLE)})"
        return {"": f"case when {cast}::varchar = {number} then {cast} when {pattern} then {cast} end"}
    if kind == "number":
        number = _plain_number(text, manner)
        return {"": f"case when regexp_matches({number}, {literal(DECIMAL)}) then try_cast({number} as double) end"}
    if kind == "boolean":
        return {
            "": f"case when lower({text}) in {_words(TRUE)} then true "
            f"when lower({text}) in {_words(FALSE)} then false end"
        }
    if kind == "list":
        words = f"regexp_split_to_array({text}, {literal(BETWEEN_WORDS)})"
        return {"": f"list_sort(list_distinct(list_filter({words}, lambda w: w <> '')))"}
    if kind == "date":
        return {"": f"{_local(text, manner)}::date"}
    if kind == "month":
        month = f"case when regexp_matches({text}, '^\\d{{4}}-\\d\\d$') then {text} || '-01' else {text} end"
        return {"": f"date_trunc('month', {_local(month, manner)})::date"}
    return {"": text}


def clock_change(column: str, manner: Manner) -> str:
    """SQL: 'skipped' or 'repeated' when the clock reading of a time column falls into a changed hour, else NULL."""
    local, zone = f"{column}_local", manner.zone
    days = sorted({d for z in manner.zones for d in change_days(z)})
    if not days:
        return "null::varchar"
    dates = ", ".join(f"date '{d}'" for d in days)
    on_change_day = f"{local}::date in ({dates})"
    utc = f"timezone({zone}, {local})"
    twin = " or ".join(
        f"timezone({zone}, {utc} {sign} interval {minutes} minute) = {local}" for sign in "+-" for minutes in (30, 60)
    )
    return (
        f"case when not ({on_change_day}) then null when timezone({zone}, {utc}) <> {local} then 'skipped' "
        f"when {twin} then 'repeated' end"
    )


def timed(column: str, manner: Manner) -> str:
    """SQL for a time in UTC, from its two parts."""
    if manner.zones == ("UTC",):
        return f"coalesce({column}_utc, {column}_local)"
    return f"coalesce({column}_utc, timezone('UTC', timezone({manner.zone}, {column}_local)))"


def local_day(column: str, manner: Manner) -> str:
    """SQL for the day of a time in the site's own calendar."""
    if manner.zones == ("UTC",):
        return f"coalesce({column}_local, {column}_utc)::date"
    return f"coalesce({column}_local, timezone({manner.zone}, {column}_utc::timestamptz))::date"


def breaches(column: Column, text: str) -> list[tuple[str, str]]:
    """The rules a value of this column can break: (what is said of it, SQL that is true when it is broken)."""
    name, found = column.name, []
    if column.required:
        found.append(("missing", f"{text} is null"))
    said = {
        "integer": "not a whole number", "number": "not a number", "time": "not a date and time in the given formats",
        "date": "not a date in the given formats", "month": "not a month (YYYY-MM)",
        "boolean": "neither true nor false",
    }.get(column.kind)  # fmt: skip
    if said:
        found.append((said, f"{name} is null and {text} is not null"))
    if column.kind == "code":
        found.append((f"not one of {', '.join(column.allowed)}", f"{name} not in {_words(column.allowed)}"))
    if column.kind == "list" and column.allowed:
        allowed = "[" + ", ".join(literal(a) for a in column.allowed) + "]"
        said = f"holds a word that is not one of {', '.join(column.allowed)}"
        found.append((said, f"not list_has_all({allowed}, {name})"))
    if column.at_least is not None:
        found.append((f"below {column.at_least:g}", f"{name} < {column.at_least:g}"))
    if column.kind in ("time", "date", "month"):
        found.append(
            (f"outside {EARLIEST} to {LATEST}", f"({name} < timestamp '{EARLIEST}' or {name} >= timestamp '{LATEST}')")
        )
    return found
