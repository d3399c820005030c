"""What the SQL of a mapping may be: one expression over a row, or one SELECT over the named files, and nothing else.

A mapping is data that a colleague may have written. Its `sql`, `where` and `select` are parsed by the engine's own
parser before any of them is run. They are refused when they name a table or function that could reach anything but the
rows of the named files: files, the network, the engine's settings, the clock. This is the first of two walls; the
second is the closed configuration under which everything runs (`engine.close_access`).
"""

import json
import re
from collections.abc import Collection, Iterable, Iterator
from functools import cache
from typing import Any

import duckdb

from rqa.intake.literals import literal
from rqa.intake.mapping import Mapping
from rqa.intake.parts import unknown_name
from rqa.shown import told
from rqa.words import counted

NO_COLUMN = re.compile(r'Referenced column "(?P<name>(?:[^"]|"")+)" not found')
NO_MATCH = re.compile(r"No function matches the given name and argument types '(?P<call>.+)'")
"""How the engine says that it knows no such column, and no such function of values of these types."""
QUERY_NODES = {"SELECT_NODE", "SET_OPERATION_NODE", "RECURSIVE_CTE_NODE", "CTE_NODE"}
TABLE_NODES = {"EMPTY", "BASE_TABLE", "SUBQUERY", "JOIN", "EXPRESSION_LIST", "TABLE_FUNCTION"}
WORDS = {
    "current_catalog", "current_date", "current_role", "current_schema", "current_time", "current_timestamp",
    "current_user", "localtime", "localtimestamp", "session_user", "user",
}
"""Words without parentheses that tell of the engine or of the clock where no column of their name is met."""
PADDING = {
    "lpad": (3,), "rpad": (3,), "repeat": (2,), "list_resize": (2, 3), "array_resize": (2, 3), "bitstring": (2,),
}
"""Functions that make something as long as their second argument tells, and how many arguments they take."""
LONGEST = 100_000
"""Signs of a text, or repeats of one, that a mapping may ask for by a number."""
OWN_SCHEMAS = {"main", "pg_catalog", "system"}
"""Where the engine's own functions are; by these names they are met as they are, without a limit."""
MODIFIERS = {"ORDER_MODIFIER", "LIMIT_MODIFIER", "LIMIT_PERCENT_MODIFIER", "DISTINCT_MODIFIER"}
EXPRESSIONS = {
    "BETWEEN", "CASE", "CAST", "COLLATE", "COLUMN_REF", "COMPARISON", "CONJUNCTION", "CONSTANT", "FUNCTION", "LAMBDA",
    "LAMBDA_REF", "OPERATOR", "STAR", "SUBQUERY", "TYPE", "WINDOW",
}
"""The only kinds of node that may stand in the parser's tree: a new kind is refused until it has been looked at."""
ROW_MAKERS = {"unnest", "range", "generate_series", "json_each", "repeat"}
"""Table functions that make rows out of the values given to them."""
OUTSIDE = {
    "current_catalog", "current_database", "current_date", "current_localtime", "current_localtimestamp",
    "current_role", "current_schema", "current_schemas", "current_setting", "current_user", "get_block_size",
    "get_current_time", "get_current_timestamp", "getvariable", "in_search_path", "now", "session_user", "today",
    "transaction_timestamp", "txid_current", "user", "ago", "assert_true", "json_serialize_plan",
}
"""Functions that tell of the engine or of the clock, and so not of the row; volatile ones are refused as well."""


def sql_faults(mapping: Mapping) -> dict[int, list[str]]:
    """The faults of a mapping's SQL, by the number of their [[table]], each with its place; runs none of it."""
    faults = {}
    for number, entry in enumerate(mapping.table, 1):
        said = []
        if entry.select is not None:
            said += [f"select: {f}" for f in select_faults(entry.select, mapping.files)]
        if entry.where is not None:
            said += [f"where: {f}" for f in expression_faults(entry.where)]
        for column, origin in entry.columns.items():
            if origin.sql is not None:
                said += [f"columns.{column}.sql: {f}" for f in expression_faults(origin.sql)]
        if said:
            faults[number] = [f"table.{number} ({entry.table}), {f}. Nothing was run." for f in said]
    return faults


def expression_faults(sql: str) -> list[str]:
    """What forbids using `sql` as one expression over the columns of a row; empty if nothing does."""
    tree = parsed(f"select\n{sql}\n")
    if isinstance(tree, str):
        return [tree]
    node = tree["node"]
    alone = (
        node["type"] == "SELECT_NODE"
        and len(node["select_list"]) == 1
        and not node["select_list"][0]["alias"]
        and node["from_table"]["type"] == "EMPTY"
        and not node["cte_map"]["map"]
        and not any(node[part] for part in ("modifiers", "where_clause", "group_expressions", "having", "sample"))
        and not node["qualify"]
    )
    return _faults(tree, (), one_row=True) if alone else ["give one expression over the columns of a row, without FROM"]


