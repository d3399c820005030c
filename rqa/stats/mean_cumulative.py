"""How many returns has a unit had by each age, on average: the mean cumulative function with its robust variance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.unit_times import Ends, unit_times

Variance = Literal["robust", "nelson"]


@dataclass(frozen=True, eq=False)
class MeanCumulative:
    """Mean returns per unit by day, days along the last axis; `ended` units were last seen on each `end_day`."""

    day: Numbers
    at_risk: Counts
    returned: Counts
    variance: str
    level: float
    mcf: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    end_day: Numbers
    ended: Counts

    def on_days(self, days: ArrayLike) -> MeanCumulative:
        """Read the function off on these days (from 0 up, one axis); NaN after the last day a unit was seen.

        `returned` then counts the returns up to each day since the one before it.
        """
        wanted = np.unique(arguments.amounts("days", days))
        place = np.searchsorted(self.day, wanted, side="right")
        none = np.zeros((*self.ended.shape[:-1], 1))
        unsure = np.where(self.ended.sum(axis=-1, keepdims=True) < 2, np.nan, none)
        before = ((none, self.mcf), (unsure, self.se))
        mcf, se = (np.concatenate(parts, axis=-1)[..., place] for parts in before)
        total = _after_zero(self.returned)[..., place]
        return result(
            day=wanted,
            at_risk=_at_risk(self.end_day, self.ended, wanted),
            returned=np.diff(total, prepend=0, axis=-1),
            mcf=mcf,
            se=se,
            end_day=self.end_day,
            ended=self.ended,
            variance=self.variance,
            level=self.level,
        )


def mean_cumulative_function(
    *,
    unit: ArrayLike,
    time: ArrayLike,
    end: Ends,
    variance: Variance = "robust",
    level: float = 0.95,
) -> MeanCumulative:
    """Say how many returns a unit has had on average by each age, units seen for different times.

    One bad unit that comes back five times counts as five returns of one unit here, and its weight shows in the limits.

    Parameters
    ----------
    unit
        The unit of each return: one axis, ids of any one kind; a unit may be named many times.
    time
        Age of the unit at each return (such as days since its first closing): numbers from 0 up, of the same shape.
    end
        Age of every unit as it was last seen, also of those that never returned: a mapping from unit to number or,
        for millions of units, two arrays of one length: the units and their ends.
    variance
        "robust": the sum over units of their squared influence on the mean. "nelson": each day's growth of it times
        n / (n - 1), n the units at risk, without lean at the price of being unknown (NaN) once one unit is left.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    MeanCumulative
        On each day with a return: `at_risk` units seen until then, `mcf`, `se`, `low`, `high`. `on_days` reads it off
        on other days.

    Notes
    -----
    Landmarks: before the first return the mean is 0, `low` 0 and `high` the exact Poisson limit for no return in the
    units at risk. With a single unit nothing is known of how units differ: `se` and limits are NaN. A return at the
    very end of its unit counts, and the unit is at risk on that day.

    mcf = sum over the days of returns / at risk. Its influence by one unit i is sum over the days it was at risk of
    (n_i - returns / at risk) / at risk, and se^2 the sum of the squares, so units may differ and their returns may
    bring others on; only the units must be independent. Limits are mcf exp(-/+ z se / mcf), z from Student's t with
    units - 1 degrees where there are fewer than 20 units; where all units returned just as often, and se is 0, they are
    the exact Poisson limits of all their returns.

    How long a unit was seen must say nothing about how often it returns. The mean is over units, not over jobs: it does
    not say what share of jobs comes back.

    Raises
    ------
    ValueError
        A return of a unit without an end, or after it; a unit with two ends; a time or end that is missing or below 0;
        shapes that do not fit; an unknown variance; a level outside (0, 1).

    References
    ----------
    1. W. Nelson, Technometrics 37, 1995, 147-157.
    2. J. F. Lawless and C. Nadeau, Technometrics 37, 1995, 158-168 (robust variance).
    3. W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data, 1998, chapter 16 (limits).

    Examples
    --------
    >>> r = mean_cumulative_function(unit=["A", "B", "B"], time=[5, 8, 30], end={"A": 40, "B": 40, "C": 20, "D": 40})
    >>> r.at_risk.tolist(), r.mcf.round(3).tolist()
    ([4, 4, 3], [0.25, 0.5, 0.833])

    By day 30 a unit has come back 0.83 times on average, and one of the four units did so twice.
    """
    arguments.one_of("variance", variance, get_args(Variance))
    level = arguments.share("level", level)
    seen = unit_times(unit=unit, time=time, end=end)
    times, of_unit, ends = seen.time, seen.of, seen.end
    end_day, ended = np.unique(ends, return_counts=True)
    day, at = np.unique(times, return_inverse=True)
    at_risk = _at_risk(end_day, ended, day)
    returned = np.bincount(at, minlength=day.size)

    weight = 1.0 / at_risk[at]
    order = np.lexsort((times, of_unit))
    before = _earlier_in_unit(weight[order], of_unit[order])
    squares = np.zeros(day.size)
    np.add.at(squares, at[order], weight[order] * (weight[order] + 2.0 * before))
    gone = _sums_before(day, ends[of_unit], weight)
    growth = robust_growth(returned=returned, at_risk=at_risk, squares=squares, gone=gone)
    mcf, se = curve(growth, returned=returned, at_risk=at_risk, units=ends.size, variance=variance)
    return result(
        day=day,
        at_risk=at_risk,
        returned=returned,
        mcf=mcf,
        se=se,
        end_day=end_day,
        ended=ended,
        variance=variance,
        level=level,
    )


def robust_growth(*, returned: Counts, at_risk: Counts, squares: Numbers, gone: Numbers) -> Numbers:
    """By how much the robust variance grows each day; the last axis runs over the days.

    With a(i) the sum of 1 / at risk over the returns of unit i so far, and H the sum over the days of returns / at
    risk^2, a unit's influence is a(i) - H up to its end. The sum of squares grows by `squares` (growth of the sum of
    a(i)^2), less twice that of a(i) H, plus that of H^2 over the units at risk. `gone` is the sum of a(i) over units
    whose end has passed before the day.
    """
    n = np.maximum(at_risk, 1).astype(np.float64)
    each = returned / n
    step = each / n
    level = step.cumsum(axis=-1)
    still = each.cumsum(axis=-1) - each - gone
    mixed = each * level + step * still
    return squares - 2.0 * mixed + at_risk * step * (2.0 * level - step)


def curve(
    growth: Numbers, *, returned: Counts, at_risk: Counts, units: NDArray[np.int64] | int, variance: str
) -> tuple[Numbers, Numbers]:
    """The mean and its standard error by day."""
    if variance == "nelson":
        with np.errstate(divide="ignore", invalid="ignore"):
            growth = growth * (at_risk / (at_risk - 1.0))
            growth = np.where((at_risk == 1) & (returned > 0), np.nan, np.where(returned > 0, growth, 0.0))
    se = np.sqrt(np.maximum(growth.cumsum(axis=-1), 0.0))
    lone = np.expand_dims(np.asarray(units) < 2, -1)
    return (returned / np.maximum(at_risk, 1)).cumsum(axis=-1), np.where(lone, np.nan, se)


FEW_UNITS = 20
"""Below so many units their own spread is hardly known: Student's t takes the place of the normal law."""


