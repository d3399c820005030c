"""How what a file counts in each bucket of units becomes what it counts of all: read off its last SELECT, or declared.

A SELECT whose measures are sums, counts, least or greatest of a group merges by the same of them; one without groups
gives rows, which are put one after another. What cannot be read off stands in the file's header:

    -- Merged: sums of jobs, cases; greatest of latest_at.
    -- Merged: sums of jobs, none of 0.
    -- Merged: greatest of largest; the others as read.
    -- Merged: rows. (or: distinct rows; rows of one bucket, which alone has them, in its order)
    -- Merged: sums of exposures, passed in worked, then the rest.

    -- Merged: sums of readings in by_value, then middles given back.
    -- Merged: whole.

`then the rest` counts the named step in each bucket, puts that together, and runs the rest of the file once over it
(`rows in STEP` puts rows together). `then STEP given back` goes on to a second step, hands what it gives to every
bucket, and puts the results together as the last SELECT says. `whole` runs a file on the machine that asks, over the
files of all buckets. A concept (`sql/shared`) that says so in its header is made of all, and handed to every bucket.
Nothing of this proves that a file may be counted by buckets:
`tests/lake/test_merging.py` does, for every file.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from rqa.intake.names import quoted
from rqa.measures.run import concepts

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

HOW = {"sum": "sum", "count": "sum", "count_star": "sum", "count_if": "sum", "min": "min", "max": "max",
       "bool_or": "bool_or", "bool_and": "bool_and"}
"""What an aggregate of all is made of those of the buckets by."""
IN_ONE = ("job_id", "unit_id")
"""Columns of which each value stands in one bucket alone, so that distinct ones can be counted."""
SAID = {"sums": "sum", "greatest": "max", "least": "min", "any": "bool_or"}
_DECLARED = re.compile(r"^-- Merged: (.*(?:\n--   .*)*)\.$", re.M)
_STEP = re.compile(r"(?P<what>.+) in (?P<step>\w+), then (?:the rest|(?P<back>\w+) given back)")


@dataclass(frozen=True)
class Merge:
    """How results are put together: columns with how each is, none for rows.

    `step`: of that step, not of the file; `back`: the step then handed to every bucket; `nonzero`: without groups whose
    sums are all 0; `as_given`: in no new order; `others`: columns not named are as read off; `whole`: not by bucket.
    """

    how: Mapping[str, str]
    grouped: bool
    distinct: bool = False
    step: str = ""
    back: str = ""
    nonzero: bool = False
    as_given: bool = False
    others: bool = False
    whole: bool = False


def declared(sql: str) -> Merge | None:
    """What a header declares; None without such a line. `ValueError` for what cannot be read."""
    if "\n-- Merged" not in sql:
        return None
    found = _DECLARED.search(sql)
    if found is None:
        raise ValueError("'Merged' of a measure's header has no full stop at its end.")
    return read(found[1].replace("\n--  ", ""))


def read(said: str) -> Merge:
    """What a declaration says, without the word before it and the full stop. `ValueError` for what cannot be read."""
    if said == "whole":
        return Merge({}, False, whole=True)
    of_step = _STEP.fullmatch(said)
    what, step, back = (of_step["what"], of_step["step"], of_step["back"] or "") if of_step else (said, "", "")
    if what in ("rows", "distinct rows", "rows of one bucket"):
        return Merge({}, False, what == "distinct rows", step, back, as_given=what == "rows of one bucket")
    how: dict[str, str] = {}
    what, nonzero = what.removesuffix(", none of 0"), what.endswith(", none of 0")
    parts = what.split("; ")
    others = parts[-1] == "the others as read"
    for part in parts[:-1] if others else parts:
        word, _, names = part.partition(" of ")
        if word not in SAID or not names:
            raise ValueError(f"'Merged' of a measure's header cannot be read: {part!r}.")
        how |= dict.fromkeys(names.split(", "), SAID[word])
    return Merge(how, True, step=step, back=back, nonzero=nonzero, others=others)


def merge_of(sql: str, node: Mapping[str, Any]) -> Merge | None:
    """How a file merges: as its header declares, else as read off; None where neither says it."""
    said = declared(sql)
    return said if said is not None and not said.others else read_off(node, said.how if said else {})


@cache
def _parser() -> "duckdb.DuckDBPyConnection":
    import duckdb

    return duckdb.connect(config={"enable_external_access": False, "threads": 1})


def tree(sql: str) -> dict[str, Any]:
    """What the engine's own parser makes of one SELECT. `ValueError` for what is none."""
    with _parser().cursor() as cursor:
        ((text,),) = cursor.execute("select json_serialize_sql($1)", [sql]).fetchall()
    read: dict[str, Any] = json.loads(text)
    if read["error"]:
        raise ValueError(read.get("error_message", "not one SELECT"))
    node: dict[str, Any] = read["statements"][0]["node"]
    return node


