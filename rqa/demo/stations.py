"""What follows when a test fails, and what the stations themselves do wrong: frames of a chunk's logs, put right.

Times are wall minutes of the job's site, `at` is the job's place in its chunk, as in `logs`.
"""

import numpy as np
import polars as pl

from rqa.demo.catalogue import DIAGNOSTICS, PROCEDURES, Step
from rqa.demo.clock import day_number
from rqa.demo.effects import DRIFT, FLAKY, SLIPS
from rqa.demo.jobs import NO_FAULT, REPAIRED, Jobs
from rqa.demo.logs import STEP_SHARE

ROUND = 4
"""Minutes from a failed run to the next, in which the unit is opened, worked on and closed."""
SUBSYSTEM = {t.test: t.subsystem for t in DIAGNOSTICS}
OPENED, CLOSED = ("isolate battery",), ("reconnect battery", "close case")
"""Steps done again before and after any work inside."""
INSIDE = ("fit", "reseat", "align", "verify")
"""Phases whose steps a fault found by a test sends the unit back to."""

ONE_TEST = pl.col("at") * len(DIAGNOSTICS) + pl.col("test").to_physical().cast(pl.Int64)
"""A number for each job and test: rows are put together sooner by one number than by two columns."""


def stations(
    rng: np.random.Generator, jobs: Jobs, steps: pl.DataFrame, tests: pl.DataFrame, end: int
) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, int]]:
    """The logs with the flaky test, the rework that other failed runs bring about, the drift, and what is left out.

    With them how many there are of each.
    """
    ordinary = int((tests["outcome"] == "fail").sum())
    tests = _flaky(rng, tests)
    flaky = int((tests["outcome"] == "fail").sum()) - ordinary
    steps, tests, reworked = _reworked(rng, jobs, steps, tests)
    tests, counts = _left_out(rng, jobs, _drifted(tests))
    counts |= {
        "runs_failed_for_no_reason": flaky, "failed_runs_reworked": reworked,
        "failed_runs_repeated_as_they_are": ordinary - reworked,
    }
    return steps.filter(pl.col("ended_at") <= end), tests.filter(pl.col("run_at") <= end), counts


def _flaky(rng: np.random.Generator, tests: pl.DataFrame) -> pl.DataFrame:
    """A failed run before some of the flaky test's only runs, a few minutes earlier."""
    only = (pl.len().over(ONE_TEST) == 1) & (pl.col("test") == FLAKY.test) & (pl.col("outcome") == "pass")
    tests = tests.with_columns((only & (pl.Series(rng.random(tests.height)) < FLAKY.fails_for_no_reason)).alias("~"))
    failed = tests.filter("~").with_columns(pl.lit("fail", tests.schema["outcome"]).alias("outcome"))
    passed = tests.with_columns(
        pl.col("run") + pl.col("~").cast(pl.Int64), pl.col("run_at") + 2 * pl.col("~").cast(pl.Int64)
    )
    whole = pl.concat([passed, failed.with_columns(pl.lit(True).alias("again"))], how="diagonal")
    return whole.sort("at", "run_at", "test", "run", maintain_order=True).drop("~")


def _reworked(
    rng: np.random.Generator, jobs: Jobs, steps: pl.DataFrame, tests: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame, int]:
    """Failed runs come first, each round of them followed by work inside the unit; all other runs come after.

    A few failed runs, and all of units on which no fault was found, are repeated as they are.
    """
    drawn = tests.select(pl.Series("~u", rng.random(tests.height)), "at", "test").select(
        pl.col("~u").first().over(ONE_TEST)
    )["~u"]
    mended = pl.Series(jobs.disposition != NO_FAULT).gather(tests["at"])
    tests = tests.with_columns(
        (
            (pl.col("outcome") == "fail") & pl.col("again").is_null() & mended & (drawn >= SLIPS.run_again_as_it_is)
        ).alias("rework")
    )
    rounds = tests.filter("rework").group_by("at").agg(pl.col("run").max().alias("rounds"))
    work = pl.DataFrame({
        "at": np.arange(len(jobs)), "~work": jobs.work_minutes,
        "~tested": jobs.worked + np.ceil(jobs.work_minutes * STEP_SHARE).astype(np.int64),
    })
    tests = tests.join(rounds, on="at", how="left", maintain_order="left").join(
        work, on="at", how="left", maintain_order="left"
    )
    spent, room = pl.col("rounds") * ROUND, pl.col("~work") * (1 - STEP_SHARE)
    same_day = pl.col("run_at") <= pl.col("~tested") + pl.col("~work")
    squeezed = (
        pl.col("~tested") + spent + ((pl.col("run_at") - pl.col("~tested")) * (1 - spent / room)).ceil().cast(int)
    )
    first = pl.col("~tested") + ROUND * (pl.col("run") - 1)
    # A second failed run stays behind the first, and what is run as it is keeps its order.
    tests = tests.with_columns(
        pl.when("rework").then(first)
        .when(pl.col("rounds").is_not_null() & same_day).then(squeezed)
        .otherwise("run_at").alias("run_at")
    )
    added = _attempts(steps, tests.filter("rework"), jobs)
    plain = ("again", "rework", "rounds", "~work", "~tested")
    reworked = int(tests["rework"].sum())
    return pl.concat([steps, added]).sort("at", maintain_order=True), tests.drop(plain), reworked


