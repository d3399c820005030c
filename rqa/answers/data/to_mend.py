"""What each site has to mend in its files: rows refused or remarked on, jobs with a gap, columns that are not given."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.core.result import Answer
from rqa.answers.core.scope import Snapshot
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

OTHERWISE = "Correct the value so that the rule holds."
NEXT = (
    ("not one of", "Use a word that the rule names, or say in the mapping (values) what this one stands for."),
    ("not a date", "Write a day and time that exist, in the form of the other rows."),
    ("not a number", "Write a number in the form of the other rows, without a unit."),
    ("not a whole", "Write a whole number."),
    ("missing", "Fill the field in."),
    ("closing time missing", "Give the closing time, or say that the job is open."),
    ("closed before", "Correct the time of opening or of closing."),
    ("ended before", "Correct the time of the start or of the end."),
    ("lower limit above", "Correct the two limits."),
    ("below 0", "Correct the sign, or leave the field empty where it is not known."),
    ("outside", "Correct the year."),
    ("not valid JSON", "Export this record again: it is cut off or damaged."),
    ("no job of", "Send the job, too, or correct its id in these rows. The value is the first such id."),
    ("unknown", "Correct the name, or add it to the reference table."),
    ("clock", "Export times with their offset from UTC, so that the hour of the change is told."),
    ("dated after", "Correct the day, or the clock of the machine."),
)
"""What to do about a rule or remark, by how it begins."""
OF_GAPS = {
    "closed repair without a step log": "Send the job's steps.",
    "closed repair without diagnostics": "Send the job's test runs.",
    "job open for more than 90 days": "Close the job, or say what it waits for.",
    "return without a confirmed fault": "Fill in what was found at fault when the unit was back.",
}
USUALLY = 0.95
"""A column given in fewer of a site's jobs is listed (common practice, no source)."""
REST_ON = {
    "complaint": "what customers complain of", "found": "whether the same fault came back, and which step it points to",
    "technician": "coaching", "billing": "what goodwill costs, and what may be claimed",
    "labour_minutes": "the cost of come-backs", "parts_cost": "the cost of come-backs",
    "freight_cost": "the cost of come-backs",
}
"""What cannot be told, or only in part, where a column is not given."""


@dataclass(frozen=True, eq=False, repr=False)
class ToMend(Answer):
    """Rows to mend: site, table_name, source_file, source_row, column_name, value, rule, kind, rows, next_step, job_id.

    `gaps` are jobs that lack something: site, what, job_id, unit_id, opened_on, closed_on, next_step. `columns` are
    columns that a site gives in fewer than 95 % of its repairs: site, column_name, jobs, given, share, rests_on_it.
    """

    gaps: "pl.DataFrame | None" = None
    columns: "pl.DataFrame | None" = None

    question = "Data to mend, by site"
    nothing_found = "No row is refused or remarked on."
    lists = "It is about files and rows as they were read."
    in_table_only = ("kind", "rows", "job_id")


def to_mend(snapshot: Snapshot) -> ToMend:
    """What each site has to mend in its files, with file, row, column, value, the rule that is broken, and what to do.

    A row of the table is a refused row and the rule it breaks, or a remark on accepted rows (kind "accepted"; rows: how
    many, source_row the first). Its site is that of the row's job, or of all jobs in the file; "" where that is not
    told. `.gaps` lists jobs that lack a log, a closing or what was found; `.columns` which columns a site gives in less
    than 95 % of its repairs, and what rests on them. `rqa to-do WORKSPACE` writes a workbook a site to send back.

    >>> r = depot.data.to_mend()
    >>> r.table.filter(r.table["kind"] == "refused").height
    118

    None of the 118 rows refused breaks two rules.
    """
    import polars as pl

    table = counts(snapshot.store, "to_mend")
    steps = pl.Series("next_step", [_next_step(rule) for rule in table["rule"]], dtype=pl.String)
    table = table.with_columns(steps).select(
        "site", "table_name", "source_file", "source_row", "column_name", "value", "rule", "kind", "rows", "next_step",
        "job_id",
    )
    gaps = counts(snapshot.store, "gaps_by_site", values={"as_of": snapshot.day})
    gaps = gaps.with_columns(pl.col("what").replace_strict(OF_GAPS, return_dtype=pl.String).alias("next_step"))
    given = counts(snapshot.store, "given_by_site", values={"as_of": snapshot.day})
    columns = given.with_columns((pl.col("given") / pl.col("jobs")).round(6).alias("share")).filter(
        pl.col("share") < USUALLY
    ).with_columns(pl.col("column_name").replace_strict(REST_ON, return_dtype=pl.String).alias("rests_on_it"))
    refused = int((table["kind"] == "refused").sum())
    notes = [
        f"{counted(refused, 'broken rule')} of refused rows, {counted(table.height - refused, 'remark')} on accepted "
        f"ones, {counted(gaps.height, 'gap')} in jobs."
    ] if table.height or gaps.height else []
    notes += [
        f"{row['site']} never gives {row['column_name']}; on it rests {row['rests_on_it']}."
        for row in columns.iter_rows(named=True) if row["given"] == 0
    ]
    settings = {"store": snapshot.store.path.name, "as_of": snapshot.day}
    return ToMend(table, settings, (*snapshot.notes, *notes), gaps=gaps, columns=columns)


def _next_step(rule: str) -> str:
    return next((step for begins, step in NEXT if rule.startswith(begins)), OTHERWISE)
