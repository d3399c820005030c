"""Birch's exports: a workbook a quarter with four sheets, local times without offset, no attempt or run numbers."""

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from rqa.answers.core.workbook import Sheet, write_sheets
from rqa.demo.alder import period, suffix
from rqa.demo.clock import DAY, EPOCH
from rqa.demo.mess import Account, Spoil, other_case, prepared, spoiled

if TYPE_CHECKING:
    from rqa.demo.exports import SiteLogs

STATES = {
    "repaired": "R", "no_fault_found": "N", "not_economic": "E", "returned_unrepaired": "U", "cancelled": "X",
    "open": "O",
}
PAYERS = {"warranty": "maker", "paid": "owner", "goodwill": "us"}
OUTCOMES = {"pass": "good", "fail": "bad", "done": "no check", "skipped": "left out", "aborted": "stopped"}
MISSING = "n/a"
SHEETS = {
    "jobs": ("Orders", {
        "job_id": "Order", "unit_id": "Serial", "model": "Type", "procedure": "Job plan", "opened_at": "Received",
        "closed_at": "Finished", "disposition": "Result", "complaint": "Symptom", "found": "Cause",
        "technician": "Mechanic", "billing": "Paid by", "labour_minutes": "Work min", "parts_cost": "Pieces EUR",
        "freight_cost": "Freight EUR",
    }),
    "steps": ("Work", {
        "job_id": "Order", "step_seq": "Pos", "step": "Task", "outcome": "Outcome", "technician": "Mechanic",
        "bench": "Bench", "tool": "Tool", "ended_at": "Done", "fault": "Trouble", "value": "Reading",
    }),
    "diagnostics": ("Checks", {
        "job_id": "Order", "test": "Check", "outcome": "Outcome", "run_at": "When", "station": "Station",
        "value": "Reading", "lower_limit": "Low", "upper_limit": "High", "unit": "Unit",
    }),
    "parts": ("Pieces", {
        "job_id": "Order", "part_no": "Piece", "lot": "Batch", "quantity": "Qty", "unit_cost": "Each EUR",
    }),
}
"""Each table's sheet and its columns."""
LAST_DAYS = 5
"""Jobs opened in the last days of a quarter are sent again with the next."""


def _moment(column: str) -> pl.Expr:
    return (pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(minutes=pl.col(column))).alias(column)


def _text(column: str) -> pl.Expr:
    return _moment(column).dt.strftime("%Y-%m-%d %H:%M").alias(column)


def write_birch(rng: np.random.Generator, logs: "SiteLogs", folder: Path, account: Account) -> None:
    """Write Birch's share of one chunk."""
    thousands = logs.jobs.height / 1000
    quiet = pl.col("at").is_in(logs.quiet.implode())
    file = "birch/" + period("quarter") + f"{suffix(logs.number)}.xlsx"
    jobs = logs.jobs.with_columns(
        _moment("opened_at"), _moment("closed_at"), pl.col("disposition").replace_strict(STATES),
        pl.col("billing").replace_strict(PAYERS), pl.col("complaint", "found").fill_null(MISSING),
        "SN " + pl.col("unit_id"),
    )
    jobs = spoiled(rng, prepared(jobs, file), quiet, [
        Spoil("closing time missing", 7, {"closed_at": pl.lit(None, dtype=pl.Datetime("ms"))}),
        Spoil("closed before it was opened", 5, {"closed_at": pl.col("opened_at"), "opened_at": pl.col("closed_at")}),
        Spoil("unknown end state", 3, {"disposition": pl.lit("R?")}),
        Spoil("row sent twice", 8),
    ], thousands)
    jobs = spoiled(rng, jobs, pl.lit(True), [
        Spoil("unit id in another case", 60, {"unit_id": other_case(pl.col("unit_id"))}),
    ], thousands)
    steps = logs.steps.with_columns(_text("ended_at"), pl.col("outcome").replace_strict(OUTCOMES))
    # A row lost would renumber the attempts after it, so only steps done once are spoiled.
    once = (pl.len().over("at", "step_seq") == 1) & pl.col("outcome").is_in(["good", "no check"])
    steps = spoiled(rng, prepared(steps, file), quiet & once, [
        Spoil("unknown step", 8, {"step": pl.lit("re-torque lid")}),
        Spoil("unknown outcome code", 6, {"outcome": pl.lit("good/bad")}),
        Spoil("step name missing", 4, {"step": pl.lit(None, dtype=pl.String)}),
    ], thousands)
    tests = logs.diagnostics.with_columns(_text("run_at"), pl.col("outcome").replace_strict(OUTCOMES))
    single = (pl.len().over("at", "test") == 1) & (pl.col("outcome") == "good")
    tests = spoiled(rng, prepared(tests, file), quiet & single, [
        Spoil("unknown test", 5, {"test": pl.lit("drop height")}),
        Spoil("unknown outcome code", 5, {"outcome": pl.lit("-")}),
    ], thousands)
    parts = spoiled(rng, prepared(logs.parts, file), quiet, [
        Spoil("quantity below nothing", 3, {"quantity": pl.lit(-2, dtype=pl.Int64)}),
    ], thousands)
    tables = {"jobs": jobs, "steps": steps, "diagnostics": tests, "parts": parts}
    tables = _sent_again(tables)
    for name in sorted(set(tables["jobs"]["~file"])):
        sheets: list[Sheet] = []
        for table, frame in tables.items():
            sheet, columns = SHEETS[table]
            rows = frame.filter(pl.col("~file") == name).sort("~order")
            if table == "jobs":
                rows = _with_blank_row(rows)
            sheets.append((sheet, list(columns.values()), rows.select(*columns).iter_rows()))
            account.count(name, table, rows["~mess"], rows["~clock"] if "~clock" in rows.columns else None)
        write_sheets(sheets, folder / name)


def _sent_again(tables: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    spoilt = pl.concat([t.filter(pl.col("~mess").is_not_null())["at"] for t in tables.values()]).unique()
    files = sorted(set(tables["jobs"]["~file"]))
    following = dict(pairwise(files))
    day = pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(days=pl.col("~opened") // DAY)
    left = (day.dt.month_end() - day).dt.total_days()
    at_the_end = (day.dt.month() % 3 == 0) & (left < LAST_DAYS) & ~pl.col("at").is_in(spoilt.implode())
    found = {}
    for table, frame in tables.items():
        again = frame.filter(at_the_end & pl.col("~file").is_in(list(following))).with_columns(
            pl.col("~file").replace_strict(following),
            pl.col("~order") - 1e9,
            pl.lit("sent again in the next file").alias("~mess"),
        )
        found[table] = pl.concat([frame, again])
    return found


def _with_blank_row(rows: pl.DataFrame) -> pl.DataFrame:
    blank = pl.DataFrame(schema=rows.schema).clear(1).with_columns(pl.lit("blank row").alias("~mess"))
    middle = rows.height // 2
    return pl.concat([rows[:middle], blank, rows[middle:]])
