"""Did the level or the trend of a share change on a given day: a binomial regression through the periods."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero

TERMS = ("start", "trend", "jump", "bend")
"""Log-odds at the first period, their change a period, their jump at the change, the bend of the trend after it."""
STEPS = 50
SETTLED = 1e-10
FARTHEST = 30.0
"""Log-odds beyond this are those of a share that runs to 0 or 1: the fit has no end."""


@dataclass(frozen=True, eq=False)
class InterruptedSeries:
    """Four terms on the log-odds scale with limits, the fitted shares, and those without the interruption.

    NaN throughout where the fit has no end.
    """

    count: Counts
    size: Counts
    first_after: int
    level: float
    terms: tuple[str, ...]
    estimate: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    p_value: Numbers
    dispersion: float
    either_p: float
    fitted: Numbers
    unchanged: Numbers
    unchanged_low: Numbers
    unchanged_high: Numbers


def interrupted_series(
    *, count: ArrayLike, size: ArrayLike, first_after: int, place: ArrayLike | None = None, level: float = 0.95
) -> InterruptedSeries:
    """Say whether a share jumped at a change, or its trend bent there, beside the trend it had before.

    Parameters
    ----------
    count, size
        Events and cases of each period, in order; periods without cases are taken as they are.
    first_after
        The element of the first period after the change; at least three periods must lie on each side.
    place
        The time of each period, rising, such as months since the first, where some are left out; else 0, 1, 2, ….
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    InterruptedSeries
        `estimate`, `se`, `low`, `high`, `p_value` of the terms start, trend, jump and bend, in log-odds: exp(jump) is
        the odds ratio at the change, exp(bend) how many times the trend a period grew. `either_p`: that there is
        neither jump nor bend. `fitted` shares; `unchanged`, those of the trend before drawn on, with limits.

    Notes
    -----
    Landmarks: with no event (or nothing else) on one side the fit has no end, NaN. `dispersion` is Pearson's chi-square
    over its degrees of freedom, and 1 where it is less: variances are multiplied by it. Above 1 limits and p-values are
    those of the t and F distributions, else of the normal law.

    log-odds = start + trend t + jump a + bend a (t - t0), a = 1 from the first period after, whose time is t0; fitted
    by iterated weighted least squares. Periods are taken as independent given the trend. With under about twelve
    periods before, a trend before cannot be told from chance; then compare before with after (`rate_change`).

    Raises
    ------
    ValueError
        Counts that are missing, negative, not whole or above their size; fewer than three periods on a side; times
        that do not rise; a level outside (0, 1).

    References
    ----------
    1. A. K. Wagner, S. B. Soumerai, F. Zhang and D. Ross-Degnan, Journal of Clinical Pharmacy and Therapeutics 27,
       2002, 299-309.
    2. P. McCullagh and J. A. Nelder, Generalized Linear Models, 2nd ed., 1989, section 4.5 (overdispersion).

    Examples
    --------
    >>> r = interrupted_series(
    ...     count=[8, 9, 7, 10, 8, 9, 8, 7, 9, 8, 10, 8, 3, 4, 3, 5, 3, 4], size=[100] * 18, first_after=12
    ... )
    >>> jump = r.terms.index("jump")
    >>> f"odds x {np.exp(r.estimate[jump]):.2f} ({np.exp(r.low[jump]):.2f} to {np.exp(r.high[jump]):.2f})"
    'odds x 0.37 (0.15 to 0.91)'

    At the change the odds fell to about a third, and hardly by chance.
    """
    x, n = arguments.part_and_whole("count", count, "size", size)
    level = arguments.share("level", level)
    if x.ndim != 1:
        raise ValueError(f"count must have one axis, the periods: shape {x.shape}")
    cut = arguments.whole("first_after", first_after, 3)
    if x.size - cut < 3:
        raise ValueError(f"first_after must leave three periods on each side: {cut} of {x.size}")
    time = np.arange(x.size, dtype=np.float64) if place is None else arguments.measurements("place", place)
    if time.shape != x.shape or not (np.diff(time) > 0).all():
        raise ValueError(f"place must be one rising time for each period: {time.tolist()}")
    after = np.arange(x.size) >= cut
    t = time - time[0]
    design = np.stack([np.ones(x.size), t, after * 1.0, after * (time - time[cut])], axis=1)
    fitted = _fit(x.astype(np.float64), n.astype(np.float64), design)
    free = int((n > 0).sum()) - len(TERMS)
    if fitted is None or free < 1:
        return _unknown(x, n, cut, level)
    beta, known = fitted
    share = special.expit(design @ beta)
    weight = n * share * (1.0 - share)
    pearson = float((np.where(weight > 0, (x - n * share) ** 2 / np.where(weight > 0, weight, 1.0), 0.0)).sum())
    spread = max(1.0, pearson / free)
    covariance = known * spread
    se = np.sqrt(np.diag(covariance))
    tail = (1.0 - level) / 2.0
    reach = float(special.stdtrit(free, 1.0 - tail)) if spread > 1.0 else -float(special.ndtri(tail))
    away = np.abs(beta / se)
    p_value = never_zero(2.0 * (special.stdtr(free, -away) if spread > 1.0 else special.ndtr(-away)))
    both = float(beta[2:] @ np.linalg.solve(covariance[2:, 2:], beta[2:]))
    either = special.fdtrc(2, free, both / 2.0) if spread > 1.0 else special.chdtrc(2, both)
    drawn_on = design * np.array([1.0, 1.0, 0.0, 0.0])
    middle = drawn_on @ beta
    wide = reach * np.sqrt(np.einsum("ij,jk,ik->i", drawn_on, covariance, drawn_on))
    return InterruptedSeries(
        count=arguments.frozen_counts(x),
        size=arguments.frozen_counts(n),
        first_after=cut,
        level=level,
        terms=TERMS,
        estimate=arguments.frozen(beta),
        se=arguments.frozen(se),
        low=arguments.frozen(beta - reach * se),
        high=arguments.frozen(beta + reach * se),
        p_value=arguments.frozen(p_value),
        dispersion=spread,
        either_p=float(never_zero(either)),
        fitted=arguments.frozen(share),
        unchanged=arguments.frozen(special.expit(middle)),
        unchanged_low=arguments.frozen(special.expit(middle - wide)),
        unchanged_high=arguments.frozen(special.expit(middle + wide)),
    )


def _fit(x: Numbers, n: Numbers, design: Numbers) -> tuple[Numbers, Numbers] | None:
    """Coefficients and their covariance by iterated weighted least squares; None where the fit has no end."""
    pooled = (x.sum() + 0.5) / (n.sum() + 1.0)
    beta: Numbers = np.zeros(design.shape[1])
    beta[0] = special.logit(pooled)
    for _ in range(STEPS):
        line = design @ beta
        if np.abs(line).max() > FARTHEST:
            return None
        share = special.expit(line)
        weight = n * share * (1.0 - share)
        information = (design * weight[:, np.newaxis]).T @ design
        if np.linalg.cond(information) > 1e14:
            return None
        step = np.linalg.solve(information, design.T @ (x - n * share))
        beta = beta + step
        if np.abs(step).max() < SETTLED:
            return beta, np.asarray(np.linalg.inv(information), dtype=np.float64)
    return None


def _unknown(x: Counts, n: Counts, cut: int, level: float) -> InterruptedSeries:
    terms, periods = (arguments.frozen(np.full(size, np.nan)) for size in (len(TERMS), x.size))
    return InterruptedSeries(
        arguments.frozen_counts(x), arguments.frozen_counts(n), cut, level, TERMS, *(terms,) * 5, float("nan"),
        float("nan"), *(periods,) * 4,
    )
