"""What is still to come of cohorts that are not complete, from how complete ones grew: the chain ladder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers

Mask = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, eq=False)
class ChainLadder:
    """Growth from age to age, and for each cohort what it will hold in the end and what is still to come of that.

    `low` and `high` are limits of what is still to come; NaN where nothing tells how the cohort will grow.
    """

    level: float
    factors: Numbers
    ultimate: Numbers
    to_come: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    total_to_come: float
    total_se: float


def chain_ladder(*, cumulative: ArrayLike, level: float = 0.95) -> ChainLadder:
    """Say how many returns (or how much cost) of each closing month are still to come, from how earlier months grew.

    Parameters
    ----------
    cumulative
        What each cohort held by each age: rows are cohorts (closing months), the oldest first, columns ages (months
        since closing). Numbers from 0 up, NaN after the age that a cohort has reached: a triangle, where no row goes on
        for longer than the one above and the first one is complete.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    ChainLadder
        `factors` from each age to the next, and per cohort `ultimate`, `to_come`, `se`, `low`, `high`; over all cohorts
        `total_to_come` and `total_se`, which is more than the cohorts' own, as they share the factors.

    Notes
    -----
    Landmarks: a complete cohort has nothing to come, with se 0. An age at which no earlier cohort held anything gives
    no factor (NaN), and leaves every cohort that still has to pass it unknown.

    Mack's model: factor k is the sum of the next column over the sum of this one; the variance of a step is sigma^2 of
    its age times what the cohort held. sigma^2 of the last step, which one cohort alone has made, is the least of
    s2^2 / s3, s2 and s3, the two before it. Limits are log-normal with the same mean and se.

    A cohort that holds 0 so far is projected to hold 0: with few returns a month, `projected_share` is the better tool,
    which also knows the days within the months. This one serves amounts, such as cost, and whole triangles.

    Raises
    ------
    ValueError
        Not two axes; fewer than two ages; a number below 0 or infinite; a cohort that holds less than before; not such
        a triangle; a level outside (0, 1).

    References
    ----------
    1. T. Mack, ASTIN Bulletin 23, 1993, 213-225.

    Examples
    --------
    >>> r = chain_ladder(cumulative=[[10, 18, 20], [12, 20, None], [8, None, None]])
    >>> r.factors.round(3).tolist(), r.to_come.round(1).tolist()
    ([1.727, 1.111], [0.0, 2.2, 7.4])

    Of the youngest month seven or eight more returns are to be expected.
    """
    level = arguments.share("level", level)
    held = _triangle(cumulative)
    known = ~np.isnan(held)
    ages = held.shape[1]
    stepped = known[:, 1:]
    now, then = np.where(stepped, held[:, :-1], 0.0), np.where(stepped, held[:, 1:], 0.0)
    base = now.sum(axis=0)
    factors = np.where(base > 0, then.sum(axis=0) / np.where(base > 0, base, 1.0), np.nan)
    full = np.where(known, held, 0.0)
    for k in range(1, ages):
        full[:, k] = np.where(known[:, k], full[:, k], full[:, k - 1] * factors[k - 1])
    step_variance = _step_variance(now, then, factors, stepped)
    ultimate = full[:, -1]
    reached = known.sum(axis=1) - 1
    to_come = ultimate - full[np.arange(full.shape[0]), reached]

    relative = np.where(factors > 0, step_variance / np.where(factors > 0, factors, 1.0) ** 2, np.nan)
    ahead = np.arange(ages - 1) >= reached[:, np.newaxis]
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.where(ahead, relative * (1.0 / full[:, :-1] + 1.0 / base), 0.0)
        shared = np.where(ahead, 2.0 * relative / base, 0.0).sum(axis=1)
        own = np.where(ultimate > 0, ultimate**2 * steps.sum(axis=1), 0.0 * ultimate)
    younger = ultimate[::-1].cumsum()[::-1] - ultimate
    se = np.sqrt(own)
    low, high = _log_normal(to_come, se, level)
    return ChainLadder(
        level=level,
        factors=arguments.frozen(factors),
        ultimate=arguments.frozen(ultimate),
        to_come=arguments.frozen(to_come),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        total_to_come=float(to_come.sum()),
        total_se=float(np.sqrt((own + ultimate * younger * shared).sum())),
    )


def _triangle(given: ArrayLike) -> Numbers:
    held = arguments.measurements("cumulative", given)
    if held.ndim != 2 or held.shape[1] < 2 or not held.shape[0]:
        raise ValueError(f"cumulative must have cohorts as rows and at least two ages as columns: shape {held.shape}")
    if (held < 0).any():
        raise ValueError("cumulative must be at least 0")
    with np.errstate(invalid="ignore"):
        fallen = np.diff(held, axis=1) < 0
    if fallen.any():
        row, age = (int(i) for i in np.argwhere(fallen)[0])
        raise ValueError(
            f"cumulative must not fall from one age to the next: cumulative[{row}, {age}] = {held[row, age]:.17g}, "
            f"cumulative[{row}, {age + 1}] = {held[row, age + 1]:.17g}"
        )
    known = ~np.isnan(held)
    reached = known.sum(axis=1)
    gaps = known != (np.arange(held.shape[1]) < reached[:, np.newaxis])
    if gaps.any() or reached[0] < held.shape[1] or reached[-1] < 1 or (np.diff(reached) > 0).any():
        raise ValueError(
            "cumulative must be a triangle: the first row complete, no row longer than the one above, and NaN only "
            f"after the last age reached: known ages by row are {reached.tolist()}"
        )
    return held


def _step_variance(now: Numbers, then: Numbers, factors: Numbers, stepped: Mask) -> Numbers:
    """sigma^2 of each step: spread of the cohorts' own factors about the common one, weighed by what they held."""
    counted = stepped & (now > 0)
    made = counted.sum(axis=0)
    own = np.where(counted, then / np.where(counted, now, 1.0), 0.0)
    squares = np.where(counted, now * (own - factors) ** 2, 0.0).sum(axis=0)
    variance = np.where(made > 1, squares / np.maximum(made - 1, 1), np.nan)
    for k in np.flatnonzero(made == 1):
        if k >= 2 and variance[k - 2] > 0:
            variance[k] = min(variance[k - 1] ** 2 / variance[k - 2], variance[k - 2], variance[k - 1])
        elif k >= 1:
            variance[k] = variance[k - 1]
    return variance


def _log_normal(mean: Numbers, se: Numbers, level: float) -> tuple[Numbers, Numbers]:
    z = float(special.ndtri((1.0 + level) / 2.0))
    some = mean > 0
    spread = np.sqrt(np.log1p((se / np.where(some, mean, 1.0)) ** 2))
    middle = np.where(some, mean, 0.0) * np.exp(-(spread**2) / 2)
    low, high = middle * np.exp(-z * spread), middle * np.exp(z * spread)
    return np.where(np.isnan(mean), np.nan, low), np.where(np.isnan(mean), np.nan, high)
