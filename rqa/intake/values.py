"""From text to value: SQL that converts a text to a column's kind and says what is wrong with one that does not fit."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from rqa.contract import EARLIEST, LATEST, Column, Kind
from rqa.intake.literals import literal
from rqa.intake.names import inner
from rqa.intake.zones import change_days, minutes_put_back

SQL_TYPES = {
    "text": "VARCHAR", "code": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "time": "TIMESTAMP",
    "boolean": "BOOLEAN", "list": "VARCHAR[]", "date": "DATE", "month": "DATE",
}
ISO_LOCAL = r"^\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.]\d+)?)?)?$"
ISO_OFFSET = r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.]\d+)?)? ?(Z|z|[+-](0\d|1[0-4])(:?[0-5]\d)?)$"
ISO_SHOWN = "iso, such as 2026-05-31 14:30"
SPACES = (
    "".join(map(chr, (*range(0x09, 0x0E), *range(0x1C, 0x21), 0x85, 0xA0, 0x1680, *range(0x2000, 0x200B))))
    + "\u2028\u2029\u202f\u205f\u3000\ufeff"
)
"""What is taken off both ends of a text: all that Unicode calls white space, and the byte-order mark."""
LIST_ENTRY = rf'[{SPACES}]*"[^"]*"|[^;,|\r\n]+'
"""A pattern for one entry of a list: quoted, or up to the next separator. A blank is none, as names hold blanks."""
BRACKETS, QUOTES = r"^\[(.*)\]$", '^"(.*)"$'
TRUE, FALSE = ("true", "t", "yes", "y", "1"), ("false", "f", "no", "n", "0")


@dataclass(frozen=True)
class ParseOptions:
    """How texts are to be read: decimal mark, thousands mark, time formats, the zone of clocks without an offset.

    `zone` is SQL that gives a zone's name; `zones` are the names it can give (for the days on which clocks change).
    `typed` says that the source has numbers and times of its own, which come with a point and in ISO form.
    """

    decimal: str = "."
    thousands: str = ""
    times: tuple[str, ...] = ("iso",)
    zone: str = "'UTC'"
    zones: tuple[str, ...] = ()
    typed: bool = False


def _words(values: tuple[str, ...]) -> str:
    return "(" + ", ".join(literal(v) for v in values) + ")"


def trimmed(text: str, plain: bool = False) -> str:
    """SQL for a text without space of any kind around it, NULL when nothing is left; the usual text is not copied.

    `plain` promises that there is no other space than the usual one.
    """
    last = f"right({text}, 1)"
    unusual = " or ".join(f"{end} < '!'" + ("" if plain else f" or {end} >= chr(127)") for end in (text, last))
    return f"case when {unusual} then nullif(trim({text}, {literal(SPACES)}), '') else {text} end"


def list_entries(text: str) -> list[str]:
    """The entries of a list's text, as `parsed` has them taken apart by the engine."""
    bare = re.sub(BRACKETS, r"\1", text, flags=re.DOTALL)
    found = (
        re.sub(QUOTES, r"\1", e.strip(SPACES), flags=re.DOTALL).strip(SPACES) for e in re.findall(LIST_ENTRY, bare)
    )
    return [entry for entry in found if entry]


def _plain_number(text: str, options: ParseOptions) -> str:
    """SQL for a number's text with a point and without thousands marks."""
    if options.thousands:
        text = f"replace({text}, {literal(options.thousands)}, '')"
    return f"replace({text}, ',', '.')" if options.decimal == "," else text


def _number_pattern(options: ParseOptions, fraction: str, rest: str = "") -> str:
    """A pattern for numbers written in this manner: thousands marks stand between groups of three, or not at all."""
    mark = "[.,]" if options.typed and options.decimal == "," else f"[{options.decimal}]"
    whole = r"\d+"
    if options.thousands:
        whole = rf"(?:\d+|\d{{1,3}}(?:{re.escape(options.thousands)}\d{{3}})+)"
    if fraction == "0":
        return rf"^[+-]?{whole}(?:{mark}0*)?$"
    return rf"^[+-]?(?:{whole}(?:{mark}\d*)?|{mark}\d+){rest}$"


