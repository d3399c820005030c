"""Run one measure: read its file, fill its grouping columns from the closed mapping, bind its values, get counts.

A file is plain SQL that can be run as it stands. These kinds of place in it can be filled:
`/* groups: */ … /* :groups */` holds the grouping columns, `/* names: */ … /* :names */` their names alone,
`/* filters: */ true /* :filters */` the conditions; `/* asked: */ … /* :asked */` holds columns, of which
those stay that a grouping or a condition asks for; `/* if x: */ … /* :if x */` goes when x is not asked for (`x or y`:
when neither is), `/* unless x: */ … /* :unless x */` when x is grouped by, and `/* given x: */ … /* :given x */` when
no value is given for the parameter x, or null.

A file that reads what is kept may differ from the one that reads rows in its first steps alone. Its last line says so
then, `-- The rest: that of FILE.sql from STEP on.` (`its select` for the select at the end); `measure_sql` gives all. A
file that lists, row by row, what another counts begins with the steps of that one: `-- The steps: those of FILE.sql.`

`listing` gives such rows one by one, each with what its job is: it puts the file into the place of `listed_jobs.sql`.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from rqa.measures.groupings import Groupings, declared, names_only
from rqa.store.concepts import Concept, concept

if TYPE_CHECKING:
    import polars as pl

    from rqa.store.engine import Store

Where = Mapping[str, Sequence[str]]
Months = tuple[date, date]

_REST = re.compile(r"^-- The rest: that of (\w+)\.sql from (\w+|its select) on\.\n\Z", re.M)
_STEPS = re.compile(r"^-- The steps: those of (\w+)\.sql\.\n", re.M)
JOBS = "listed_jobs"
"""The file that says of each row of a list what its job is."""
OF_JOBS = ("site", "model", "procedure", "technician", "class", "found")
"""Names that both a list and `listed_jobs.sql` may have: the job's own stay."""
COMPARED = {
    "=": "x.{name} is not distinct from ${value}", ">=": "x.{name} >= ${value}", "<=": "x.{name} <= ${value}",
    ">": "x.{name} > ${value}",
    "in": "list_contains(cast(${value} as varchar[]), x.{name})", "is given": "x.{name} is not null",
}
Kept = Sequence[tuple[str, str, object]]
"""Conditions on the rows of a list: column, one of `COMPARED`, value."""


@cache
def sql_files() -> Mapping[str, str]:
    """The text of every file, by its name; the area it lies in is no part of it."""
    areas = (area for area in (files("rqa.measures") / "sql").iterdir() if area.is_dir())
    found = (file for area in areas for file in area.iterdir())
    written = {file.name.removesuffix(".sql"): file.read_text(encoding="utf-8") for file in found}
    return {name: _with_rest(text, written) for name, text in written.items()}


def _with_rest(text: str, written: Mapping[str, str]) -> str:
    """The text of a file; where its last line leaves the rest to another, with the steps of that one."""
    begun = _STEPS.search(text)
    if begun is not None:
        return text[: begun.start()] + _steps_of(written.get(begun[1], ""), begun[1]) + text[begun.end() :]
    left = _REST.search(text)
    if left is None:
        return text
    file, step = left.groups()
    first = r"^select(?: distinct)?\n" if step == "its select" else rf"^--[^\n]*\n{step} as \(\n"
    found = re.search(first, written.get(file, ""), re.M)
    if found is None:
        raise ValueError(f"{file}.sql has no step {step!r} from which another file could go on")
    return text[: left.start()] + written[file][found.start() :]


def _steps_of(text: str, file: str) -> str:
    """The named steps of a file, without its header and its select."""
    found = re.search(r"^with\n.*?(?=^select$)", text, re.M | re.S)
    if found is None:
        raise ValueError(f"{file}.sql has no steps with which another file could begin")
    return found[0]


@cache
def concepts() -> Mapping[str, Concept]:
    """The concepts that the files of measures draw on, by name: views and table macros, each defined by one file."""
    return {name: made for name, text in sorted(sql_files().items()) if (made := concept(text)) is not None}


def measure_sql(measure: str) -> str:
    """The text of a measure's file, as it stands."""
    return sql_files()[measure]


@cache
def groupings(measure: str) -> Groupings:
    """What a measure can be grouped by and filtered on, and what each name stands for in its file."""
    return declared(measure_sql(measure))


def counts(
    store: "Store",
    measure: str,
    *,
    by: Sequence[str] = (),
    where: Where | None = None,
    months: Months | None = None,
    values: Mapping[str, object] | None = None,
) -> "pl.DataFrame":
    """The counts of one measure: a row a group, in a total order.

    `by` and the keys of `where` are names that the measure allows; `where` gives the values kept; `months` the first
    and last month kept; `values` the file's own parameters. Raises `RequestError` for a name it does not know.
    """
    given = [name for name, value in (values or {}).items() if value is not None]
    sql, bound = fill(measure, by=by, where=where or {}, months=months, given=given)
    return store.counts(f"{measure}.sql", sql, {**(values or {}), **bound})


