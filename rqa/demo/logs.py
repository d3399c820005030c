"""What the benches and test stations log for given jobs: steps, diagnostic runs and parts, as frames.

Columns have the contract's names; times are wall minutes of the job's site, and `at` is the job's place in its chunk.
"""

import numpy as np
import numpy.typing as npt
import polars as pl

from rqa.demo.catalogue import (
    BENCHES,
    DIAGNOSTICS,
    FAULT_NAMES,
    FAULTS,
    MEASURED,
    PAIRINGS,
    PARTS,
    PER_SITE,
    PROCEDURES,
    SITES,
    STATIONS,
    STEP_NAMES,
    TECHNICIANS,
    TEST_NAMES,
    TOOL_STEPS,
    TOOLS,
)
from rqa.demo.clock import DAY, weekday
from rqa.demo.effects import EARLY, LOT, NOISE, PINCH, SLIPS
from rqa.demo.jobs import LOGGER, NO_FAULT, NONE, NOT_ECONOMIC, OPEN, REPAIRED, UNREPAIRED, Jobs

STEP_SHARE = 0.75
"""Of the time at the bench; the rest is diagnostics."""
STEP_OUTCOMES = ("pass", "fail", "done", "skipped")
TEST_OUTCOMES = ("pass", "fail", "aborted")
PASS, FAIL, DONE, SKIPPED = range(4)
ABORTED = 2
LOOKED_AT = {
    REPAIRED: None, OPEN: None, NO_FAULT: ("open", "isolate", "verify", "align", "close", "diagnose"),
    UNREPAIRED: ("open", "isolate", "verify", "close"), NOT_ECONOMIC: ("open", "isolate"),
}
"""Phases of the procedure that a job of each disposition goes through; None means all."""
EARLY_FAILS = 0.03
"""Share of first checks that fail when the button is aligned before the case is tightened."""
Ints = npt.NDArray[np.int64]


def words(names: tuple[str, ...], codes: npt.NDArray[np.integer]) -> pl.Series:
    """Names for codes; none where the code is NONE."""
    places = np.where(codes == NONE, len(names), codes).astype(np.uint32)
    return pl.Series([*names, None], dtype=pl.String).gather(places)


def coded(names: tuple[str, ...], codes: npt.NDArray[np.integer]) -> pl.Series:
    """As `words`, each name kept as a number: for logs of many rows. They sort as texts do."""
    places = np.where(codes == NONE, len(names), codes).astype(np.uint32)
    return pl.Series([*names, None], dtype=pl.Enum(sorted(names))).gather(places)


def _shares(weights: npt.NDArray[np.float64], job: Ints) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Where each row begins and ends within its job's time, from 0 to 1; rows of a job stand together."""
    after = np.cumsum(weights)
    starts = np.flatnonzero(np.r_[True, job[1:] != job[:-1]])
    sizes = np.diff(np.r_[starts, len(job)])
    base = np.repeat(np.r_[0.0, after[starts[1:] - 1]], sizes)
    total = np.repeat(np.r_[after[starts[1:] - 1], after[-1:]] - np.r_[0.0, after[starts[1:] - 1]], sizes)
    end = np.minimum((after - base) / total, 1.0)
    return np.r_[0.0, end[:-1]] * np.r_[False, job[1:] == job[:-1]], end


def steps(rng: np.random.Generator, jobs: Jobs, end: int) -> pl.DataFrame:
    """The step log: rows of a job together, in the order of its steps."""
    frames = [_procedure_steps(rng, jobs, np.flatnonzero(jobs.procedure == code), name, end)
              for code, name in enumerate(PROCEDURES)]
    frame = pl.concat(frames)
    return frame.sort("at", maintain_order=True)


