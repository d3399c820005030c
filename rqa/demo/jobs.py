"""The jobs of the invented depot: first visits at random, then the visits that earlier jobs bring about.

Every job is a row of equally long arrays. Times are wall minutes of the job's site (see `clock`).
"""

from dataclasses import dataclass, fields
from functools import cache

import numpy as np
import numpy.typing as npt

from rqa.demo.catalogue import (
    BENCHES,
    LOGGER_FAULTS,
    MODEL_SHARES,
    MODELS,
    PER_SITE,
    PROCEDURE_NAMES,
    PROCEDURE_OF,
    PROCEDURES,
    SITES,
    SUBSYSTEMS,
    TABLET_FAULTS,
)
from rqa.demo.clock import DAY, day_number, next_workday, weekday
from rqa.demo.effects import CABLE_GUIDE_ON, EARLY, LOT, NOISE, PINCH, UNCOVERED

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
REPAIRED, NO_FAULT, NOT_ECONOMIC, UNREPAIRED, CANCELLED, OPEN = range(6)
NONE = -1
LOGGER = MODELS.index("Quern")
UNITS_PER_JOB = 3.4
"""Units in the field for each job: so few of them come twice by chance alone."""
GENERATIONS = 4
CAUSES = ("", "work", "pinched_cable", "early_alignment", "bad_lot")


@dataclass
class Jobs:
    """Arrays with a row for each job; codes are places in the catalogue's tuples, NONE where there is none."""

    unit: Ints
    model: Ints
    site: Ints
    procedure: Ints
    technician: Ints
    bench: Ints
    opened: Ints
    worked: Ints
    work_minutes: Ints
    closed: Ints
    disposition: Ints
    complaint: Ints
    found: Ints
    billing: Ints
    pinched: Flags
    caught: Flags
    early: Flags
    cable: Flags
    bad_lot: Flags
    cause: Ints
    parent: Ints

    def __len__(self) -> int:
        return len(self.unit)

    def take(self, rows: npt.NDArray[np.integer] | Flags) -> "Jobs":
        """The given rows, in their order."""
        return Jobs(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


def _joined(parts: list[Jobs]) -> Jobs:
    return Jobs(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Jobs)})


def _drawn(rng: np.random.Generator, shares: npt.ArrayLike, size: int) -> Ints:
    edges = np.cumsum(np.asarray(shares, dtype=float))
    drawn = np.searchsorted(edges / edges[-1], rng.random(size), side="right")
    return np.minimum(drawn, len(edges) - 1).astype(np.int64)


@cache
def mix_of(seed: int) -> npt.NDArray[np.float64]:
    """Which technician of a site gets the jobs of a procedure: site × procedure × technician, cumulative."""
    rng = np.random.default_rng([seed, 7])
    weights = rng.gamma(2.0, 1.0, (len(SITES), len(PROCEDURE_NAMES), PER_SITE)) + 0.15
    shares: npt.NDArray[np.float64] = np.cumsum(weights, axis=2) / weights.sum(axis=2, keepdims=True)
    return shares


def touched(procedure: str) -> list[int]:
    """The subsystems the steps of a procedure touch, as places in the catalogue."""
    words = {w for s in PROCEDURES[procedure] for w in s.subsystems.split()}
    return [i for i, s in enumerate(SUBSYSTEMS) if s in words]


def _procedures(model: Ints, fault: Ints) -> Ints:
    kinds = (PROCEDURE_OF["tablet"], PROCEDURE_OF["logger"])
    table = np.array([[PROCEDURE_NAMES.index(kind[s]) for s in SUBSYSTEMS] for kind in kinds])
    return table[(model == LOGGER).astype(int), fault].astype(np.int64)


def _has_step(step: str) -> Flags:
    return np.array([any(s.step == step for s in steps) for steps in PROCEDURES.values()])


def _cable_share() -> npt.NDArray[np.float64]:
    from rqa.demo.catalogue import PARTS

    uses = dict(next(p for p in PARTS if p.part_no == LOT.part_no).uses)
    return np.array([uses.get(p, 0.0) for p in PROCEDURE_NAMES])