def listing(
    store: "Store",
    measure: str,
    *,
    as_of: date,
    by: Sequence[str] = (),
    where: Where | None = None,
    months: Months | None = None,
    values: Mapping[str, object] | None = None,
    marks: Sequence[str] = (),
    kept: Kept = (),
) -> "pl.DataFrame":
    """The rows of a file that lists, each with what its job is: those that carry all `marks` and meet what is `kept`.

    `by`, `where`, `months` and `values` are as in `counts`; `as_of` is the day from which returns are looked at.
    """
    given = [name for name, value in (values or {}).items() if value is not None]
    rows, bound = fill(measure, by=by, where=where or {}, months=months, given=given)
    conditions = [f"x.{mark}" for mark in marks]
    for place, (name, compared, value) in enumerate(kept):
        condition = COMPARED[compared].format(name=name, value=f"kept_{place}")
        conditions.append(condition)
        if "$" in condition:
            bound[f"kept_{place}"] = value
    sql = _put(measure_sql(JOBS), "listed", _always(rows))
    sql = _put(sql, "without", _always(", ".join(["job_id", *(name for name in by if name in OF_JOBS)])))
    sql = _put(sql, "kept", _always(" and ".join(conditions) or "true"))
    return store.counts(f"{measure}.sql", sql, {**(values or {}), "as_of": as_of, **bound})


def fill(
    measure: str, *, by: Sequence[str], where: Where, months: Months | None, given: Collection[str]
) -> tuple[str, dict[str, object]]:
    """The measure's SQL with its places filled, and the values of the filters to bind; `given` names the file's own."""
    allowed = groupings(measure)
    names_only(measure, "grouping", by, tuple(allowed))
    names_only(measure, "filter", where, tuple(allowed))
    conditions: list[tuple[str, str]] = []
    bound: dict[str, object] = {}
    for name, kept in where.items():
        marks = []
        for number, value in enumerate(kept):
            bound[f"{name}_{number}"] = value
            marks.append(f"${name}_{number}")
        conditions.append((allowed[name], f"{allowed[name]} in ({', '.join(marks)})" if marks else "false"))
    if months is not None:
        names_only(measure, "period", ("month",), tuple(allowed))
        bound["first_month"], bound["last_month"] = months
        conditions.append((allowed["month"], f"{allowed['month']} between $first_month and $last_month"))
    sql = measure_sql(measure)
    for slot in dict.fromkeys(re.findall(r"/\* ((?:groups|names|filters)(?: of [\w ]+)?): \*/", sql)):
        what, _, listed = slot.partition(" of ")
        tables = listed.split(" or ") if listed else []
        if what == "filters":
            kept = [condition for expression, condition in conditions if _is_of(expression, tables)]
            sql = _put(sql, slot, _always(" and ".join(kept) or "true"))
        else:
            named = [name for name in by if _is_of(allowed[name], tables)]
            sql = _place(sql, slot, [f"{allowed[name]} as {name}" if what == "groups" else name for name in named])
    asked = {*by, *where}
    periods = {"month"} if months is not None else set()
    sql = re.sub(r"/\* asked: \*/(.*?)/\* :asked \*/", lambda m: _columns(m[1], asked | periods), sql, flags=re.S)
    sql = re.sub(
        r"/\* if ([\w ]+): \*/(.*?)/\* :if \1 \*/",
        lambda m: m[2].strip() if asked & set(m[1].split(" or ")) else "",
        sql,
        flags=re.S,
    )
    sql = re.sub(
        r"/\* unless (\w+): \*/(.*?)/\* :unless \1 \*/", lambda m: "" if m[1] in by else m[2].strip(), sql, flags=re.S
    )
    sql = re.sub(
        r"/\* given (\w+): \*/(.*?)/\* :given \1 \*/", lambda m: m[2].strip() if m[1] in given else "", sql, flags=re.S
    )
    return sql, bound


def _is_of(expression: str, tables: Sequence[str]) -> bool:
    """Whether an expression is over one of these tables or steps; of none named, over whatever it is."""
    return not tables or re.search(rf"\b(?:{'|'.join(tables)})\.", expression) is not None


def _always(text: str) -> Callable[[re.Match[str]], str]:
    return lambda _: text


def _put(sql: str, slot: str, filled: Callable[[re.Match[str]], str]) -> str:
    return re.sub(rf"/\* {slot}: \*/(.*?)/\* :{slot} \*/", filled, sql, flags=re.S)


def _columns(listed: str, asked: set[str]) -> str:
    """Those of the columns whose name is asked for."""
    columns = [column.strip() for column in re.split(r",(?![^(]*\))", listed) if column.strip()]
    return " ".join(f"{column}," for column in columns if re.split(r"[ .]", column)[-1] in asked)


def _place(sql: str, slot: str, columns: Sequence[str]) -> str:
    def filled(found: re.Match[str]) -> str:
        comma = "," if columns and found[1].rstrip().endswith(",") else ""
        return ", ".join(columns) + comma

    return _put(sql, slot, filled)
