"""Come-backs of a subsystem attributed to the steps that touched it: groups that cannot be separated, then the fit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa.answers.steps.cause_patterns import Exposed, Flags, Ints, Numbers, Untouched

Name = tuple[str, ...]
NONE = 1e-6
"""Come-backs below which a cause has caused none."""
CERTAIN = 1.0 - 1e-12
"""A chance above this counts as this, so that a cause of all its jobs' come-backs keeps a finite part in each."""


@dataclass(frozen=True, eq=False)
class CauseFit:
    """Causes of one subsystem's come-backs, one entry a group of causes.

    `exposures` jobs (times, where a cause can be met several times in a job), `candidate_in` come-backs it may have
    caused, `attributed` those it most likely caused, `rate` per exposure with `low` and `high`; `tested` and `escaped`
    are shares of `attributed`; `told_apart` whether it is known from all other causes. `loose` come-backs met no cause,
    `by_itself` are those that would have come anyhow, as they do where nothing touched the subsystem.
    """

    groups: tuple[tuple[Name, ...], ...]
    exposures: Numbers
    candidate_in: Ints
    attributed: Numbers
    rate: Numbers
    low: Numbers
    high: Numbers
    tested: Numbers
    escaped: Numbers
    told_apart: Flags
    loose: int
    settled: bool
    by_itself: float = 0.0


def nearly_together(done: Numbers, jobs: Ints, min_overlap: float) -> list[list[int]]:
    """Columns in groups: two that are met in the same jobs, in a share `min_overlap` or more of those that met either.

    What is left of the jobs would have to tell them apart, and these are skips and broken-off work, unlike the rest.
    Groups are chained: a column belongs where it has one such partner.
    """
    met = (done > 0).astype(np.float64)
    both = (met.T * jobs) @ met
    each = np.diag(both)
    either = each[:, None] + each[None, :] - both
    linked = both >= min_overlap * np.where(either > 0, either, np.inf)
    left, groups = set(range(done.shape[1])), list[list[int]]()
    while left:
        group, new = set[int](), {min(left)}
        while new:
            group |= new
            new = {int(j) for i in new for j in np.flatnonzero(linked[i])} - group
        groups.append(sorted(group))
        left -= group
    return groups


def taken_together(done: Numbers, groups: Sequence[Sequence[int]]) -> Numbers:
    """One column a group: as often as its most frequent member was met in the job."""
    if not groups:
        return np.zeros((len(done), 0))
    return np.column_stack([done[:, list(g)].max(axis=1) for g in groups])


def fitted(work: Exposed, *, min_overlap: float, level: float, untouched: Untouched | None = None) -> CauseFit:
    """Lay the come-backs to the causes that were met, by maximum likelihood (`rqa.stats.masked_cause_mle`).

    What fails by itself is a cause of its own that every job meets. How often it does is told by the jobs that left the
    subsystem alone: `untouched`. Without a new fault among them, or without such jobs, nothing is taken off.
    """
    from rqa.stats import masked_cause_mle

    near = nearly_together(work.done, work.jobs, min_overlap)
    done = taken_together(work.done, near)
    back, met = work.comebacks > 0, done.any(axis=1)
    rows = np.flatnonzero(back & met)
    # Jobs that did not come back enter the likelihood by how often they met each cause in all: one row for all of them.
    quiet = (work.jobs - work.comebacks) @ done
    seen, times = done[rows], work.comebacks[rows]
    itself = untouched is not None and untouched.faults > 0 and len(rows) > 0
    if untouched is not None and itself:
        quiet = np.append(quiet, (work.jobs - work.comebacks)[met].sum() + untouched.jobs - untouched.faults)
        seen = np.vstack([np.hstack([seen, np.ones((len(rows), 1))]), np.eye(len(near) + 1)[-1:]])
        times = np.append(times, untouched.faults)
    r = masked_cause_mle(
        exposures=np.vstack([quiet[None, :], seen]),
        jobs=np.concatenate([[1], times]),
        pattern=np.arange(1, len(seen) + 1),
        candidates=seen > 0,
        comebacks=times,
        level=level,
    )
    groups = [members for members in r.groups if min(members) < len(near)]
    heads = np.array([min(members) for members in groups], dtype=np.int64)
    names = tuple(tuple(work.names[c] for m in members for c in near[m]) for members in groups)
    lead = [min(members, key=lambda m: (r.exposure[m], m)) for members in groups]
    rate = -np.log1p(-np.minimum(np.nan_to_num(r.estimate), CERTAIN))
    weight = seen[: len(rows)][:, lead] * rate[heads]
    whole = weight.sum(axis=1, keepdims=True) + (rate[-1] if itself else 0.0)
    share = weight / np.where(whole > 0, whole, 1.0)
    unknown = np.isnan(r.estimate[heads])
    return CauseFit(
        groups=names,
        exposures=np.array([r.exposure[m] for m in lead]),
        candidate_in=r.candidate_in[heads],
        attributed=r.attributed[heads],
        rate=r.estimate[heads],
        low=r.low[heads],
        high=r.high[heads],
        tested=_part(work.tested[rows], work.comebacks[rows], share) * r.attributed[heads],
        escaped=_part(work.escaped[rows], work.comebacks[rows], share) * r.attributed[heads],
        told_apart=np.array([len(n) == 1 for n in names], dtype=np.bool_) & ~unknown,
        loose=int(work.comebacks[back & ~met].sum()),
        settled=r.settled,
        by_itself=_by_itself(r.attributed[-1], untouched) if itself else 0.0,
    )


def _by_itself(caused: float, untouched: Untouched | None) -> float:
    """Come-backs of touched subsystems that would have come anyhow; all that new faults do not account for."""
    return max(0.0, float(np.nan_to_num(caused)) - (untouched.faults if untouched else 0))


def _part(marked: Ints, whole: Ints, share: Numbers) -> Numbers:
    """Of each cause's come-backs the share that is marked; 0 where it has none."""
    of = whole @ share
    return np.asarray((marked @ share) / np.where(of > 0, of, 1.0), dtype=np.float64)


def summed(values: ArrayLike, lows: ArrayLike, highs: ArrayLike) -> tuple[float, float, float]:
    """A sum of independent estimates, its limits from theirs by the square of their reach (Zou and Donner 2008)."""
    v, a, b = (np.asarray(x, dtype=np.float64) for x in (values, lows, highs))
    total = float(v.sum())
    below, above = float(np.sqrt(((v - a) ** 2).sum())), float(np.sqrt(((b - v) ** 2).sum()))
    return total, max(0.0, total - below), total + above


def named(group: Sequence[Name]) -> str:
    """A group of causes as said: "fit board + write identity", each step once, in the order of the procedure."""
    return " + ".join(dict.fromkeys(name[0] for name in group))
