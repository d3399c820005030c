"""How much the checks of one job go together: the job, not the check, is what is sampled."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.filters import filters_of
from rqa.answers.core.kept_counts import kept_counts, measure_of
from rqa.answers.core.scope import PERIODS, Scope, Snapshot, Where
from rqa.measures.groupings import JOB_NAMES, STEP_LOG, TEST_LOG
from rqa.measures.run import counts, groupings

if TYPE_CHECKING:
    import polars as pl

MEASURE, BY_TURNS = "checks_by_job", "checks_by_job_turns"
AGAIN, REWORK = "rework", "rework_by_job"
"""What stands for a log where steps done and done again are asked of, and the measure that counts them by job."""
LOGS = {"first_pass": "steps", "first_run": "diagnostics"}
"""Outcomes of which a job has several, with the log that holds them."""
TOLD = {"steps": (*JOB_NAMES, *STEP_LOG), "diagnostics": (*JOB_NAMES, *TEST_LOG), AGAIN: (*JOB_NAMES, *STEP_LOG)}
"""By what a log's checks can be filtered."""
SHARES = {"first_pass_yield": "first_pass", "first_run_pass": "first_run"}
"""The shares made of such outcomes."""
TOLD_FROM = 1.1
"""How many times as much than single checks failures vary before it is said."""
AS_CHECKS = {
    "done": "checks", "again": "failed", "done_squared": "checks_squared", "done_by_again": "checks_by_failed",
    "again_squared": "failed_squared",
}
"""A step done is a check, and one done again has failed it."""
OWN_FROM = 200
"""Jobs from which on a group's own figure counts; below it that of all groups stands for it."""


def inflation(
    snapshot: Snapshot,
    *,
    who: str,
    outcome: str,
    mix: Sequence[str],
    asked: Scope,
    names: Sequence[str],
    kinds: Sequence[tuple[str, ...]],
    events: NDArray[np.int64],
    trials: NDArray[np.int64],
) -> NDArray[np.float64]:
    """How many times as much each group's failures vary as they would if the checks of a job had nothing in common.

    `names` and `kinds` are the rows and columns of `events` and `trials`; the last part of a kind is its step or test,
    the others are those of `mix`. At least 1; 1 for outcomes of which a job has one. The larger of the group's own
    figure (from 200 jobs on: few jobs tell it badly) and that of all groups, as the design effect of Kish (1965) with
    jobs as clusters: within each group and kind of work the squares of each job's failures less those expected of as
    many checks, over the sum of the binomial variances of the checks.
    """
    made = np.ones(len(names), dtype=np.float64)
    if outcome not in LOGS or not trials.size:
        return made
    jobs = _checks_by_job(snapshot, LOGS[outcome], (who, *mix), asked.where, asked.months)
    seen, luck, number = _sums(jobs.iter_rows(named=True), (who, *mix), names, kinds, events, trials)
    if not luck.sum():
        return made
    whole = max(1.0, float(seen.sum() / luck.sum()))
    with np.errstate(invalid="ignore", divide="ignore"):
        own = np.where((number >= OWN_FROM) & (luck > 0), seen / luck, 1.0)
    return np.maximum(whole, own)


def inflation_by_month(snapshot: Snapshot, share: str, months: tuple[date, date], where: Where | None) -> float:
    """How many times as much a share varies from month to month as single checks would, as a job's go together.

    At least 1; 1 for shares of jobs. The jobs' squared departures from the yield of their month, over the binomial
    variance of their checks at that yield. Filters by test or station ask for first runs; filters by which a job's
    checks are not told apart (shift, say) are left out.
    """
    if share not in SHARES:
        return 1.0
    asked = filters_of(share, where)
    log = LOGS["first_run" if set(asked) & set(TEST_LOG) else SHARES[share]]
    rows = _checks_by_job(snapshot, log, ("month",), asked, months)
    seen = luck = 0.0
    for r in rows.iter_rows(named=True):
        if r["jobs"] > 1:
            seen += _departures(r)
            luck += _by_chance(r)
    return max(1.0, seen / luck) if luck else 1.0


def effects_of_groups(
    snapshot: Snapshot, groups: Sequence[tuple[object, ...]], asked: Scope, *, log: str, level: float
) -> NDArray[np.float64]:
    """The design effect of each group, by its values of what was asked: how many times as much its share varies.

    `log`: "steps" and "diagnostics" (first checks and runs that failed), "rework" (steps done again, skipped ones not
    counted). 1 where a group holds one check of a job, as of one step or test. Else the larger of the group's own
    figure (from 200 jobs on) and that of all groups, each within its group. Groupings by which a job's checks are not
    told apart (shift, days since training) have the figure of the groups without them. Few jobs say little of how jobs
    differ: the effect is larger by the square of Student's quantile over the normal one.
    """
    from scipy import special

    made = np.ones(len(groups), dtype=np.float64)
    alone = {"steps": "step", "diagnostics": "test", AGAIN: "step"}[log]
    if alone in asked.by or len(asked.where.get(alone, ())) == 1 or not groups:
        return made
    told = tuple(name for name in asked.by if name in (*PERIODS, *TOLD[log]))
    places = [asked.by.index(name) for name in told]
    found: dict[tuple[object, ...], tuple[float, float, int]] = {}
    for r in _checks_by_job(snapshot, log, told, asked.where, asked.months).iter_rows(named=True):
        if r["jobs"] > 1:
            found[tuple(r[name] for name in told)] = (_departures(r), _by_chance(r), r["jobs"])
    seen, luck, jobs = (sum(each) for each in zip(*found.values(), strict=True)) if found else (0.0, 0.0, 0)
    if not luck:
        return made
    whole = max(1.0, seen / luck)
    tail = (1.0 - level) / 2.0
    few = (special.stdtrit(jobs - len(found), tail) / special.ndtri(tail)) ** 2 if jobs > len(found) else 1.0
    for place, group in enumerate(groups):
        own_seen, own_luck, own_jobs = found.get(tuple(group[at] for at in places), (0.0, 0.0, 0))
        own = own_seen / own_luck if own_jobs >= OWN_FROM and own_luck else 1.0
        made[place] = max(whole, own) * float(few)
    return made