def select_faults(sql: str, files: Collection[str]) -> list[str]:
    """What forbids using `sql` as one SELECT over the named `files`; empty if nothing does."""
    tree = parsed(sql)
    return [tree] if isinstance(tree, str) else _faults(tree, files)


@cache
def _aggregates() -> frozenset[str]:
    """Functions that make one value of many rows, or many of one."""
    rows = _parser().execute(
        "select distinct lower(function_name) from duckdb_functions() where function_type = 'aggregate'"
    )
    macros = {"geomean", "geometric_mean", "json_group_array", "json_group_object", "json_group_structure", "wavg",
              "weighted_avg", "variant_group_array", "generate_subscripts", "regexp_split_to_table"}
    return frozenset({name for (name,) in rows.fetchall()} | macros | {"unnest"})


@cache
def _parser() -> duckdb.DuckDBPyConnection:
    """An engine of its own that parses, and can reach nothing."""
    connection = duckdb.connect(config={"enable_external_access": False, "autoload_known_extensions": False})
    connection.execute("set lock_configuration = true")
    return connection


@cache
def usable_functions() -> frozenset[str]:
    """The scalar, aggregate and macro functions whose value depends on the values given to them alone."""
    rows = (
        _parser()
        .execute(
            "select lower(function_name) from duckdb_functions() where schema_name = 'main' "
            "group by all having bool_and(function_type in ('scalar', 'aggregate', 'macro') "
            "or lower(function_name) in (select unnest($1))) and bool_and(coalesce(stability, '') <> 'VOLATILE')",
            [sorted(ROW_MAKERS)],
        )
        .fetchall()
    )
    window = {"row_number", "rank", "dense_rank", "percent_rank", "cume_dist", "ntile", "lag", "lead", "nth_value",
              "first_value", "last_value", "fill"}
    return frozenset({name for (name,) in rows if not name.startswith("__internal")} | window) - OUTSIDE


def parsed(sql: str) -> dict[str, Any] | str:
    """The tree of the one SELECT that `sql` is, or why there is none."""
    try:
        ((text,),) = _parser().execute("select json_serialize_sql($1::varchar)", [sql]).fetchall()
    except duckdb.Error as error:
        return f"cannot be parsed ({str(error).splitlines()[0]})"
    try:
        found = json.loads(text)
    except RecursionError:
        return "is nested too deeply"
    if found["error"]:
        said = found["error_message"].splitlines()[0]
        return "only a SELECT is accepted" if "Only SELECT" in said else f"is not valid SQL ({said})"
    if len(found["statements"]) != 1:
        return f"holds {counted(len(found['statements']), 'statement')}; give one"
    tree: dict[str, Any] = found["statements"][0]
    return tree


def _nodes(tree: object, files: Collection[str]) -> Iterator[tuple[dict[str, Any], frozenset[str]]]:
    """Every node of the tree, with the names of tables that are known where it stands (in lower case)."""
    waiting: list[tuple[object, frozenset[str]]] = [(tree, frozenset(f.lower() for f in files))]
    while waiting:
        part, known = waiting.pop()
        if isinstance(part, list):
            waiting += [(p, known) for p in part]
        elif isinstance(part, dict):
            yield part, known
            for name, body in [(e["key"].lower(), e["value"]) for e in part.get("cte_map", {}).get("map", [])]:
                # A name is known to what comes after it; to itself only where it is recursive.
                recursive = body["query_node"]["type"] == "RECURSIVE_CTE_NODE"
                waiting.append((body, known | {name} if recursive else known))
                known |= {name}
            waiting += [(v, known) for k, v in part.items() if k != "cte_map"]


