"""Is a count further from a number that a model expects than chance explains?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats import far_tails


@dataclass(frozen=True, eq=False)
class ExpectationTest:
    """Observed against expected: p-values and a z-score; NaN where nothing was expected or nothing can vary."""

    observed: Counts
    expected: Numbers
    variance: Numbers
    p_value: Numbers
    p_mid: Numbers
    z: Numbers


def expectation_test(*, observed: ArrayLike, expected: ArrayLike, variance: ArrayLike | None = None) -> ExpectationTest:
    """Say how often chance alone would set a group as far from its expected events, taken as known, as it is.

    For expected numbers that come from a model, where strata are too thin for `stratified_exact_test`.

    Parameters
    ----------
    observed
        Events of each group: whole numbers from 0 up, any shape.
    expected
        Events expected of each, such as the sum of a model's chances over its jobs: numbers from 0 up.
    variance
        How far chance alone lets the count vary, such as the sum of chance x (1 - chance); left out: `expected`, as of
        Poisson counts. Times phi (`overdispersion`) where the groups vary by more than chance.

    Returns
    -------
    ExpectationTest
        `p_value`, twice the smaller tail, at most 1; `p_mid`, the same with the chance of the count itself halved; `z`,
        the normal score of that mid tail, above 0 for more events than expected.

    Notes
    -----
    Landmarks: nothing expected, or no variance, is no comparison, NaN. No p-value is 0: one below the least double,
    2.2e-308, is given as that; z goes on.

    The count is taken as binomial where the variance is below expected, as Poisson where it equals it, and as negative
    binomial above, each with this mean and variance. For a sum of jobs with unlike chances the binomial of the same
    mean and variance is close: with 40 jobs and chances from below 1 up to 40 %, p-values above 0.01 were seen within
    5 % of the exact ones and those above 0.001 within 16 %; with 300 jobs within 2 and 5 %.

    Expected is taken as known. Where it was fitted to the group's own work too, the group lies nearer to it than it
    should, and the test finds less.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; an expected number or variance that is missing, negative or
        infinite; shapes that do not fit.

    References
    ----------
    1. W. Ehm, Statistics and Probability Letters 11, 1991, 7-16 (binomial approximation of unlike trials).

    Examples
    --------
    >>> r = expectation_test(observed=[19, 19], expected=10.0, variance=[8.0, 40.0])
    >>> r.p_value.round(3).tolist()
    [0.005, 0.199]

    Nineteen where ten were expected is hardly due to chance, unless such groups are known to vary far more.
    """
    x = arguments.counts("observed", observed).astype(np.float64)
    e = arguments.amounts("expected", expected)
    v = e if variance is None else arguments.amounts("variance", variance)
    x, e, v = arguments.same_shape({"observed": x, "expected": e, "variance": v})
    known = (e > 0) & (v > 0)
    mean, spread = np.where(known, e, 1.0), np.where(known, v, 1.0)
    at_most, at_least = _at_most(x, mean, spread), _at_least(x, mean, spread)
    here = np.maximum(at_most + at_least - 1.0, 0.0)
    low, high = at_most - here / 2.0, at_least - here / 2.0
    p_value, p_mid = (np.array(np.minimum(2.0 * np.minimum(*two), 1.0)) for two in ((at_most, at_least), (low, high)))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.array(np.where(low < high, special.ndtri(low), -special.ndtri(high)))
    far = np.minimum(at_most, at_least) < FAR
    if far.any():
        whole, half = _far_tails(x[far], mean[far], spread[far])
        p_value[far], p_mid[far] = far_tails.p_value(whole), far_tails.p_value(half)
        z[far] = np.sign(x[far] - mean[far]) * far_tails.score(half)
    return ExpectationTest(
        observed=arguments.frozen_counts(x.astype(np.int64)),
        expected=arguments.frozen(e),
        variance=arguments.frozen(v),
        p_value=arguments.frozen(np.where(known, p_value, np.nan)),
        p_mid=arguments.frozen(np.where(known, p_mid, np.nan)),
        z=arguments.frozen(np.where(known, z, np.nan)),
    )


NEARLY_POISSON = 1e-6
"""Variance over mean this near to 1 is taken as 1: binomial and negative binomial have no finite size there."""


def _at_least(k: Numbers, mean: Numbers, variance: Numbers) -> Numbers:
    """P(X >= k), the tail of whichever distribution has this mean and variance."""
    least = np.maximum(k, 1.0)
    poisson = special.gammainc(least, mean)
    size, share = _size(mean, variance)
    # A count beyond the binomial's own size gets the Poisson tail, which is never below the true one.
    inside = least < size + 1.0
    binomial = np.where(inside, special.betainc(least, np.where(inside, size - least + 1.0, 1.0), share), poisson)
    negative = np.asarray(special.betainc(least, size, share), dtype=np.float64)
    return np.where(k <= 0, 1.0, _chosen(mean, variance, binomial, poisson, negative))


def _at_most(k: Numbers, mean: Numbers, variance: Numbers) -> Numbers:
    """P(X <= k), from the other end, so that it keeps its digits too."""
    poisson = special.gammaincc(k + 1.0, mean)
    size, share = _size(mean, variance)
    inside = k < size
    binomial = np.where(inside, special.betainc(np.where(inside, size - k, 1.0), k + 1.0, 1.0 - share), 1.0)
    negative = np.asarray(special.betainc(size, k + 1.0, 1.0 - share), dtype=np.float64)
    return _chosen(mean, variance, binomial, poisson, negative)


_LogTail = Callable[[Numbers, Numbers, Numbers, Numbers], Numbers]
FAR = 1e-10
"""A tail below this is worked as a logarithm, so that it never comes out as 0."""


def _far_tails(k: Numbers, mean: Numbers, variance: Numbers) -> tuple[Numbers, Numbers]:
    """Logarithms of the smaller tail, and of it less half the chance of the count itself."""
    upper = k > mean
    here, next_out = (_log_tail(count, mean, variance, upper) for count in (k, np.where(upper, k + 1.0, k - 1.0)))
    # The last count of a binomial has none beyond it, where the Poisson tail would stand in.
    next_out = np.where(next_out > here, -np.inf, next_out)
    return here, np.logaddexp(here, next_out) - np.log(2.0)


def _log_tail(k: Numbers, mean: Numbers, variance: Numbers, upper: NDArray[np.bool_]) -> Numbers:
    """As `_at_least` (upper) and `_at_most`, as logarithms, for counts far out."""
    size, share = _size(mean, variance)
    narrow = (variance < mean) & (np.abs(mean - variance) > NEARLY_POISSON * mean)
    wide = variance > mean * (1.0 + NEARLY_POISSON)
    inside = narrow & (k < np.where(upper, size + 1.0, size))
    tail = np.full(k.shape, -np.inf)
    log_of: list[tuple[NDArray[np.bool_], NDArray[np.bool_], _LogTail]] = [
        (upper, ~wide & ~inside, lambda k, m, n, p: far_tails.log_gamma_below(k, m)),
        (upper, inside, lambda k, m, n, p: far_tails.log_beta_below(k, n - k + 1.0, p)),
        (upper, wide, lambda k, m, n, p: far_tails.log_beta_below(k, n, p)),
        (~upper, ~wide & ~narrow, lambda k, m, n, p: far_tails.log_gamma_above(k + 1.0, m)),
        (~upper, inside, lambda k, m, n, p: far_tails.log_beta_below(n - k, k + 1.0, 1.0 - p)),
        (~upper, wide, lambda k, m, n, p: far_tails.log_beta_below(n, k + 1.0, 1.0 - p)),
    ]
    for side, which, of in log_of:
        at = side & which & (k >= 0)
        if at.any():
            tail[at] = of(k[at], mean[at], size[at], share[at])
    return tail


def _size(mean: Numbers, variance: Numbers) -> tuple[Numbers, Numbers]:
    """Trials and chance of the binomial; size, and chance of one more event, of the negative binomial."""
    apart = np.abs(mean - variance)
    near = apart <= NEARLY_POISSON * mean
    size = mean**2 / np.where(near, 1.0, apart)
    share = np.where(near, 0.5, apart / np.maximum(mean, variance))
    return size, share


def _chosen(mean: Numbers, variance: Numbers, binomial: Numbers, poisson: Numbers, negative: Numbers) -> Numbers:
    near = np.abs(mean - variance) <= NEARLY_POISSON * mean
    return np.where(near, poisson, np.where(variance < mean, binomial, negative))