def bunches_of_groups(
    snapshot: Snapshot, groups: Sequence[tuple[object, ...]], asked: Scope, *, log: str
) -> NDArray[np.int64]:
    """The sum over the jobs of each group of their squared numbers of first checks; 0 for a group without any."""
    rows = _checks_by_job(snapshot, log, asked.by, asked.where, asked.months).iter_rows(named=True)
    found = {tuple(r[name] for name in asked.by): r["checks_squared"] for r in rows}
    return np.array([found.get(tuple(group), 0) for group in groups], dtype=np.int64)


def groups_of(table: "pl.DataFrame", by: Sequence[str]) -> list[tuple[object, ...]]:
    """Each row's values of the groupings."""
    return table.select(by).rows() if by else [()] * table.height


def by_job_note(effects: NDArray[np.float64]) -> tuple[str, ...]:
    """What is said of limits that allow for jobs, where that makes a difference."""
    largest = float(effects.max(initial=1.0))
    if largest < TOLD_FROM:
        return ()
    return (
        f"Checks of one job pass and fail together: shares vary up to {largest:.2f} times as much as those of single "
        "checks would. The limits allow for that; the job is what is sampled (Rao and Scott 1992).",
    )


def said_of(effects: NDArray[np.float64]) -> dict[str, float]:
    """The setting that echoes the largest design effect, where there is any."""
    largest = round(float(effects.max(initial=1.0)), 3)
    return {"by_job": largest} if largest > 1.0 else {}


def widened_ratio(
    ratio: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], effect: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Limits of a ratio or rate whose events vary so many times as much: their logarithms stand further from it.

    With no event seen the upper limit is that of as many times less work.
    """
    reach = np.sqrt(effect)
    with np.errstate(invalid="ignore", divide="ignore"):
        lower = np.where(low > 0, ratio * (low / ratio) ** reach, low)
        upper = np.where(ratio > 0, ratio * (high / ratio) ** reach, high * effect)
    return lower, upper


def _checks_by_job(
    snapshot: Snapshot, log: str, by: tuple[str, ...], where: Mapping[str, Sequence[str]],
    months: tuple[date, date] | None,
) -> "pl.DataFrame":
    """Counts and squares of the jobs' checks by group, under those filters that the log's checks have."""
    kept = {name: tuple(values) for name, values in where.items() if name in TOLD[log]}
    asked, values = Scope(by, kept, months), {"as_of": snapshot.day, "log": log}
    if log == AGAIN:
        of_steps = counts(snapshot.store, REWORK, by=by, where=kept, months=months, values={"as_of": snapshot.day})
        return of_steps.rename(lambda name: AS_CHECKS.get(name, name))
    told_by_turns = log == "steps" and not snapshot.from_rows and asked.named <= set(groupings(BY_TURNS))
    if told_by_turns and measure_of(snapshot, MEASURE, asked) == MEASURE:
        return counts(snapshot.store, BY_TURNS, by=by, where=kept, months=months, values={"as_of": snapshot.day})
    return kept_counts(snapshot, MEASURE, asked, values)


def _sums(
    rows: Any,
    keys: tuple[str, ...],
    names: Sequence[str],
    kinds: Sequence[tuple[str, ...]],
    events: NDArray[np.int64],
    trials: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """By group: the jobs' squared departures, the checks' binomial variance, and the jobs."""
    work = trials.sum(axis=0)
    share = events.sum(axis=0) / np.maximum(work, 1)
    row = {name: i for i, name in enumerate(names)}
    alike: dict[tuple[str, ...], list[int]] = {}
    for column, kind in enumerate(kinds):
        alike.setdefault(tuple(kind[:-1]), []).append(column)
    seen, luck = np.zeros(len(names)), np.zeros(len(names))
    number = np.zeros(len(names), dtype=np.int64)
    for r in rows:
        at, columns = row.get(r[keys[0]]), alike.get(tuple(r[k] for k in keys[1:]))
        if at is None or columns is None:
            continue
        number[at] += r["jobs"]
        # One job alone says nothing of how jobs differ.
        if r["jobs"] < 2:
            continue
        seen[at] += _departures(r)
        luck[at] += float((trials[at, columns] * share[columns] * (1.0 - share[columns])).sum())
    return seen, luck, number


def _departures(r: Mapping[str, int]) -> float:
    """Sum over the jobs, of which there are two at least, of (failed - share x checks) squared, times n / (n - 1)."""
    share = r["failed"] / r["checks"]
    squares = r["failed_squared"] - 2.0 * share * r["checks_by_failed"] + share * share * r["checks_squared"]
    return float(squares * r["jobs"] / (r["jobs"] - 1))


def _by_chance(r: Mapping[str, int]) -> float:
    """The binomial variance of the checks at their own share."""
    return r["failed"] * (r["checks"] - r["failed"]) / r["checks"]
