"""One chunk of the invented depot: its jobs with all their logs, as frames with the contract's column names.

Chunks are drawn independently, each from the seed and its own number, so any number of jobs needs the memory of one.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from rqa.contract import BILLING, DISPOSITIONS
from rqa.demo.catalogue import BENCHES, MODELS, PROCEDURE_NAMES, SITES, SUBSYSTEMS, TECHNICIANS, UNIT_MARKS
from rqa.demo.clock import DAY, to_utc
from rqa.demo.jobs import NOT_ECONOMIC, OPEN, Jobs, simulate
from rqa.demo.logs import diagnostics, parts, steps, words
from rqa.demo.slips import slips
from rqa.demo.stations import stations

CHUNK = 40_000
"""Jobs drawn together. Part of what a seed means: another size gives another depot."""
STRIDE = 200_000
"""Numbers of units and jobs set aside for one chunk."""


@dataclass(frozen=True)
class Chunk:
    """The frames of one chunk. `jobs.at` is a job's place, `site` its site's place; times are wall minutes."""

    number: int
    drawn: Jobs
    jobs: pl.DataFrame
    steps: pl.DataFrame
    diagnostics: pl.DataFrame
    parts: pl.DataFrame
    retirements: pl.DataFrame
    slips: dict[str, int]
    """How many jobs, or runs of tests, the draw gave each slip."""


def sizes(jobs: int) -> list[int]:
    """How many jobs each chunk draws."""
    whole, rest = divmod(jobs, CHUNK)
    return [CHUNK] * whole + [rest] * (rest > 0)


def draw(seed: int, number: int, size: int, days: int) -> Chunk:
    """Draw chunk `number`, of `size` jobs opened within `days` days."""
    rng = np.random.default_rng([seed, 1, number])
    end = days * DAY - 6 * 60
    drawn = simulate(rng, seed, size, days)
    step_log, test_log, part_log = steps(rng, drawn, end), diagnostics(rng, drawn, end), parts(rng, drawn)
    own = np.random.default_rng([seed, 3, number])
    step_log, slipped = slips(own, drawn, step_log)
    step_log, test_log, at_stations = stations(own, drawn, step_log, test_log, end)
    unit = _unit_ids(drawn, number)
    jobs = pl.DataFrame({
        "at": np.arange(size), "job_id": _job_ids(drawn, number), "unit_id": unit,
        "model": words(MODELS, drawn.model), "site": words(tuple(s.name for s in SITES), drawn.site),
        "procedure": words(PROCEDURE_NAMES, drawn.procedure), "opened_at": drawn.opened,
        "disposition": words(DISPOSITIONS, drawn.disposition),
        "closed_at": pl.Series(drawn.closed).to_frame("c").select(
            pl.when(pl.Series(drawn.disposition != OPEN)).then(pl.col("c")))["c"],
        "complaint": words(SUBSYSTEMS, drawn.complaint), "found": words(SUBSYSTEMS, drawn.found),
        "technician": words(TECHNICIANS, drawn.technician), "billing": words(BILLING, drawn.billing),
        "labour_minutes": drawn.work_minutes + rng.integers(0, 25, size),
        "freight_cost": np.round(8 + rng.integers(0, 33, size) / 2, 1), "bench": words(BENCHES, drawn.bench),
    })
    cost = part_log.group_by("at").agg((pl.col("unit_cost") * pl.col("quantity")).sum().round(2).alias("parts_cost"))
    jobs = jobs.join(cost, on="at", how="left", maintain_order="left").with_columns(pl.col("parts_cost").fill_null(0.0))
    return Chunk(number, drawn, jobs, step_log, test_log, part_log, _retirements(rng, drawn, unit, end),
                 slipped | at_stations)


def _job_ids(drawn: Jobs, number: int) -> pl.Series:
    """Numbers that rise with the time of opening within each site."""
    within = np.zeros(len(drawn), dtype=np.int64)
    for site in range(len(SITES)):
        here = drawn.site == site
        within[here] = np.arange(here.sum())
    frame = pl.DataFrame(
        {"site": words(tuple(s.name[0] for s in SITES), drawn.site), "n": within + number * STRIDE + 1}
    )
    return frame.select(pl.col("site") + pl.col("n").cast(pl.String).str.zfill(6))["site"]


def _unit_ids(drawn: Jobs, number: int) -> pl.Series:
    frame = pl.DataFrame({"mark": words(UNIT_MARKS, drawn.model), "n": drawn.unit + number * STRIDE + 1})
    return frame.select(pl.col("mark") + "-" + pl.col("n").cast(pl.String).str.zfill(6))["mark"]


def _retirements(rng: np.random.Generator, drawn: Jobs, unit: pl.Series, end: int) -> pl.DataFrame:
    """Most units not worth repairing leave service when their last job ends, and some others later."""
    order = np.lexsort((drawn.opened, drawn.unit))
    last = order[np.r_[drawn.unit[order][1:] != drawn.unit[order][:-1], True]]
    uneconomic = drawn.disposition[last] == NOT_ECONOMIC
    leaves = (rng.random(len(last)) < np.where(uneconomic, 0.7, 0.03)) & (drawn.disposition[last] != OPEN)
    when = drawn.closed[last] + np.where(uneconomic, 60, DAY * rng.integers(20, 300, len(last)))
    leaves &= when <= end
    rows = last[leaves]
    return pl.DataFrame({"unit_id": unit.gather(rows), "retired_at": to_utc(when[leaves], drawn.site[rows])})
