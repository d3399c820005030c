"""How much the checks of one job go together: the job, not the check, is what a comparison samples."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.filters import filters_of
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.scope import Scope, Snapshot, Where
from rqa.measures.groupings import JOB_NAMES, STEP_LOG, TEST_LOG

if TYPE_CHECKING:
    import polars as pl

LOGS = {"first_pass": "steps", "first_run": "diagnostics"}
"""Outcomes of which a job has several, with the log that holds them."""
TOLD = {"steps": (*JOB_NAMES, *STEP_LOG), "diagnostics": (*JOB_NAMES, *TEST_LOG)}
"""By what a log's checks can be filtered."""
SHARES = {"first_pass_yield": "first_pass", "first_run_pass": "first_run"}
"""The shares made of such outcomes."""
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
            seen += _departures(r) * r["jobs"] / (r["jobs"] - 1)
            luck += r["failed"] * (r["checks"] - r["failed"]) / r["checks"]
    return max(1.0, seen / luck) if luck else 1.0


def _checks_by_job(
    snapshot: Snapshot, log: str, by: tuple[str, ...], where: Mapping[str, Sequence[str]],
    months: tuple[date, date] | None,
) -> "pl.DataFrame":
    """Counts and squares of the jobs' checks by group, under those filters that the log's checks have."""
    kept = {name: tuple(values) for name, values in where.items() if name in TOLD[log]}
    return kept_counts(snapshot, "checks_by_job", Scope(by, kept, months), {"as_of": snapshot.day, "log": log})


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
        seen[at] += _departures(r) * r["jobs"] / (r["jobs"] - 1)
        luck[at] += float((trials[at, columns] * share[columns] * (1.0 - share[columns])).sum())
    return seen, luck, number


def _departures(r: Mapping[str, int]) -> float:
    """Sum over the jobs of (failed - share x checks) squared."""
    share = r["failed"] / r["checks"]
    return float(r["failed_squared"] - 2.0 * share * r["checks_by_failed"] + share * share * r["checks_squared"])
