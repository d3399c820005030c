"""What will a month's come-back rate be once all its jobs are followed to day W: a projection with its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.count_limits import count_limits
from rqa.stats.day_counts import day_counts
from rqa.stats.follow_up import KaplanMeier
from rqa.stats.proportion import proportion_interval

PACE = 0.7
"""A month may be twice or half as fast as recent ones: standard deviation of the logarithm of its hazard, at least."""


@dataclass(frozen=True, eq=False)
class ProjectedShare:
    """The share of each month's jobs that will have come back by day W; NaN without jobs or without pooled follow-up.

    `settled` jobs are known to have come back by then or not, `returned` have so far, and `more` of the others are to
    be expected. `low` and `high` hold the month's true rate, `final_low` and `final_high` the figure that the month
    will show once it is mature.
    """

    window: float
    level: float
    month_spread: float
    jobs: Counts
    settled: Counts
    returned: Counts
    more: Numbers
    projected: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    final_low: Numbers
    final_high: Numbers


def projected_share(
    *,
    day: ArrayLike,
    returned: ArrayLike,
    censored: ArrayLike,
    pooled: KaplanMeier,
    window: float,
    month_spread: float = 0.0,
    level: float = 0.95,
) -> ProjectedShare:
    """Say what share of a month's jobs will have come back by day W, from what is known of them so far.

    Each job keeps what happened to it up to its own age; beyond, jobs not yet back come back as those of recent months
    did at the same age, times the pace at which this month's own jobs have come back so far.

    Parameters
    ----------
    day
        Days since closing, from 0 up: one axis. A day named twice is summed; days without an event may be left out.
    returned
        How many jobs came back on each day: whole numbers; the last axis runs over the days, axes before it over
        months (or other groups).
    censored
        How many jobs without a return have been followed up to this day so far, of the same shape. A unit that left
        service stands at the day it left if it is to count as if it had stayed. It stands at W if it is to count as
        not coming back, as it will in the mature rate.
    pooled
        The curve of recent months (`kaplan_meier`, one group), followed to day W; this month's jobs may be in it.
    window
        W in days, from 0 up.
    month_spread
        By how much the hazard differs from month to month: standard deviation of its logarithm, from 0 up, such as
        `month_spread` finds. Below 0.7 it counts as 0.7: that months were alike so far does not say that this one is.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    Projection
        `projected` share, `low`, `high`, `final_low`, `final_high` and the counts behind them, one entry a month.

    Notes
    -----
    Landmarks: a mature month is its own rate with Wilson's limits, and its final limits are that rate. A month closed
    today is the pooled rate, with limits as wide as months can differ. No jobs, or jobs younger than W where the pooled
    curve ends before W, is no data, NaN.

    The month's hazard is `pace` times that of recent months, with a gamma prior of mean 1 and variance spread^2. Of x
    returns so far where recent months would have had e (their cumulative hazard up to the age or return of each job),
    pace = (1 / spread^2 + x) / (1 / spread^2 + e): the credibility factor of Bühlmann, so that a month that runs hot is
    told as such. A job followed for a < W days without a return comes back by W with chance
    q(a) = 1 - (S(W) / S(a))^pace, S of the pooled curve: more = sum q(a), projected = (returned + more) / jobs. `low`
    and `high` hold the rate 1 - S(W)^pace over the posterior of the pace, with the pooled curve's variance (Greenwood's
    terms); `se` is that of the same. A mature month has Wilson's.

    For the final figure the returns so far are settled; those to come are taken as a count with mean `more` and as
    variance sum q (1 - q), that of the pooled curve, and that of the pace, (sum (1 - q) log(1 - q))^2 / (1 / spread^2
    + x), together (binomial or negative binomial, whichever has it). Where recent months had none to come, half a
    return is allowed for. Of months of 100 and 400 jobs, seen at their end, the 95 % limits held the final figure in 93
    to 99 % and the true rate in 90 to 99 %. So it was at the usual rate, at twice and at half of it (simulated; see the
    tests).

    Recent months must be a guide: after a change of work, parts or models they are not, and neither are they when how
    long a job was followed says something about its chance to return.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; shapes that do not fit; a pooled curve of several groups; a
        window or month_spread below 0; a level outside (0, 1).

    References
    ----------
    1. E. B. Wilson, Journal of the American Statistical Association 22, 1927, 209-212 (limits).
    2. M. Greenwood, Reports on Public Health and Medical Subjects 33, 1926 (variance of the pooled curve).
    3. J. F. Lawless, Canadian Journal of Statistics 22, 1994, 15-31 (reporting delays).
    4. H. Bühlmann, ASTIN Bulletin 4, 1967, 199-207 (credibility); T. Mack, ASTIN Bulletin 30, 2000, 333-347
       (the same for what is still to come).

    Examples
    --------
    >>> from rqa.stats import kaplan_meier
    >>> recent = kaplan_meier(day=[5, 20, 30], returned=[40, 30, 0], censored=[0, 0, 930])
    >>> r = projected_share(day=[5, 10, 30], returned=[6, 0, 0], censored=[20, 60, 14], pooled=recent, window=30)
    >>> f"{float(r.projected):.3f} ({float(r.low):.3f} to {float(r.high):.3f})"
    '0.091 (0.036 to 0.152)'
    >>> f"{float(r.final_low):.2f} to {float(r.final_high):.2f}"
    '0.06 to 0.14'

    Six of 100 are back, and three more are to be expected: the month will end between 6 and 14 in a hundred, and its
    true rate is between 4 and 15.
    """
    level = arguments.share("level", level)
    arguments.instance("pooled", pooled, KaplanMeier)
    end = arguments.amount("window", window)
    spread = arguments.amount("month_spread", month_spread)
    if pooled.share.ndim != 1:
        raise ValueError(f"pooled must be the curve of one group: shape {pooled.share.shape}")
    table = day_counts(day=day, returned=returned, censored=censored)
    back = np.where(table.day <= end, table.returned, 0).sum(axis=-1)
    jobs = (table.returned + table.censored).sum(axis=-1)
    still_out = np.where(table.day < end, table.censored, 0)
    beyond = _Beyond(pooled, table.day, end)

    # The month's pace: what came back over what recent months would have had, drawn towards 1 by so many returns.
    prior = 1.0 / max(spread, PACE) ** 2
    held = prior + back
    pace = held / (prior + beyond.usual_so_far(table.returned + table.censored))
    stays = special.xlog1py(pace[..., np.newaxis], -beyond.chance)
    chance = np.where(still_out > 0, -np.expm1(stays), 0.0)
    more = (still_out * chance).sum(axis=-1)
    known = np.maximum(jobs, 1)
    share = (back + more) / known
    left = still_out.sum(axis=-1)
    luck = (still_out * chance * (1.0 - chance)).sum(axis=-1)
    staying = pace[..., np.newaxis] * still_out * (1.0 - chance)
    shared = beyond.variance(staying) + beyond.pull(still_out, chance) ** 2 / held

    if beyond.usual > 0:
        se, low, high = beyond.rate(pace, held, level)
        low, high = np.minimum(low, share), np.maximum(high, share)
    else:
        # With no return in recent months, they are so many jobs without one, and no more.
        rising = 1.0 / known + np.where(share == 0, 1.0 / max(beyond.at_risk, 0.5), 0.0)
        se = np.sqrt(rising * share - share**2 / known)
        low, high = _score_limits(share, rising, 1.0 / known, level)
    own = proportion_interval(successes=np.where(left > 0, 0, back), trials=np.where(left > 0, 0, jobs), level=level)
    se = np.where(left > 0, se, np.sqrt(share * (1.0 - share) / known))
    low, high = np.where(left > 0, low, own.low), np.where(left > 0, high, own.high)
    few, many = count_limits(*_some(more, luck + shared, left, beyond), left, level)
    unknown = (jobs == 0) | np.isnan(share)
    share, more, se, low, high, least, most = (
        np.where(unknown, np.nan, a) for a in (share, more, se, low, high, (back + few) / known, (back + many) / known)
    )
    return ProjectedShare(
        window=end,
        level=level,
        month_spread=spread,
        jobs=arguments.frozen_counts(jobs),
        settled=arguments.frozen_counts(jobs - left),
        returned=arguments.frozen_counts(back),
        more=arguments.frozen(more),
        projected=arguments.frozen(share),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        final_low=arguments.frozen(least),
        final_high=arguments.frozen(most),
    )


def month_spread(*, returned: ArrayLike, jobs: ArrayLike) -> float:
    """Say by how much the come-back hazard differs from month to month, beyond chance.

    Parameters
    ----------
    returned
        Jobs that came back within the window in each mature month: whole numbers, one axis.
    jobs
        All jobs of these months, of the same shape.

    Returns
    -------
    float
        Standard deviation of the months' true rates over their mean, which for small rates is that of the logarithm of
        the hazard; 0 where the months' differences are consistent with chance. NaN with fewer than two months, or no
        returns.

    Notes
    -----
    Moments: with p the common rate, the mean of (returned - p jobs)^2 beyond p (1 - p) jobs, over that of (p jobs)^2.
    From a dozen months it is known to a factor of two at best; take it from as many as are alike in work.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; returned above jobs; shapes that do not fit.

    References
    ----------
    1. J. C. Kleinman, Journal of the American Statistical Association 68, 1973, 46-54 (moments of proportions).

    Examples
    --------
    >>> round(month_spread(returned=[20, 55, 31, 62, 40], jobs=[500] * 5), 2)
    0.38
    >>> month_spread(returned=[40, 43, 38, 41], jobs=[500] * 4)
    0.0
    """
    x, n = arguments.part_and_whole("returned", returned, "jobs", jobs)
    kept = n > 0
    x, n = x[kept].astype(np.float64), n[kept].astype(np.float64)
    if x.size < 2 or x.sum() == 0:
        return float("nan")
    expected = x.sum() * n / n.sum()
    # The common rate is found from the same months, which takes one of them out of the spread.
    beyond = ((x - expected) ** 2).sum() * x.size / (x.size - 1) - (expected * (1 - expected / n)).sum()
    return float(np.sqrt(max(beyond, 0.0) / (expected**2).sum()))


class _Beyond:
    """What recent months say of days a to W for a job followed up to day a: one entry an own day."""

    def __init__(self, pooled: KaplanMeier, own: Numbers, end: float) -> None:
        within = (pooled.day <= end) & (pooled.at_risk > 0)
        day, n, d = pooled.day[within], pooled.at_risk[within], pooled.returned[within].astype(np.float64)
        stay = n - d
        with np.errstate(divide="ignore"):
            logs = np.log1p(-d / n)
        self._growth = np.where(stay > 0, d / np.where(stay > 0, n * stay, 1.0), 0.0)
        self._before = np.searchsorted(own, day)
        passed = np.searchsorted(day, own, side="right")
        to_come = np.concatenate((logs[::-1].cumsum()[::-1], [0.0]))[passed]
        seen = pooled.on_days(np.append(own, end))
        # Where all of recent months had returned before its age, nothing is known of a job that has not.
        unknown = (own < end) & (np.isnan(seen.share[-1]) | (seen.share[:-1] == 1))
        self.chance = np.where(unknown, np.nan, -np.expm1(to_come))
        self.at_risk = int(seen.at_risk[-1])
        self._out = 1.0 - np.where(own < end, seen.share[:-1], seen.share[-1])
        whole = float(seen.share[-1])
        self.usual = float(-np.log1p(-whole)) if whole < 1 else 0.0
        self._log_spread = float(self._growth.sum()) / self.usual**2 if self.usual > 0 else 0.0

    def variance(self, staying: Numbers) -> Numbers:
        """Variance of the returns to come from that of the pooled curve; `staying` = jobs x chance to stay out."""
        passing = np.zeros((*staying.shape[:-1], staying.shape[-1] + 1))
        passing[..., 1:] = staying.cumsum(axis=-1)
        return (self._growth * passing[..., self._before] ** 2).sum(axis=-1)

    def usual_so_far(self, followed: Counts) -> Numbers:
        """Returns that the hazard of recent months brings to jobs followed up to these days."""
        so_far = -np.log(np.where(self._out > 0, self._out, 1.0))
        return (followed * so_far).sum(axis=-1)

    def rate(self, pace: Numbers, held: Numbers, level: float) -> tuple[Numbers, Numbers, Numbers]:
        """Standard error and limits of the rate by W at so many times the usual hazard, known from `held` returns."""
        shape = 1.0 / (1.0 / held + self._log_spread)
        ends = (special.gammaincinv(shape, q) / shape * pace for q in ((1.0 - level) / 2.0, (1.0 + level) / 2.0))
        low, high = (-np.expm1(-end * self.usual) for end in ends)
        return np.exp(-pace * self.usual) * pace * self.usual / np.sqrt(shape), low, high

    def pull(self, still_out: Counts, chance: Numbers) -> Numbers:
        """By how much the returns to come move with the logarithm of the hazard."""
        stays = 1.0 - chance
        each = -special.xlogy(stays, stays)
        return np.where(still_out > 0, still_out * each, 0.0).sum(axis=-1)


def _score_limits(share: Numbers, rising: Numbers, bending: Numbers, level: float) -> tuple[Numbers, Numbers]:
    """Roots p of (share - p)^2 = z^2 (rising p - bending p^2)."""
    z2 = float(special.ndtri((1.0 - level) / 2.0)) ** 2
    square, middle = 1.0 + z2 * bending, share + z2 * rising / 2.0
    apart = np.sqrt(np.maximum(middle**2 - square * share**2, 0.0))
    low, high = (middle - apart) / square, (middle + apart) / square
    low = np.where(share == 0, 0.0, np.clip(low, 0.0, share))
    return low, np.where(share == 1, 1.0, np.clip(high, share, 1.0))


def _some(more: Numbers, variance: Numbers, left: Counts, beyond: _Beyond) -> tuple[Numbers, Numbers]:
    """Mean and variance of the returns to come; with none in recent months, of a chance that is Beta(1/2, n + 1/2)."""
    half = left * 0.5 / (beyond.at_risk + 1.0)
    none = (more == 0) & (left > 0)
    return np.where(none, half, more), np.where(none, half + 2.0 * half**2, variance)
