"""Do groups of jobs come back at the same pace: the log-rank test and its weighted and stratified kin."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.day_counts import DayCounts, day_counts
from rqa.stats.far_tails import never_zero

Weights = Literal["log-rank", "gehan", "tarone-ware", "fleming-harrington"]

NO_SPREAD = 1e-9
"""Directions with less than this share of variance are those in which the test cannot differ (sums that are fixed)."""


@dataclass(frozen=True, eq=False)
class LogRank:
    """Returns seen and expected in each group were all alike, and the test of that; NaN where nothing can be compared.

    `score` is the weighted sum of observed less expected, `covariance` its covariance between the groups.
    """

    weights: str
    rho: float
    gamma: float
    observed: Counts
    expected: Numbers
    score: Numbers
    covariance: Numbers
    statistic: float
    degrees_of_freedom: int
    p_value: float


def log_rank(
    *,
    day: ArrayLike,
    returned: ArrayLike,
    censored: ArrayLike,
    weights: Weights = "log-rank",
    rho: float = 1.0,
    gamma: float = 0.0,
) -> LogRank:
    """Say how often chance alone would set the come-backs of these groups as far apart, if they were alike day by day.

    Parameters
    ----------
    day
        Days since closing, from 0 up: one axis. A day named twice is summed; days without an event may be left out.
    returned
        How many jobs came back on each day: whole numbers, the last two axes groups and days. Axes before them are
        strata (such as models): groups are then compared within each stratum only, and the differences added up.
    censored
        How many jobs without a return were followed up to this day and no further, of the same shape.
    weights
        How much each day counts. "log-rank": all alike, best where one group's chance to return is a fixed multiple
        of the other's. "gehan": by the number at risk, and "tarone-ware": by its root, both for early differences.
        "fleming-harrington": by S^rho (1 - S)^gamma, S the share of all groups still out before the day.
    rho, gamma
        Powers for "fleming-harrington", from 0 up: rho weighs early days, gamma late ones.

    Returns
    -------
    LogRank
        `observed` and `expected` returns of each group over all strata, `statistic` with its `degrees_of_freedom`, and
        `p_value`; a group with more observed than expected came back sooner.

    Notes
    -----
    Landmarks: no returns at all, or never two groups at risk together, is no comparison: NaN with 0 degrees of freedom.
    An empty group, or one that is never at risk beside another, takes no part and costs no degree of freedom.

    On each day the d returns are spread over the groups by their numbers at risk n_g: expected d n_g / n, covariance
    d (n - d) / (n - 1) (n_g / n) (1{g = h} - n_h / n) (hypergeometric, so ties are allowed for). The statistic is the
    score times the inverse of its covariance times the score, chi-square in the groups less 1.

    Where curves cross, a log-rank test may see nothing; look at the curves. Choose the weights before looking. No
    allowance is made for units that are in several jobs.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; fewer than two axes; shapes that do not fit; an unknown weight;
        a power below 0.

    References
    ----------
    1. N. Mantel, Cancer Chemotherapy Reports 50, 1966, 163-170.
    2. R. E. Tarone and J. Ware, Biometrika 64, 1977, 156-160.
    3. D. P. Harrington and T. R. Fleming, Biometrika 69, 1982, 553-566.

    Examples
    --------
    >>> r = log_rank(day=[5, 20, 90], returned=[[9, 5, 0], [3, 5, 0]], censored=[[0, 0, 86], [0, 0, 92]])
    >>> r.observed.tolist(), r.expected.round(1).tolist(), round(r.p_value, 3)
    ([14, 8], [10.8, 11.2], 0.166)

    The first group had 14 returns where 10.8 were to be expected: chance alone does that about once in six times.
    """
    arguments.one_of("weights", weights, get_args(Weights))
    powers = {name: arguments.amount(name, given) for name, given in (("rho", rho), ("gamma", gamma))}
    table = day_counts(day=day, returned=returned, censored=censored)
    if table.returned.ndim < 2:
        raise ValueError(f"returned must hold groups and days, in this order: shape {table.returned.shape}")
    expected, score, covariance = _sums(table, weights, **powers)
    statistic, freedom = _quadratic(score, covariance)
    return LogRank(
        weights=weights,
        **powers,
        observed=arguments.frozen_counts(table.returned.sum(axis=(*range(table.returned.ndim - 2), -1))),
        expected=arguments.frozen(expected),
        score=arguments.frozen(score),
        covariance=arguments.frozen(covariance),
        statistic=statistic,
        degrees_of_freedom=freedom,
        p_value=float(never_zero(special.chdtrc(freedom, statistic))) if freedom else float("nan"),
    )


def _sums(table: DayCounts, weights: str, rho: float, gamma: float) -> tuple[Numbers, Numbers, Numbers]:
    *strata, groups, days = table.returned.shape
    shape = (math.prod(strata), groups, days)
    d_group, n_group = (counts.reshape(shape).astype(np.float64) for counts in (table.returned, table.at_risk))
    d, n = d_group.sum(axis=1), n_group.sum(axis=1)
    known = np.maximum(n, 1.0)
    part = n_group / known[:, np.newaxis]
    w = _weight(weights, d, n, rho, gamma)
    expected = d[:, np.newaxis] * part
    score = (w[:, np.newaxis] * (d_group - expected)).sum(axis=(0, 2))
    spread = w**2 * d * (n - d) / np.maximum(n - 1.0, 1.0)
    covariance = np.diag(np.einsum("st,sgt->g", spread, part)) - np.einsum("st,sgt,sht->gh", spread, part, part)
    return expected.sum(axis=(0, 2)), score, covariance


def _weight(weights: str, d: Numbers, n: Numbers, rho: float, gamma: float) -> Numbers:
    if weights == "gehan":
        return n
    if weights == "tarone-ware":
        return np.sqrt(n)
    if weights == "fleming-harrington":
        out = np.ones_like(n)
        out[:, 1:] = np.cumprod(1.0 - d / np.maximum(n, 1.0), axis=-1)[:, :-1]
        return out**rho * (1.0 - out) ** gamma
    return np.ones_like(n)


def _quadratic(score: Numbers, covariance: Numbers) -> tuple[float, int]:
    """score' V^- score and the rank of V, on the scale of each group's own variance."""
    takes_part = np.diag(covariance) > NO_SPREAD * max(float(np.diag(covariance).max(initial=0.0)), 0.0)
    if not takes_part.any():
        return float("nan"), 0
    scale = np.sqrt(np.diag(covariance)[takes_part])
    values, vectors = np.linalg.eigh(covariance[np.ix_(takes_part, takes_part)] / np.outer(scale, scale))
    free = values > NO_SPREAD
    along = vectors.T[free] @ (score[takes_part] / scale)
    return float((along**2 / values[free]).sum()), int(free.sum())
