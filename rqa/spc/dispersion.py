"""Do the points spread as chance alone would have it: more, less, or in slow waves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers

CLEARLY = 0.001
"""A p-value below which a chart warns by itself that it does not fit; small, as nobody asked."""


@dataclass(frozen=True, kw_only=True)
class Dispersion:
    """What a row of standardised points says of its own spread; NaN where there are too few points to say.

    `ratio` is the variance of the points over that of chance, and `more`, `less` the chances of a ratio as high or
    as low if chance were all; `ratio_next`, `more_next` the same from the steps between neighbours alone, which slow
    waves do not raise, with their degrees of freedom. `correlation` is that of neighbours, with its two-sided p-value
    `p_correlation`.
    """

    points: int
    ratio: float
    more: float
    less: float
    ratio_next: float
    more_next: float
    less_next: float
    degrees_next: float
    correlation: float
    p_correlation: float


def standardised(values: Numbers, centre: Numbers, sigma: Numbers) -> Numbers:
    """Distances from the centre in sigmas; NaN without data, and where chance leaves no room for any distance."""
    return np.asarray((values - centre) / np.where(sigma > 0, sigma, np.nan), dtype=np.float64)


def mean_excess(excess: Numbers) -> float:
    """Mean kurtosis in excess of normal over the points that have one; 0 without any."""
    known = excess[np.isfinite(excess)]
    return float(known.mean()) if len(known) else 0.0


def dispersion(z: Numbers, *, excess: float = 0.0) -> Dispersion:
    """Spread of values in units of their own sigma around a centre estimated from them; NaN keeps its place.

    `excess` is the kurtosis of a value above that of a normal one, such as 1 / mean for a Poisson count. If chance were
    all, the sum of squares has mean m - 1 and variance (m - 1)(2 + excess); half the sum of squared steps has mean
    `steps` and variance steps (2 + excess / 2) + pairs (1 + excess / 2), with the pairs of steps that share a point.
    Both are taken as scaled chi-squared variables of that mean and variance. The correlation of neighbours has mean
    -1 / m and variance (m - 2)^2 / (m^2 (m - 1)) for m independent normal values (Moran 1948), and is taken as normal.
    """
    have = np.isfinite(z)
    m = int(have.sum())
    step = np.diff(z)
    steps = int(np.isfinite(step).sum())
    unknown = float("nan")
    if m < 3 or steps < 2:
        return Dispersion(
            points=m, ratio=unknown, more=unknown, less=unknown, ratio_next=unknown, more_next=unknown,
            less_next=unknown, degrees_next=unknown, correlation=unknown, p_correlation=unknown,
        )
    squares = float((z[have] ** 2).sum())
    half = float((step[np.isfinite(step)] ** 2).sum()) / 2.0
    pairs = int((np.isfinite(step[1:]) & np.isfinite(step[:-1])).sum())
    degrees = 2.0 * (m - 1) / (2.0 + excess)
    degrees_next = 2.0 * steps**2 / (steps * (2.0 + excess / 2.0) + pairs * (1.0 + excess / 2.0))
    r = _correlation(z, have)
    deviation = (r + 1.0 / m) / ((m - 2.0) / (m * np.sqrt(m - 1.0)))
    ratio, ratio_next = squares / (m - 1), half / steps
    return Dispersion(
        points=m,
        ratio=ratio,
        more=float(special.chdtrc(degrees, ratio * degrees)),
        less=float(special.chdtr(degrees, ratio * degrees)),
        ratio_next=ratio_next,
        more_next=float(special.chdtrc(degrees_next, ratio_next * degrees_next)),
        less_next=float(special.chdtr(degrees_next, ratio_next * degrees_next)),
        degrees_next=degrees_next,
        correlation=r,
        p_correlation=float(2.0 * special.ndtr(-abs(deviation))),
    )


def _correlation(z: Numbers, have: NDArray[np.bool_]) -> float:
    centred = z - z[have].mean()
    around = float((centred[have] ** 2).sum())
    # Rounding leaves equal values a spread of their own last bits.
    if around <= 1e-24 * max(float((z[have] ** 2).sum()), 1.0):
        return float("nan")
    product = centred[1:] * centred[:-1]
    return float(product[np.isfinite(product)].sum()) / around
