"""Regular expressions of a mapping, tried by the engine that will use them before any row is read."""

import duckdb

from rqa.intake.mapping import Mapping
from rqa.shown import told


def pattern_faults(mapping: Mapping) -> list[str]:
    """What is wrong with each `replace` of the mapping, with its place."""
    given = [
        (f"table.{number}.columns.{column}.replace", pattern, new)
        for number, entry in enumerate(mapping.table, 1)
        for column, origin in entry.columns.items()
        for pattern, new in origin.replace
    ]
    faults: list[str] = []
    if not given:
        return faults
    with duckdb.connect(config={"enable_external_access": False}) as connection:
        for place, pattern, new in given:
            try:
                connection.execute("select regexp_replace('', $1, $2, 'g')", [pattern, new]).fetchall()
            except duckdb.Error as error:
                said = str(error).split("\n")[0].partition(": ")[2]
                faults.append(f"{place}: {told(pattern)} is no regular expression that can be used ({said})")
    return faults