def _faults(tree: dict[str, Any], files: Collection[str], *, one_row: bool = False) -> list[str]:
    """Every table, function and kind of node that may not stand in a mapping, each said once.

    With `one_row` the SQL must give one value for each row, so that none is lost or doubled.
    """
    found: dict[str, None] = {}
    for node, known in _nodes(tree, files):
        kind, name = node.get("type"), str(node.get("function_name", "")).lower()
        if node.get("sample"):
            found["a sample is not accepted, as the same files must give the same store"] = None
        if "class" in node:
            if name in PADDING and node.get("schema", "").lower() in OWN_SCHEMAS:
                found[f"write {name}() without what stands before it"] = None
            if (asked := _length_asked(node)) > LONGEST:
                found[f"{name}() is asked for {asked:,}; {LONGEST:,} is the most"] = None
            if not one_row and (word := _word(node)):
                found[_outside_word(word)] = None
            if node["class"] not in EXPRESSIONS:
                found[f"{_plain(node['class'])} is not accepted here"] = None
            elif node["class"] in ("FUNCTION", "WINDOW") and name and name not in usable_functions():
                found[_no_function(name)] = None
        elif kind == "BASE_TABLE":
            path = node["qualified_name"]["path"]
            if len(path) != 1 or path[0].lower() not in known:
                found[_no_table(".".join(path), files)] = None
        elif kind == "TABLE_FUNCTION":
            made_by = node["function"]["function_name"]
            if made_by.lower() not in ROW_MAKERS:
                found[_no_table(f"{made_by}(…)", files)] = None
        elif isinstance(kind, str) and (
            ("query_location" in node and kind not in TABLE_NODES)
            or (kind.endswith("_NODE") and kind not in QUERY_NODES)
            or (kind.endswith("_MODIFIER") and kind not in MODIFIERS)
        ):
            found[f"{_plain(kind)} is not accepted here"] = None
    if one_row:
        # Outside of a subquery such a word may be a column of the row, which is known once its file is.
        within = (n for s, _ in _nodes(tree, files) if s.get("class") == "SUBQUERY" for n, _ in _nodes(s, files))
        found |= dict.fromkeys(_outside_word(word) for n in within if (word := _word(n)))
        found |= dict.fromkeys(f"{n} does not give one value for each row" for n in _row_changers(tree))
    return list(found)


def words_of(sql: str, columns: Collection[str]) -> list[str]:
    """What forbids using an expression over these columns of a row: words that would not be one of them."""
    tree, there = parsed(f"select\n{sql}\n"), {c.lower() for c in columns}
    words = {} if isinstance(tree, str) else {_word(n): None for n, _ in _nodes(tree, ())}
    return [_outside_word(word) for word in words if word and word not in there]


def _word(node: dict[str, Any]) -> str:
    """The word of the engine that a name standing alone may be; nothing if it is none."""
    names: list[str] = node["column_names"] if node.get("class") == "COLUMN_REF" else []
    return names[0].lower() if len(names) == 1 and names[0].lower() in WORDS else ""


def _outside_word(word: str) -> str:
    return (
        f"{told(word)} is a word by which the engine tells the time or of itself, and not of the row. For a column of "
        f'that name, in a SELECT, write its table before it: log."{word}"'
    )


def _length_asked(node: dict[str, Any]) -> int:
    """How long something a function is told to make, where a number says so."""
    given = node.get("arguments", ())
    if str(node.get("function_name", "")).lower() not in PADDING or len(given) < 2:
        return 0
    said = given[1]["expression"].get("literal", {})
    try:
        return int(float(said.get("text") or 0))
    except ValueError:
        return 0


def _row_changers(tree: dict[str, Any]) -> list[str]:
    """What stands outside of any subquery and joins rows together, or makes several values of one row."""
    waiting: list[object] = [tree["node"]["select_list"]]
    found = []
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict) and part.get("class") != "SUBQUERY":
            name = str(part.get("function_name", "")).lower()
            if part.get("class") == "STAR":
                found.append("*")
            elif part.get("class") == "FUNCTION" and name in _aggregates():
                found.append(f"{name}()")
            waiting += part.values()
    return sorted(set(found))


def engine_said(said: str, columns: Iterable[str]) -> str:
    """What the engine has against SQL of a mapping, in the mapping's words; `columns` are those that the SQL sees."""
    first = said.strip().split("\n")[0]
    if (found := NO_COLUMN.search(first)) is not None:
        name = found["name"].replace('""', '"')
        there = unknown_name(name, columns)
        return f"there is no column {told(name)}; {there}. A text takes single quotes: {literal(name)}"
    if (found := NO_MATCH.search(first)) is not None:
        return (
            f"{found['call']} cannot be computed. Columns of a source are text (VARCHAR); to compute with one, write "
            'for example try_cast("Hours" as double)'
        )
    return first


def _plain(kind: str) -> str:
    return kind.lower().replace("_", " ")


def _no_table(name: str, files: Collection[str]) -> str:
    if files:
        return f"{told(name)} is not one of the named files. {unknown_name(name, files)}"
    return f"{told(name)} cannot be read here: an expression sees the columns of its row alone"


def _no_function(name: str) -> str:
    return f"function {told(name)} does not exist here, or its value does not depend on the row alone"
