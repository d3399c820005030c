"""A share seen only in pools, which are positive if any of their units is: pooled tests, and the best pool size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import Method, proportion_interval

LARGEST_POOL = 10_000


@dataclass(frozen=True, eq=False)
class PooledShare:
    """Share of single units with the event, from pools of one size; no pool is NaN."""

    positive: Counts
    pools: Counts
    size: Counts
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True, eq=False)
class PoolSize:
    """The pool size that takes the fewest tests, and tests per unit as a share of testing each unit."""

    prevalence: Numbers
    size: Counts
    cost: Numbers


def pooled_share(
    *, positive: ArrayLike, pools: ArrayLike, size: ArrayLike, method: Method = "wilson", level: float = 0.95
) -> PooledShare:
    """Say what share of single units has a fault when only pools of several were judged, as with lots sent back whole.

    Parameters
    ----------
    positive
        Pools with at least one faulty unit: whole numbers from 0 to `pools`, any shape.
    pools
        Pools judged: whole numbers of the same shape, or one for all.
    size
        Units in each pool: whole numbers from 1.
    method
        Limits of the share of pools, as in `proportion_interval`; they are carried over.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    PooledShare
        `estimate`, `low`, `high` of the share of units.

    Notes
    -----
    A pool is positive with probability 1 - (1 - p)^size, so p = 1 - (1 - share of pools)^(1 / size), and so for its
    limits. Landmarks: no pool positive is 0 with a finite high end; all positive is 1, whatever the size, which says
    that the pools were too large. Units must be independent, and the judgement of a pool free of error.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; positive above pools; a size below 1; an unknown method; a
        level outside (0, 1).

    References
    ----------
    1. J. M. Tebbs and C. R. Bilder, Journal of Agricultural, Biological and Environmental Statistics 9, 2004, 75-90.

    Examples
    --------
    >>> r = pooled_share(positive=3, pools=24, size=7)
    >>> f"{r.estimate:.3f} ({r.low:.3f} to {r.high:.3f})"
    '0.019 (0.006 to 0.052)'

    Three of 24 trays of seven had a bad connector: about two in a hundred connectors are bad.
    """
    x, n = arguments.part_and_whole("positive", positive, "pools", pools)
    k = arguments.counts("size", size)
    if (k < 1).any():
        raise ValueError(f"size must be at least 1: {k.min()}")
    x, n, k = arguments.same_shape({"positive": x, "pools": n, "size": k})
    share = proportion_interval(successes=x, trials=n, method=method, level=level)
    return PooledShare(
        positive=share.successes,
        pools=share.trials,
        size=arguments.frozen_counts(k),
        method=method,
        level=share.level,
        estimate=arguments.frozen(_single(share.estimate, k)),
        low=arguments.frozen(_single(share.low, k)),
        high=arguments.frozen(_single(share.high, k)),
    )


def best_pool_size(*, prevalence: ArrayLike) -> PoolSize:
    """Say how many units to test together when positive pools are then tested unit by unit, to spare tests.

    Parameters
    ----------
    prevalence
        Share of faulty units: strictly between 0 and 1, any shape.

    Returns
    -------
    PoolSize
        `size` with the fewest tests per unit and that `cost`, 1 / size + 1 - (1 - prevalence)^size; size 1 and cost 1
        where pools spare nothing (from about 31 % faulty). Sizes up to 10,000 are tried.

    Raises
    ------
    ValueError
        A prevalence that is missing or not strictly between 0 and 1.

    References
    ----------
    1. R. Dorfman, Annals of Mathematical Statistics 14, 1943, 436-440.

    Examples
    --------
    >>> r = best_pool_size(prevalence=[0.01, 0.4])
    >>> r.size.tolist(), r.cost.round(2).tolist()
    ([11, 1], [0.2, 1.0])

    With one bad part in a hundred, trays of eleven take a fifth of the tests.
    """
    p = arguments.shares("prevalence", prevalence)
    if ((p == 0) | (p == 1)).any():
        raise ValueError("prevalence must be strictly between 0 and 1")
    sizes = np.arange(2, LARGEST_POOL + 1, dtype=np.float64)
    best = np.array([_cheapest(one, sizes) for one in p.ravel()]).reshape(*p.shape, 2)
    return PoolSize(
        prevalence=arguments.frozen(p),
        size=arguments.frozen_counts(best[..., 0].astype(np.int64)),
        cost=arguments.frozen(best[..., 1]),
    )


def _single(share: Numbers, size: Counts) -> Numbers:
    with np.errstate(divide="ignore"):
        return np.asarray(-special.expm1(np.log1p(-share) / size), dtype=np.float64)


def _cheapest(prevalence: float, sizes: Numbers) -> tuple[float, float]:
    cost = 1.0 / sizes - special.expm1(sizes * np.log1p(-prevalence))
    place = int(np.argmin(cost))
    return (float(sizes[place]), float(cost[place])) if cost[place] < 1.0 else (1.0, 1.0)