def _attempts(steps: pl.DataFrame, failed: pl.DataFrame, jobs: Jobs) -> pl.DataFrame:
    """Attempts at the steps that each round of failed runs sends the unit back to, opened before and closed after."""
    sends = pl.DataFrame(
        [
            {"test": test, "procedure": place, "step": step}
            for test, subsystem in SUBSYSTEM.items()
            for place, plan in enumerate(PROCEDURES.values())
            if (step := _last_touching(plan, subsystem))
        ],
        schema={"test": failed.schema["test"], "procedure": pl.Int64, "step": steps.schema["step"]},
    )
    procedure = pl.Series(jobs.procedure).gather(failed["at"]).alias("procedure")
    back = failed.with_columns(procedure).join(sends, on=["test", "procedure"], how="left", maintain_order="left")
    rows = [back.select("at", "run", "run_at", "step", pl.lit(1).alias("place")).filter(pl.col("step").is_not_null())]
    around = back.select("at", "run", "run_at").unique(["at", "run"], maintain_order=True)
    for step, place in [*((s, 0) for s in OPENED), *((s, 2 + i) for i, s in enumerate(CLOSED))]:
        named = pl.lit(step, steps.schema["step"]).alias("step")
        rows.append(around.with_columns(named, pl.lit(place, pl.Int32).alias("place")))
    wanted = pl.concat(rows, how="vertical_relaxed").unique(["at", "run", "step"], maintain_order=True)
    sent = pl.Series(np.isin(steps["at"].to_numpy(), failed["at"].to_numpy()))
    there = steps.filter(sent).group_by("at", "step").agg(
        pl.col("step_seq", "technician", "bench").last(), pl.col("attempt").max().alias("~so_far"),
        (pl.col("outcome").last() == "done").alias("~unchecked"),
    )
    made = wanted.sort("at", "run", "place", maintain_order=True).join(
        there, on=["at", "step"], how="inner", maintain_order="left"
    )
    at = pl.col("run_at") + 1 + pl.min_horizontal(pl.col("place"), pl.lit(2))
    attempt = pl.col("~so_far") + pl.int_range(1, pl.len() + 1).over("at", "step")
    outcome = pl.when("~unchecked").then(pl.lit("done")).otherwise(pl.lit("pass"))
    logged = made.with_columns(
        attempt=attempt, outcome=outcome, started_at=at, ended_at=at, tool=None, fault=None, value=None
    )
    return logged.select(pl.col(name).cast(steps.schema[name]) for name in steps.columns)


def _last_touching(plan: tuple[Step, ...], subsystem: str) -> str | None:
    names = [s.step for s in plan if s.phase in INSIDE and subsystem in s.subsystems.split()]
    return names[-1] if names else None


def _drifted(tests: pl.DataFrame) -> pl.DataFrame:
    """Readings of the drifting station, which rise month by month; what passed stays within its limits."""
    months = (pl.col("run_at") / (24 * 60 * 30.44) - day_number(DRIFT.first_day) / 30.44).clip(0.0)
    here = (pl.col("test") == DRIFT.test) & (pl.col("station") == DRIFT.station) & (pl.col("outcome") == "pass")
    risen = (pl.col("value") + (DRIFT.rise_a_month * months).clip(0.0, DRIFT.most)).round(2)
    kept = pl.min_horizontal(risen, pl.col("upper_limit"))
    return tests.with_columns(pl.when(here).then(kept).otherwise("value").alias("value"))


def _left_out(rng: np.random.Generator, jobs: Jobs, tests: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Jobs released with a test left out, or with a last run that failed or was stopped."""
    n, released = len(jobs), jobs.disposition == REPAIRED
    kind = rng.random(n)
    edges = np.cumsum([SLIPS.test_left_out, SLIPS.released_failing, SLIPS.released_aborted])
    slip = np.where(released, np.searchsorted(edges, kind, side="right"), len(edges))
    names = pl.Series([t.test for t in DIAGNOSTICS], dtype=tests.schema["test"])
    which = names.gather(rng.integers(0, len(DIAGNOSTICS), n))
    here = which.gather(tests["at"]) == tests["test"]
    slips = pl.Series(slip).gather(tests["at"])
    last = pl.col("run") == pl.col("run").max().over(ONE_TEST)
    turned = [
        pl.when(pl.lit(here) & pl.lit(slips == code) & last).then(pl.lit(word, tests.schema["outcome"]))
        for code, word in ((1, "fail"), (2, "aborted"))
    ]
    outcome = pl.coalesce(*turned, pl.col("outcome")).alias("outcome")
    above = pl.col("upper_limit") + 0.05 * (pl.col("upper_limit") - pl.col("lower_limit"))
    value = (
        pl.when(pl.col("outcome") == "aborted").then(None)
        .when((pl.col("outcome") == "fail") & (pl.col("value") <= pl.col("upper_limit"))).then(above.round(2))
        .otherwise("value").alias("value")
    )
    counts = {
        "test_left_out": tests.filter(here & (slips == 0))["at"].n_unique(),
        "released_failing": tests.filter(here & (slips == 1))["at"].n_unique(),
        "released_aborted": tests.filter(here & (slips == 2))["at"].n_unique(),
    }
    return tests.with_columns(outcome).with_columns(value).filter(~(here & (slips == 0))), counts
