"""How many units that are out will come back in the days ahead: hazard by age times the ages of the units out now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers

FARTHEST = 36_500
"""Days that can be looked ahead: a hundred years."""
LARGEST_MEAN = 1e9
"""Counts above which the quantiles of a count are not worked out."""


@dataclass(frozen=True, eq=False)
class ReturnsAhead:
    """What is expected of each group's units out: the number, its variance by chance, and that of the hazard.

    `chance` is that of a unit of each age; by its sum over units a Poisson-binomial count has mean `expected` and
    variance `by_chance`. `by_hazard` is what the estimate of the hazard adds (delta method), one number a group.
    """

    chance: Numbers
    expected: Numbers
    by_chance: Numbers
    by_hazard: Numbers


def returns_ahead(*, at_risk: ArrayLike, returned: ArrayLike, out: ArrayLike, ahead: int) -> ReturnsAhead:
    """Say how many of the units out will come back in the next days, by the hazard at their ages.

    Parameters
    ----------
    at_risk, returned
        By age in whole days from 0 on: how many units were seen out at that age, and came back on it.
    out
        Units out now, by age: a row a group, as many ages as above.
    ahead
        Days looked ahead, 1 or more.

    Returns
    -------
    ReturnsAhead
        By group.

    Notes
    -----
    Landmarks: no units out, none expected. At ages that nobody was seen at, nobody is taken to come back, so the
    oldest units count too little.

    A unit of age a comes back within w days with chance 1 - product of (1 - hazard) over ages a + 1 to a + w. The
    variance of the hazard at an age is h (1 - h) / at_risk (Greenwood); ages are taken as independent.

    Raises
    ------
    ValueError
        Arrays of unlike lengths, numbers below 0, more returned than at risk, ahead below 1.

    References
    ----------
    1. J. D. Kalbfleisch and R. L. Prentice, The Statistical Analysis of Failure Time Data, 2nd ed., 2002, section 1.4
       (from memory).

    Examples
    --------
    >>> r = returns_ahead(at_risk=[100, 100, 90], returned=[0, 10, 9], out=[[20, 0, 0]], ahead=2)
    >>> float(r.expected[0].round(2)), float(r.by_chance[0].round(2))
    (3.8, 3.08)

    Of twenty units just closed 10 % come back on each of two days: 19 % of them.
    """
    n, r = arguments.counts("at_risk", at_risk), arguments.counts("returned", returned)
    units = np.atleast_2d(arguments.amounts("out", out))
    if n.ndim != 1 or n.shape != r.shape or units.shape[1] != len(n):
        raise ValueError(f"at_risk, returned and out must have the same ages: {n.shape}, {r.shape}, {units.shape}")
    if (r > n).any():
        raise ValueError("returned must not be above at_risk")
    ahead = arguments.whole("ahead", ahead, 1)
    if ahead > FARTHEST:
        raise ValueError(f"ahead must be at most {FARTHEST:,} days: {ahead:,}")
    hazard = np.divide(r, n, out=np.zeros(len(n)), where=n > 0)
    hazard = np.minimum(hazard, 1.0 - 1e-9)
    stays = np.concatenate([np.cumsum(np.log1p(-hazard)), np.full(ahead, np.log1p(-hazard).sum())])
    chance = -np.expm1(stays[ahead : ahead + len(n)] - stays[: len(n)])
    # Each age j is passed by those now between j - ahead and j - 1 days old; (1 - chance) of them stay through.
    through = np.concatenate([np.zeros((len(units), 1)), np.cumsum(units * (1.0 - chance), axis=1)], axis=1)
    age = np.arange(len(n))
    passing = through[:, age] - through[:, np.maximum(age - ahead, 0)]
    spread = np.divide(hazard, n * (1.0 - hazard), out=np.zeros(len(n)), where=n > 0)
    return ReturnsAhead(
        chance=arguments.frozen(chance), expected=arguments.frozen(units @ chance),
        by_chance=arguments.frozen(units @ (chance * (1.0 - chance))),
        by_hazard=arguments.frozen((passing**2) @ spread),
    )


def count_interval(*, mean: ArrayLike, variance: ArrayLike, level: float = 0.95) -> tuple[Numbers, Numbers]:
    """Say between which whole numbers a count will lie, by its mean and variance.

    Below a Poisson's variance the count is taken as binomial (a Poisson-binomial count is close to it), above as
    negative binomial, each with the same mean and variance; the limits cut off at most (1 - level) / 2 on each side. A
    mean of 0 gives 0 and 0. Raises `ValueError` for means below 0, variances not above 0 where the mean is, or a level
    that is no share.

    >>> low, high = count_interval(mean=[10.0], variance=[25.0])
    >>> int(low[0]), int(high[0])
    (2, 22)

    A count of 10 that varies by 5.
    """
    from scipy import stats

    m, v = map(np.atleast_1d, arguments.same_shape({
        "mean": arguments.amounts("mean", mean), "variance": arguments.amounts("variance", variance),
    }))
    tail = (1.0 - arguments.share("level", level)) / 2.0
    if m.ndim != 1:
        raise ValueError(f"mean must be one number or a row of them: shape {m.shape}")
    if (m > LARGEST_MEAN).any() or (v > LARGEST_MEAN**2).any():
        raise ValueError(f"mean must be at most {LARGEST_MEAN:g}, and variance at most its square")
    if ((v <= 0) & (m > 0)).any():
        raise ValueError("variance must be above 0 where the mean is")
    low, high = np.zeros(m.shape), np.zeros(m.shape)
    for i in np.flatnonzero(m > 0):
        if v[i] > m[i] * (1.0 + 1e-9):
            law = stats.nbinom(m[i] ** 2 / (v[i] - m[i]), m[i] / v[i])
        elif v[i] < m[i] * (1.0 - 1e-6):
            trials = max(round(m[i] ** 2 / (m[i] - v[i])), int(np.ceil(m[i])), 1)
            law = stats.binom(trials, min(m[i] / trials, 1.0))
        else:
            law = stats.poisson(m[i])
        low[i], high[i] = law.ppf(tail), law.ppf(1.0 - tail)
    return arguments.frozen(low), arguments.frozen(high)
