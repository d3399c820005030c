"""A SELECT of the mapping whose rows each come from one row of a file is made to say which, without being asked.

Its text is changed only by naming two more columns, and only where that gives the same columns and these two.
"""

import json
import re
from collections.abc import Collection
from typing import Any

import duckdb

from rqa.intake.names import PLACE_COLUMNS

UNIONS = ("UNION", "UNION_BY_NAME")
STANDARD = "STANDARD_HANDLING"
"""How the engine calls a SELECT that does not group all by itself."""


def traced(connection: duckdb.DuckDBPyConnection, select: str, names: Collection[str]) -> str | None:
    """The SELECT with the file and row of each of its rows, or None where a row may come from several or from none.

    `names` are the named files; each has the columns `source_file` and `source_row`.
    """
    found = connection.execute("select json_serialize_sql($1)", [select]).fetchall()
    said = json.loads(found[0][0])
    if said["error"] or len(said["statements"]) != 1:
        return None
    # The engine counts bytes.
    text = select.encode()
    try:
        places = _places(said["statements"][0]["node"], text, {}, {n.lower() for n in names})
    except (KeyError, TypeError, _SeveralRowsError):
        return None
    addition = f", {', '.join(PLACE_COLUMNS)} ".encode()
    for place in sorted(set(places), reverse=True):
        text = text[:place] + addition + text[place:]
    return text.decode()


class _SeveralRowsError(Exception):
    """A row may come from several rows of a file, or from none."""


def _gives_them(item: Any) -> bool:
    """Whether an item of a SELECT gives the two columns already, where what it draws on has them."""
    left_out = {str(name).lower() for name in item.get("exclude_list", ())}
    return item["class"] == "STAR" and not item["columns"] and not left_out & set(PLACE_COLUMNS)


def _places(node: Any, text: bytes, ctes: dict[str, Any], names: Collection[str]) -> list[int]:
    """Where the two columns have to be named: before the FROM of the SELECT and of each that it draws on."""
    ctes = ctes | {c["key"].lower(): c["value"]["query_node"] for c in node["cte_map"]["map"]}
    if any(m["type"] == "DISTINCT_MODIFIER" for m in node["modifiers"]):
        raise _SeveralRowsError
    if node["type"] == "SET_OPERATION_NODE" and node["setop_type"] in UNIONS and node["setop_all"]:
        return [p for child in node["children"] for p in _places(child, text, ctes, names)]
    if node["type"] != "SELECT_NODE" or node["group_expressions"] or node["aggregate_handling"] != STANDARD:
        raise _SeveralRowsError
    table = node["from_table"]
    while table["type"] == "JOIN" and table["right"]["type"] == "TABLE_FUNCTION":
        # Lists of a row that are opened beside it.
        table = table["left"]
    before = re.search(rb"\sfrom\s*$", text[: table["query_location"]], re.IGNORECASE)
    if before is None:
        raise _SeveralRowsError
    here = [] if any(map(_gives_them, node["select_list"])) else [before.start()]
    if table["type"] == "SUBQUERY":
        return here + _places(table["subquery"]["node"], text, ctes, names)
    if table["type"] != "BASE_TABLE":
        raise _SeveralRowsError
    name = table["table_name"].lower()
    if name in ctes:
        return here + _places(ctes.pop(name), text, ctes, names)
    if name not in names:
        raise _SeveralRowsError
    return here
