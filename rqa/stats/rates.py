"""How many times the rate: two counts of events, each with its own exposure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import lower_limit
from rqa.stats.roots import roots

Method = Literal["exact", "mid-p"]


@dataclass(frozen=True, eq=False)
class RateRatio:
    """Rate 1 over rate 2 with its limits; NaN where either group has no exposure or neither had an event."""

    events1: Counts
    exposure1: Numbers
    events2: Counts
    exposure2: Numbers
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


def rate_ratio(
    *,
    events1: ArrayLike,
    exposure1: ArrayLike,
    events2: ArrayLike,
    exposure2: ArrayLike,
    method: Method = "exact",
    level: float = 0.95,
) -> RateRatio:
    """Say how many times the rate of one group (defects per hour, returns per unit-year) is that of another.

    Parameters
    ----------
    events1, events2
        Events of each group: whole numbers from 0 up, any shape.
    exposure1, exposure2
        What they are counted over, such as hours or unit-days, in one unit: numbers from 0 up, of the same shape or
        one number for all.
    method
        "exact": coverage never below `level`. "mid-p": half of the seen count's own chance is left out of each tail,
        so coverage is near `level` on average.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    RateRatio
        `estimate` = (events1 / exposure1) / (events2 / exposure2), `low`, `high`, and the inputs as they were taken.

    Notes
    -----
    Landmarks: no event in group 1 gives 0 with a finite `high`; none in group 2 gives an infinite estimate and `high`
    with a finite `low`; none in either, or no exposure in one of them, is no data, NaN.

    Given the total of events, the events of group 1 are binomial with odds = ratio x exposure1 / exposure2, so limits
    of that share are turned into limits of the ratio. Events are taken as independent (Poisson counts); bursts make
    the limits too narrow.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; an exposure that is missing, negative or infinite; shapes that
        do not fit; an unknown method; a level outside (0, 1).

    References
    ----------
    1. K. J. Rothman and S. Greenland, Modern Epidemiology, 2nd edition, 1998, chapter 14.

    Examples
    --------
    >>> r = rate_ratio(events1=41, exposure1=28_010, events2=15, exposure2=19_017)
    >>> f"{r.estimate:.2f} ({r.low:.2f} to {r.high:.2f})"
    '1.86 (1.01 to 3.61)'

    The first rate is nearly twice the second; the limits just leave "no difference" out.
    """
    given = {
        "events1": arguments.counts("events1", events1).astype(np.float64),
        "exposure1": arguments.amounts("exposure1", exposure1),
        "events2": arguments.counts("events2", events2).astype(np.float64),
        "exposure2": arguments.amounts("exposure2", exposure2),
    }
    x1, t1, x2, t2 = arguments.same_shape(given)
    arguments.one_of("method", method, get_args(Method))
    level = arguments.share("level", level)
    lower = _LOWER[method]
    unknown = (x1 + x2 == 0) | (t1 == 0) | (t2 == 0)
    exchange = np.where(unknown, np.nan, t2) / np.where(unknown, 1.0, t1)
    low, high = lower(x1, x1 + x2, (1.0 - level) / 2.0), 1.0 - lower(x2, x1 + x2, (1.0 - level) / 2.0)
    with np.errstate(divide="ignore"):
        ends = [
            arguments.frozen(exchange * odds) for odds in (x1 / np.where(unknown, 1.0, x2), _odds(low), _odds(high))
        ]
    return RateRatio(
        events1=arguments.frozen_counts(x1.astype(np.int64)),
        exposure1=arguments.frozen(t1),
        events2=arguments.frozen_counts(x2.astype(np.int64)),
        exposure2=arguments.frozen(t2),
        method=method,
        level=level,
        estimate=ends[0],
        low=ends[1],
        high=ends[2],
    )


def _odds(share: Numbers) -> Numbers:
    return share / (1.0 - share)


def _exact(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return lower_limit(x.astype(np.int64), n.astype(np.int64), "clopper-pearson", 1.0 - 2.0 * tail)


def _mid_p(x: Numbers, n: Numbers, tail: float) -> Numbers:
    """The share at which P(X > x) + P(X = x) / 2 is `tail`, which grows with the share."""

    def beyond(share: Numbers, which: Counts) -> Numbers:
        x, n = events[which], total[which]
        at_least = np.where(x == 0, 1.0, special.betainc(np.maximum(x, 1.0), n - x + 1.0, share))
        above = np.where(x == n, 0.0, special.betainc(x + 1.0, np.maximum(n - x, 1.0), share))
        return np.asarray((at_least + above) / 2.0 - tail)

    events, total = x.ravel(), n.ravel()
    return np.where(x == 0, 0.0, roots(beyond, np.zeros_like(x), np.ones_like(x)))


_LOWER = {"exact": _exact, "mid-p": _mid_p}
