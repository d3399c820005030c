"""How sure are we of a share: the interval of one proportion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers

Method = Literal["wilson", "clopper-pearson", "jeffreys"]


@dataclass(frozen=True, eq=False)
class ProportionInterval:
    """A share with its limits, in the shape of the counts; no data (0 of 0) is NaN throughout."""

    successes: Counts
    trials: Counts
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers
    design_effect: Numbers


def proportion_interval(
    *,
    successes: ArrayLike,
    trials: ArrayLike,
    method: Method = "wilson",
    level: float = 0.95,
    design_effect: ArrayLike = 1.0,
) -> ProportionInterval:
    """Say what share of jobs came back (or of checks passed), and between which limits the true share lies.

    Parameters
    ----------
    successes
        How many of the trials had the event: whole numbers from 0 to `trials`, any shape.
    trials
        How many there were: whole numbers of the same shape, or one number for all.
    method
        "wilson" for a share that is shown: its coverage is near `level` on average. "clopper-pearson" where a
        guarantee is claimed: its coverage is never below `level`, so it is wider. "jeffreys": equal tails of the
        Beta(successes + 1/2, trials - successes + 1/2) posterior.
    level
        Confidence level, strictly between 0 and 1.
    design_effect
        How many times as much the share varies as that of as many independent trials: from 1 up, one number or one for
        each share. Checks of one job, or units of one lot, go together (`clustered_interval` measures how much).

    Returns
    -------
    ProportionInterval
        `estimate`, `low`, `high` between 0 and 1, with the inputs as they were taken.

    Notes
    -----
    Landmarks: 0 of n has `low` exactly 0 and a finite `high`; n of n has `high` exactly 1; 0 of 0 is no data, NaN.

    Wilson's limits are the shares t with |p - t| = z sqrt(t (1 - t) / n), where p = successes / trials.
    Clopper-Pearson's make each tail of the binomial (1 - level) / 2. Jeffreys' low end at 0 of n is set to 0 and
    its high end at n of n to 1, so that the interval holds the estimate there too.

    With a design effect the limits are those of so many times fewer events and trials (Rao and Scott 1992).

    The trials are otherwise taken as independent and of one chance. Where jobs differ in their chance from bench to
    bench or day to day, the true share varies more than these limits say. Not for a difference of two shares (two
    intervals that overlap do not show that the shares are equal): use `difference_interval`.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; successes above trials; an unknown method; a level outside
        (0, 1); a design effect below 1 or of another shape.

    References
    ----------
    1. E. B. Wilson, Journal of the American Statistical Association 22, 1927, 209-212.
    2. C. J. Clopper and E. S. Pearson, Biometrika 26, 1934, 404-413.
    3. L. D. Brown, T. T. Cai and A. DasGupta, Statistical Science 16, 2001, 101-133 (Jeffreys, section 4.1.2).
    4. J. N. K. Rao and A. J. Scott, Biometrics 48, 1992, 577-585 (design effect).

    Examples
    --------
    >>> r = proportion_interval(successes=[81, 0], trials=[263, 20])
    >>> r.low.round(4).tolist(), r.high.round(4).tolist()
    ([0.2553, 0.0], [0.3662, 0.1611])

    81 of 263 is a share of 31 %, and the true one is likely between 26 % and 37 %; none of 20 still leaves room for
    16 %.
    """
    x, n = arguments.part_and_whole("successes", successes, "trials", trials)
    arguments.one_of("method", method, get_args(Method))
    level = arguments.share("level", level)
    effect = arguments.design_effect(design_effect, x.shape)
    low = lower_limit(x, n, method, level, effect)
    high = upper_limit(x, n, method, level, effect)
    return ProportionInterval(
        successes=arguments.frozen_counts(x),
        trials=arguments.frozen_counts(n),
        method=method,
        level=level,
        estimate=arguments.frozen(estimate(x, n)),
        low=arguments.frozen(np.minimum(low, high)),
        high=arguments.frozen(high),
        design_effect=arguments.frozen(effect),
    )


def estimate(successes: Counts, trials: Counts) -> Numbers:
    """Successes over trials, NaN where there were no trials."""
    return np.where(trials == 0, np.nan, successes / np.where(trials == 0, 1, trials))


def lower_limit(
    successes: Counts | Numbers, trials: Counts | Numbers, method: str, level: float, effect: Numbers | float = 1.0
) -> Numbers:
    """Lower end of the interval."""
    known = np.where(trials == 0, 1, trials).astype(np.float64)
    low = _LOWER[method](successes / np.asarray(effect), known / np.asarray(effect), (1.0 - level) / 2.0)
    low = np.where(successes == 0, 0.0, low)
    return np.where(trials == 0, np.nan, low)


def upper_limit(
    successes: Counts | Numbers, trials: Counts | Numbers, method: str, level: float, effect: Numbers | float = 1.0
) -> Numbers:
    """Upper end: 1 minus the lower end of the failures, worked so that it keeps its digits where it is near 0."""
    known = np.where(trials == 0, 1, trials).astype(np.float64)
    high = _UPPER[method](successes / np.asarray(effect), known / np.asarray(effect), (1.0 - level) / 2.0)
    high = np.where(successes == trials, 1.0, high)
    return np.where(trials == 0, np.nan, high)


def wilson(x: Numbers, n: Numbers, quantile: Numbers | float) -> tuple[Numbers, Numbers]:
    """Both of Wilson's limits, with a quantile of the normal law or another."""
    # The roots t of (n + z2) t^2 - (2x + z2) t + x^2/n = 0. The lower one is taken as the product of the roots over
    # the upper one, as the difference in the textbook form loses digits when x is small and n large.
    z2 = np.asarray(quantile) ** 2
    upper = (2 * x + z2 + np.sqrt(z2 * (z2 + 4 * x * (n - x) / n))) / (2 * (n + z2))
    return x * x / n / ((n + z2) * np.maximum(upper, 1e-300)), upper


def _wilson(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return wilson(x, n, float(special.ndtri(tail)))[0]


def _wilson_upper(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return wilson(x, n, float(special.ndtri(tail)))[1]


def _clopper_pearson(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return np.asarray(special.betaincinv(np.where(x > 0, x, 1.0), n - x + 1.0, tail))


def _jeffreys(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return np.asarray(special.betaincinv(x + 0.5, n - x + 0.5, tail))


def _clopper_pearson_upper(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return np.asarray(special.betainccinv(x + 1.0, np.where(n > x, n - x, 1.0), tail))


def _jeffreys_upper(x: Numbers, n: Numbers, tail: float) -> Numbers:
    return np.asarray(special.betainccinv(x + 0.5, n - x + 0.5, tail))


_UPPER = {"wilson": _wilson_upper, "clopper-pearson": _clopper_pearson_upper, "jeffreys": _jeffreys_upper}
_LOWER = {"wilson": _wilson, "clopper-pearson": _clopper_pearson, "jeffreys": _jeffreys}
