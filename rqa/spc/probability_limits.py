"""Limits that keep their promise for small counts: from the distribution of the count itself, not the normal curve."""

from typing import Literal

import numpy as np
from scipy import special

from rqa.arguments import Numbers

Limits = Literal["normal", "exact"]

TAIL = float(special.ndtr(-3.0))
"""Chance beyond each limit, 0.00135, that of three sigma on a normal curve. Counts jump, so it is an upper bound."""

FEW_EVENTS = 5.0
"""Events a period below which normal limits mislead (common practice, no source: the rule of five)."""


def binomial(size: Numbers, chance: Numbers) -> tuple[Numbers, Numbers]:
    """Counts of `size` beyond which, below and above, there is a chance of at most `TAIL`; NaN stays NaN."""
    from scipy import stats  # a second to import, so only when exact limits are asked for

    size, chance = np.broadcast_arrays(size, chance)
    known = np.isfinite(size) & np.isfinite(chance)
    n, p = np.where(known, size, 1.0).astype(np.int64), np.where(known, chance, 0.5)
    lower, upper = stats.binom.ppf(TAIL, n, p), stats.binom.isf(TAIL, n, p)
    return np.where(known, lower, np.nan), np.where(known, upper, np.nan)


def poisson(mean: Numbers) -> tuple[Numbers, Numbers]:
    """Counts beyond which, below and above, there is a chance of at most `TAIL` around a mean; NaN stays NaN."""
    from scipy import stats

    known = np.isfinite(mean)
    m = np.where(known, mean, 1.0)
    lower, upper = stats.poisson.ppf(TAIL, m), stats.poisson.isf(TAIL, m)
    return np.where(known, lower, np.nan), np.where(known, upper, np.nan)


def geometric(mean: Numbers) -> tuple[Numbers, Numbers]:
    """The same for the number of jobs before the next event, when that number is `mean` on average."""
    with np.errstate(divide="ignore"):
        rate = -np.log(mean) + np.log1p(mean)  # the chance of no event is exp(-rate) a job
    lower = np.floor(-np.log1p(-TAIL) / rate)
    upper = np.maximum(np.ceil(-np.log(TAIL) / rate) - 1.0, 0.0)
    return lower, upper
