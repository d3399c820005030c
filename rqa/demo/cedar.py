"""Cedar's exports: JSON Lines with nested objects and lists, times with the offset of the day."""

import gzip
import io
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from rqa.demo.alder import period, suffix
from rqa.demo.clock import EPOCH, in_changed_hour, offsets_of
from rqa.demo.mess import Account, Spoil, other_case, prepared, sent_later, spoiled

if TYPE_CHECKING:
    from rqa.demo.exports import SiteLogs

STATES = {
    "repaired": "fixed", "no_fault_found": "nothing-found", "not_economic": "written-off",
    "returned_unrepaired": "sent-back", "cancelled": "withdrawn", "open": "in-work",
}
PAYERS = {"warranty": "W", "paid": "P", "goodwill": "G"}
OUTCOMES = {"pass": "ok", "fail": "nok", "done": "done", "skipped": "skip", "aborted": "abort"}
LINE = ("~file", "~order", "~mess")


def _stamp(frame: pl.DataFrame, column: str, zone: str) -> pl.Series:
    """A wall time with its offset; one in a skipped hour is written as the clock should have shown it."""
    wall = frame[column].fill_null(0).to_numpy()
    wall = wall + 60 * (in_changed_hour(wall, zone) == 1)
    hours = offsets_of(wall, zone) // 60
    made = pl.DataFrame({"w": wall, "h": hours, "missing": frame[column].is_null()}).select(
        pl.when(~pl.col("missing")).then(
            (pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(minutes=pl.col("w"))).dt.strftime("%Y-%m-%dT%H:%M")
            + "+0" + pl.col("h").cast(pl.String) + ":00"
        ).alias(column)
    )
    return made[column]


def write_cedar(rng: np.random.Generator, logs: "SiteLogs", folder: Path, account: Account) -> None:
    """Write Cedar's share of one chunk."""
    thousands, end = logs.jobs.height / 1000, suffix(logs.number)
    quiet = pl.col("at").is_in(logs.quiet.implode())
    jobs = _jobs(rng, logs, quiet, thousands)
    _put(folder, _job_lines(jobs))
    for (file,), rows in jobs.group_by("~file", maintain_order=True):
        account.count(str(file), "jobs", rows["~mess"])
        _count_pieces(account, str(file), rows)

    steps = logs.steps.with_columns(
        _stamp(logs.steps, "started_at", logs.zone), _stamp(logs.steps, "ended_at", logs.zone),
        pl.col("outcome").replace_strict(OUTCOMES),
    )
    steps = prepared(steps, "cedar/steps_" + period("half") + f"{end}.jsonl.gz")
    steps = spoiled(rng, steps, quiet & (pl.col("attempt") == 1) & pl.col("outcome").is_in(["ok", "done"]), [
        Spoil("row sent twice", 16),
        Spoil("ended before it started", 8, {"ended_at": pl.col("started_at"), "started_at": pl.col("ended_at")},
              pl.col("started_at") != pl.col("ended_at")),
        Spoil("unknown step", 8, {"step": pl.lit("oil hinge")}),
        Spoil("unknown outcome code", 6, {"outcome": pl.lit("maybe")}),
    ], thousands).sort("~file", "~order")
    _put(folder, steps.select(
        *LINE, pl.col("job_id").alias("ref"), pl.col("step_seq").alias("n"), pl.col("attempt").alias("try"),
        pl.col("step").alias("task"), pl.col("outcome").alias("result"),
        pl.struct(pl.col("technician").alias("hand"), "bench", "tool").alias("by"),
        pl.struct(pl.col("started_at").alias("from"), pl.col("ended_at").alias("to")).alias("time"), "fault",
        pl.col("value").alias("reading"),
    ))
    for (file,), rows in steps.group_by("~file", maintain_order=True):
        account.count(str(file), "steps", rows["~mess"])
    _tests(rng, logs, quiet, thousands, folder, account)


def _jobs(rng: np.random.Generator, logs: "SiteLogs", quiet: pl.Expr, thousands: float) -> pl.DataFrame:
    end = suffix(logs.number)
    pieces = logs.parts.group_by("at", maintain_order=True).agg(
        pl.struct(
            "line", pl.col("part_no").alias("no"), "lot", pl.col("quantity").alias("qty"),
            pl.col("unit_cost").alias("each"),
        ).alias("pieces")
    )
    jobs = logs.jobs.join(pieces, on="at", how="left", maintain_order="left").with_columns(
        _stamp(logs.jobs, "opened_at", logs.zone), _stamp(logs.jobs, "closed_at", logs.zone),
        pl.col("disposition").replace_strict(STATES), pl.col("billing").replace_strict(PAYERS),
    )
    jobs = prepared(jobs, "cedar/jobs_" + period("half") + f"{end}.jsonl")
    whole = jobs.select("at", pl.col("closed_at").alias("~whole"))
    jobs = spoiled(rng, jobs, quiet, [
        Spoil("row sent twice", 9),
        Spoil("closing time missing", 6, {"closed_at": pl.lit(None, dtype=pl.String)}),
        Spoil("closed before it was opened", 5, {"closed_at": pl.col("opened_at"), "opened_at": pl.col("closed_at")}),
        Spoil("unknown end state", 3, {"disposition": pl.lit("unsure")}),
        Spoil("corrected later", 12),
        Spoil("broken line", 3),
    ], thousands)
    corrected, resent = sent_later(jobs, whole)
    jobs = spoiled(rng, jobs, pl.lit(True), [
        Spoil("unit id in another case", 60, {"unit_id": other_case(pl.col("unit_id"))}),
    ], thousands)
    amended = f"cedar/amended_2026-07{end}.jsonl"
    jobs = pl.concat([jobs, *(f.with_columns(pl.lit(amended).alias("~file")) for f in (corrected, resent))])
    return jobs.sort("~file", "~order")


