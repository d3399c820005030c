"""Where a share would lie by chance alone, for each amount of work: the limits of a funnel plot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class FunnelLimits:
    """The limits of shares around a centre, in the shape of the trials; no trials is NaN."""

    trials: Counts
    centre: Numbers
    level: float
    dispersion: float
    low: Numbers
    high: Numbers


def funnel_limits(
    *, trials: ArrayLike, centre: ArrayLike, level: float = 0.95, dispersion: float = 1.0
) -> FunnelLimits:
    """Say between which limits the share of a group of so many trials would lie if it were like all the others.

    Parameters
    ----------
    trials
        Work of each group: whole numbers from 0 up, any shape.
    centre
        The share that all are measured against, from 0 to 1: one number, or one for each group (its expected share,
        expected / trials, where the mix of work differs).
    level
        Chance of lying inside, strictly between 0 and 1; 0.95 and 0.998 are the two customary.
    dispersion
        The groups' spread over what chance alone makes (`overdispersion(...).phi`), at least 1: the distances from the
        centre are drawn sqrt(dispersion) times as long.

    Returns
    -------
    FunnelLimits
        `low`, `high` between 0 and 1, with the inputs as they were taken.

    Notes
    -----
    Landmarks: a centre of 0 has both limits 0, one of 1 both 1; 0 trials are no data, NaN.

    The binomial distribution has steps, and limits that jump from one amount of work to the next make a ragged
    funnel. So they are interpolated: for a tail probability q, with F the binomial distribution function and r the
    smallest count with F(r) >= q, the limit is (r - a) / trials with a = (F(r) - q) / (F(r) - F(r - 1)), cut to the
    range from 0 to 1. The chance of lying inside is therefore near `level`, not guaranteed. The rule steps down from r
    at both ends, so a centre of 1 - theta gives the mirrored limits less one job: seen from the centre, the upper limit
    stands one job nearer than the lower one, and somewhat more than (1 - level) / 2 lie above it by chance.

    Of 40 groups that are all alike, two lie outside 95 % limits by chance alone. So a point outside is a reason to
    look, not a verdict; `benjamini_hochberg` allows for the number compared.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a centre outside 0 to 1; shapes that do not fit; a level
        outside (0, 1); a dispersion below 1.

    References
    ----------
    1. D. J. Spiegelhalter, Statistics in Medicine 24, 2005, 1185-1202 (appendix A.1.1; dispersion: section 4.1).

    Examples
    --------
    >>> r = funnel_limits(trials=[50, 100, 1000], centre=0.1)
    >>> r.low.round(3).tolist(), r.high.round(3).tolist()
    ([0.014, 0.04, 0.081], [0.18, 0.158, 0.118])

    Where one job in ten comes back, a technician with 50 jobs lies between 1 % and 18 % by chance alone.
    """
    count = arguments.counts("trials", trials)
    n, p = arguments.same_shape({"trials": count.astype(np.float64), "centre": arguments.shares("centre", centre)})
    level = arguments.share("level", level)
    spread = arguments.amount("dispersion", dispersion, 1.0)
    tail = (1.0 - level) / 2.0
    # The upper tail is the lower tail of what did not happen: both keep their digits where the centre is near an end.
    low, high = _lower(n, p, tail), _upper(n, p, tail)
    low, high = p - spread**0.5 * (p - low), p + spread**0.5 * (high - p)
    return FunnelLimits(
        trials=arguments.frozen_counts(n.astype(np.int64)),
        centre=arguments.frozen(p),
        level=level,
        dispersion=spread,
        low=arguments.frozen(np.clip(np.minimum(low, high), 0.0, 1.0)),
        high=arguments.frozen(np.clip(np.maximum(low, high), 0.0, 1.0)),
    )


def _lower(n: Numbers, p: Numbers, tail: float) -> Numbers:
    """Interpolated count at which the distribution function reaches `tail`, over n."""
    count = _near(n, p, tail)
    # From where the count most likely is to the lowest that reaches the tail.
    while (low := (count < n) & (_at_most(count, n, p) < tail)).any():
        count = count + low
    while (high := (count > 0) & (_at_most(count - 1.0, n, p) >= tail)).any():
        count = count - high
    here, before = _at_most(count, n, p), _at_most(count - 1.0, n, p)
    return _share(count - (here - tail) / np.where(here > before, here - before, 1.0), n, p)


def _upper(n: Numbers, p: Numbers, tail: float) -> Numbers:
    """Interpolated count at which the distribution function reaches 1 - `tail`, told by what lies above it."""
    count = _near(n, p, 1.0 - tail)
    while (low := (count < n) & (_above(count, n, p) > tail)).any():
        count = count + low
    while (high := (count > 0) & (_above(count - 1.0, n, p) <= tail)).any():
        count = count - high
    here, before = _above(count, n, p), _above(count - 1.0, n, p)
    return _share(count - (tail - here) / np.where(before > here, before - here, 1.0), n, p)


def _near(n: Numbers, p: Numbers, share: float) -> Numbers:
    """A whole number near the quantile: that of the normal distribution, mended for how askew the binomial is."""
    z = special.ndtri(share)
    about = n * p + z * np.sqrt(n * p * (1.0 - p)) + (z * z - 1.0) / 6.0 * (1.0 - 2.0 * p)
    return np.asarray(np.clip(np.nan_to_num(np.rint(about)), 0.0, n), dtype=np.float64)


def _share(count: Numbers, n: Numbers, p: Numbers) -> Numbers:
    share = np.clip(count / np.where(n == 0, 1.0, n), 0.0, 1.0)
    certain = (p == 0) | (p == 1)
    return np.where(n == 0, np.nan, np.where(certain, p, share))


def _at_most(k: Numbers, n: Numbers, p: Numbers) -> Numbers:
    inside = special.betainc(np.maximum(n - k, 1.0), np.maximum(k, 0.0) + 1.0, 1.0 - p)
    return np.where(k < 0, 0.0, np.where(k >= n, 1.0, inside))


def _above(k: Numbers, n: Numbers, p: Numbers) -> Numbers:
    inside = special.betainc(np.maximum(k, 0.0) + 1.0, np.maximum(n - k, 1.0), p)
    return np.where(k < 0, 1.0, np.where(k >= n, 0.0, inside))
