"""How does a unit's return rate change with its age: the power law (Crow-AMSAA) fitted by maximum likelihood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.ageing import Ageing, Truncation, ageing
from rqa.stats.unit_times import Ends

Scales = Literal["common", "own"]

DRAWS = 1999
SETTLED = 200
"""The distribution of the goodness-of-fit statistic hardly changes beyond this many returns."""


@dataclass(frozen=True, eq=False)
class PowerLawFit:
    """Mean returns of a unit up to age t are scale t^shape; `shape` above 1: more and more often. NaN where unknown.

    `intensity` is the rate of a unit at the age `at` (the latest end), `mtbf` its inverse, the mean time between
    returns. The `unbiased` figures use (n - 1) / n of the shape. `goodness_p` tests whether a power law fits.
    """

    returns: int
    units: int
    truncation: str
    scales: str
    level: float
    shape: float
    shape_low: float
    shape_high: float
    scale: float
    at: float
    intensity: float
    intensity_low: float
    intensity_high: float
    mtbf: float
    mtbf_low: float
    mtbf_high: float
    unbiased_shape: float
    unbiased_scale: float
    unbiased_mtbf: float
    cramer_von_mises: float
    goodness_p: float

    def expected(self, age: ArrayLike) -> Numbers:
        """Mean returns of a unit up to this age (from 0 up, any shape)."""
        return arguments.frozen(self.scale * arguments.amounts("age", age) ** self.shape)


def power_law_fit(
    *,
    time: ArrayLike,
    end: float | Ends | None = None,
    unit: ArrayLike | None = None,
    truncation: Truncation = "time",
    scales: Scales = "common",
    level: float = 0.95,
) -> PowerLawFit:
    """Say whether units come back more or less often as they age, how fast that changes, and the rate by now.

    Parameters
    ----------
    time
        Age of the unit at each return (such as days since its first closing): numbers above 0, one axis. To whole days
        counted from 0 add a half.
    end
        Age at which the unit was last seen: one number, or with `unit` a mapping from unit to number (or two arrays:
        units and ends), units that never returned too. Left out when truncation is "failure".
    unit
        The unit of each return, when they are of several.
    truncation
        "time": watched until a time set beforehand. "failure": watched until the last return.
    scales
        "common": all units have one rate, so that the number of returns of long and short watched units counts too.
        "own": each unit may have a rate of its own, and only the shape is common; `scale` and the rates are then
        those of the mean unit. For units watched equally long both are the same.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    PowerLawFit
        `shape`, `scale`, `intensity` and `mtbf` at the latest end, with limits; the unbiased shape and what follows
        from it; the Cramer-von Mises statistic with its p-value.

    Notes
    -----
    Landmarks: shape 1 is a steady rate. No return is no data, NaN; so is "failure" truncation with a single return a
    unit, and returns that all lie at their units' ends. `unbiased` figures need two returns beyond those of landmarks.

    The returns of a unit are a Poisson process of rate scale shape t^(shape - 1). With ends T all alike, shape =
    n / sum log(T / t) and its limits are exact: 2 n shape / estimate is chi-square in 2 n degrees of freedom (2 (n -
    units) with "failure" truncation). With ends that differ, "own" keeps that, and "common" solves n / shape + sum
    log t = n sum T^shape log T / sum T^shape, with likelihood-ratio limits. Limits of the rate are
    those of its logarithm, from the information matrix, and are rough for fewer than ten returns. The Cramer-von Mises
    statistic uses the unbiased shape; its p-value comes from 1,999 simulated sets with a fixed seed.

    Not for returns that bring others on (a repair that spoils the next): ages must be independent. Units that differ in
    rate make the limits of the rates too narrow; `mean_cumulative_function` has none of these assumptions.

    Raises
    ------
    ValueError
        A time that is missing, 0 or below, or after its unit's end; an end missing, or given where it must not be; an
        unknown truncation or scales; a level outside (0, 1).

    References
    ----------
    1. L. H. Crow, in Reliability and Biometry (F. Proschan and R. J. Serfling, eds), SIAM 1974, 379-410.
    2. MIL-HDBK-189, Reliability Growth Management, 1981, appendix C.

    Examples
    --------
    >>> r = power_law_fit(time=[5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], end=1500)
    >>> f"{r.shape:.2f} ({r.shape_low:.2f} to {r.shape_high:.2f}), {r.mtbf:.0f} hours"
    '0.54 (0.26 to 0.92), 279 hours'

    Returns thin out with age: by 1,500 hours one is to be expected in about 280.
    """
    arguments.one_of("scales", scales, get_args(Scales))
    level = arguments.share("level", level)
    data = ageing(time=time, end=end, unit=unit, truncation=truncation)
    n, free = data.time.size, int(data.free.sum())
    logs = float(-np.log(data.part).sum())
    at = float(data.end.max(initial=0.0))
    nan = float("nan")
    shape = low = high = scale = unbiased = unbiased_scale = unbiased_mtbf = nan
    rate = (nan, nan, nan)
    if free and logs > 0:
        alike = scales == "own" or bool((data.end == at).all())
        shape = n / logs if alike else _common_shape(data)
        tails = np.array([(1 - level) / 2, (1 + level) / 2])
        low, high = special.gammaincinv(free, tails) / logs if alike else _likelihood_ends(data, shape, level)
        scale = _scale(data, shape)
        rate = _rate(data, shape, level)
        if free > 1:
            unbiased = (free - 1) / logs
            unbiased_scale = _scale(data, unbiased)
            unbiased_mtbf = 1 / _rate(data, unbiased, level)[0]
    statistic, p = _fit(data, unbiased)
    return PowerLawFit(
        returns=n,
        units=data.end.size,
        truncation=truncation,
        scales=scales,
        level=level,
        shape=shape,
        shape_low=float(low),
        shape_high=float(high),
        scale=scale,
        at=at,
        intensity=rate[0],
        intensity_low=rate[1],
        intensity_high=rate[2],
        mtbf=1 / rate[0],
        mtbf_low=1 / rate[2],
        mtbf_high=1 / rate[1],
        unbiased_shape=unbiased,
        unbiased_scale=unbiased_scale,
        unbiased_mtbf=unbiased_mtbf,
        cramer_von_mises=statistic,
        goodness_p=p,
    )


def _relative(data: Ageing) -> tuple[float, Numbers, Numbers]:
    """The latest end, each end over it, and the logarithm of that; an end of 0 adds nothing to any sum."""
    at = float(data.end.max())
    ends = data.end / at
    return at, ends, np.log(np.where(ends > 0, ends, 1.0))


def _scale(data: Ageing, shape: float) -> float:
    at, ends, _ = _relative(data)
    with np.errstate(over="ignore"):
        return float(np.exp(np.log(data.time.size / (ends**shape).sum()) - shape * np.log(at)))


def _rate(data: Ageing, shape: float, level: float) -> tuple[float, float, float]:
    """Returns per unit and day at the latest end, with limits."""
    n = data.time.size
    at, ends, logs = _relative(data)
    power = ends**shape
    mean = n * power / power.sum()
    mixed = (mean * logs).sum()
    information = np.array([[n, mixed], [mixed, n / shape**2 + (mean * logs**2).sum()]])
    # With ages relative to the latest end, log rate there moves with log scale by 1 and with the shape by 1 / shape.
    slope = np.array([1.0, 1.0 / shape])
    spread = float(np.exp(special.ndtri((1 + level) / 2) * np.sqrt(slope @ np.linalg.solve(information, slope))))
    rate = float(n * shape / (at * power.sum()))
    return rate, rate / spread, rate * spread


def _common_shape(data: Ageing) -> float:
    from scipy import optimize  # a third of a second to import, so only when it is asked for

    at, ends, logs = _relative(data)
    seen = float(np.log(data.time / at).sum())

    def slope(log_shape: float) -> float:
        power = ends ** np.exp(log_shape)
        return float(data.time.size * (np.exp(-log_shape) - (power * logs).sum() / power.sum()) + seen)

    # The mean of log T, however weighed, is at most that of the latest end: so the shape is at least n / -seen.
    low = float(np.log(data.time.size / -seen)) - 1e-9
    high = low + 1.0
    while slope(high) > 0:
        high += 1.0
    return float(np.exp(optimize.brentq(slope, low, high, xtol=1e-14, rtol=1e-14)))


def _likelihood_ends(data: Ageing, shape: float, level: float) -> tuple[float, float]:
    from scipy import optimize

    at, ends, _ = _relative(data)
    seen = float(np.log(data.time / at).sum())

    def profile(log_shape: float) -> float:
        """Log-likelihood at this shape and its best scale, less a constant."""
        power = ends ** np.exp(log_shape)
        return float(data.time.size * (log_shape - np.log(power.sum())) + np.exp(log_shape) * seen)

    best = float(np.log(shape))
    enough = profile(best) - float(special.ndtri((1 + level) / 2)) ** 2 / 2

    def above(log_shape: float) -> float:
        return profile(log_shape) - enough

    # A shape e^25 times off is less likely than any interval allows for.
    low, high = optimize.brentq(above, best - 25.0, best), optimize.brentq(above, best, best + 25.0)
    return float(np.exp(low)), float(np.exp(high))


def _fit(data: Ageing, unbiased: float) -> tuple[float, float]:
    size = int(data.free.sum())
    if not np.isfinite(unbiased):
        return float("nan"), float("nan")
    statistic = float(_cramer_von_mises(data.part[data.free], unbiased))
    drawn = np.random.default_rng(189).random((DRAWS, min(size, SETTLED)))
    shapes = (drawn.shape[1] - 1) / -np.log(drawn).sum(axis=1, keepdims=True)
    as_far = int((_cramer_von_mises(drawn, shapes) >= statistic).sum())
    return statistic, (1 + as_far) / (1 + DRAWS)


def _cramer_von_mises(parts: Numbers, shape: float | Numbers) -> Numbers:
    size = parts.shape[-1]
    middle = (2 * np.arange(1, size + 1) - 1) / (2 * size)
    return 1 / (12 * size) + ((np.sort(parts, axis=-1) ** shape - middle) ** 2).sum(axis=-1)
