"""How far apart are two groups by day W: difference and ratio of their shares returned, with limits."""

from dataclasses import dataclass

import numpy as np

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.follow_up import KaplanMeier
from rqa.stats.incidence import CumulativeIncidence


@dataclass(frozen=True, eq=False)
class IncidenceContrast:
    """Share 1 less share 2, and share 1 over share 2, on one day; NaN where either is not known."""

    day: float
    level: float
    share1: Numbers
    share2: Numbers
    difference: Numbers
    difference_low: Numbers
    difference_high: Numbers
    ratio: Numbers
    ratio_low: Numbers
    ratio_high: Numbers


def incidence_contrast(
    *, one: KaplanMeier | CumulativeIncidence, two: KaplanMeier | CumulativeIncidence, day: float
) -> IncidenceContrast:
    """Say by how much, and how many times, one group's share returned by a day is above another's, with limits.

    Parameters
    ----------
    one, two
        Curves of independent groups, both made by `kaplan_meier` or both by `cumulative_incidence`, at one level;
        several groups in a curve are compared pair by pair.
    day
        The day W on which they are compared, from 0 up.

    Returns
    -------
    IncidenceContrast
        `difference` = share 1 - share 2 and `ratio` = share 1 / share 2 with their limits, in the shape of the groups
        (and causes).

    Notes
    -----
    Landmarks: 0 against 0 has difference 0 with limits on both sides, and no ratio (NaN) with limits 0 and infinite;
    0 below makes the ratio infinite with a finite low; 0 above makes it 0 with a finite high. Where either group was
    not followed up to the day there is no data, NaN.

    The limits are recovered from those of the two shares (l1, u1 and l2, u2, log-log), so they lean as those do.
    Difference d: low = d - sqrt((s1 - l1)^2 + (u2 - s2)^2), high = d + sqrt((u1 - s1)^2 + (s2 - l2)^2). Ratio: the
    values r for which 0 lies on the like limit of s1 - r s2.

    For one day chosen beforehand; to compare whole curves use `log_rank`. No allowance is made for a different mix of
    work in the groups.

    Raises
    ------
    ValueError
        Curves of different kinds or levels; a day below 0.

    References
    ----------
    1. G. Y. Zou and A. Donner, Statistics in Medicine 27, 2008, 1693-1702 (difference).
    2. A. Donner and G. Y. Zou, Statistical Methods in Medical Research 21, 2012, 347-359 (ratio).

    Examples
    --------
    >>> from rqa.stats import kaplan_meier
    >>> before = kaplan_meier(day=[10, 30], returned=[40, 20], censored=[0, 540])
    >>> after = kaplan_meier(day=[10, 30], returned=[10, 8], censored=[50, 332])
    >>> r = incidence_contrast(one=before, two=after, day=30)
    >>> f"{r.difference:.3f} ({r.difference_low:.3f} to {r.difference_high:.3f}), {r.ratio:.1f} times"
    '0.052 (0.017 to 0.084), 2.1 times'

    By day 30 five in a hundred more came back before than after, and at least one or two of them are likely real.
    """
    for name, curve in (("one", one), ("two", two)):
        arguments.instance(name, curve, KaplanMeier, CumulativeIncidence)
    if type(one) is not type(two):
        raise ValueError(f"one and two must be curves of one kind: {type(one).__name__} and {type(two).__name__}")
    if one.level != two.level:
        raise ValueError(f"one and two must have limits of one level: {one.level} and {two.level}")
    when = arguments.amount("day", day)
    axis = -2 if isinstance(one, CumulativeIncidence) else -1
    first, second = one.on_days(when), two.on_days(when)
    s1, l1, u1 = (np.take(a, 0, axis=axis) for a in (first.share, first.low, first.high))
    s2, l2, u2 = (np.take(a, 0, axis=axis) for a in (second.share, second.low, second.high))
    difference = s1 - s2
    ratio_low, ratio_high = _ratio_limits(s1, l1, u1, s2, l2, u2)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = s1 / s2
    return IncidenceContrast(
        day=when,
        level=one.level,
        share1=arguments.frozen(s1),
        share2=arguments.frozen(s2),
        difference=arguments.frozen(difference),
        difference_low=arguments.frozen(difference - np.hypot(s1 - l1, u2 - s2)),
        difference_high=arguments.frozen(difference + np.hypot(u1 - s1, s2 - l2)),
        ratio=arguments.frozen(ratio),
        ratio_low=arguments.frozen(ratio_low),
        ratio_high=arguments.frozen(ratio_high),
    )


def _ratio_limits(
    s1: Numbers, l1: Numbers, u1: Numbers, s2: Numbers, l2: Numbers, u2: Numbers
) -> tuple[Numbers, Numbers]:
    """Roots of a r^2 - 2 b r + c = 0, each taken in the form that does not divide by a number near 0."""
    b = s1 * s2
    a, c = u2 * (2 * s2 - u2), l1 * (2 * s1 - l1)
    below = b + np.sqrt(np.maximum(b * b - a * c, 0.0))
    low = np.where(c == 0, 0.0, c / np.where(below == 0, 1.0, below))
    a, c = l2 * (2 * s2 - l2), u1 * (2 * s1 - u1)
    above = b + np.sqrt(np.maximum(b * b - a * c, 0.0))
    high = np.where(a == 0, np.inf, above / np.where(a == 0, 1.0, a))
    unknown = np.isnan(s1 + s2)
    return np.where(unknown, np.nan, low), np.where(unknown, np.nan, high)
