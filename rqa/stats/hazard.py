"""On which days after closing do units come back: the chance by day, smoothed with a stated bandwidth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.day_counts import day_counts
from rqa.stats.proportion import lower_limit, upper_limit

MOST_DAYS = 10_000
"""Every pair of days is weighed, so more (such as minutes given as days) would fill the memory."""

ROUNDING = 1e-12
"""Share of a sum below which a difference from it is rounding; a few thousand terms are short of it."""


@dataclass(frozen=True, eq=False)
class SmoothedHazard:
    """The chance to return on a day of a unit still out as it begins; the last axis of all but `day` is the days.

    `raw` is the day's own chance, returned / at risk; `jobs` says on how many jobs' worth of one day `hazard` rests.
    """

    day: Numbers
    at_risk: Counts
    returned: Counts
    bandwidth: float
    level: float
    raw: Numbers
    hazard: Numbers
    se: Numbers
    low: Numbers
    high: Numbers
    jobs: Numbers


def smoothed_hazard(
    *, day: ArrayLike, returned: ArrayLike, censored: ArrayLike, bandwidth: float, level: float = 0.95
) -> SmoothedHazard:
    """Say how likely a unit still out is to come back on each day, smoothed over the chance variation of single days.

    A hump in the first days speaks of workmanship or of faults that slipped past the tests, a flat level later on of
    new faults.

    Parameters
    ----------
    day
        Days since closing: whole numbers from 0 up, one axis. Days left out are days without an event.
    returned
        How many jobs came back on each day: whole numbers; the last axis runs over the days, axes before it over
        groups.
    censored
        How many jobs without a return were followed up to this day and no further, of the same shape.
    bandwidth
        How many days to each side are looked at: days nearer than this count, the nearest most. At least 1; 1 leaves
        each day by itself.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    SmoothedHazard
        For every day from 0 to the last: `hazard` per day with `se`, `low`, `high`, the unsmoothed `raw`, and the
        bandwidth.

    Notes
    -----
    Landmarks: where no returns are within reach the hazard is 0, `low` 0 and `high` Wilson's limit for none of `jobs`;
    where on each day within reach all returned or none, se is 0 and both limits are Wilson's for `jobs`.
    Days after the last on which anybody was followed are no data, NaN, and lend nothing to the days before.

    The raw chances d / n are averaged with Epanechnikov weights 1 - (distance / bandwidth)^2. Near both ends, where one
    side is missing, the weights are tilted by the straight line through them (local linear). So a chance that is level
    or rises in a straight line is met without lean up to the ends. se^2 = sum w^2 d (n - d) / n^3. Limits are
    hazard exp(-/+ z se / hazard); a tilt that would make the hazard negative gives 0.

    Smoothing rounds off what changes within a bandwidth: a peak of one day is lowered and widened, and the limits say
    nothing about that. Read it beside `raw`, at more than one bandwidth. How long a job was followed must say nothing
    about its chance to return.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a day that is not whole or above 10,000; a bandwidth below
        1; shapes that do not fit; a level outside (0, 1).

    References
    ----------
    1. H.-G. Müller and J.-L. Wang, Biometrics 50, 1994, 61-76 (kernels at the boundary).
    2. J. P. Klein and M. L. Moeschberger, Survival Analysis, 2nd edition 2003, section 6.2 (Epanechnikov, limits).

    Examples
    --------
    >>> r = smoothed_hazard(day=range(6), returned=[9, 6, 3, 2, 2, 2], censored=[0] * 5 + [976], bandwidth=3)
    >>> (1000 * r.hazard).round(1).tolist()
    [9.0, 6.2, 4.2, 2.8, 2.1, 2.0]

    Of 1,000 units still out, nine come back on the day of closing and two on each of the later days.
    """
    days = arguments.counts("day", day)
    width = arguments.amount("bandwidth", bandwidth)
    if width < 1:
        raise ValueError(f"bandwidth must be at least 1 day: {bandwidth!r}")
    level = arguments.share("level", level)
    if days.size and days.max() > MOST_DAYS:
        raise ValueError(f"day must be at most {MOST_DAYS}: the largest is {days.max()}")
    table = day_counts(day=days, returned=returned, censored=censored)
    every = np.arange(int(table.day[-1]) + 1 if table.day.size else 0)
    place = table.day.astype(np.int64)
    d = np.zeros((*table.returned.shape[:-1], every.size), dtype=np.int64)
    d[..., place] = table.returned
    leaving = np.zeros_like(d)
    leaving[..., place] = table.returned + table.censored
    n = leaving[..., ::-1].cumsum(axis=-1)[..., ::-1]

    known = np.maximum(n, 1).astype(np.float64)
    followed = (n > 0).astype(np.float64)
    raw = d / known
    at = _Weights(every, width, followed)
    hazard = at.mean(raw)
    se = np.sqrt(np.maximum(at.squares(raw * (1.0 - raw) / known), 0.0))
    with np.errstate(divide="ignore"):
        jobs = 1.0 / at.squares(followed / known)
    z = float(-special.ndtri((1.0 - level) / 2.0))
    some = hazard > 0
    spread = np.exp(np.minimum(z * se / np.where(some, hazard, 1.0), 700.0))
    low = np.where(some, hazard / spread, 0.0)
    high = np.where(some, np.minimum(hazard * spread, 1.0), z * z / (jobs + z * z))
    # Days on which all returned or none: their counts do not vary, though they may be few.
    alike = some & (se < 1e-6 * hazard)
    share, of = np.where(alike, np.minimum(hazard, 1.0), 0.0), np.where(alike, jobs, 1.0)
    low = np.where(alike, lower_limit(share * of, of, "wilson", level), low)
    high = np.where(alike, upper_limit(share * of, of, "wilson", level), high)
    unknown = n == 0
    raw, hazard, se, low, high, jobs = (np.where(unknown, np.nan, a) for a in (raw, hazard, se, low, high, jobs))
    return SmoothedHazard(
        day=arguments.frozen(every),
        at_risk=arguments.frozen_counts(n),
        returned=arguments.frozen_counts(d),
        bandwidth=width,
        level=level,
        raw=arguments.frozen(raw),
        hazard=arguments.frozen(hazard),
        se=arguments.frozen(se),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        jobs=arguments.frozen(jobs),
    )


class _Weights:
    """Local linear weights w = k (s2 - s1 x) / (s0 s2 - s1^2), k the kernel, x the distance, s its moments."""

    def __init__(self, every: NDArray[np.int64], width: float, followed: Numbers) -> None:
        x = (every[np.newaxis, :] - every[:, np.newaxis]) / width
        k = np.maximum(1.0 - x * x, 0.0)
        self._kx = [k.T, (k * x).T, (k * x * x).T]
        self._kkxx = [(k * k).T, (k * k * x).T, (k * k * x * x).T]
        self._followed = followed
        s0, s1, s2 = (followed @ m for m in self._kx)
        spread = s0 * s2 - s1 * s1
        # With one day within reach there is no line to lay: that day stands for itself.
        line = spread > 1e-12
        self._s1, self._s2 = np.where(line, s1, 0.0), np.where(line, s2, 1.0)
        self._whole = np.where(line, spread, np.where(s0 > 0, s0, 1.0))

    def mean(self, values: Numbers) -> Numbers:
        v0, v1, _ = (values * self._followed @ m for m in self._kx)
        level, tilt = self._s2 * v0, self._s1 * v1
        # What is left of two numbers that should cancel is no chance above 0: limits are asked of it.
        kept = level - tilt > ROUNDING * np.abs(level)
        return np.where(kept, (level - tilt) / self._whole, 0.0)

    def squares(self, values: Numbers) -> Numbers:
        v0, v1, v2 = (values * self._followed @ m for m in self._kkxx)
        return (self._s2**2 * v0 - 2.0 * self._s1 * self._s2 * v1 + self._s1**2 * v2) / self._whole**2
