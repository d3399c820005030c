"""Limits that keep their promise for small counts: from the distribution of the count itself, not the normal curve."""

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers

Limits = Literal["normal", "exact"]

TAIL = float(special.ndtr(-3.0))
"""Chance beyond each limit, 0.00135, that of three sigma on a normal curve. Counts jump, so it is an upper bound."""

FEW_EVENTS = 5.0
"""Events a period below which normal limits mislead (common practice, no source: the rule of five)."""


def binomial(size: Numbers, chance: Numbers) -> tuple[Numbers, Numbers]:
    """Counts of `size` beyond which, below and above, there is a chance of at most `TAIL`; NaN stays NaN."""
    size, chance = np.broadcast_arrays(size, chance)
    known = np.isfinite(size) & np.isfinite(chance)
    n, p = np.where(known, size, 1.0).astype(np.int64), np.where(known, chance, 0.5)
    lower = _first_count(lambda k: special.bdtr(k, n, p) > TAIL, n.astype(np.float64))
    upper = _first_count(lambda k: special.bdtrc(k, n, p) <= TAIL, n.astype(np.float64))
    return np.where(known, lower, np.nan), np.where(known, upper, np.nan)


def poisson(mean: Numbers) -> tuple[Numbers, Numbers]:
    """Counts beyond which, below and above, there is a chance of at most `TAIL` around a mean; NaN stays NaN."""
    known = np.isfinite(mean)
    m = np.where(known, mean, 1.0)
    far = np.ceil(m + 12.0 * np.sqrt(m) + 40.0)
    lower = _first_count(lambda k: special.pdtr(k, m) > TAIL, far)
    upper = _first_count(lambda k: special.pdtrc(k, m) <= TAIL, far)
    return np.where(known, lower, np.nan), np.where(known, upper, np.nan)


def geometric(mean: Numbers) -> tuple[Numbers, Numbers]:
    """The same for the number of jobs before the next event, when that number is `mean` on average."""
    with np.errstate(divide="ignore"):
        rate = -np.log(mean) + np.log1p(mean)  # the chance of no event is exp(-rate) a job
    lower = np.floor(-np.log1p(-TAIL) / rate)
    upper = np.maximum(np.ceil(-np.log(TAIL) / rate) - 1.0, 0.0)
    return lower, upper


def _first_count(holds: Callable[[Numbers], NDArray[np.bool_]], last: Numbers) -> Numbers:
    """The first whole number from 0 at which a condition holds that stays true and is true at `last`; by halving."""
    no, yes = np.full(last.shape, -1.0), np.array(last)
    while (yes - no > 1.0).any():
        middle = np.floor((no + yes) / 2.0)
        # Where the two have met, the middle is `no` itself: -1 is asked as 0 and its answer is not used.
        true = holds(np.maximum(middle, 0.0))
        moving = yes - no > 1.0
        yes = np.where(moving & true, middle, yes)
        no = np.where(moving & ~true, middle, no)
    return yes
