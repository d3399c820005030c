"""What share has returned by each day, using every job as far as it was followed (Kaplan-Meier)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.day_counts import DayCounts, day_counts, with_days
from rqa.stats.share_limits import log_log_limits

ROUNDING = 1e-12
"""A share this close to the one asked for has reached it: the day must not hang on the last digit of a product."""


@dataclass(frozen=True, eq=False)
class ShareOnDays:
    """The curve read off on chosen days: the last axis of the arrays (before that of the causes) runs over them."""

    day: Numbers
    at_risk: Counts
    share: Numbers
    se: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True, eq=False)
class DayReached:
    """The first day on which a share has returned, with its limits; NaN where follow-up ends before."""

    share: float
    day: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True, eq=False)
class MeanDays:
    """Mean days without a return out of the first `upto`, with limits; NaN where follow-up ends before."""

    upto: float
    days: Numbers
    se: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True, eq=False)
class KaplanMeier:
    """The share returned by each day with its limits; the last axis of all but `day` runs over the days."""

    day: Numbers
    at_risk: Counts
    returned: Counts
    censored: Counts
    level: float
    share: Numbers
    se: Numbers
    low: Numbers
    high: Numbers

    def on_days(self, days: ArrayLike) -> ShareOnDays:
        """Read the curve off on these days (from 0 up, one axis); NaN after the last day anybody was followed."""
        wanted = np.atleast_1d(arguments.amounts("days", days))
        table = DayCounts(self.day, self.returned, self.censored, self.at_risk)
        full = _curve(with_days(table, wanted.ravel()), self.level)
        place = np.searchsorted(full.day, wanted)
        return ShareOnDays(
            day=arguments.frozen(wanted),
            at_risk=arguments.frozen_counts(full.at_risk[..., place]),
            share=arguments.frozen(full.share[..., place]),
            se=arguments.frozen(full.se[..., place]),
            low=arguments.frozen(full.low[..., place]),
            high=arguments.frozen(full.high[..., place]),
        )

    def days_until(self, share: float) -> DayReached:
        """Say by which day this share (strictly between 0 and 1) has returned; 0.5 gives the median day.

        The limits are the days on which the share's own limits reach it: `low` where `high` of the curve does, `high`
        where `low` of the curve does (Brookmeyer and Crowley, Biometrics 38, 1982, 29-41). A share that is met exactly
        and stays is taken on its first day.
        """
        wanted = arguments.share("share", share)
        return DayReached(
            share=wanted,
            day=arguments.frozen(self._first_day(self.share, wanted)),
            low=arguments.frozen(self._first_day(self.high, wanted)),
            high=arguments.frozen(self._first_day(self.low, wanted)),
        )

    def mean_days(self, upto: float) -> MeanDays:
        """Say how many of the first `upto` days a unit stays out on average (restricted mean).

        It is the area under 1 - share from day 0 to `upto`, with variance sum A^2 d / (n (n - d)) over the days, A the
        area left after each; the limits are days -/+ z se within 0 and `upto`. Where nobody or everybody returned on
        one day, the variance is 0 and the limits are the areas under the curve's own.
        """
        end = arguments.amount("upto", upto)
        table = DayCounts(self.day, self.returned, self.censored, self.at_risk)
        full = _curve(with_days(table, np.array([0.0, end])), self.level)
        first, last = np.searchsorted(full.day, [0.0, end])
        part = slice(int(first), int(last) + 1)
        width = np.diff(full.day[part])
        out = 1.0 - full.share[..., part]
        pieces = out[..., :-1] * width
        left = np.zeros_like(out)
        left[..., :-1] = pieces[..., ::-1].cumsum(axis=-1)[..., ::-1]
        mean = left[..., 0]
        se = np.sqrt((left**2 * _growth(full.returned[..., part], full.at_risk[..., part])).sum(axis=-1))
        z = float(-special.ndtri((1.0 - self.level) / 2.0))
        band_low = ((1.0 - full.high[..., part])[..., :-1] * width).sum(axis=-1)
        band_high = ((1.0 - full.low[..., part])[..., :-1] * width).sum(axis=-1)
        unknown = np.isnan(out[..., -1])
        mean, se = np.where(unknown, np.nan, mean), np.where(unknown, np.nan, se)
        flat = se == 0
        return MeanDays(
            upto=end,
            days=arguments.frozen(mean),
            se=arguments.frozen(se),
            low=arguments.frozen(np.where(flat, band_low, np.maximum(mean - z * se, 0.0))),
            high=arguments.frozen(np.where(flat, band_high, np.minimum(mean + z * se, end))),
        )

    def _first_day(self, shares: Numbers, wanted: float) -> Numbers:
        reached = shares >= wanted - ROUNDING
        days = np.append(self.day, np.nan)
        return (
            days[np.where(reached.any(axis=-1), reached.argmax(axis=-1), -1)]
            if self.day.size
            else (np.full(shares.shape[:-1], np.nan))
        )


def kaplan_meier(*, day: ArrayLike, returned: ArrayLike, censored: ArrayLike, level: float = 0.95) -> KaplanMeier:
    """Say what share of jobs has come back by each day since closing, young jobs counted as far as they were followed.

    Parameters
    ----------
    day
        Days since closing, from 0 up: one axis. A day named twice is summed; days without an event may be left out.
    returned
        How many jobs came back on each day: whole numbers; the last axis runs over the days, axes before it over
        groups (such as models).
    censored
        How many jobs without a return were followed up to this day and no further (as of today, or retired), of the
        same shape. A job followed up to a day was still at risk on it.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    KaplanMeier
        By day: `at_risk` as the day begins, `share` returned by its end (1 - S), `se` (Greenwood), `low`, `high`
        (log-log), and the counts as they were taken, days in order. `on_days`, `days_until` and `mean_days` read
        the curve off.

    Notes
    -----
    Landmarks: before the first return the share is 0, `low` 0 and `high` Wilson's limit for none of those at risk; as
    all at risk return the share is 1, `se` 0, `high` 1 and `low` below 1. Days after the last one on which anybody was
    followed are no data, NaN, unless all have returned. A group without jobs is NaN throughout.

    S = product of (1 - d / n) over the days, d the returned, n those at risk; se = S sqrt(sum d / (n (n - d))); limits
    S^exp(-/+ z se / (S log S)). With no censoring before a day, its share is returned / jobs.

    How long a job was followed must say nothing about its chance to return. Retired units left service for good: where
    that is not a matter of chance, let retirement compete in `cumulative_incidence`. Limits hold for one day at a
    time, not for the whole curve at once; units with several jobs make them somewhat too narrow.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a day below 0; shapes that do not fit; a level outside (0, 1).

    References
    ----------
    1. E. L. Kaplan and P. Meier, Journal of the American Statistical Association 53, 1958, 457-481.
    2. M. Greenwood, Reports on Public Health and Medical Subjects 33, 1926.
    3. J. D. Kalbfleisch and R. L. Prentice, The Statistical Analysis of Failure Time Data, 1980 (log-log limits).

    Examples
    --------
    >>> r = kaplan_meier(day=[3, 10, 30], returned=[1, 2, 0], censored=[4, 0, 13])
    >>> r.at_risk.tolist(), r.share.round(4).tolist()
    ([20, 15, 13], [0.05, 0.1767, 0.1767])

    By day 30 about 18 % have come back; of the 20 jobs 3 did, but 4 were followed for three days only.
    """
    level = arguments.share("level", level)
    return _curve(day_counts(day=day, returned=returned, censored=censored), level)


def _curve(table: DayCounts, level: float) -> KaplanMeier:
    n, d = table.at_risk, table.returned
    with np.errstate(divide="ignore"):
        log_out = np.log1p(-d / np.maximum(n, 1)).cumsum(axis=-1)
    unknown = (n == 0) & (log_out > -np.inf)
    share = np.where(unknown, np.nan, 0.0 - np.expm1(log_out))
    se = np.where(unknown, np.nan, np.exp(log_out) * np.sqrt(_growth(d, n).cumsum(axis=-1)))
    low, high = log_log_limits(share, se, n, level)
    return KaplanMeier(
        day=table.day,
        at_risk=table.at_risk,
        returned=table.returned,
        censored=table.censored,
        level=level,
        share=arguments.frozen(share),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
    )


def _growth(returned: Counts, at_risk: Counts) -> Numbers:
    """What each day adds to Greenwood's sum; nothing as the last at risk return, since none is left to be unsure of."""
    stay = (at_risk - returned).astype(np.float64)
    return np.where(stay > 0, returned / np.where(stay > 0, at_risk * stay, 1.0), 0.0)