def _usual(text: str, mark: str) -> str:
    """SQL for a time in the usual ISO form, every digit given and `mark` at its end.

    A space may stand for the T, and a day may end at 24:00:00.
    """
    form = literal("%Y-%m-%dT%H:%M:%S" + mark)
    midnight = f"{text}[11] in ('T', ' ') and {text}[12:19] = '24:00:00'"
    return (
        f"coalesce(try_strptime({text}, {form}), try_strptime(replace({text}, ' ', 'T'), {form}), "
        f"case when {midnight} then try_strptime({text}[:10], '%Y-%m-%d') + interval 1 day end)"
    )


def _local(text: str, options: ParseOptions) -> str:
    """A clock reading without offset, as TIMESTAMP, or NULL."""
    tries = []
    for form in options.times:
        if form == "iso":
            # Nothing but the usual form is 19 bytes long, and no form 20; the pattern is for the rest.
            pattern = f"regexp_matches({text}, {literal(ISO_LOCAL)})"
            tries.append(
                f"case strlen({text}) when 19 then {_usual(text, '')} when 20 then null "
                f"else case when {pattern} then try_cast({text} as timestamp) end end"
            )
        elif "%z" not in form:
            tries.append(f"try_strptime({text}, {literal(form)})")
    return tries[0] if len(tries) == 1 else f"coalesce({', '.join(tries)})" if tries else "null::timestamp"


def _instant(text: str, options: ParseOptions) -> str:
    """A time that carries its own offset, as UTC TIMESTAMP, or NULL."""
    tries = []
    for form in options.times:
        if form == "iso":
            tries.append(
                f"case when strlen({text}) = 20 and ends_with({text}, 'Z') then {_usual(text, 'Z')} "
                f"when strlen({text}) < 17 or strlen({text}) = 19 and {text}[17] = ':' then null "
                f"when regexp_matches({text}, {literal(ISO_OFFSET)}) "
                f"then timezone('UTC', try_cast(replace(replace({text}, ' +', '+'), ' -', '-') as timestamptz)) end"
            )
        elif "%z" in form:
            tries.append(f"timezone('UTC', try_strptime({text}, {literal(form)}))")
    return tries[0] if len(tries) == 1 else f"coalesce({', '.join(tries)})" if tries else "null::timestamp"


def as_text(column: str) -> str:
    """The column of a value's text, while a row is converted."""
    return inner(f"text {column}")


def _as_local(time: str) -> str:
    """The column of a time's clock reading without offset."""
    return inner(f"local {time}")


def _as_instant(time: str) -> str:
    """The column of a time that carries its own offset."""
    return inner(f"utc {time}")


def parsed(column: Column, text: str, options: ParseOptions, factor: str = "") -> dict[str, str]:
    """First step of the conversion: SQL for each part a value is made of, by the name of its column.

    A time has two parts, a clock reading without offset and an instant; `timed` joins them. `factor` stands behind a
    number, " * 60.0::double".
    """
    if column.kind == "time":
        return {_as_local(column.name): _local(text, options), _as_instant(column.name): _instant(text, options)}
    return {column.name: _converted(column.kind, text, options, factor)}


def _converted(kind: Kind, text: str, options: ParseOptions, factor: str) -> str:
    """SQL for the value of a text; NULL if it does not fit the kind."""
    if kind == "code":
        return f"lower({text})"
    if kind == "integer":
        number = _plain_number(text, options)
        cast = f"try_cast({number} as bigint)"
        pattern = f"regexp_matches({text}, {literal(_number_pattern(options, '0'))})"
        return f"case when {cast}::varchar = {text} then {cast} when {pattern} then {cast} end"
    if kind == "number":
        number = _plain_number(text, options)
        pattern = literal(_number_pattern(options, "", r"(?:[eE][+-]?\d+)?"))
        cast = f"try_cast({number} as double)"
        if factor:
            cast = f"({cast}{factor})"
        return f"case when regexp_matches({text}, {pattern}) and isfinite({cast}) then {cast} end"
    if kind == "boolean":
        return (
            f"case when lower({text}) in {_words(TRUE)} then true when lower({text}) in {_words(FALSE)} then false end"
        )
    if kind == "list":
        own = f"starts_with({text}, '[') and json_valid({text})"
        bare = f"regexp_replace({text}, {literal(BRACKETS)}, '\\1', 's')"
        split = f"regexp_extract_all({bare}, {literal(LIST_ENTRY)})"
        spaces = literal(SPACES)
        entries = (
            f"case when {own} then list_transform(json_extract_string({text}, '$[*]'), lambda e: trim(e, {spaces})) "
            f"else list_transform({split}, lambda e: "
            f"trim(regexp_replace(trim(e, {spaces}), {literal(QUOTES)}, '\\1', 's'), {spaces})) end"
        )
        return f"list_sort(list_distinct(list_filter({entries}, lambda e: e <> '')))"
    if kind == "date":
        return f"{_local(text, options)}::date"
    if kind == "month":
        month = f"case when regexp_matches({text}, '^\\d{{4}}-\\d\\d$') then {text} || '-01' else {text} end"
        return f"date_trunc('month', {_local(month, options)})::date"
    return text


