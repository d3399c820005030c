"""Do the points spread as chance alone would have it: more, less, or in slow waves."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from rqa.arguments import Numbers

CLEARLY = 0.001
"""A p-value below which a chart warns by itself that it does not fit; small, as nobody asked."""


@dataclass(frozen=True, kw_only=True)
class Dispersion:
    """What a row of standardised points says of its own spread; NaN where there are too few points to say.

    `ratio` is the variance of the points over that of chance, and `more`, `less` the chances of a ratio as high or
    as low if chance were all; `ratio_next`, `more_next` the same from the steps between neighbours alone, which slow
    waves do not raise. `correlation` is that of neighbours, with its two-sided p-value `p_correlation`.
    """

    points: int
    ratio: float
    more: float
    less: float
    ratio_next: float
    more_next: float
    less_next: float
    correlation: float
    p_correlation: float


def standardised(values: Numbers, centre: Numbers, sigma: Numbers) -> Numbers:
    """Distances from the centre in sigmas; NaN without data, and where chance leaves no room for any distance."""
    return np.asarray((values - centre) / np.where(sigma > 0, sigma, np.nan), dtype=np.float64)


def dispersion(z: Numbers) -> Dispersion:
    """Spread of values in units of their own sigma around a centre estimated from them; NaN keeps its place.

    If chance were all, the sum of squares is near a chi-squared variable of one degree less than points. Half the
    sum of squared steps has mean `steps` and variance 2 steps + (pairs of steps that share a point), and is taken as
    a scaled chi-squared variable of that mean and variance. The correlation of neighbours has mean -1/m and variance
    (m - 2)^2 / (m^2 (m - 1)) for m independent normal values (Moran 1948), and is taken as normal.
    """
    have = np.isfinite(z)
    m = int(have.sum())
    step = np.diff(z)
    steps = int(np.isfinite(step).sum())
    if m < 3 or steps < 2:
        unknown = float("nan")
        return Dispersion(
            points=m, ratio=unknown, more=unknown, less=unknown, ratio_next=unknown, more_next=unknown,
            less_next=unknown, correlation=unknown, p_correlation=unknown,
        )  # fmt: skip
    squares = float((z[have] ** 2).sum())
    half = float((step[np.isfinite(step)] ** 2).sum()) / 2.0
    shared = int((np.isfinite(step[1:]) & np.isfinite(step[:-1])).sum())
    variance = 2.0 * steps + shared
    scale, degrees = variance / (2.0 * steps), 2.0 * steps**2 / variance
    centred = z - z[have].mean()
    around = float((centred[have] ** 2).sum())
    product = centred[1:] * centred[:-1]
    # Rounding leaves equal values a spread of their own last bits.
    flat = around <= 1e-24 * max(squares, 1.0)
    r = float("nan") if flat else float(product[np.isfinite(product)].sum()) / around
    deviation = (r + 1.0 / m) / ((m - 2.0) / (m * np.sqrt(m - 1.0)))
    return Dispersion(
        points=m,
        ratio=squares / (m - 1),
        more=float(special.chdtrc(m - 1, squares)),
        less=float(special.chdtr(m - 1, squares)),
        ratio_next=half / steps,
        more_next=float(special.chdtrc(degrees, half / scale)),
        less_next=float(special.chdtr(degrees, half / scale)),
        correlation=r,
        p_correlation=float(2.0 * special.ndtr(-abs(deviation))),
    )
