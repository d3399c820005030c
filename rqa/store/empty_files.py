"""Files of which no row was read: each is remarked on with the reason, so that none is lost in silence."""

from collections.abc import Mapping, Sequence

import duckdb

from rqa.store.report import FileCount

NO_ROW = "gives no row"
LEFT_OUT = "every row is left out by where, is blank, or is refused with another reading of the file"
NOTHING = "it is empty, or holds only a header"
NOT_ASKED = "its files hold no row that it asks for"


def write_empty_remarks(
    connection: duckdb.DuckDBPyConnection,
    counts: Sequence[FileCount],
    over: Mapping[str, Sequence[str]],
    load_id: int,
) -> None:
    """Note every file of this load that gives no row, and why; one that was not read again keeps its remark.

    `over` are the files that each SELECT of the mapping draws on. One all of whose files give no row is not noted
    beside these.
    """
    bare = {c.source_file for c in counts if c.read == 0 and c.source_file not in over}
    found = [c for c in counts if c.read == 0 and not (c.source_file in over and bare.issuperset(over[c.source_file]))]
    for c in found:
        if c.unchanged:
            connection.execute(
                "update remarks set load_id = $1 "
                "where starts_with(remark, $2) and table_name = $3 and source_file = $4",
                [load_id, NO_ROW, c.table, c.source_file],
            )
    connection.execute("delete from remarks where starts_with(remark, $1) and load_id < $2", [NO_ROW, load_id])
    for c in found:
        if not c.unchanged:
            nothing = NOT_ASKED if c.source_file in over else NOTHING
            connection.execute(
                "insert into remarks values ($1, $2, $3, $4, null, $5, null)",
                [load_id, c.table, c.source_file, f"{NO_ROW}: {LEFT_OUT if c.in_file else nothing}", c.left_out],
            )
