"""What was loaded, refused and remarked on, as the page's tables; no value of a row is shown, only where it stands."""

import polars as pl

from rqa.plots.words import count
from rqa.review.asked import Asked
from rqa.review.facts import Table
from rqa.review.figures import plain_table

MOST = 15


def intake(depot: Asked) -> tuple[tuple[Table, ...], str]:
    """The tables on intake, and one sentence that sums them up."""
    loaded, refused = depot.loaded().table, depot.refused()
    tables = [_loaded(loaded), _refused(refused.table), _remarks(depot.remarks().table), _loose_ends(depot)]
    last = loaded.filter(pl.col("load_id") == pl.col("load_id").max())
    total = {c: int(last[c].sum()) for c in ("read", "accepted", "refused", "known", "superseded")}
    words = (
        f"The last load read {count(total['read'])} rows from {count(last['source_file'].n_unique())} files: "
        f"{count(total['accepted'])} accepted, {count(total['refused'])} refused, "
        f"{count(total['known'])} already known, {count(total['superseded'])} superseded by a correction. "
        "Every row is in one of these. "
        f"{' '.join(n for n in refused.notes if 'refused' in n)} {' '.join(depot.overlaps().notes)}"
    )
    return tuple(t for t in tables if t.rows), words.strip()


def _loaded(loaded: pl.DataFrame) -> Table:
    last = loaded.filter(pl.col("load_id") == pl.col("load_id").max()).sort("table_name", "source_file")
    columns = ("source_file", "table_name", "read", "accepted", "refused", "known", "superseded", "left_out")
    heads = ("file", "table", "read", "accepted", "refused", "known", "superseded", "left out by the mapping")
    return plain_table("Files of the last load", heads, last.select(columns).rows(), 2)


def _refused(refused: pl.DataFrame) -> Table:
    place = pl.col("source_file") + ", row " + pl.col("first_row").cast(pl.String)
    kinds = (
        refused.group_by("table_name", "column_name", "rule")
        .agg(
            pl.col("rows").sum(),
            place.sort_by("source_file").first().alias("first"),
        )
        .sort(["rows", "table_name", "column_name", "rule"], descending=[True, False, False, False])
    )  # fmt: skip
    rows = kinds.select("rule", "table_name", "column_name", "first", "rows").head(MOST).rows()
    return plain_table("Rules that refused rows", ("rule", "table", "column", "first of them", "rows"), rows, 4)


def _remarks(remarks: pl.DataFrame) -> Table:
    kinds = remarks.sort(["rows", "table_name", "remark", "value"], descending=[True, False, False, False])
    rows = kinds.select("remark", "table_name", "value", "rows").head(MOST).rows()
    return plain_table("Accepted, but worth a look", ("remark", "table", "value", "rows"), rows, 3)


def _loose_ends(depot: Asked) -> Table:
    rows = [r for r in depot.loose_ends().table.select("what", "rows").rows() if r[1]]
    return plain_table("Loose ends in the logs", ("what", "number"), rows, 1)