def read_off(node: Mapping[str, Any], given: Mapping[str, str]) -> Merge | None:
    """How a SELECT merges by what it is, and by what is given of its columns; None where that cannot be told."""
    if node["type"] != "SELECT_NODE" or node["having"] or node["qualify"]:
        return None
    modifiers = {m["type"] for m in node["modifiers"]}
    how: dict[str, str] = {}
    for column in node["select_list"]:
        if _has_window(column):
            return None
        if not any(True for _ in _aggregates(column)):
            continue
        one = given.get(column["alias"]) or _merged_by(column)
        if one is None or not column["alias"]:
            return None
        how[column["alias"]] = one
    grouped = bool(how) or bool(node["group_expressions"]) or node["aggregate_handling"] == "FORCE_AGGREGATES"
    return Merge(how, grouped, "DISTINCT_MODIFIER" in modifiers)


def _aggregates(node: Any) -> Iterator[Mapping[str, Any]]:
    """The aggregates in an expression; those over a window and in a query within it are not the SELECT's own."""
    if isinstance(node, list):
        for inside in node:
            yield from _aggregates(inside)
    elif isinstance(node, dict) and node.get("class") not in ("WINDOW", "SUBQUERY"):
        if node.get("class") == "FUNCTION" and node.get("function_name") in aggregates():
            yield node
        else:
            for inside in node.values():
                yield from _aggregates(inside)


def _has_window(node: Any) -> bool:
    """Whether an expression looks at other rows than its own."""
    if isinstance(node, list):
        return any(map(_has_window, node))
    return isinstance(node, dict) and (node.get("class") == "WINDOW" or any(map(_has_window, node.values())))


@cache
def aggregates() -> frozenset[str]:
    """The names of all aggregates that the engine knows."""
    asked = "select function_name from duckdb_functions() where function_type = 'aggregate'"
    with _parser().cursor() as cursor:
        found = cursor.execute(asked).fetchall()
    return frozenset(name for (name,) in found)


def _merged_by(expression: Mapping[str, Any]) -> str | None:
    """By what an aggregate merges, also where it is cast, or 0 stands for none; None for any other expression."""
    if expression["class"] == "CAST":
        return _merged_by(expression["child"])
    if expression["type"] == "OPERATOR_COALESCE":
        first, *rest = expression["children"]
        zero = len(rest) == 1 and rest[0].get("literal", {}).get("text") in ("0", "false")
        by = _merged_by(first)
        return by if zero and by in ("sum", "bool_or") else None
    if expression["class"] != "FUNCTION":
        return None
    given = [argument["expression"] for argument in expression["arguments"]]
    if expression["function_name"] == "+" and {_merged_by(one) for one in given} == {"sum"}:
        return "sum"
    if expression["distinct"] and [one.get("column_names", [""])[-1] for one in given] not in ([j] for j in IN_ONE):
        return None
    return HOW.get(expression["function_name"])


