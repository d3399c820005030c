"""Limits for many risk-adjusted CUSUMs that are watched together, so that all of them raise few false alarms a year."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.job_cusum import changed_odds

STATES = 120
"""Steps that the sum is cut into: run lengths come out shorter than those of the finer chain of `run_length`, by 1 to
5 % at chances of 8 % and more, by up to a fifth at 2 %, which sets limits higher by 0.05 to 0.2."""
CHANCES = (0.002, 0.01, 0.03, 0.08, 0.18, 0.35, 0.6)
LEVELS = (0.5, 0.75, 0.9, 1.0, 1.1, 1.2, 1.3, 1.45, 1.6, 1.8, 2.1, 2.6, 3.5)
"""True chances, as multiples of the expected one."""
LIMITS = (0.7, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0)
NODES = 60
"""Values that stand for what the true level may be."""
LONGEST = 1e9
MOST_VARIANCE = 100.0
"""A variance of the true level above which nothing is known of it."""


def family_limits(
    *, events: ArrayLike, chance: ArrayLike, variance: ArrayLike, alarms: ArrayLike, odds_ratio: float = 2.0
) -> Numbers:
    """Say at which limit each sum of a family raises as many false alarms a year as it is allowed.

    Parameters
    ----------
    events
        Events that each series is expected to have in a year of steady work, above 0.
    chance
        The mean chance of an event of its jobs, strictly between 0 and 1.
    variance
        How far the true level of each series may be off what is expected of it, as a variance of their ratio: what
        the baseline leaves open, and how much months differ. 0 where it is known exactly.
    alarms
        False alarms a year that each series is allowed, above 0; of a family their sum is what all raise.
    odds_ratio
        The change that is watched for, above 1.

    Returns
    -------
    numpy.ndarray
        A limit for each series, 0.7 to 25. A series that would need a higher one gets 25, and raises more.

    Notes
    -----
    Run lengths are those of a Markov chain (Brook and Evans 1972) for jobs that all have the mean chance, over a grid
    of limits, chances and true levels; between these the logarithm of the run length is interpolated. The level is
    taken to be gamma-distributed about 1 and to last; alarms are averaged over it, so what is not known of the
    baseline makes the limit higher. A level that differs from month to month lasts less, so the limit errs upwards. A
    signal stands until the work is well again, so a year of a level that is taken too low brings one alarm at most.
    The sum is taken to start at 0 and to be looked at after each job; looked at once a day, alarms are rarer.

    Raises
    ------
    ValueError
        Anything out of these ranges, or of unlike lengths.

    References
    ----------
    1. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452.
    2. D. Brook and D. A. Evans, Biometrika 59, 1972, 539-549.

    Examples
    --------
    >>> family_limits(events=[40.0, 40.0], chance=[0.08, 0.08], variance=[0.0, 0.05], alarms=[0.1, 0.1]).round(1)
    array([4.4, 5.7])

    Where the expected level is sure to 22 % only, the limit must be higher for as few alarms.
    """
    if changed_odds(odds_ratio) < 1.0:
        raise ValueError(f"odds_ratio must be above 1: {odds_ratio!r}")
    n, p, v, a = map(np.atleast_1d, arguments.same_shape({
        "events": arguments.above_zero("events", events), "chance": arguments.shares("chance", chance),
        "variance": arguments.amounts("variance", variance), "alarms": arguments.above_zero("alarms", alarms),
    }))
    if n.ndim != 1:
        raise ValueError(f"events must be one number a series: shape {n.shape}")
    if (p <= 0).any() or (p >= 1).any():
        raise ValueError(f"chance must be strictly between 0 and 1: {chance!r}")
    if (v > MOST_VARIANCE).any():
        raise ValueError(f"variance must be at most {MOST_VARIANCE:g}: {variance!r}")
    limits = np.array(LIMITS)
    made = np.empty(len(n))
    for i in range(len(n)):
        rates = np.log(_alarms(float(n[i]), float(p[i]), float(v[i]), float(odds_ratio)))
        # The logarithm of the rate falls with the limit.
        made[i] = np.interp(-np.log(a[i]), -rates, limits)
    return arguments.frozen(made)


def _alarms(events: float, chance: float, variance: float, odds_ratio: float) -> Numbers:
    """False alarms in a year of so many expected events, by limit, averaged over what the true level may be."""
    level: Numbers = np.ones(1)
    if variance > 0.0:
        shares = (np.arange(NODES) + 0.5) / NODES
        level = np.asarray(variance * special.gammaincinv(1.0 / variance, shares), dtype=np.float64)
    table = _run_lengths(odds_ratio)
    at = np.interp(np.log(chance), np.log(CHANCES), np.arange(len(CHANCES)))
    low = min(int(at), len(CHANCES) - 2)
    lengths = (1.0 - (at - low)) * table[low] + (at - low) * table[low + 1]
    by_limit = np.array([np.interp(level, LEVELS, lengths[:, k]) for k in range(len(LIMITS))])
    # A signal that stands is no second alarm, so of a year in which the level is too high there is one at most.
    return -np.expm1(-events * np.exp(-by_limit)).mean(axis=1)


@lru_cache(maxsize=8)
def _run_lengths(odds_ratio: float) -> Numbers:
    """The logarithm of the mean run length, in expected events, by chance, true level and limit."""
    table = np.empty((len(CHANCES), len(LEVELS), len(LIMITS)))
    for i, p in enumerate(CHANCES):
        for k, limit in enumerate(LIMITS):
            table[i, :, k] = np.log(p * mean_jobs(p, np.array(LEVELS), limit, odds_ratio))
    return table


def mean_jobs(chance: float, levels: Numbers, limit: float, odds_ratio: float) -> Numbers:
    """Mean number of jobs until the sum reaches its limit, for true chances that are multiples of the expected one.

    A sum is split between the two steps beside it so that its mean is kept, as in `run_lengths.risk_adjusted`.
    """
    offset = np.log1p(chance * (odds_ratio - 1.0))
    width = limit / (STATES - 0.5)
    moves = np.zeros((2, STATES, STATES))
    for which, step in enumerate((np.log(odds_ratio) - offset, -offset)):
        to = np.maximum(np.arange(STATES) + step / width, 0.0)
        low = to.astype(np.int64)
        part = to - low
        for place, share in ((low, 1.0 - part), (low + 1, part)):
            inside = place < STATES
            moves[which, np.flatnonzero(inside), place[inside]] += share[inside]
    # Only few places beside the diagonal are met; whole matrices would keep a library's threads busy with waiting.
    row, column = np.nonzero(moves.any(axis=0) | np.eye(STATES, dtype=np.bool_))
    below, above = int((row - column).max()), int((column - row).max())
    band, (up, down) = np.zeros((below + above + 1, STATES)), moves[:, row, column]
    found = np.empty(len(levels))
    for place, true in enumerate(np.minimum(levels * chance, 0.98).tolist()):
        band[above + row - column, column] = (row == column) - (true * up + (1.0 - true) * down)
        found[place] = linalg.solve_banded((below, above), band, np.ones(STATES), check_finite=False)[0]
    return np.asarray(np.where((found >= 1.0) & (found < LONGEST / chance), found, LONGEST / chance))
