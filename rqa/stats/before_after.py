"""Did a rate change: before against after on comparable work, beside work that was left as it was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats import far_tails
from rqa.stats.common_ratio import mantel_haenszel
from rqa.stats.indirect_standardisation import expected_from_mix
from rqa.stats.stratified import tails_by_group


@dataclass(frozen=True, eq=False)
class RateChange:
    """The rate after less the rate before, strata allowed for, with limits, ratio and test; NaN without data."""

    level: float
    before: Counts
    returned_before: Counts
    after: Counts
    returned_after: Counts
    comparable: Counts
    difference: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    ratio: Numbers
    ratio_low: Numbers
    ratio_high: Numbers
    null_se: Numbers
    z: Numbers
    p_value: Numbers


@dataclass(frozen=True, eq=False)
class NetChange:
    """The change of a rate less that of comparable work: difference in differences, with limits and test."""

    level: float
    difference: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    z: Numbers
    p_value: Numbers


def rate_change(
    *,
    returned_before: ArrayLike,
    before: ArrayLike,
    returned_after: ArrayLike,
    after: ArrayLike,
    level: float = 0.95,
) -> RateChange:
    """Say by how much the come-back rate changed between two periods, on comparable work.

    Parameters
    ----------
    returned_before, before
        Come-backs and matured jobs before the change: whole numbers, the last axis over strata (such as model x
        procedure); axes before it are questions of their own.
    returned_after, after
        The same after it, of the same shape.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    RateChange
        `difference` = after - before with `se`, `low`, `high`; `ratio` = after / before with its limits; `z`, the
        normal score of the exact test, below 0 for a lower rate after, and its `p_value`; `null_se`, the standard
        error of the difference if there was no change; `comparable`, the jobs of strata with work on both sides.

    Notes
    -----
    Landmarks: no stratum with work on both sides is no data, NaN. No come-back on either side: difference 0, no ratio
    (NaN between 0 and infinity), z = 0 and p = 1. There, and where all came back on one side and none on the other, the
    limits are put together from Wilson's for none (or all) of the jobs of each side.

    In stratum s with n0 jobs before and n1 after, of which b and a came back, and N = n0 + n1, the difference is
    sum((a n0 - b n1) / N) / sum(n0 n1 / N) with Sato's variance, which holds for few large strata and for many small
    ones; the ratio is the Mantel-Haenszel risk ratio. The limits of the difference are those of the normal law, so they
    lean a little with few come-backs; the test is `stratified_exact_test`, which never claims more than promised.

    All else that changed with the time is taken for the change; set comparable work beside it (`net_change`).

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; come-backs above jobs; shapes that differ; a level outside
        (0, 1).

    References
    ----------
    1. S. Greenland and J. M. Robins, Biometrics 41, 1985, 55-68 (the difference).
    2. T. Sato, Biometrics 45, 1989, 1323-1324 (its variance).
    3. R. G. Newcombe, Statistics in Medicine 17, 1998, 873-890 (limits put together from Wilson's).

    Examples
    --------
    >>> r = rate_change(returned_before=[30, 12], before=[400, 300], returned_after=[9, 5], after=[260, 240])
    >>> f"{r.difference:+.3f} ({r.low:+.3f} to {r.high:+.3f}), x {r.ratio:.2f}, p = {r.p_value:.2f}"
    '-0.031 (-0.053 to -0.008), x 0.48, p = 0.02'

    Three in a hundred fewer came back, and by chance that would hardly happen.
    """
    level = arguments.share("level", level)
    b, n0 = arguments.part_and_whole("returned_before", returned_before, "before", before)
    a, n1 = arguments.part_and_whole("returned_after", returned_after, "after", after)
    if n0.shape != n1.shape or n0.ndim < 1:
        raise ValueError(f"before and after must be of one shape, strata last: {n0.shape} and {n1.shape}")
    both = (n0 > 0) & (n1 > 0)
    b, n0, a, n1 = (np.where(both, x, 0) for x in (b, n0, a, n1))
    difference, se, null_se = _difference(
        b.astype(np.float64), n0.astype(np.float64), a.astype(np.float64), n1.astype(np.float64), level
    )
    reach = _reach(level) * se
    ratios = mantel_haenszel(np.stack([_row(a, n1), _row(b, n0)], axis=-2), measure="risk", level=level)
    p_value, z = _exact(b, n0, a, n1)
    z = np.where(difference < 0, -1.0, 1.0) * z
    none = ~both.any(axis=-1)
    numbers = {
        "difference": difference, "se": se, "low": np.maximum(difference - reach, -1.0),
        "high": np.minimum(difference + reach, 1.0), "ratio": ratios.estimate, "ratio_low": ratios.low,
        "ratio_high": ratios.high, "null_se": null_se, "z": z + 0.0, "p_value": p_value,
    }
    return RateChange(
        level=level,
        before=arguments.frozen_counts(n0.sum(axis=-1)),
        returned_before=arguments.frozen_counts(b.sum(axis=-1)),
        after=arguments.frozen_counts(n1.sum(axis=-1)),
        returned_after=arguments.frozen_counts(a.sum(axis=-1)),
        comparable=arguments.frozen_counts((n0 + n1).sum(axis=-1)),
        **{name: arguments.frozen(np.where(none, np.nan, value)) for name, value in numbers.items()},
    )


def net_change(*, own: RateChange, other: RateChange) -> NetChange:
    """Say by how much a rate changed beyond the change of comparable work that was left as it was.

    Parameters
    ----------
    own
        The change where something was done.
    other
        The change, over the same two periods, of comparable work where it was not, of the same shape and level.

    Returns
    -------
    NetChange
        `difference` = own less other, in shares, with `se`, `low`, `high`; `z` and `p_value` of no net change.

    Notes
    -----
    Landmarks: 0 is no more change than elsewhere; without data on either side NaN. Differences are taken of the rates
    themselves and not of their logarithms, so a rare come-back elsewhere does not blow up the limits; it is taken that
    without the change both rates would have moved by as many points.

    z is the difference over the standard error that holds if neither rate changed, se^2 = own null_se^2 + other
    null_se^2; the limits use the standard errors of the differences.

    Raises
    ------
    ValueError
        Changes of different levels.

    References
    ----------
    1. J. D. Angrist and J.-S. Pischke, Mostly Harmless Econometrics, 2009, section 5.2 (difference in differences).

    Examples
    --------
    >>> own = rate_change(returned_before=[42], before=[700], returned_after=[14], after=[500])
    >>> other = rate_change(returned_before=[36], before=[900], returned_after=[30], after=[800])
    >>> r = net_change(own=own, other=other)
    >>> f"{r.difference:+.3f} ({r.low:+.3f} to {r.high:+.3f})"
    '-0.030 (-0.059 to -0.000)'

    Of the three in a hundred hardly anything happened elsewhere too.
    """
    arguments.instance("own", own, RateChange)
    arguments.instance("other", other, RateChange)
    if own.level != other.level:
        raise ValueError(f"own and other must have limits of one level: {own.level} and {other.level}")
    difference = own.difference - other.difference
    se = np.hypot(own.se, other.se)
    null_se = np.hypot(own.null_se, other.null_se)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(null_se > 0, difference / null_se, np.where(np.isnan(null_se), np.nan, 0.0))
    reach = _reach(own.level) * se
    return NetChange(
        level=own.level,
        difference=arguments.frozen(difference),
        se=arguments.frozen(se),
        low=arguments.frozen(np.maximum(difference - reach, -2.0)),
        high=arguments.frozen(np.minimum(difference + reach, 2.0)),
        z=arguments.frozen(z),
        p_value=arguments.frozen(far_tails.never_zero(2.0 * special.ndtr(-np.abs(z)))),
    )


def beyond_both(one: ArrayLike, two: ArrayLike) -> Numbers:
    """Of two scores the one nearer to 0, and 0 where they point in opposite ways: beyond a bound if both are.

    Where a change must hold alone and beside other work, the chance of error is that of the better judge of the two.
    """
    first, second = arguments.same_shape(
        {"one": arguments.measurements("one", one), "two": arguments.measurements("two", two)}
    )
    same = np.sign(first) == np.sign(second)
    return np.asarray(np.where(same, np.sign(first) * np.minimum(np.abs(first), np.abs(second)), 0.0), dtype=np.float64)


def _difference(
    b: Numbers, n0: Numbers, a: Numbers, n1: Numbers, level: float
) -> tuple[Numbers, Numbers, Numbers]:
    """The Mantel-Haenszel difference, its standard error (Sato's), and that under no change (pooled shares)."""
    n = np.maximum(n0 + n1, 1.0)
    weight = (n0 * n1 / n).sum(axis=-1)
    weight = np.where(weight > 0, weight, 1.0)
    difference = ((a * n0 - b * n1) / n).sum(axis=-1) / weight
    variance = np.maximum(_sato(b, n0, a, n1, difference, weight), 0.0)
    # Each side came back as a whole or not at all, so that the counts themselves do not vary.
    alike = [(x.sum(axis=-1) == 0) | ((n - x).sum(axis=-1) == 0) for x, n in ((b, n0), (a, n1))]
    bare = alike[0] & alike[1]
    if bare.any():
        z2 = _reach(level) ** 2
        total0, total1 = (x.sum(axis=-1) for x in (n0, n1))
        luck = (z2 / (total0 + z2)) ** 2 + (z2 / (total1 + z2)) ** 2
        variance = np.where(bare, luck / z2, variance)
    share = (a + b) / n
    pooled = (n0 * n1 / n * share * (1.0 - share) * n / np.maximum(n - 1.0, 1.0)).sum(axis=-1)
    return difference, np.sqrt(variance), np.sqrt(pooled) / weight


def _sato(b: Numbers, n0: Numbers, a: Numbers, n1: Numbers, difference: Numbers, weight: Numbers) -> Numbers:
    n = np.maximum(n0 + n1, 1.0)
    p = (n1**2 * b - n0**2 * a + n0 * n1 * (n0 - n1) / 2.0) / n**2
    q = (a * (n0 - b) + b * (n1 - a)) / (2.0 * n)
    return np.asarray((difference * p.sum(axis=-1) + q.sum(axis=-1)) / weight**2, dtype=np.float64)


def _row(events: Counts, jobs: Counts) -> Counts:
    return np.stack([events, jobs - events], axis=-1)


def _exact(b: Counts, n0: Counts, a: Counts, n1: Counts) -> tuple[Numbers, Numbers]:
    """The p-value of the exact test, and how far out it lies in normal scores."""
    p_value, away = np.ones(n0.shape[:-1]), np.zeros(n0.shape[:-1])
    for place in np.ndindex(p_value.shape):
        if not (n0[place] > 0).any():
            continue
        mix = expected_from_mix(events=[a[place], b[place]], trials=[n1[place], n0[place]])
        at_most, at_least, _, far, _ = (tail[0] for tail in tails_by_group(mix))
        if far < 0.0:
            p_value[place], away[place] = far_tails.p_value(far), far_tails.score(far)
        else:
            p_value[place] = min(2.0 * min(at_most, at_least), 1.0)
            away[place] = -special.ndtri(p_value[place] / 2.0)
    return p_value, away


def _reach(level: float) -> float:
    return -float(special.ndtri((1.0 - level) / 2.0))
