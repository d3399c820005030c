"""A step in one group of jobs beside the same work elsewhere: has it an excess of come-backs beyond chance?"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.steps.cause_fit import NONE, Name, summed, taken_together
from rqa.answers.steps.cause_patterns import Exposed, Ints, Numbers

if TYPE_CHECKING:
    from rqa.stats.masked_fit import Problem, RateEstimate

NEEDED = 0.05
"""A cause whose excess chance could explain more often than this may have another stand in for it; and the share of its
come-backs that the other must take over then."""
WORTH_LIMITS = 0.2


@dataclass(frozen=True)
class Excess:
    """One cause in one group: come-backs per exposure beyond those of comparable work elsewhere, and its evidence.

    `comebacks` of `jobs` that met the cause, `other_comebacks` of `other_jobs` elsewhere; `caused` come-backs make up
    the excess.
    """

    cause: tuple[Name, ...]
    rate: float
    low: float
    high: float
    caused: float
    jobs: int
    comebacks: int
    other_jobs: int
    other_comebacks: int
    p_value: float


def excesses(
    own: Exposed, rest: Exposed, causes: tuple[tuple[Name, ...], ...], *, min_cases: int, level: float
) -> Iterator[Excess]:
    """Each cause of a group against the rest, where `min_cases` jobs on either side met it.

    Nothing is taken for granted about kinds of work: each stratum has a rate of its own, the same in the group as
    elsewhere, that takes in whatever its jobs come back for. A cause of the group may add to it, and so may the group's
    other causes: the come-backs of a stratum are masked between its own rate and these. The likelihood ratio of an
    excess against none says whether this cause is needed beside the others. Where it is not, because another cause
    could stand in for it that could do without as well, the two are stated as one: the smallest group that is needed.

    The ratio leans on large numbers, so an exact test stands beside it: how often chance alone gives so many of the
    come-backs, among the jobs that met the cause, to the group, stratum by stratum. The larger of both is the p-value;
    the exact one alone already keeps it from being small more often than it says where the group is like the rest. Both
    look for an excess only. In simulated depots without any, one in a hundred p-values was below 0.05.
    Limits are worked out where p is below 0.2; elsewhere they are 0 and infinity.
    """
    from rqa.stats.masked_fit import maximise
    from rqa.stats.masked_limits import profile_limits

    both = np.intersect1d(own.stratum, rest.stratum)
    if not len(both) or not causes:
        return
    mine, others = (_in_strata(e, both) for e in (own, rest))
    done = taken_together(mine.done, [[own.names.index(n) for n in cause] for cause in causes])
    place, other_place = (np.searchsorted(both, e.stratum) for e in (mine, others))
    problem = _problem(mine, others, done, place, other_place, len(both))
    best = maximise(problem, problem.start())
    caused = problem.attributed(best.rate)
    added = np.arange(len(both), len(both) + len(causes))

    for columns in _needed(problem, best, added):
        parts = columns - len(both)
        cause = tuple(n for p in parts for n in causes[p])
        elsewhere = [others.names.index(n) for n in cause if n in others.names]
        met, other_met = done[:, parts].any(axis=1), others.done[:, elsewhere].any(axis=1)
        events, trials = (
            np.array([
                np.bincount(place[met], weights=a[met], minlength=len(both)),
                np.bincount(other_place[other_met], weights=b[other_met], minlength=len(both)),
            ]).astype(np.int64)
            for a, b in ((mine.comebacks, others.comebacks), (mine.jobs, others.jobs))
        )
        if min(trials.sum(axis=1)) < min_cases:
            continue
        rate = float(best.rate[columns].sum())
        p = max(_by_likelihood(problem, best, columns), _exact(events, trials)) if caused[columns].sum() > NONE else 1.0
        low, high = 0.0, np.inf
        if p < WORTH_LIMITS:
            lows, highs = profile_limits(problem, best, level, columns)
            _, low, high = summed(best.rate[columns], lows[columns], highs[columns])
        jobs, comebacks = trials.sum(axis=1).tolist(), events.sum(axis=1).tolist()
        yield Excess(
            cause, rate, low, high, float(caused[columns].sum()), jobs[0], comebacks[0], jobs[1], comebacks[1], p
        )


def _problem(mine: Exposed, others: Exposed, done: Numbers, place: Ints, other_place: Ints, strata: int) -> "Problem":
    """Counts of come-backs: a column a stratum, met by all of its jobs, and one a cause, met by the group's alone."""
    from rqa.stats.masked_fit import Problem

    own_rows = np.hstack([np.eye(strata)[place], done])
    other_rows = np.hstack([np.eye(strata)[other_place], np.zeros((len(other_place), done.shape[1]))])
    x, y = mine.comebacks, others.comebacks
    exposure = np.asarray(mine.jobs @ own_rows + others.jobs @ other_rows, dtype=np.float64)
    rows = np.vstack([own_rows[x > 0], other_rows[y > 0]])
    times = np.concatenate([x[x > 0], y[y > 0]]).astype(np.float64)
    square = np.zeros((len(exposure), len(exposure)))
    return Problem(exposure, rows, times, None, square).of_steps(np.arange(len(exposure)))