def clock_change(column: str, options: ParseOptions) -> str:
    """SQL: 'skipped' or 'repeated' when the clock reading of a time column falls into a changed hour, else NULL."""
    local, zone = _as_local(column), options.zone
    days = sorted({d for z in options.zones for d in change_days(z)})
    if not days:
        return "null::varchar"
    dates = ", ".join(f"date '{d}'" for d in days)
    return (
        f"case when not ({local}::date in ({dates})) then null "
        f"when timezone({zone}, timezone({zone}, {local})) <> {local} then 'skipped' "
        f"when {put_back(column, options)} is not null then 'repeated' end"
    )


def put_back(column: str, options: ParseOptions) -> str:
    """SQL: how long before the instant taken for a clock reading the clock showed the same, an INTERVAL; else NULL.

    The engine takes a reading that came twice for its second pass.
    """
    local, zone = _as_local(column), options.zone
    whens = " ".join(
        f"when timezone({zone}, timezone({zone}, {local}) - interval {minutes} minute) = {local} "
        f"then interval {minutes} minute"
        for minutes in sorted({m for z in options.zones for m in minutes_put_back(z)})
    )
    return f"(case {whens} end)" if whens else "null::interval"


def timed(column: str, options: ParseOptions) -> str:
    """SQL for a time in UTC, from its two parts."""
    if options.zones == ("UTC",):
        return f"coalesce({_as_instant(column)}, {_as_local(column)})"
    return f"coalesce({_as_instant(column)}, timezone('UTC', timezone({options.zone}, {_as_local(column)})))"


def local_day(column: str, options: ParseOptions) -> str:
    """SQL for the day of a time in the site's own calendar."""
    if options.zones == ("UTC",):
        return f"coalesce({_as_local(column)}, {_as_instant(column)})::date"
    return f"coalesce({_as_local(column)}, timezone({options.zone}, {_as_instant(column)}::timestamptz))::date"


def unzoned(times: Sequence[str]) -> str:
    """SQL: whether one of these times is a clock reading without an offset, so that it had to be given a zone."""
    return " or ".join(f"{_as_local(t)} is not null" for t in times) or "false"


def breaches(column: Column, text: str, options: ParseOptions) -> list[tuple[str, str]]:
    """The rules a value of this column can break: (what is said of it, SQL that is true when it is broken)."""
    name, found = column.name, []
    tried = f"in the given formats (tried: {', '.join(ISO_SHOWN if f == 'iso' else f for f in options.times)})"
    if column.required:
        found.append(("missing", f"{text} is null"))
    mark = f", written with decimal = {options.decimal!r}" if options.decimal == "," else ""
    said = {
        "integer": f"not a whole number{mark}", "number": f"not a number{mark}", "time": f"not a date and time {tried}",
        "date": f"not a date {tried}", "month": "not a month (YYYY-MM)",
        "boolean": "neither true nor false",
    }.get(column.kind)
    if said:
        found.append((said, f"{name} is null and {text} is not null"))
    if column.kind == "code":
        found.append((f"not one of {', '.join(column.allowed)}", f"{name} not in {_words(column.allowed)}"))
    if column.kind == "list" and column.allowed:
        allowed = "[" + ", ".join(literal(a) for a in column.allowed) + "]"
        said = f"holds an entry (they are separated by ; , or |) that is not one of {', '.join(column.allowed)}"
        found.append((said, f"not list_has_all({allowed}, {name})"))
    if column.at_least is not None:
        found.append((f"below {column.at_least:g}", f"{name} < {column.at_least:g}"))
    if column.kind in ("time", "date", "month"):
        found.append(
            (f"outside {EARLIEST} to {LATEST}", f"({name} < timestamp '{EARLIEST}' or {name} >= timestamp '{LATEST}')")
        )
    return found
