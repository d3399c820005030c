"""Do cases that are close in time also tend to be close in kind: Knox's test; and chances of a scan window."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero
from rqa.stats.scan_chance import exact_chance


@dataclass(frozen=True, eq=False)
class Knox:
    """Pairs close in both ways against the number that chance would make, with the chance of so many or more."""

    pairs: Counts
    close_in_time: Counts
    close_in_kind: Counts
    both: Counts
    expected: Numbers
    ratio: Numbers
    p_value: Numbers


@dataclass(frozen=True, eq=False)
class ClosePairs:
    """Pairs of cases close in time, in kind, and in both, as `knox_test` takes them."""

    within: float
    pairs: int
    close_in_time: int
    close_in_kind: int
    both: int


@dataclass(frozen=True, eq=False)
class ScanProbability:
    """Chance that a window holds so many events; `exact` tells where the formula is exact."""

    events: Counts
    fullest: Counts
    window: Numbers
    chance: Numbers
    exact: NDArray[np.bool_]


def knox_test(*, pairs: ArrayLike, close_in_time: ArrayLike, close_in_kind: ArrayLike, both: ArrayLike) -> Knox:
    """Say whether come-backs close in time are more often of one kind (bench, lot, model) than chance would have it.

    Parameters
    ----------
    pairs
        Pairs of cases in all, n (n - 1) / 2 for n cases: whole numbers, any shape.
    close_in_time, close_in_kind, both
        Of these, pairs close in time, alike in kind, and both; of the same shape.

    Returns
    -------
    Knox
        `expected` = close in time x close in kind / pairs; `ratio` = both / expected; `p_value` of so many or more, the
        count taken as Poisson. NaN where nothing was expected.

    Notes
    -----
    The Poisson holds where both kinds of closeness are rare. Where a large share of pairs is alike in kind, p is not
    to be trusted: scan by `scan_statistic` instead. A kind whose work grew over the time looks close without cause.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; both above either; either above pairs.

    References
    ----------
    1. E. G. Knox, Applied Statistics 13, 1964, 25-29.
    2. D. E. Barton and F. N. David, in Research Papers in Statistics, 1966, 217-235 (when it is Poisson).

    Examples
    --------
    >>> r = knox_test(pairs=4560, close_in_time=152, close_in_kind=25, both=5)
    >>> f"{r.expected:.2f} expected, p {r.p_value:.4f}"
    '0.83 expected, p 0.0017'

    Five pairs are close both ways where less than one was expected: some of them hang together.
    """
    time, n = arguments.part_and_whole("close_in_time", close_in_time, "pairs", pairs)
    kind, _ = arguments.part_and_whole("close_in_kind", close_in_kind, "pairs", n)
    x, time = arguments.part_and_whole("both", both, "close_in_time", time)
    x, kind = arguments.part_and_whole("both", x, "close_in_kind", kind)
    expected = time / np.maximum(n, 1) * kind
    known = expected > 0
    mean = np.where(known, expected, 1.0)
    chance = np.where(x == 0, 1.0, special.gammainc(np.maximum(x, 1), mean))
    return Knox(
        pairs=arguments.frozen_counts(n),
        close_in_time=arguments.frozen_counts(time),
        close_in_kind=arguments.frozen_counts(kind),
        both=arguments.frozen_counts(x),
        expected=arguments.frozen(expected),
        ratio=arguments.frozen(np.where(known, x / mean, np.nan)),
        p_value=arguments.frozen(np.where(known, never_zero(chance), np.nan)),
    )


def close_pairs(*, day: ArrayLike, kind: ArrayLike, within: float) -> ClosePairs:
    """Count the pairs of cases that lie at most so many days apart, that are of one kind, and both.

    Parameters
    ----------
    day
        Day of each case: numbers, one row.
    kind
        What it was, such as the bench: any values that can be compared, one per case.
    within
        Days apart up to which a pair is close, from 0 up.

    Raises
    ------
    ValueError
        Rows of different lengths; a day or a kind that is missing; kinds of unlike sorts.

    Examples
    --------
    >>> close_pairs(day=[1, 2, 2, 30], kind=["a", "a", "b", "a"], within=3).both
    1
    """
    when, limit = arguments.measurements("day", day), arguments.amount("within", within)
    names = arguments.labels("kind", kind)
    try:
        label = np.unique(names, return_inverse=True)[1].ravel()
    except TypeError as cause:
        raise ValueError("kind must be names of one sort, such as all texts or all numbers") from cause
    if when.ndim != 1 or when.shape != label.shape or np.isnan(when).any():
        raise ValueError(f"day and kind must be one row each, of one length, none missing: {when.shape}, {label.shape}")
    size = np.bincount(label) if len(label) else np.zeros(0, dtype=np.int64)
    return ClosePairs(
        within=limit,
        pairs=len(when) * (len(when) - 1) // 2,
        close_in_time=_near(when, limit),
        close_in_kind=int((size * (size - 1) // 2).sum()),
        both=sum(_near(when[label == one], limit) for one in range(len(size))),
    )


def scan_probability(*, events: ArrayLike, fullest: ArrayLike, window: ArrayLike) -> ScanProbability:
    """Say how likely some window of the time holds at least so many of the events, were they spread at random.

    Parameters
    ----------
    events
        Events in the whole time: whole numbers from 1, any shape.
    fullest
        Events in the fullest window: whole numbers from 1 to `events`, of the same shape.
    window
        Length of the window as a share of the time: strictly between 0 and 1.

    Returns
    -------
    ScanProbability
        `chance`, at most 1, and `exact`: whether it is exact, as it is for few events, and where more than half of them
        lie in a window of at most half the time. Elsewhere it is an approximation where that is below 10 %, to which it
        is close, and else NaN: then it is not known, but no small chance.

    Notes
    -----
    (fullest / window - events + 1) b(fullest) + 2 G(fullest + 1), b and G the binomial chance and upper tail; elsewhere
    Huntington and Naus's sum of determinants, for up to 40 events and 20,000 ways to spread them. The
    window slides; choosing its length after a look at the data makes the chance too small: use `scan_statistic` for
    that.

    Raises
    ------
    ValueError
        Counts that are missing, not whole or below 1; fullest above events; a window outside (0, 1).

    References
    ----------
    1. J. I. Naus, Journal of the American Statistical Association 60, 1965, 532-538.
    2. S. Wallenstein and N. Neff, Statistics in Medicine 6, 1987, 197-207 (approximation).
    3. R. J. Huntington and J. I. Naus, Annals of Probability 3, 1975, 894-896 (exact).

    Examples
    --------
    >>> round(float(scan_probability(events=8, fullest=5, window=0.2).chance), 3)
    0.168

    Five of eight come-backs of a year within some ten weeks: chance alone does that one time in six.
    """
    k, n = arguments.part_and_whole("fullest", fullest, "events", events)
    w = arguments.shares("window", window)
    if (k < 1).any():
        raise ValueError(f"fullest must be at least 1: {k.min()}")
    if ((w == 0) | (w == 1)).any():
        raise ValueError("window must be strictly between 0 and 1")
    m, size, w = arguments.same_shape({"fullest": k.astype(np.float64), "events": n.astype(np.float64), "window": w})
    from scipy import stats  # a third of a second to import, so only when a scan is asked for

    chance = np.array((m / w - size + 1.0) * stats.binom.pmf(m, size, w) + 2.0 * stats.binom.sf(m, size, w))
    chance = np.where(m == 1, 1.0, np.clip(chance, 0.0, 1.0))
    exact = np.array((m == 1) | (m == size) | ((m > size / 2.0) & (w <= 0.5)))
    for place in np.argwhere(~exact):
        at = tuple(place)
        summed = exact_chance(int(size[at]), int(m[at]), float(w[at]))
        if not np.isnan(summed):
            chance[at], exact[at] = summed, True
        elif chance[at] > CLOSE:
            chance[at] = np.nan
    return ScanProbability(
        events=arguments.frozen_counts(size.astype(np.int64)),
        fullest=arguments.frozen_counts(m.astype(np.int64)),
        window=arguments.frozen(w),
        chance=arguments.frozen(chance),
        exact=exact,
    )


CLOSE = 0.1
"""Chance up to which the approximation is close to the truth."""


def _near(day: Numbers, within: float) -> int:
    ordered = np.sort(day)
    last = np.searchsorted(ordered, ordered + within, side="right")
    return int((last - np.arange(1, len(ordered) + 1)).sum())