def _needed(problem: "Problem", best: "RateEstimate", added: Ints) -> list[Ints]:
    """The causes, those together that stand in for each other: each pair that can do without either, but not both."""
    chance = {int(c): _by_likelihood(problem, best, np.array([c])) for c in added}
    caused = problem.attributed(best.rate)
    left, found = sorted((int(c) for c in added), key=lambda c: -caused[c]), list[Ints]()
    while left:
        group = [left.pop(0)]
        while caused[group[0]] > NONE and _by_likelihood(problem, best, np.array(group)) > NEEDED:
            without = _without(problem, np.array(group))
            gained = {c: without[c] - best.rate[c] for c in left if chance[c] > NEEDED and c not in group}
            heir = max(gained, key=lambda c: gained[c] * problem.quiet[c], default=None)
            if heir is None or gained[heir] * problem.quiet[heir] < NEEDED * caused[group].sum():
                break
            group.append(heir)
            left.remove(heir)
        found.append(np.array(sorted(group), dtype=np.int64))
    return found


def _without(problem: "Problem", columns: Ints) -> Numbers:
    """The most likely rates when some are none."""
    from rqa.stats.masked_fit import maximise

    kept = np.setdiff1d(np.arange(len(problem.quiet)), columns)
    part = problem.of_steps(kept)
    rate = np.zeros(len(problem.quiet))
    rate[kept] = maximise(part, part.start()).rate
    return rate


def _by_likelihood(problem: "Problem", best: "RateEstimate", columns: Ints) -> float:
    """How often chance gives so high a likelihood ratio of these causes against none.

    Rates are 0 or more, so of k causes that have none some j are estimated above 0 by chance, each every other time:
    the ratio is a chi-squared variable of j degrees of freedom, mixed over j (Self and Liang 1987).
    """
    from scipy import special

    if not best.rate[columns].any():
        return 1.0
    fallen = best.log_likelihood - problem.value(_without(problem, columns))
    degrees = np.arange(1, len(columns) + 1)
    weights = special.binom(len(columns), degrees) / 2.0 ** len(columns)
    return float(weights @ special.chdtrc(degrees, 2.0 * max(fallen, 0.0)))


def _in_strata(e: Exposed, strata: Ints) -> Exposed:
    kept = np.isin(e.stratum, strata)
    return Exposed(
        e.names, e.done[kept], e.stratum[kept], e.jobs[kept], e.comebacks[kept], e.tested[kept], e.escaped[kept]
    )


def _exact(events: Ints, trials: Ints) -> float:
    """How often chance gives the group at least so many, on one side as only an excess is looked for."""
    from rqa.stats.stratified import exact_p_of_first

    ((p_value, observed, expected),) = exact_p_of_first([(events, trials)])
    return 1.0 if np.isnan(p_value) or observed <= expected else p_value / 2.0