def _made(
    rng: np.random.Generator, seed: int, end: int, *, unit: Ints, model: Ints, site: Ints, opened: Ints,
    fault: Ints, cause: Ints, parent: Ints, back: Flags,
) -> Jobs:
    """Jobs with all that follows from when and why a unit comes in; `back` marks units that came back soon."""
    n = len(unit)
    procedure = _procedures(model, fault)
    mix = mix_of(seed)[site, procedure]
    technician = site * PER_SITE + np.minimum((rng.random(n)[:, None] > mix).sum(axis=1), PER_SITE - 1)
    bench = site * (len(BENCHES) // len(SITES)) + rng.integers(0, len(BENCHES) // len(SITES), n)
    wait = 1 + np.floor(rng.exponential(2.4, n)).astype(np.int64)
    day = next_workday(opened // DAY, wait)
    worked = day * DAY + 8 * 60 + rng.integers(0, 300, n)
    work = 80 + rng.integers(0, 130, n)
    friday = weekday(day) == 4
    monday = (day + 3) * DAY + 8 * 60 + rng.integers(0, 150, n)
    closed = np.where(friday, monday, worked + work + 10 + rng.integers(0, 50, n))

    works_back = back & np.isin(cause, [2, 3, 4])
    disposition = _drawn(rng, [0.862, 0.055, 0.033, 0.028, 0.022], n)
    nothing = rng.random(n) < np.where(works_back, 0.03, NOISE.of_these_no_fault_found)
    disposition = np.where(back & (disposition != CANCELLED), np.where(nothing, NO_FAULT, disposition), disposition)
    disposition = np.where(works_back & ~nothing, REPAIRED, disposition)
    found = np.where(np.isin(disposition, [NO_FAULT, CANCELLED]), NONE, fault)
    found = np.where(back & (rng.random(n) < NOISE.return_without_finding), NONE, found)
    other = _drawn(rng, TABLET_FAULTS, n)
    complaint = np.where(rng.random(n) < 0.78, fault, other)
    complaint = np.where((model == LOGGER) & (np.array(LOGGER_FAULTS)[complaint] == 0), fault, complaint)
    complaint = np.where(rng.random(n) < 0.05, NONE, complaint)
    billing = np.where(back, _drawn(rng, [0.6, 0.04, 0.36], n), _drawn(rng, [0.5, 0.46, 0.04], n))

    # What happens at the bench. An open or unrepaired job has no such history.
    repaired = disposition == REPAIRED
    at_risk = repaired & (model == MODELS.index(PINCH.model)) & (procedure == PROCEDURE_NAMES.index(PINCH.procedure))
    guided = worked >= day_number(CABLE_GUIDE_ON) * DAY
    pinched = at_risk & (rng.random(n) < np.where(guided, PINCH.pinched_after_action, PINCH.pinched))
    caught = pinched & (rng.random(n) < PINCH.caught_at_the_check)
    there = bench == BENCHES.index(EARLY.bench)
    early = repaired & _has_step(EARLY.step)[procedure]
    early &= rng.random(n) < np.where(there, EARLY.early_at_the_bench, EARLY.early_elsewhere)
    cable = repaired & (rng.random(n) < _cable_share()[procedure])
    weeks = (day >= day_number(LOT.first_day)) & (day <= day_number(LOT.last_day))
    bad_lot = cable & weeks & (rng.random(n) < LOT.share_of_the_lot)

    unfinished = (closed > end) & (disposition != CANCELLED)
    disposition = np.where(unfinished, OPEN, disposition)
    disposition = np.where((closed > end) & (disposition == CANCELLED), OPEN, disposition)
    found = np.where(disposition == OPEN, NONE, found)
    return Jobs(unit, model, site, procedure, technician, bench, opened, worked, work, closed, disposition, complaint,
                found, billing, pinched, caught, early, cable, bad_lot, cause, parent)


def _first_visits(rng: np.random.Generator, seed: int, n: int, days: int, end: int) -> Jobs:
    fleet = max(int(n * UNITS_PER_JOB), 1)
    models, homes = _drawn(rng, MODEL_SHARES, fleet), _drawn(rng, [s.share for s in SITES], fleet)
    unit = rng.integers(0, fleet, n)
    model = models[unit]
    day = rng.integers(0, days, n)
    day = np.where((weekday(day) >= 5) & (rng.random(n) < 0.9), np.minimum(next_workday(day), days - 1), day)
    opened = day * DAY + 8 * 60 + rng.integers(0, 9 * 60, n)
    site = np.where(rng.random(n) < 0.95, homes[unit], _drawn(rng, [s.share for s in SITES], n))
    fault = np.where(model == LOGGER, _drawn(rng, LOGGER_FAULTS, n), _drawn(rng, TABLET_FAULTS, n))
    none = np.full(n, NONE, dtype=np.int64)
    return _made(rng, seed, end, unit=unit, model=model, site=site, opened=opened, fault=fault,
                 cause=np.zeros(n, dtype=np.int64), parent=none, back=np.zeros(n, dtype=bool))


def _delay(rng: np.random.Generator, hit: Flags, mean: float | npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.where(hit, rng.exponential(1.0, len(hit)) * mean, np.inf)


def _returns(rng: np.random.Generator, seed: int, jobs: Jobs, first: int, end: int) -> Jobs:
    """The jobs that these jobs bring about; the earliest of the causes that strike a job counts."""
    n = len(jobs)
    ended = np.isin(jobs.disposition, [REPAIRED, NO_FAULT])
    slow = np.where(rng.random(n) < NOISE.of_these_early, NOISE.mean_days_early, NOISE.mean_days_late)
    missed = jobs.pinched & ~jobs.caught
    delays = np.stack([
        np.full(n, np.inf),
        _delay(rng, ended & (rng.random(n) < NOISE.comes_back_from_the_work), slow),
        _delay(rng, missed & (rng.random(n) < PINCH.comes_back_if_missed), PINCH.mean_days_to_return),
        _delay(rng, jobs.early & (rng.random(n) < EARLY.comes_back_if_early), EARLY.mean_days_to_return),
        _delay(rng, jobs.bad_lot & (rng.random(n) < LOT.comes_back_if_fitted), LOT.mean_days_to_return),
    ])
    cause = np.argmin(delays, axis=0)
    delay = delays.min(axis=0)
    rows = np.flatnonzero(np.isfinite(delay) & (jobs.disposition != OPEN))
    jobs, cause, delay = jobs.take(rows), cause[rows].astype(np.int64), delay[rows]
    n = len(jobs)
    day = next_workday(jobs.closed // DAY + np.floor(delay).astype(np.int64))
    opened = np.maximum(day * DAY + 8 * 60 + rng.integers(0, 9 * 60, n), jobs.closed + 5)
    # From the work: the same subsystem again, or another one that a step of the job touched.
    fault = np.where(jobs.found == NONE, np.where(jobs.complaint == NONE, 0, jobs.complaint), jobs.found)
    again = rng.random(n) < NOISE.of_these_the_same_subsystem
    draw = rng.random(n)
    for code, name in enumerate(PROCEDURE_NAMES):
        choices = np.array(touched(name))
        for logger in (False, True):
            able = choices[np.array(LOGGER_FAULTS)[choices] > 0] if logger else choices
            these = (jobs.procedure == code) & ((jobs.model == LOGGER) == logger) & ~again
            fault[these] = able[(draw[these] * len(able)).astype(int)]
    own = np.random.default_rng([seed, 5, first, n])
    fault[~again & (own.random(n) < UNCOVERED.of_returns_with_another_subsystem)] = SUBSYSTEMS.index(
        UNCOVERED.subsystem
    )
    for number, effect in ((2, PINCH), (3, EARLY), (4, LOT)):
        fault[cause == number] = SUBSYSTEMS.index(effect.subsystem)
    site = np.where(rng.random(n) < 0.95, jobs.site, _drawn(rng, [s.share for s in SITES], n))
    made = _made(rng, seed, end, unit=jobs.unit, model=jobs.model, site=site, opened=opened, fault=fault, cause=cause,
                 parent=rows + first, back=np.ones(n, dtype=bool))
    return made.take(made.opened <= end)


def _apart(jobs: Jobs, fleet: int) -> Jobs:
    """Move jobs that would overlap another on their unit to a unit of their own; then only planted ones overlap."""
    spare = fleet
    while True:
        order = np.lexsort((np.arange(len(jobs)), jobs.opened, jobs.unit))
        unit, opened, closed = jobs.unit[order], jobs.opened[order], jobs.closed[order]
        clash = np.zeros(len(jobs), dtype=bool)
        clash[1:] = (unit[1:] == unit[:-1]) & (opened[1:] <= closed[:-1])
        moved = order[clash]
        if not len(moved):
            return jobs
        jobs.unit[moved] = spare + np.arange(len(moved))
        jobs.cause[moved], jobs.parent[moved] = 0, NONE
        spare += len(moved)


def simulate(rng: np.random.Generator, seed: int, n: int, months_days: int) -> Jobs:
    """Exactly `n` jobs opened within `months_days` days of the epoch, in order of opening."""
    end = months_days * DAY - 6 * 60
    parts = [_first_visits(rng, seed, n, months_days, end)]
    parts[0] = parts[0].take(parts[0].opened <= end)
    total = len(parts[0])
    for _ in range(GENERATIONS):
        parts.append(_returns(rng, seed, parts[-1], total - len(parts[-1]), end))
        total += len(parts[-1])
    jobs = _apart(_joined(parts), max(int(n * UNITS_PER_JOB), 1))
    return _exactly(rng, jobs, n)


def _exactly(rng: np.random.Generator, jobs: Jobs, n: int) -> Jobs:
    """Keep whole units, in random order, until there are `n` jobs; units with one job fill what is left."""
    units, inverse, counts = np.unique(jobs.unit, return_inverse=True, return_counts=True)
    order = rng.permutation(len(units))
    kept = np.cumsum(counts[order]) <= n
    missing = n - counts[order][kept].sum()
    kept[np.flatnonzero(~kept & (counts[order] == 1))[:missing]] = True
    wanted = np.zeros(len(units), dtype=bool)
    wanted[order[kept]] = True
    rows = np.flatnonzero(wanted[inverse])
    rows = rows[np.lexsort((rows, jobs.site[rows], jobs.opened[rows]))]
    place = np.full(len(jobs) + 1, NONE, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    result = jobs.take(rows)
    result.parent = place[result.parent]
    return result