def _procedure_steps(rng: np.random.Generator, jobs: Jobs, rows: Ints, procedure: str, end: int) -> pl.DataFrame:
    plan = PROCEDURES[procedure]
    n, width = len(rows), len(plan)
    here = jobs.take(rows)
    names = [s.step for s in plan]
    fails = np.array([s.fails or 0.0 for s in plan])
    checked = np.array([s.fails is not None for s in plan])
    place = np.tile(np.arange(width), (n, 1))
    tighten, align = names.index(EARLY.should_follow), names.index(EARLY.step)
    place[here.early, tighten], place[here.early, align] = align, tighten

    chance = np.where(checked, fails, 0.0)[place]
    chance[here.early, tighten] = EARLY_FAILS
    failed = rng.random((n, width)) < chance
    if PINCH.procedure == procedure:
        at = names.index(PINCH.step)
        failed[:, at] |= here.caught
    twice = failed & (rng.random((n, width)) < NOISE.second_attempt_fails)
    skipped = ~failed & checked[place] & (rng.random((n, width)) < NOISE.skipped)
    wanted = np.ones((n, width), dtype=bool)
    for disposition in range(6):
        these = here.disposition == disposition
        phases = LOOKED_AT.get(disposition, ())
        if phases is not None:
            wanted[these] = np.array([s.phase in phases for s in plan])[place][these]
    attempts = np.where(wanted, 1 + failed + twice, 0)

    flat = attempts.ravel()
    cell = np.repeat(np.arange(n * width), flat)
    job, column = cell // width, cell % width
    begins = np.cumsum(flat) - flat
    attempt = np.arange(len(cell)) - begins[cell] + 1
    step = place.ravel()[cell]
    outcome = np.where(checked[step], PASS, DONE)
    outcome = np.where(skipped.ravel()[cell], SKIPPED, outcome)
    outcome = np.where(attempt < flat[cell], FAIL, outcome)
    size = len(cell)
    if not size:
        job = np.zeros(0, dtype=np.int64)
    opens, ends = _shares(rng.random(size) + 0.4, job) if size else (np.zeros(0), np.zeros(0))
    minutes = here.work_minutes[job] * STEP_SHARE
    started = here.worked[job] + np.floor(opens * minutes).astype(np.int64)
    ended = here.worked[job] + np.floor(ends * minutes).astype(np.int64)

    technician = here.technician[job]
    handed = (rng.random(n) < 0.04)[job] & (column >= width // 2)
    technician = np.where(handed, here.site[job] * PER_SITE + (technician + 1 + job % 3) % PER_SITE, technician)
    pair = np.array([[FAULT_NAMES.index(f) for f in FAULTS.get(s.phase, ("loose", "loose"))] for s in plan])
    fault = np.where(outcome == FAIL, pair[step, rng.integers(0, 2, size)], NONE)
    if PINCH.procedure == procedure:
        pinch = here.caught[job] & (step == names.index(PINCH.step)) & (outcome == FAIL)
        fault = np.where(pinch, FAULT_NAMES.index("pinched"), fault)
    tool_low = np.array([TOOL_STEPS.get(s, (NONE, 0))[0] for s in names])[step]
    tool_wide = np.array([TOOL_STEPS.get(s, (0, 1))[1] - TOOL_STEPS.get(s, (0, 1))[0] for s in names])[step]
    tool = np.where(tool_low == NONE, NONE, tool_low + (rng.random(size) * tool_wide).astype(np.int64))
    mean = np.array([MEASURED.get(s, (np.nan, 0.0))[0] for s in names])[step]
    spread = np.array([MEASURED.get(s, (0.0, 0.0))[1] for s in names])[step]
    value = np.round(mean + spread * rng.standard_normal(size) + np.where(outcome == FAIL, 4 * spread, 0.0), 2)
    code = np.array([STEP_NAMES.index(s) for s in names])[step]
    frame = pl.DataFrame({
        "at": rows[job], "step_seq": column + 1, "attempt": attempt, "step": coded(STEP_NAMES, code),
        "outcome": coded(STEP_OUTCOMES, outcome), "technician": coded(TECHNICIANS, technician),
        "bench": coded(BENCHES, here.bench[job]), "tool": coded(TOOLS, tool), "started_at": started, "ended_at": ended,
        "fault": coded(FAULT_NAMES, fault), "value": pl.Series(value, nan_to_null=True),
    })
    return frame.filter(pl.col("ended_at") <= end)


def diagnostics(rng: np.random.Generator, jobs: Jobs, end: int) -> pl.DataFrame:
    """The runs of the post-repair tests: rows of a job together, in the order of time."""
    rows = np.flatnonzero(np.isin(jobs.disposition, [REPAIRED, NO_FAULT, OPEN]))
    here, n, width = jobs.take(rows), len(rows), len(DIAGNOSTICS)
    chance = np.tile(np.array([t.fails for t in DIAGNOSTICS]), (n, 1))
    chance[:, TEST_NAMES.index(LOT.test)] += np.where(here.bad_lot, LOT.extra_first_run_failures, 0.0)
    failed = rng.random((n, width)) < chance
    twice = failed & (rng.random((n, width)) < NOISE.second_attempt_fails)
    stopped = ~failed & (rng.random((n, width)) < NOISE.aborted)
    for_tablets = np.array(["logger" not in t.models for t in DIAGNOSTICS])
    wanted = ~(for_tablets[None, :] & (here.model == LOGGER)[:, None])
    runs = np.where(wanted, 1 + failed + twice + stopped, 0)

    flat = runs.ravel()
    cell = np.repeat(np.arange(n * width), flat)
    job, test = cell // width, cell % width
    run = np.arange(len(cell)) - (np.cumsum(flat) - flat)[cell] + 1
    outcome = np.where(run < flat[cell], np.where(stopped.ravel()[cell], ABORTED, FAIL), PASS)
    size = len(cell)
    opens, _ = _shares(rng.random(size) + 0.4, job)
    work = here.work_minutes[job]
    run_at = here.worked[job] + np.ceil(work * (STEP_SHARE + (1 - STEP_SHARE) * opens)).astype(np.int64)
    # The soak of a unit finished on a Friday is started by a timer in the night to Sunday.
    day = here.worked // DAY
    hour = np.array([s.soak_hour for s in SITES])[here.site]
    sunday = (day + 2) * DAY + hour * 60 + 30
    timed = (weekday(day) == 4)[job] & (test == TEST_NAMES.index("soak"))
    run_at = np.where(timed, sunday[job] + 40 * (run - 1), run_at)

    readings = [t.reading or (np.nan, 0.0, np.nan, np.nan, "") for t in DIAGNOSTICS]
    mean, spread, low, high = (np.array([r[i] for r in readings], dtype=float)[test] for i in range(4))
    drawn = np.clip(mean + spread * rng.standard_normal(size), low, high)
    value = np.where(outcome == FAIL, high + (high - low) * (0.05 + 0.1 * rng.random(size)), drawn)
    value = np.where(outcome == ABORTED, np.nan, value)
    units = tuple(dict.fromkeys(r[4] for r in readings if r[4]))
    unit = np.array([units.index(r[4]) if r[4] else NONE for r in readings])[test]
    station = (here.bench[job] + rng.integers(0, 2, size)) % len(STATIONS)
    frame = pl.DataFrame({
        "at": rows[job], "test": coded(TEST_NAMES, test), "run": run, "outcome": coded(TEST_OUTCOMES, outcome),
        "run_at": run_at, "station": coded(STATIONS, station),
        "value": pl.Series(np.round(value, 2), nan_to_null=True), "lower_limit": pl.Series(low, nan_to_null=True),
        "upper_limit": pl.Series(high, nan_to_null=True), "unit": coded(units, unit),
    })
    return frame.filter(pl.col("run_at") <= end)


def parts(rng: np.random.Generator, jobs: Jobs) -> pl.DataFrame:
    """The parts fitted: rows of a job together."""
    rows = np.flatnonzero(jobs.disposition == REPAIRED)
    here, n = jobs.take(rows), len(rows)
    shares = np.array([[dict(p.uses).get(name, 0.0) for p in PARTS] for name in PROCEDURES])
    drawn, numbers = rng.random((n, len(PARTS))), [p.part_no for p in PARTS]
    fitted = drawn < shares[here.procedure]
    for part_no, required in PAIRINGS:
        paired = numbers.index(required)
        fitted[:, paired] = fitted[:, numbers.index(part_no)] & (drawn[:, paired] >= SLIPS.paired_part_not_fitted)
    cable = numbers.index(LOT.part_no)
    fitted[:, cable] = here.cable
    job, part = np.nonzero(fitted)
    line = np.cumsum(fitted, axis=1)[job, part]
    # A lot lasts six weeks on the shelf.
    week = (here.worked[job] // DAY) // 42
    weeks = int(week.max(initial=0)) + 1
    lots = [f"{chr(66 + i)}-{1200 + 37 * k + 11 * i}" for i in range(len(PARTS)) for k in range(weeks)]
    lot = part * weeks + week
    lot = np.where(here.bad_lot[job] & (part == cable), len(lots), lot)
    return pl.DataFrame({
        "at": rows[job], "line": line, "part_no": coded(tuple(p.part_no for p in PARTS), part),
        "lot": coded((*lots, LOT.lot), lot), "quantity": np.ones(len(job), dtype=np.int64),
        "unit_cost": np.array([p.cost for p in PARTS])[part],
    })
