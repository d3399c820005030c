"""How many times the risk: the share of one group of jobs over the share of another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.risk_score import score_limits

Method = Literal["katz", "score"]


@dataclass(frozen=True, eq=False)
class RelativeRisk:
    """Share of the exposed over share of the unexposed with its limits; NaN where either has no data."""

    exposed_events: Counts
    exposed_total: Counts
    unexposed_events: Counts
    unexposed_total: Counts
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


def relative_risk(
    *,
    exposed_events: ArrayLike,
    exposed_total: ArrayLike,
    unexposed_events: ArrayLike,
    unexposed_total: ArrayLike,
    method: Method = "katz",
    level: float = 0.95,
) -> RelativeRisk:
    """Say how many times as likely a come-back is after a failed check (or any other exposure) as without.

    Parameters
    ----------
    exposed_events, exposed_total
        Jobs with the exposure: how many had the event, out of how many. Whole numbers, any shape.
    unexposed_events, unexposed_total
        Jobs without it, of the same shape or one number for all.
    method
        "katz": limits on the log scale, the customary ones. "score": Koopman's, better where a count is below about 10.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    RelativeRisk
        `estimate` = (exposed_events / exposed_total) / (unexposed_events / unexposed_total), `low`, `high`, with the
        inputs as they were taken.

    Notes
    -----
    Landmarks: 1 is no difference. No exposed event: 0, with a finite `high`. No unexposed event: infinite, with a
    finite `low`. No event at all: the ratio is unknown, NaN, between 0 and infinity. 0 of 0 in either group: no data,
    NaN throughout. Where an event count is 0, or every job of both groups had the event, "katz" has no limits and those
    of "score" are given.

    "katz": log ratio -/+ z sqrt(1/x1 - 1/n1 + 1/x2 - 1/n2). "score": the ratios that a score test does not reject.

    No allowance is made for a different mix of work with and without the exposure: use `mantel_haenszel`.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; events above totals; shapes that do not fit; an unknown method;
        a level outside (0, 1).

    References
    ----------
    1. D. Katz, J. Baptista, S. P. Azen and M. C. Pike, Biometrics 34, 1978, 469-474.
    2. P. A. R. Koopman, Biometrics 40, 1984, 513-517.

    Examples
    --------
    >>> r = relative_risk(exposed_events=7, exposed_total=34, unexposed_events=1, unexposed_total=34)
    >>> f"{r.estimate:.1f} ({r.low:.2f} to {r.high:.1f})"
    '7.0 (0.91 to 53.9)'

    Seven times as likely, but eight events are too few to be sure of any difference.
    """
    x1, n1 = arguments.part_and_whole("exposed_events", exposed_events, "exposed_total", exposed_total)
    x2, n2 = arguments.part_and_whole("unexposed_events", unexposed_events, "unexposed_total", unexposed_total)
    names = ("exposed_events", "exposed_total", "unexposed_events", "unexposed_total")
    counts = arguments.same_shape(dict(zip(names, (x1, n1, x2, n2), strict=True)))
    arguments.one_of("method", method, get_args(Method))
    level = arguments.share("level", level)
    a, m, b, k = (c.astype(np.float64) for c in counts)
    unknown = (m == 0) | (k == 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(unknown, np.nan, (a * k) / (b * m))
        error = np.sqrt(1.0 / a - 1.0 / m + 1.0 / b - 1.0 / k)
        reach = np.exp(-float(special.ndtri((1.0 - level) / 2.0)) * error)
        low, high = ratio / reach, ratio * reach
    by_score = (method == "score") | (a == 0) | (b == 0) | ((a == m) & (b == k))
    if by_score.any():
        a, m, b, k = (np.where(unknown, 0.0, c)[..., np.newaxis] for c in (a, m, b, k))
        score_low, score_high = score_limits(a, m, b, k, level)
        low, high = np.where(by_score, score_low, low), np.where(by_score, score_high, high)
    return RelativeRisk(
        exposed_events=arguments.frozen_counts(counts[0]),
        exposed_total=arguments.frozen_counts(counts[1]),
        unexposed_events=arguments.frozen_counts(counts[2]),
        unexposed_total=arguments.frozen_counts(counts[3]),
        method=method,
        level=level,
        estimate=arguments.frozen(ratio),
        low=arguments.frozen(np.where(unknown, np.nan, low)),
        high=arguments.frozen(np.where(unknown, np.nan, high)),
    )
