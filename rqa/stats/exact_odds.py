"""A common odds ratio over strata where events are few: exact conditional estimate, limits and p-value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats import far_tails
from rqa.stats.hypergeometric import log_chance, log_chances, log_sum

MOST_EVENTS = 2_000
"""Events up to which the distribution is added up; above, `mantel_haenszel` needs no exact help."""
FARTHEST = 80.0


@dataclass(frozen=True, eq=False)
class ExactOddsRatio:
    """The common odds ratio of k tables with exact limits and a two-sided p-value; NaN with nothing to compare."""

    tables: Counts
    level: float
    estimate: float
    low: float
    high: float
    p_value: float
    p_mid: float


def exact_common_odds(tables: ArrayLike, *, level: float = 0.95) -> ExactOddsRatio:
    """Say how many times the odds of a come-back an exposure makes, over strata with few events.

    Parameters
    ----------
    tables
        k x 2 x 2 whole numbers (or one 2 x 2): rows exposed and unexposed, columns with and without the event.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    ExactOddsRatio
        `estimate`, the odds ratio of the highest conditional likelihood; `low`, `high`, with a coverage never below
        `level`; `p_value` of no difference, twice the smaller tail; `p_mid`, the same with the chance of what was seen
        halved.

    Notes
    -----
    Landmarks: as few exposed events as the totals allow give 0 with a finite `high`, as many give an infinite estimate
    with a finite `low`; if the totals allow one table only, the ratio is unknown: NaN between 0 and infinity, p 1.

    Given each table's totals, exposed events follow a product of hypergeometric distributions tilted by the odds ratio;
    the limits make each tail of their sum (1 - level) / 2. One odds ratio is taken to hold in all strata.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; tables not k x 2 x 2; more than 2,000 events, where
        `mantel_haenszel` is near enough; a level outside (0, 1).

    References
    ----------
    1. D. R. Cox, The Analysis of Binary Data, 1970, section 5.3.
    2. C. R. Mehta, N. R. Patel and R. Gray, Journal of the American Statistical Association 80, 1985, 969-973.

    Examples
    --------
    >>> r = exact_common_odds([[[3, 1], [1, 3]]])
    >>> f"{r.estimate:.1f} ({r.low:.1f} to {r.high:.0f}), p = {r.p_value:.2f}"
    '6.4 (0.2 to 626), p = 0.49'

    Eight jobs cannot tell an odds ratio of a fifth from one of six hundred.
    """
    counts = arguments.counts("tables", tables)
    if counts.ndim == 2:
        counts = counts[np.newaxis]
    if counts.ndim != 3 or counts.shape[1:] != (2, 2):
        raise ValueError(f"tables must be k x 2 x 2: shape {np.shape(tables)}")
    level = arguments.share("level", level)
    events = int(counts[:, :, 0].sum())
    if events > MOST_EVENTS:
        raise ValueError(f"tables must hold at most {MOST_EVENTS:,} events for exact limits: {events:,}")
    drawn, marked = counts[:, 0].sum(axis=1), counts[:, :, 0].sum(axis=1)
    first, logs = log_chances(drawn, marked, counts.sum(axis=(1, 2)))
    seen = int(counts[:, 0, 0].sum()) - first
    estimate, low, high = _ends(logs, seen, (1.0 - level) / 2.0)
    log_total = log_sum(logs)
    tail = min(log_sum(logs[: seen + 1]), log_sum(logs[seen:])) - log_total
    mid = float(far_tails.without_half(tail, float(logs[seen] - log_total)))
    nothing = bool((drawn == 0).all() or (drawn == counts.sum(axis=(1, 2))).all())
    return ExactOddsRatio(
        tables=arguments.frozen_counts(counts),
        level=level,
        estimate=estimate,
        low=np.nan if nothing else low,
        high=np.nan if nothing else high,
        p_value=np.nan if nothing else float(far_tails.p_value(tail)),
        p_mid=np.nan if nothing else float(far_tails.p_value(mid)),
    )


def _ends(log_chance: Numbers, seen: int, tail: float) -> tuple[float, float, float]:
    places = np.arange(log_chance.size)

    def tilted(theta: float) -> Numbers:
        heights = log_chance + places * theta
        chance = np.exp(heights - heights.max())
        return chance / chance.sum()

    last = log_chance.size - 1
    low = 0.0 if seen == 0 else _root(lambda t: float(tilted(t)[seen:].sum()) - tail)
    high = np.inf if seen == last else _root(lambda t: float(tilted(t)[: seen + 1].sum()) - tail)
    if last == 0:
        return np.nan, low, high
    if seen in (0, last):
        return (0.0 if seen == 0 else np.inf), low, high
    return _root(lambda t: float((tilted(t) * places).sum()) - seen), low, high


def _root(of: Callable[[float], float]) -> float:
    """The ratio at whose logarithm a function is 0."""
    from scipy import optimize  # a third of a second to import, so only when it is asked for

    return float(np.exp(optimize.brentq(of, -FARTHEST, FARTHEST, xtol=1e-14, rtol=1e-14)))


def limit_at_the_end(drawn: Counts, marked: Counts, total: Counts, tail: float) -> float:
    """The odds ratio at which exposed events as few as the totals allow have the chance `tail`.

    At that end of the sum every stratum is at its own end, so that the chance is a product and nothing is added up.
    """
    least, most = np.maximum(drawn + marked - total, 0), np.minimum(drawn, marked)
    width = most - least + 1
    starts = np.cumsum(width) - width
    steps = np.arange(int(width.sum())) - np.repeat(starts, width)
    k = steps + np.repeat(least, width)
    n, m, t = (np.repeat(a, width) for a in (drawn, marked, total))
    log = log_chance(k, n, m, t)
    from_end = log - np.repeat(log[starts], width)
    return _root(lambda theta: float(np.logaddexp.reduceat(from_end + steps * theta, starts).sum()) + np.log(tail))
