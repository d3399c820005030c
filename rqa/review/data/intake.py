"""What was loaded, refused and remarked on, as the page's tables; no value of a row is shown, only where it stands."""

import polars as pl

from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.grounds import Sentence
from rqa.answers.data.intake_report import IN_UTC
from rqa.depot import Depot
from rqa.review import sheet_texts as say
from rqa.review.facts import PageTable, SheetLine
from rqa.review.figures import plain_table
from rqa.store.remark_words import EMPTIED_BEGINS, UNKNOWN
from rqa.store.report import changed_in_store
from rqa.words import count, counted, listed

MOST = 15
LOADED = {
    "steps": "steps", "diagnostics": "diagnostics", "parts": "parts", "procedures": "procedures", "tests": "tests",
    "actions": "actions", "targets": "goals",
}
"""The tables that the sheet looks for, and what it calls them."""
STRAY, BARE = "without a job", "closed repair without "
"""How the loose ends are called that the sheet counts: rows of no job, and repairs without a log."""
SELECTS = {"(select)": "for a SELECT of the mapping"}
"""What feeds a SELECT of the mapping has no table of its own."""
COUNTS = {
    "read": "read", "accepted": "accepted", "refused": "refused", "known": "known", "superseded": "superseded",
    "merged": "merged with other lines of their job",
    "left_out": "left out by where, blank, or refused with another reading",
    "replaced": "replaced in the store", "withdrawn": "withdrawn from the store",
}
"""The counts of an account, and how the page heads them."""


def intake(depot: Depot) -> tuple[tuple[PageTable, ...], PageTable, str]:
    """The tables on intake, the account of each file, and one sentence that sums them up."""
    loaded = depot.data.loaded().table
    last = loaded.filter(pl.col("load_id") == pl.col("load_id").max()).sort("table_name", "source_file")
    tables = (
        _by_table(last),
        _refused(depot.data.refused().table),
        _remarks(depot.data.remarks().table),
        _loose_ends(depot),
    )
    total = {c: int(last[c].sum()) for c in COUNTS}
    gone = (pl.col("in_file") == 0) & (pl.col("withdrawn") + pl.col("replaced") > 0)
    files_read = last.filter(~pl.col("source_file").str.starts_with("select ") & ~gone)["source_file"].n_unique()
    merged = f", {count(total['merged'])} merged with other lines of their job" if total["merged"] else ""
    words = (
        f"The last load read {counted(total['read'], 'row')} from {counted(files_read, 'file')}: "
        f"{count(total['accepted'])} new and accepted, {count(total['refused'])} refused, "
        f"{count(total['known'])} held from earlier loads, "
        f"{count(total['superseded'])} superseded by a correction{merged}. Every row is in one of these."
    )
    overlapping = (str(n) for n in depot.data.overlaps().notes if not isinstance(n, Sentence) and n != IN_UTC)
    said = " ".join(s for s in (words, changed_in_store(total["replaced"], total["withdrawn"]), *overlapping) if s)
    files = _accounts("Each file of the last load", last, "source_file")
    return tuple(t for t in tables if t.rows), files, said


def data_line(depot: Depot, hidden: tuple[int, int]) -> SheetLine:
    """How many repairs were closed by the as-of day, which tables are missing, and what the last load refused; and
    where most kinds of work are not shown, as they have too few cases, how many of how many."""
    jobs = counted(int(depot.comebacks(30).table["jobs"].sum()), "repair")
    missing = [LOADED[ground.name] for ground in depot.grounds().lacking(*LOADED)]
    loaded = depot.data.loaded().table
    last = loaded.filter(pl.col("load_id") == pl.col("load_id").max())
    refused = int(last["refused"].sum())
    ends = dict(depot.data.loose_ends().table.select("what", "rows").rows())
    strays = sum(n for what, n in ends.items() if what.endswith(STRAY))
    but = [counted(refused, "row refused", "rows refused")] if refused else []
    row, rows = ("", "") if but else ("row ", "rows ")
    but += [counted(strays, f"{row}of unknown jobs", f"{rows}of unknown jobs")] if strays else []
    but += [
        counted(n, f"repair without {what.removeprefix(BARE)}", f"repairs without {what.removeprefix(BARE)}")
        for what, n in ends.items() if what.startswith(BARE) and n
    ]
    rest = f", but {listed(but)}" if but else ""
    said = say.INCOMPLETE.format(missing=listed(missing), but=rest) if missing else say.COMPLETE.format(but=rest)
    left, groups = hidden
    few = say.HIDDEN.format(smallest=SMALLEST, left=left, groups=groups) if 2 * left > groups else ""
    return SheetLine("Data", (f"{say.CLOSED.format(jobs=jobs)} {said}{few}",), "loaded", "what was loaded and refused")


def _accounts(caption: str, accounts: pl.DataFrame, *files: str) -> PageTable:
    """A table of accounts; merged, replaced and withdrawn rows have a column where there are any."""
    at_times = ("merged", "replaced", "withdrawn")
    shown = {name: head for name, head in COUNTS.items() if name not in at_times or accounts[name].sum()}
    heads = (*("file" for _ in files), "table", *shown.values())
    rows = accounts.select(*files, pl.col("table_name").replace(SELECTS), *shown).rows()
    return plain_table(caption, heads, rows, 1 + len(files))


def _by_table(last: pl.DataFrame) -> PageTable:
    summed = last.group_by("table_name", maintain_order=True).agg(pl.col(c).sum() for c in COUNTS)
    return _accounts("The last load, by table", summed)


def _refused(refused: pl.DataFrame) -> PageTable:
    places = [f"{file}, row {count(row)}" for file, row in refused.select("source_file", "first_row").iter_rows()]
    kinds = (
        refused.with_columns(pl.Series("place", places, dtype=pl.String))
        .group_by("table_name", "column_name", "rule")
        .agg(
            pl.col("rows").sum(),
            pl.col("place").sort_by("source_file").first().alias("first"),
        )
        .sort(["rows", "table_name", "column_name", "rule"], descending=[True, False, False, False])
    )
    table = pl.col("table_name").replace(SELECTS)
    rows = kinds.select("rule", table, "column_name", "first", "rows").head(MOST).rows()
    return plain_table("Rules that refused rows", ("rule", "table", "column", "first of them", "rows"), rows, 4)


def _remarks(remarks: pl.DataFrame) -> PageTable:
    # An example of what SQL made nothing of is any value of a row, a name at times.
    shown = pl.when(~pl.col("remark").str.starts_with(EMPTIED_BEGINS)).then(pl.col("value").replace("", None))
    # Of an unknown name each value is a remark of its own; of other remarks there is one example a file.
    named = pl.col("remark").is_in(list(UNKNOWN)) & (pl.col("values") > 0)
    values = pl.when(named).then(pl.col("values").cast(pl.Int64))
    kinds = (
        remarks.with_columns(shown.alias("value"))
        .group_by("remark", "table_name")
        .agg(
            pl.col("value").drop_nulls().n_unique().alias("values"),
            pl.col("value").min().alias("first"),
            pl.col("rows").sum(),
        )
        .sort(["rows", "table_name", "remark"], descending=[True, False, False])
    )
    rows = kinds.select("remark", "table_name", "first", values, "rows").head(MOST).rows()
    heads = ("remark", "table", "such as", "different values", "rows")
    return plain_table("Accepted, but worth a look", heads, rows, 3)


def _loose_ends(depot: Depot) -> PageTable:
    rows = [r for r in depot.data.loose_ends().table.select("what", "rows").rows() if r[1]]
    return plain_table("Loose ends in the logs", ("what", "number"), rows, 1)
