"""What share has returned by each day for each cause, the other causes competing (Aalen-Johansen)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.day_counts import DayCounts, day_counts, with_days
from rqa.stats.follow_up import ShareOnDays
from rqa.stats.share_limits import log_log_limits

Variance = Literal["greenwood", "aalen"]


@dataclass(frozen=True, eq=False)
class CumulativeIncidence:
    """The share returned by each day for each cause, the last two axes days and causes; `total` is over all causes."""

    day: Numbers
    at_risk: Counts
    returned: Counts
    censored: Counts
    variance: str
    level: float
    share: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    total: Numbers

    def on_days(self, days: ArrayLike) -> ShareOnDays:
        """Read the curves off on these days (from 0 up, one axis); NaN after the last day anybody was followed."""
        wanted = np.atleast_1d(arguments.amounts("days", days))
        table = DayCounts(self.day, self.returned, self.censored, self.at_risk)
        full = _curves(with_days(table, wanted.ravel(), causes=True), self.variance, self.level)
        place = np.searchsorted(full.day, wanted)
        return ShareOnDays(
            day=arguments.frozen(wanted),
            at_risk=arguments.frozen_counts(full.at_risk[..., place]),
            share=arguments.frozen(full.share[..., place, :]),
            se=arguments.frozen(full.se[..., place, :]),
            low=arguments.frozen(full.low[..., place, :]),
            high=arguments.frozen(full.high[..., place, :]),
        )


def cumulative_incidence(
    *, day: ArrayLike, returned: ArrayLike, censored: ArrayLike, variance: Variance = "greenwood", level: float = 0.95
) -> CumulativeIncidence:
    """Say what share of jobs has come back by each day for each class of come-back, with limits.

    Parameters
    ----------
    day
        Days since closing, from 0 up: one axis. A day named twice is summed; days without an event may be left out.
    returned
        How many jobs came back on each day for each cause: whole numbers, the last two axes days and causes, axes
        before them over groups. Retirement may be a cause of its own: then it competes instead of censoring.
    censored
        How many jobs without a return were followed up to this day and no further: the same shape without the causes.
    variance
        "greenwood": the returns of a day are a multinomial draw from those at risk; with one cause it is Greenwood's
        variance. "aalen": they are Poisson counts, which is a little wider where few are at risk.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    CumulativeIncidence
        By day and cause: `share`, `se`, `low`, `high`; by day: `at_risk` and `total`, the share returned for any
        cause, which is the sum over the causes and equals `kaplan_meier`'s.

    Notes
    -----
    Landmarks: a cause not seen yet has share 0, `low` 0 and `high` Wilson's limit for none of those at risk; a cause
    for which all have returned has share 1. Days after the last one on which anybody was followed are no data, NaN,
    unless all have returned.

    F_k = sum over the days of S(before) d_k / n, with S the share still out before the day. The variance is carried
    from day to day: V(F_k) grows by (d_k / n)^2 V(S) + 2 (d_k / n) Cov(F_k, S) + S^2 V(d_k / n), where V(d_k / n) =
    d_k (n - d_k) / n^3 ("greenwood") or d_k / n^2 ("aalen"). Limits are log-log on 1 - F_k, as those of
    `kaplan_meier`.

    Do not read 1 - Kaplan-Meier of one cause, the others censored, as a share: it says what would happen if the other
    causes did not exist, and adds up to more than all. How long a job was followed must say nothing about its chance
    to return.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a day below 0; shapes that do not fit; an unknown variance; a
        level outside (0, 1).

    References
    ----------
    1. O. O. Aalen and S. Johansen, Scandinavian Journal of Statistics 5, 1978, 141-150.
    2. P. K. Andersen, O. Borgan, R. D. Gill and N. Keiding, Statistical Models Based on Counting Processes, 1993,
       section IV.4 (both variances).

    Examples
    --------
    >>> r = cumulative_incidence(day=[2, 3, 6], returned=[[1, 0], [0, 2], [0, 1]], censored=[2, 1, 1])
    >>> r.share.round(3).tolist()
    [[0.125, 0.0], [0.125, 0.35], [0.125, 0.612]]

    By day 6 one job in eight has come back for the first cause and six in ten for the second.
    """
    arguments.one_of("variance", variance, get_args(Variance))
    level = arguments.share("level", level)
    return _curves(day_counts(day=day, returned=returned, censored=censored, causes=True), variance, level)


def _curves(table: DayCounts, variance: str, level: float) -> CumulativeIncidence:
    by_cause = np.moveaxis(table.returned, -1, 0)
    n, d = table.at_risk, table.returned.sum(axis=-1)
    known = np.maximum(n, 1).astype(np.float64)
    some, each = d / known, by_cause / known
    with np.errstate(divide="ignore"):
        log_out = np.log1p(-some).cumsum(axis=-1)
    out_before = np.exp(_before(log_out))
    share = (out_before * each).cumsum(axis=-1)
    # A cause that has had no competitor so far is the whole return: exact ends, and the same digits as the total.
    total = 0.0 - np.expm1(log_out)
    alone = ((d - by_cause).cumsum(axis=-1) == 0) & (by_cause.cumsum(axis=-1) > 0)
    share = np.where(alone, total, share)
    se = np.sqrt(np.maximum(_variance(each, some, known, out_before, variance), 0.0))
    if variance == "greenwood":
        se = np.where(share == 1, 0.0, se)  # exactly, where the running sum leaves a rounding

    unknown = (n == 0) & (log_out > -np.inf)
    share, se = np.where(unknown, np.nan, share), np.where(unknown, np.nan, se)
    low, high = log_log_limits(share, se, np.broadcast_to(n, share.shape), level)
    share, se, low, high = (np.moveaxis(a, 0, -1) for a in (share, se, low, high))
    return CumulativeIncidence(
        day=table.day,
        at_risk=table.at_risk,
        returned=table.returned,
        censored=table.censored,
        variance=variance,
        level=level,
        share=arguments.frozen(share),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        total=arguments.frozen(np.where(unknown, np.nan, total)),
    )


def _variance(each: Numbers, some: Numbers, known: Numbers, out_before: Numbers, variance: str) -> Numbers:
    """V(F_k) by day: V(S) and Cov(F_k, S) are carried relative to S, so that each is a plain running sum."""
    stay = np.where(some < 1, 1.0 - some, 1.0)
    went = some < 1  # after a day on which all return there is no later day to carry anything to
    if variance == "greenwood":
        out_growth = np.where(went, some / (known * stay), 0.0)
        shared = each / known
        own = each * (1.0 - each) / known
    else:
        out_growth = np.where(went, some / (known * stay**2), 0.0)
        shared = np.where(went, each / (known * stay), 0.0)
        own = each / known
    out_variance = _before(out_growth.cumsum(axis=-1))
    covariance = _before((out_before * (each * out_variance - shared)).cumsum(axis=-1))
    return (out_before * (out_before * (each**2 * out_variance + own) + 2.0 * each * covariance)).cumsum(axis=-1)


def _before(by_day: Numbers) -> Numbers:
    """Each day's value as it was at the end of the day before; 0 before the first."""
    moved = np.zeros_like(by_day)
    moved[..., 1:] = by_day[..., :-1]
    return moved