def limits(mcf: Numbers, se: Numbers, at_risk: Counts, units: Counts, level: float) -> tuple[Numbers, Numbers]:
    """Limits that stay above 0: mcf times and over exp(z se / mcf).

    Poisson's where no unit has returned, or all just as often: their spread says nothing then.
    """
    tail = (1.0 - level) / 2.0
    few = np.expand_dims(np.where((units > 1) & (units < FEW_UNITS), units - 1.0, np.inf), -1)
    z = -special.stdtrit(few, tail)
    some = mcf > 0
    alike = some & (se < 1e-6 * mcf)
    events = np.where(alike, mcf * at_risk, 1.0)
    n = np.maximum(at_risk, 1)
    spread = np.exp(np.minimum(z * se / np.where(some, mcf, 1.0), 700.0))
    low = np.where(some, mcf / spread, 0.0 * se)
    high = np.where(some, mcf * spread, -np.log(tail) / n + 0.0 * se)
    low = np.where(alike, special.gammaincinv(events, tail) / n, low)
    return low, np.where(alike, special.gammainccinv(events + 1.0, tail) / n, high)


def result(
    *,
    day: Numbers,
    at_risk: Counts,
    returned: Counts,
    mcf: Numbers,
    se: Numbers,
    end_day: Numbers,
    ended: Counts,
    variance: str,
    level: float,
) -> MeanCumulative:
    """The function with its limits, unknown where no unit was seen."""
    mcf, se = (np.where(at_risk == 0, np.nan, a) for a in (mcf, se))
    low, high = limits(mcf, se, at_risk, np.asarray(ended.sum(axis=-1)), level)
    return MeanCumulative(
        day=arguments.frozen(day),
        at_risk=arguments.frozen_counts(at_risk),
        returned=arguments.frozen_counts(returned),
        variance=variance,
        level=level,
        mcf=arguments.frozen(mcf),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        end_day=arguments.frozen(end_day),
        ended=arguments.frozen_counts(ended),
    )


def _at_risk(end_day: Numbers, ended: Counts, day: Numbers) -> Counts:
    seen_until = _after_zero(ended[..., ::-1])[..., ::-1]
    return seen_until[..., np.searchsorted(end_day, day)]


def _after_zero(counted: Counts) -> Counts:
    """Running sums along the last axis, with the 0 before the first."""
    sums = np.zeros((*counted.shape[:-1], counted.shape[-1] + 1), dtype=np.int64)
    sums[..., 1:] = counted.cumsum(axis=-1)
    return sums


def _earlier_in_unit(weight: Numbers, of_unit: NDArray[np.int64]) -> Numbers:
    """Sum of the weights of the unit's returns before each one, returns in order of unit and time."""
    total = weight.cumsum() - weight
    first = np.flatnonzero(np.diff(of_unit, prepend=-1))
    return total - np.repeat(total[first], np.diff(np.append(first, of_unit.size)))


def _sums_before(day: Numbers, ends: Numbers, weight: Numbers) -> Numbers:
    """Sum of the weights of returns whose unit's end lies before each day."""
    order = np.argsort(ends, kind="stable")
    total = np.concatenate(([0.0], weight[order].cumsum()))
    return total[np.searchsorted(ends[order], day)]
