"""Values near a limit: guard bands for measuring error, and values that pile up just inside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats import far_tails

POINTS = 4001
REACH = 9.0


@dataclass(frozen=True, eq=False)
class GuardBand:
    """Limits drawn in so that measuring error lets few bad units pass; and how many then do, and are held in vain.

    `bad_passed` and `good_failed` are shares of all units, first with the limits as they are, then drawn in; NaN where
    the spread of true values was not given.
    """

    lower_limit: float | None
    upper_limit: float | None
    sigma: float
    risk: float
    width: float
    lower: float | None
    upper: float | None
    bad: float
    bad_passed: tuple[float, float]
    good_failed: tuple[float, float]


@dataclass(frozen=True, eq=False)
class PileUp:
    """Counts in three bands next to a limit, the count a smooth fall would bring to the nearest, and p."""

    nearest: Counts
    second: Counts
    third: Counts
    expected: Numbers
    ratio: Numbers
    p_value: Numbers


def guard_band(
    *,
    sigma: float,
    lower_limit: float | None = None,
    upper_limit: float | None = None,
    risk: float = 0.05,
    mean: float | None = None,
    spread: float | None = None,
) -> GuardBand:
    """Say how far inside its limits a value must be measured so that a bad unit hardly passes.

    Parameters
    ----------
    sigma
        Standard deviation of measuring error (`gauge_rr`, the gauge's sigma), from 0.
    lower_limit, upper_limit
        Limits of the true value; one at least.
    risk
        Chance that a unit whose true value is just on a limit may have of passing, above 0 and below one half.
    mean, spread
        Mean and standard deviation of true values, taken as normal; needed for the shares only. The deviation of
        measured values holds the gauge's own: spread^2 = measured^2 - sigma^2.

    Returns
    -------
    GuardBand
        `width` of the band, the limits `lower` and `upper` to accept within, the share of units that is `bad`, and the
        shares passed though bad and failed though good, before and after.

    Notes
    -----
    width = z(1 - risk) x sigma: 1.645 sigma for 5 %. Landmarks: a gauge without error needs no band. Bands that meet
    leave nothing to accept: the gauge does not serve for these limits, and that is refused.

    A band trades escapes for extra work; `good_failed` says how much.

    Raises
    ------
    ValueError
        No limit, or limits out of order; a sigma below 0; a spread that is not above 0; a risk outside (0, 0.5); only
        one of mean and spread; bands that meet.

    References
    ----------
    1. ISO 14253-1:2017 (decision rules); JCGM 106:2012 (risks to either side).

    Examples
    --------
    >>> r = guard_band(sigma=0.1, upper_limit=5.0, mean=4.5, spread=0.3)
    >>> f"{r.upper:.2f}, bad ones passed {r.bad_passed[0]:.2%} then {r.bad_passed[1]:.2%}"
    '4.84, bad ones passed 0.95% then 0.06%'

    Accepting up to 4.84 only, six units in ten thousand pass though bad, instead of one in a hundred.
    """
    sigma = arguments.amount("sigma", sigma)
    risk = arguments.share("risk", risk)
    if risk >= 0.5:
        raise ValueError(f"risk must be below 0.5: {risk}")
    low, high = (_one(name, given) for name, given in (("lower_limit", lower_limit), ("upper_limit", upper_limit)))
    if low is None and high is None:
        raise ValueError("lower_limit or upper_limit must be given")
    if low is not None and high is not None and low >= high:
        raise ValueError(f"lower_limit must be below upper_limit: {low:g}, {high:g}")
    middle, deviation = _one("mean", mean), None if spread is None else arguments.positive("spread", spread)
    if (middle is None) != (deviation is None):
        raise ValueError("mean and spread must be given together")
    width = -float(special.ndtri(risk)) * sigma
    lower, upper = (None if low is None else low + width), (None if high is None else high - width)
    if lower is not None and upper is not None and lower >= upper:
        raise ValueError(
            f"sigma and risk leave no room: the bands of {width:g} on either side leave nothing between {low:g} and "
            f"{high:g}"
        )
    bad = before = after = (float("nan"), float("nan"))
    if middle is not None and deviation is not None:
        true = np.linspace(-REACH, REACH, POINTS)
        cut = [(edge - middle) / deviation for edge in (low, high) if edge is not None]
        # Grid points where the answer jumps, so that neither side of a limit is counted to the other.
        edges = np.unique(np.clip(np.concatenate([true, cut]), -REACH, REACH))
        true = (edges[:-1] + edges[1:]) / 2.0
        weight = np.diff(special.ndtr(edges))
        value = middle + deviation * true
        good = _between(value, 0.0, low, high)
        bad = (float(weight @ (1.0 - good)), 0.0)
        before, after = (_risks(weight, good, _between(value, sigma, a, b)) for a, b in ((low, high), (lower, upper)))
    return GuardBand(
        lower_limit=low,
        upper_limit=high,
        sigma=sigma,
        risk=risk,
        width=width,
        lower=lower,
        upper=upper,
        bad=bad[0],
        bad_passed=(before[0], after[0]),
        good_failed=(before[1], after[1]),
    )


def pile_up_test(*, nearest: ArrayLike, second: ArrayLike, third: ArrayLike) -> PileUp:
    """Say whether more values lie just inside a limit than a smooth fall towards it would bring.

    Parameters
    ----------
    nearest, second, third
        Values in three bands of equal width, going inwards from the limit: whole numbers, any one shape. The width must
        be a multiple of the step in which values are written down.

    Returns
    -------
    PileUp
        `expected` in the nearest band, second^2 / third, were counts to go on changing by the same factor; `ratio` =
        nearest / expected; `p_value`, one-sided and exact. NaN without values to go by.

    Notes
    -----
    With a constant factor from band to band, the three counts given their sum and their lean to one side have a
    distribution without unknowns, and p is its upper tail. For the tail of a normal distribution, or any other whose
    logarithm bends down, p is too large if anything, so a pile-up is not made up. Piled-up values may come from runs
    repeated until they passed, from rounding in one's favour, or from an adjustment that stops at the limit.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; shapes that do not fit.

    Examples
    --------
    >>> r = pile_up_test(nearest=60, second=38, third=70)
    >>> f"{r.expected:.0f} expected, p {r.p_value:.1g}"
    '21 expected, p 0.002'

    Sixty values lie just inside the limit where some twenty were due.
    """
    n1, n2, n3 = arguments.same_shape(
        {
            "nearest": arguments.counts("nearest", nearest),
            "second": arguments.counts("second", second),
            "third": arguments.counts("third", third),
        }
    )
    if (n1.astype(np.float64) + n2 + n3 > MOST_VALUES).any():
        raise ValueError(f"nearest, second and third must add up to at most {MOST_VALUES:,} values for the exact test")
    p = np.array(
        [_upper_tail(int(a), int(b), int(c)) for a, b, c in zip(n1.flat, n2.flat, n3.flat, strict=True)]
    ).reshape(n1.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = np.where(n3 > 0, n2.astype(np.float64) ** 2 / n3, np.nan)
        ratio = np.where(expected > 0, n1 / expected, np.nan)
    return PileUp(
        nearest=arguments.frozen_counts(n1),
        second=arguments.frozen_counts(n2),
        third=arguments.frozen_counts(n3),
        expected=arguments.frozen(expected),
        ratio=arguments.frozen(ratio),
        p_value=arguments.frozen(p),
    )


def _upper_tail(nearest: int, second: int, third: int) -> float:
    """P(third >= seen) given nearest + second + third and nearest - third, chances as 1 / (n1! n2! n3!)."""
    total, lean = nearest + second + third, nearest - third
    if total == 0:
        return float("nan")
    far = np.arange(max(0, -lean), (total - lean) // 2 + 1, dtype=np.float64)
    log = -special.gammaln(far + lean + 1) - special.gammaln(total - lean - 2 * far + 1) - special.gammaln(far + 1)
    return float(far_tails.p_value(float(special.logsumexp(log[far >= third]) - special.logsumexp(log)), sides=1.0))


MOST_VALUES = 10_000_000
"""Values up to which all the ways are added up that they can lie in the three bands."""


def _one(name: str, given: float | None) -> float | None:
    if given is None:
        return None
    number = arguments.measurements(name, given)
    if number.ndim or np.isnan(number):
        raise ValueError(f"{name} must be one number: {given!r}")
    return float(number)


def _between(value: Numbers, sigma: float, low: float | None, high: float | None) -> Numbers:
    """Chance that a value measured with that error is found between the limits."""
    inside = np.ones_like(value)
    if sigma == 0:
        if low is not None:
            inside *= value >= low
        if high is not None:
            inside *= value <= high
        return inside
    below = 0.0 if low is None else special.ndtr((low - value) / sigma)
    above = 0.0 if high is None else special.ndtr((value - high) / sigma)
    return np.asarray(inside - below - above, dtype=np.float64)


def _risks(weight: Numbers, good: Numbers, passed: Numbers) -> tuple[float, float]:
    return float(weight @ ((1.0 - good) * passed)), float(weight @ (good * (1.0 - passed)))
