"""Is it chance that this unit came back so often: the chance of so many returns, allowing for all units looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero


@dataclass(frozen=True, eq=False)
class ManyReturns:
    """The chance of this many returns or more, in the shape of the counts.

    `p_value` is for a unit chosen beforehand; `by_luck` is how many of all units would have so small a probability by
    chance alone, `p_any` the chance that any would; `p_adjusted` keeps false discoveries among the units listed below
    it.
    """

    returns: Counts
    expected: Numbers
    jobs: Counts | None
    units: Counts
    p_value: Numbers
    by_luck: Numbers
    p_any: Numbers
    p_adjusted: Numbers


def many_returns(
    *, returns: ArrayLike, expected: ArrayLike, jobs: ArrayLike | None = None, units: ArrayLike = 1
) -> ManyReturns:
    """Say how likely chance alone is to bring a unit back so often, and how many of all units it would bring so far.

    Parameters
    ----------
    returns
        Returns of a unit: whole numbers from 0 up, any shape. All units must be given, not just the bad ones.
    expected
        Returns that a unit so long followed would have on average: numbers from 0 up, of the same shape, or one number.
    jobs
        Index jobs of the unit that were followed, each of which can bring one return: then the returns are binomial.
        Left out, they are Poisson.
    units
        How many units share this entry, so that a count table will do.

    Returns
    -------
    ManyReturns
        `p_value`, `by_luck`, `p_any` and `p_adjusted`, with the inputs as they were taken.

    Notes
    -----
    Landmarks: no returns have p-value 1. Returns where none were expected have p-value 0.

    p = P(X >= returns), X Poisson with mean `expected`, or binomial of `jobs` with chance expected / jobs. Of m units
    in all, m p is `by_luck`, 1 - (1 - p)^m is `p_any`, and `p_adjusted` is Benjamini and Hochberg's step-up value over
    all of them: listing the units below 0.05, on average no more than 5 % of the list are there by chance.

    Chronic units are part of the average they are compared with, which makes the p-values somewhat large. A unit that
    comes back often because its model does is found too: take `expected` from its own kind of work.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; an expected number that is missing or negative; returns or
        expected above jobs; shapes that do not fit.

    References
    ----------
    1. Y. Benjamini and Y. Hochberg, Journal of the Royal Statistical Society B 57, 1995, 289-300.
    2. Z. Sidak, Journal of the American Statistical Association 62, 1967, 626-633 (p_any).

    Examples
    --------
    >>> r = many_returns(returns=[0, 1, 2, 5], expected=0.1, units=[9050, 900, 49, 1])
    >>> [f"{x:.2g}" for x in r.by_luck], [f"{x:.2g}" for x in r.p_adjusted]
    (['1e+04', '9.5e+02', '47', '0.00077'], ['1', '1', '0.94', '0.00077'])

    Chance alone makes 47 of 10,000 units come back twice or more, as 50 did; five returns of one unit are
    not due to chance.
    """
    given = {
        "returns": arguments.counts("returns", returns).astype(np.float64),
        "expected": arguments.amounts("expected", expected),
        "units": arguments.counts("units", units).astype(np.float64),
    }
    if jobs is not None:
        given["jobs"] = arguments.counts("jobs", jobs).astype(np.float64)
    fitted = dict(zip(given, arguments.same_shape(given), strict=True))
    x, e, m = fitted["returns"], fitted["expected"], fitted["units"]
    n = fitted.get("jobs")
    if n is None:
        tail = np.asarray(special.gammainc(np.maximum(x, 1.0), e))
    else:
        for name, above in (("returns", x > n), ("expected", e > n)):
            if above.any():
                raise ValueError(f"{name} must not be above jobs: {int(above.sum())} are")
        tail = np.asarray(special.betainc(np.maximum(x, 1.0), np.maximum(n - x, 0.0) + 1.0, e / np.maximum(n, 1.0)))
    p = np.where(x == 0, 1.0, never_zero(tail))
    total = float(m.sum())
    with np.errstate(divide="ignore"):
        none_so_far = np.log1p(-p) * total if total else np.zeros_like(p)
    return ManyReturns(
        returns=arguments.frozen_counts(x.astype(np.int64)),
        expected=arguments.frozen(e),
        jobs=None if n is None else arguments.frozen_counts(n.astype(np.int64)),
        units=arguments.frozen_counts(m.astype(np.int64)),
        p_value=arguments.frozen(p),
        by_luck=arguments.frozen(total * p),
        p_any=arguments.frozen(-np.expm1(none_so_far) if total else np.full(p.shape, np.nan)),
        p_adjusted=arguments.frozen(_step_up(p, m)),
    )


def _step_up(p: Numbers, units: Numbers) -> Numbers:
    """Benjamini-Hochberg over units that are given as counts: rank = how many units have no larger p."""
    values, of = np.unique(p.ravel(), return_inverse=True)
    rank = np.bincount(of, weights=units.ravel(), minlength=values.size).cumsum()
    step = np.where(rank > 0, values * rank[-1:] / np.maximum(rank, 1.0), values)
    return np.minimum(np.minimum.accumulate(step[::-1])[::-1], 1.0)[of].reshape(p.shape)
