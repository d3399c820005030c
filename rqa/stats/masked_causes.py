"""Which step sends units back, when a come-back says only which steps it may have been: masked causes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.identifiability import grouped
from rqa.stats.masked_fit import Problem, entangled, maximise
from rqa.stats.masked_limits import profile_limits
from rqa.words import counted

Likelihood = Literal["job", "count"]


@dataclass(frozen=True, eq=False)
class MaskedCauses:
    """Come-backs per exposure of each step, with profile-likelihood limits, and which steps cannot be told apart.

    `group` numbers the steps' groups from 0; steps of one group share their numbers, which are those of the group as a
    whole, per exposure of its least exposed member. `groups` lists the members of each.
    """

    likelihood: str
    level: float
    group: Counts
    groups: tuple[tuple[int, ...], ...]
    exposure: Numbers
    candidate_in: Counts
    attributed: Numbers
    estimate: Numbers
    low: Numbers
    high: Numbers
    identified: NDArray[np.bool_]
    log_likelihood: float
    settled: bool


def masked_cause_mle(
    *,
    exposures: ArrayLike,
    jobs: ArrayLike,
    pattern: ArrayLike,
    candidates: ArrayLike,
    comebacks: ArrayLike,
    likelihood: Likelihood = "job",
    level: float = 0.95,
) -> MaskedCauses:
    """Say how many come-backs each exposure to a step causes, where only a set of possible steps is known.

    Parameters
    ----------
    exposures
        How often jobs of each pattern did each step: numbers from 0 up, patterns x steps.
    jobs
        Jobs of each pattern: one whole number per pattern.
    pattern
        For each row of come-backs the pattern its jobs had: one row of whole numbers, from 0.
    candidates
        For each such row which steps may have caused it: True or 1, rows x steps. Only steps that the pattern did. A
        number below 1 is the share of the step's come-backs that would show up with this row's set of candidates.
    comebacks
        How many come-backs had this pattern and these candidates: one whole number per row. Jobs of a pattern that are
        in no row did not come back, or for a cause that no step is answerable for.
    likelihood
        "job": a job comes back once or not at all, and `estimate` is a probability. "count": come-backs are counted
        against exposure, such as time, and `estimate` is a rate; quicker, and nearly the same where few jobs come back.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    MaskedCauses
        Arrays with one entry per step: `exposure`, `candidate_in` (come-backs it may have caused), `attributed` (those
        it most likely caused: over the groups they add up to all), `estimate`, `low`, `high` per exposure, and
        `identified`, whether the data tell the step apart from all others.

    Notes
    -----
    Each exposure to step s causes a come-back at rate r_s, independently. A job with exposures e comes back with
    probability 1 - exp(-sum e r), because of s with weight e_s r_s times its number in `candidates`. With ones, every
    candidate is taken as equally likely to have been seen with this very set. That does not hold where a step touches
    three subsystems, so that each of its faults shows up in one of three sets, and another touches one: put the step's
    share of faults in each set, or give it one column for each subsystem.

    Maximum likelihood by expectation and maximisation, hastened by Newton steps; `estimate` = 1 - exp(-r) for "job", r
    for "count". Limits are where the likelihood, at its best over the other steps, has fallen by half the chi-squared
    quantile.

    Landmarks: a step that is no candidate anywhere has estimate 0 and a finite high end; one never exposed is no data,
    NaN. With single candidates, attributed = come-backs; two steps done in every job with r1 and r2 come-backs of known
    cause and r12 of either: these are shared out as r1 to r2. Pools: come-backs of jobs with k exposures to one step
    give 1 - (1 - x / n)^(1 / k).

    Steps whose exposures keep one ratio and which are candidates together cannot be told apart, and are given as a
    group, never split. Steps that are mixed up in another way have `identified` False, no estimate (NaN), and limits
    that say what is still possible. A background of faults no step caused may be added as a step done once in each job.

    Not for causes that act only together. If a test that hides some step's faults decides which candidates are written
    down, that step is blamed too little.

    Raises
    ------
    ValueError
        Shapes that do not fit; a negative number; a candidate that the pattern did not do; a row of come-backs without
        a candidate; more come-backs than jobs; an unknown likelihood; a level outside (0, 1).

    References
    ----------
    1. M. Miyakawa, IEEE Transactions on Reliability R-33, 1984, 293-296 (closed form for two components).
    2. J. S. Usher and T. J. Hodgson, IEEE Transactions on Reliability 37, 1988, 550-555 (likelihood).
    3. A. P. Dempster, N. M. Laird and D. B. Rubin, Journal of the Royal Statistical Society B 39, 1977, 1-38 (EM).

    Examples
    --------
    >>> r = masked_cause_mle(
    ...     exposures=[[1, 1], [1, 0]],
    ...     jobs=[2000, 1000],
    ...     pattern=[0, 0, 1],
    ...     candidates=[[1, 1], [0, 1], [1, 0]],
    ...     comebacks=[40, 10, 5],
    ... )
    >>> (1e4 * r.estimate).round(0).tolist(), r.attributed.round(1).tolist()
    ([35.0, 224.0], [10.3, 44.7])

    The second step sends back two in a hundred, six times as many as the first, and is behind most of the forty
    come-backs for which either may be to blame.
    """
    arguments.one_of("likelihood", likelihood, get_args(Likelihood))
    level = arguments.share("level", level)
    e, n, where, may, x = _taken(exposures, jobs, pattern, candidates, comebacks)
    total = n @ e
    without = n.astype(np.float64) - np.bincount(where, weights=x, minlength=len(n))
    if (without < 0).any():
        place = int(np.argmax(without < 0))
        raise ValueError(
            f"comebacks must not be above jobs: pattern {place} has {counted(n[place], 'job')}, {-without[place]:g} "
            "less"
        )
    once = likelihood == "job"
    seen = x > 0
    done = e[where[seen]]
    quiet, own, times = without @ e if once else total, done * may[seen], x[seen].astype(np.float64)
    groups = grouped(np.vstack([quiet, own, *([done] if once else [])]), np.asarray(own.any(axis=0)))
    lead = np.array([min(steps, key=lambda s: (total[s], s)) for steps in groups], dtype=np.int64)
    member = np.empty(e.shape[1], dtype=np.int64)
    for place, members in enumerate(groups):
        member[list(members)] = place
    none = np.zeros((len(lead), len(lead)))
    problem = Problem(quiet[lead], own[:, lead], times, done[:, lead] if once else None, none)
    rate, caused, low, high = (np.full(len(lead), np.nan) for _ in range(4))
    known, log_likelihood, settled = np.ones(len(lead), dtype=np.bool_), 0.0, True
    for steps in problem.parts():
        part = problem.of_steps(steps)
        best = maximise(part, part.start())
        rate[steps], caused[steps] = best.rate, part.attributed(best.rate)
        known[steps] = ~entangled(part, best)
        low[steps], high[steps] = profile_limits(part, best, level)
        log_likelihood, settled = log_likelihood + best.log_likelihood, settled and best.settled
    exposed = total[lead] > 0
    rate, caused, low, high = (np.where(exposed, a, np.nan) for a in (rate, caused, low, high))
    if once:
        rate, low, high = (-special.expm1(-a) for a in (rate, low, high))
    return MaskedCauses(
        likelihood=likelihood,
        level=level,
        group=arguments.frozen_counts(member),
        groups=groups,
        exposure=arguments.frozen(total),
        candidate_in=arguments.frozen_counts(((own > 0).T @ times).astype(np.int64)),
        attributed=arguments.frozen(np.where(known, caused, np.nan)[member]),
        estimate=arguments.frozen(np.where(known, rate, np.nan)[member]),
        low=arguments.frozen(low[member]),
        high=arguments.frozen(high[member]),
        identified=_read_only((known & exposed)[member] & (np.bincount(member)[member] == 1)),
        log_likelihood=log_likelihood,
        settled=settled,
    )


def _taken(
    exposures: ArrayLike, jobs: ArrayLike, pattern: ArrayLike, candidates: ArrayLike, comebacks: ArrayLike
) -> tuple[Numbers, Counts, Counts, Numbers, Counts]:
    e = arguments.amounts("exposures", exposures)
    if e.ndim != 2:
        raise ValueError(f"exposures must be patterns x steps: shape {e.shape}")
    if not e.shape[1]:
        raise ValueError("exposures must have at least one step")
    n, where, x = (
        arguments.counts(name, given)
        for name, given in (("jobs", jobs), ("pattern", pattern), ("comebacks", comebacks))
    )
    arguments.unmasked("candidates", candidates)
    may = np.asarray(candidates)
    may = arguments.shares("candidates", may.astype(np.float64) if may.dtype == np.bool_ else may)
    may = may.reshape(-1, e.shape[1]) if may.size == 0 else may
    if n.shape != e.shape[:1]:
        raise ValueError(f"jobs must be one number per pattern of exposures: {n.shape}, {e.shape}")
    if where.ndim != 1 or x.shape != where.shape or may.shape != (len(where), e.shape[1]):
        raise ValueError(
            "pattern and comebacks must have one number per row of candidates, candidates one column per step: "
            f"{where.shape}, {x.shape}, {may.shape}"
        )
    if (where >= len(n)).any():
        raise ValueError(f"pattern must be below {len(n)}, the number of patterns: {where.max()}")
    for broken, rule in (
        ((may > 0) & (e[where] == 0), "candidates must, by exposures, be steps that the pattern did"),
        (((may.sum(axis=1) == 0) & (x > 0))[:, None], "candidates must name at least one step"),
    ):
        if broken.any():
            raise ValueError(f"{rule}: row {int(np.argmax(broken.any(axis=1)))}")
    return e, n, where, may, x


def _read_only(array: NDArray[np.bool_]) -> NDArray[np.bool_]:
    array.setflags(write=False)
    return array