def read_by(node: Any) -> frozenset[str]:
    """The names of tables, views and table macros that a tree reads, itself or in the concepts that it reads."""
    found: set[str] = set()
    todo = [node]
    while todo:
        inside = todo.pop()
        if isinstance(inside, list):
            todo += inside
        elif isinstance(inside, dict):
            if inside.get("type") == "BASE_TABLE":
                found.add(inside["table_name"])
            elif inside.get("type") == "TABLE_FUNCTION":
                found.add(inside["function"]["function_name"])
            todo += inside.values()
    return frozenset(found)


def merged(
    connection: "duckdb.DuckDBPyConnection", parts: Sequence["pa.Table"], merge: Merge, order: str,
    values: Mapping[str, object],
) -> "pa.Table":
    """The results of all buckets put together, in the order in which the file gives them."""
    import pyarrow as pa

    with connection.cursor() as cursor:
        cursor.register("of_buckets", pa.concat_tables(parts))
        types = dict(row[:2] for row in cursor.execute("describe of_buckets").fetchall())
        columns = [
            f"cast({merge.how[n]}({quoted(n)}) as {t}) as {quoted(n)}" if n in merge.how else quoted(n)
            for n, t in types.items()
        ]
        once = merge.distinct or (merge.grouped and not merge.how)
        sql = f"select {'distinct ' if once else ''}{', '.join(columns)} from of_buckets"
        if merge.how and len(merge.how) < len(types):
            sql += " group by all"
        if merge.nonzero:
            sql += f" having {' or '.join(f'sum({quoted(n)}) <> 0' for n in merge.how)}"
        if order and not merge.as_given:
            sql = f"select * from ({sql}) as merged_rows\n{_unqualified(order, types)}"
        return cursor.sql(sql, params=used(sql, values)).to_arrow_table()


def used(sql: str, values: Mapping[str, object]) -> dict[str, object]:
    """Those of the values that an SQL names."""
    named = set(re.findall(r"\$(\w+)", re.sub(r"--[^\n]*", "", sql)))
    return {name: value for name, value in values.items() if name in named}


def _unqualified(order: str, columns: Mapping[str, str]) -> str:
    """An order by columns of the result, whose tables are no longer there."""
    return re.sub(r"\b\w+\.(\w+)", lambda m: m[1] if m[1] in columns else m[0], order)


def order_of(sql: str) -> str:
    """The order of a file's last SELECT, and its limit: the text from its last `order by` that is in no parentheses."""
    text = re.sub(r"--[^\n]*", "", sql)
    depth, found = 0, ""
    for piece in re.finditer(r"[()]|\border by\b|\bselect\b|'(?:[^']|'')*'", text):
        if piece[0] in "()":
            depth += 1 if piece[0] == "(" else -1
        elif depth == 0 and piece[0] == "order by":
            found = text[piece.start() :].strip()
    return found


def head(sql: str, step: str) -> str:
    """The rows of one step of a file: its steps up to that one, and a SELECT of it."""
    found = re.search(rf"^{step} as (?:materialized )?\(\n.*?^\)", sql, re.M | re.S)
    if found is None:
        raise ValueError(f"there is no step {step!r}")
    return f"{sql[: found.end()]}\nselect * from {step}"


def rest(sql: str, step: str, given: str) -> str:
    """A file with what a table holds in the place of one step."""
    begun = re.search(rf"^{step} as (?:materialized )?\(\n", sql, re.M)
    if begun is None:
        raise ValueError(f"there is no step {step!r}")
    end = re.compile(r"^\)", re.M).search(sql, begun.end())
    assert end is not None
    return f"{sql[: begun.end()]}    select * from {given}\n{sql[end.start() :]}"


@cache
def reads_of_concept(name: str) -> frozenset[str]:
    """The names of what a concept reads."""
    return read_by(tree(concepts()[name].body))


def tables_of(names: frozenset[str]) -> frozenset[str]:
    """The tables behind these names, concepts followed to what they read."""
    seen: set[str] = set()
    todo = set(names)
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            if name in concepts():
                todo |= reads_of_concept(name)
    return frozenset(seen)
