"""Is a group's difference from the others, its mix of work allowed for, clear: the exact stratified test."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats import far_tails
from rqa.stats.hypergeometric import Strata, log_tails_of_sum, sums_of_draws
from rqa.stats.indirect_standardisation import MixExpectation, expected_from_mix

EXACT_UP_TO = 400.0
"""Variance up to which the distribution is added up term by term; above it a shifted gamma agrees to about 1 %."""
FAR = 1e-10
"""A tail below this is worked as a logarithm, about its own count, so that it never comes out as 0."""


@dataclass(frozen=True, eq=False)
class StratifiedTest:
    """Each group against all the others within strata: events, expectation, p-values, and a z-score."""

    observed: Counts
    comparable: Counts
    expected: Numbers
    variance: Numbers
    p_value: Numbers
    p_mid: Numbers
    z: Numbers


def stratified_exact_test(*, events: ArrayLike, trials: ArrayLike) -> StratifiedTest:
    """Say for each group how often chance alone would set it as far from the others as it is, on the work it had.

    Parameters
    ----------
    events
        Counts by group and stratum, such as technician x (model, procedure, billing): whole numbers from 0 to
        `trials`, two axes.
    trials
        Work by group and stratum, of the same shape.

    Returns
    -------
    StratifiedTest
        One value for each group: `observed`, `comparable`, `expected`, `variance` as of `expected_from_mix`;
        `p_value`, twice the smaller tail of the exact distribution, at most 1; `p_mid`, the same with the chance of the
        count itself halved; `z`, the normal score of that mid tail, above 0 for more events than expected.

    Notes
    -----
    Landmarks: no work beside that of others is no comparison, NaN; strata in which none or all had the event say
    nothing, and with only such strata p is 1 and z is 0. With one stratum and two groups it is Fisher's exact test. No
    p-value is 0: one below the least double, 2.2e-308, is given as that; z goes on.

    Given each stratum's totals, and if the group is like the others, its events are a sum of independent
    hypergeometric draws, one for each stratum; the tails are those of that sum. It is the exact form of the
    Mantel-Haenszel test of the group against all the others. Up to a variance of 400 the sum's distribution is added up
    term by term; above, it is a gamma distribution of the same mean, variance and skewness, with the count taken as the
    half unit before it. A tail below 1e-10 is worked about the count itself, as a logarithm: exactly where the draws
    then vary by 2,000 at most, else by the saddlepoint.

    `p_value` claims a difference no more often than promised, `p_mid` about as often. Where the groups vary by more
    than chance (`overdispersion`), use 2 Phi(-abs(z) / sqrt(phi)). Many groups need `benjamini_hochberg` on top.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; events above trials; counts without exactly two axes.

    References
    ----------
    1. D. R. Cox, The Analysis of Binary Data, 1970, section 5.3 (exact test over strata).
    2. H. O. Lancaster, Journal of the American Statistical Association 56, 1961, 223-234 (mid-p).
    3. H. E. Daniels, International Statistical Review 55, 1987, 37-48 (saddlepoint tails, whole numbers).

    Examples
    --------
    >>> r = stratified_exact_test(events=[[2, 30], [18, 10]], trials=[[20, 100], [180, 20]])
    >>> f"{r.observed[0]} where {r.expected[0]:.1f} were expected: p = {r.p_value[0]:.2f}"
    '32 where 35.3 were expected: p = 0.22'

    The first did a little better than the mix would bring, and chance would do as much about every fifth time.
    """
    mix = expected_from_mix(events=events, trials=trials)
    at_most, at_least, here, far, far_here = tails_by_group(mix)
    none = mix.comparable == 0
    p_value = np.minimum(2.0 * np.minimum(at_most, at_least), 1.0)
    low, high = at_most - here / 2.0, at_least - here / 2.0
    p_mid = np.minimum(2.0 * np.minimum(low, high), 1.0)
    near = far == 0.0
    far_mid = far_tails.without_half(far, far_here)
    with np.errstate(divide="ignore"):
        z = np.where(low < high, special.ndtri(low), -special.ndtri(high))
    p_value = np.where(near, p_value, far_tails.p_value(far))
    p_mid = np.where(near, p_mid, far_tails.p_value(far_mid))
    z = np.where(near, z, np.where(at_most < at_least, -1.0, 1.0) * far_tails.score(far_mid))
    return StratifiedTest(
        observed=mix.observed,
        comparable=mix.comparable,
        expected=mix.expected,
        variance=mix.variance,
        p_value=arguments.frozen(np.where(none, np.nan, p_value)),
        p_mid=arguments.frozen(np.where(none, np.nan, p_mid)),
        z=arguments.frozen(np.where(none, np.nan, z)),
    )


def exact_p_of_first(tables: Sequence[tuple[Counts, Counts]]) -> list[tuple[float, float, float]]:
    """For many tables of two groups, events and trials by group and stratum: of the first group `p_value`, `observed`
    and `expected`, as of `stratified_exact_test`, all worked in one sweep."""
    mixes = [expected_from_mix(events=events, trials=trials) for events, trials in tables]
    drawn = [_drawn(mix, 0) if mix.variance[0] > 0 else None for mix in mixes]
    found = iter(_tails([one for one in drawn if one is not None]))
    made = []
    for mix, one in zip(mixes, drawn, strict=True):
        at_most, at_least, _, far, _ = (1.0, 1.0, 1.0, 0.0, 0.0) if one is None else next(found)
        p_value = float(far_tails.p_value(far)) if far < 0.0 else min(2.0 * min(at_most, at_least), 1.0)
        nothing = float(mix.comparable[0]) == 0
        made.append((float("nan") if nothing else p_value, float(mix.observed[0]), float(mix.expected[0])))
    return made


def tails_by_group(mix: MixExpectation) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
    """Chances of at most and at least what each group had, and of just that.

    Last come the logarithms of the smaller tail and of the count itself where that tail is below `FAR`, else 0.
    """
    made = np.array([[1.0, 1.0, 1.0, 0.0, 0.0]] * len(mix.events)).reshape(-1, 5)
    groups = np.flatnonzero(mix.variance > 0)
    for g, found in zip(groups, _tails([_drawn(mix, g) for g in groups.tolist()]), strict=True):
        made[g] = found
    at_most, at_least, here, far, far_here = made.T
    return at_most, at_least, here, far, far_here


_Draws = tuple[float, int, Strata]
"""The variance of a sum of draws, the sum that was seen, and the draws of the strata."""


def _drawn(mix: MixExpectation, group: int) -> _Draws:
    x, n = mix.events, mix.trials
    totals, marked = n.sum(axis=0), x.sum(axis=0)
    use = (marked > 0) & (marked < totals) & (n[group] > 0) & (n[group] < totals)
    return float(mix.variance[group]), int(x[group, use].sum()), (n[group, use], marked[use], totals[use])


def _tails(each: Sequence[_Draws]) -> Iterator[tuple[float, float, float, float, float]]:
    sums = iter(sums_of_draws([strata for variance, _, strata in each if variance <= EXACT_UP_TO]))
    for variance, seen, strata in each:
        at_most, at_least, here = _exact(seen, *next(sums)) if variance <= EXACT_UP_TO else _gamma(seen, *strata)
        far = (0.0, 0.0)
        if min(at_most, at_least) < FAR:
            far = log_tails_of_sum(seen, *strata, upper=at_least < at_most)
        yield (at_most, at_least, here, *far)


def _exact(seen: int, first: int, chance: Numbers) -> tuple[float, float, float]:
    place = min(max(seen - first, -1), chance.size)
    here = float(chance[place]) if 0 <= place < chance.size else 0.0
    return float(chance[: place + 1].sum()), float(chance[max(place, 0) :].sum()), here


def _gamma(seen: int, drawn: Counts, marked: Counts, total: Counts) -> tuple[float, float, float]:
    n, m, t = (a.astype(np.float64) for a in (drawn, marked, total))
    mean = float((n * m / t).sum())
    each = n * m * (t - m) * (t - n) / (t * t * (t - 1.0))
    # Third central moments of the draws; a stratum of two units is symmetric.
    third = float((each * (t - 2.0 * m) * (t - 2.0 * n) / (t * np.maximum(t - 2.0, 1.0))).sum())
    variance = float(each.sum())

    def below(count: float) -> tuple[float, float]:
        z = (count - mean) / variance**0.5
        skew = third / variance**1.5
        if abs(skew) < 1e-4:
            return float(special.ndtr(z)), float(special.ndtr(-z))
        shape = 4.0 / skew**2
        place = max(shape + abs(skew) / skew * z * shape**0.5, 0.0)
        tails = float(special.gammainc(shape, place)), float(special.gammaincc(shape, place))
        return tails if skew > 0 else tails[::-1]

    at_most, at_least = below(seen + 0.5)[0], below(seen - 0.5)[1]
    return at_most, at_least, max(at_most + at_least - 1.0, 0.0)