def _job_lines(jobs: pl.DataFrame) -> pl.DataFrame:
    return jobs.select(
        *LINE, pl.col("job_id").alias("ref"),
        pl.struct(pl.col("unit_id").alias("serial"), pl.col("model").alias("kind")).alias("asset"),
        pl.col("procedure").alias("plan"), pl.col("opened_at").alias("in"), pl.col("closed_at").alias("out"),
        pl.col("disposition").alias("state"),
        pl.struct(pl.col("complaint").alias("said"), "found").alias("case"), pl.col("technician").alias("hand"),
        pl.col("billing").alias("payer"),
        pl.struct(pl.col("labour_minutes").alias("minutes"), pl.col("parts_cost").alias("pieces"),
                  pl.col("freight_cost").alias("freight")).alias("cost"),
        "pieces",
    )


def _count_pieces(account: Account, file: str, rows: pl.DataFrame) -> None:
    """The parts listed in job lines: a job sent again brings them again, a broken line brings none."""
    listed = rows.filter((pl.col("~mess") != "broken line").fill_null(True) & pl.col("pieces").is_not_null())
    again = pl.col("~mess").is_in(["row sent twice", "correction", "closing time sent later"]).fill_null(False)
    mess = listed.select(
        pl.when(again).then(pl.lit("row sent twice")).repeat_by(pl.col("pieces").list.len()).explode().alias("m")
    )["m"]
    account.count(file, "parts", mess)


def _tests(
    rng: np.random.Generator, logs: "SiteLogs", quiet: pl.Expr, thousands: float, folder: Path, account: Account
) -> None:
    """A line for each job, with the list of its runs."""
    runs = logs.diagnostics.with_columns(
        _stamp(logs.diagnostics, "run_at", logs.zone), pl.col("outcome").replace_strict(OUTCOMES)
    )
    runs = prepared(runs, "cedar/tests_" + period("half") + f"{suffix(logs.number)}.jsonl.gz")
    runs = spoiled(rng, runs, quiet & (pl.col("run") == 1) & (pl.col("outcome") == "ok"), [
        Spoil("unknown test", 5, {"test": pl.lit("salt fog")}),
        Spoil("unknown outcome code", 4, {"outcome": pl.lit("perhaps")}),
    ], thousands)
    lines = runs.group_by("~file", "at", "job_id", maintain_order=True).agg(
        pl.struct(
            "test", "run", pl.col("outcome").alias("result"), pl.col("run_at").alias("at"), "station",
            pl.col("value").alias("reading"), pl.col("lower_limit").alias("low"), pl.col("upper_limit").alias("high"),
            "unit",
        ).alias("runs"),
        pl.col("~mess").alias("kinds"),
        pl.col("~order").first(),
        pl.lit(None, dtype=pl.String).alias("~mess"),
    )
    clean = pl.col("kinds").list.drop_nulls().list.len() == 0
    lines = spoiled(rng, lines, quiet & clean, [Spoil("row sent twice", 5)], thousands).sort("~file", "~order")
    _put(folder, lines.select(*LINE, pl.col("job_id").alias("ref"), "runs"))
    for (file,), rows in lines.group_by("~file", maintain_order=True):
        kinds = rows.select(
            pl.when(pl.col("~mess") == "row sent twice")
            .then(pl.lit("row sent twice").repeat_by(pl.col("runs").list.len()))
            .otherwise(pl.col("kinds"))
            .explode()
            .alias("m")
        )["m"]
        account.count(str(file), "diagnostics", kinds)


def _put(folder: Path, lines: pl.DataFrame) -> None:
    """Write the lines, sorted by file; a broken line breaks off in the middle."""
    for (file,), rows in lines.group_by("~file", maintain_order=True):
        out = io.BytesIO()
        rows.drop(*LINE).write_ndjson(out)
        texts = out.getvalue().decode().splitlines()
        broken = (rows["~mess"] == "broken line").fill_null(False)
        texts = [t[: len(t) // 2] if b else t for t, b in zip(texts, broken, strict=True)]
        data = ("\n".join(texts) + "\n").encode()
        path = folder / str(file)
        path.write_bytes(gzip.compress(data, 9, mtime=0) if path.suffix == ".gz" else data)
