"""A gauge study by averages and ranges, with factors from their definition."""

from functools import lru_cache

import numpy as np
from scipy import special

from rqa.arguments import Numbers

MANY = 15
"""From more ranges than this on, their mean is taken as free of the small-sample factor (common practice)."""


def by_averages_and_ranges(values: Numbers) -> tuple[float, float, float]:
    """Variances of repeatability, of appraisers and of parts, from parts x appraisers x trials.

    The mean range of the trials over d2; the range of the appraisers' means over d2*, less what repeatability puts into
    it; the range of the parts' means over d2*. d2* = sqrt(d2^2 + d3^2 / k) for the mean of k ranges.
    """
    parts, appraisers, trials = values.shape
    repeatability = float(np.ptp(values, axis=2).mean()) / range_factor(trials, parts * appraisers)
    appraiser = 0.0
    if appraisers > 1:
        apart = float(np.ptp(values.mean(axis=(0, 2)))) / range_factor(appraisers, 1)
        appraiser = max(apart**2 - repeatability**2 / (parts * trials), 0.0)
    part = float(np.ptp(values.mean(axis=(1, 2)))) / range_factor(parts, 1)
    return repeatability**2, appraiser, part**2


@lru_cache(maxsize=256)
def range_factor(size: int, ranges: int) -> float:
    """Root of the expected square of the mean range of so many normal samples of that size (d2*), d2 for many."""
    x = np.arange(-9.0, 9.0, 0.02)
    node, weight = np.polynomial.legendre.leggauss(120)
    r, weight = 7.0 * (node + 1.0), 7.0 * weight
    phi = np.exp(-(x**2) / 2.0) / np.sqrt(2.0 * np.pi)
    upper = x[None, :] + r[:, None]
    gap = special.ndtr(upper) - special.ndtr(x)[None, :]
    above = np.exp(-(upper**2) / 2.0) / np.sqrt(2.0 * np.pi)
    density = size * (size - 1.0) * (phi[None, :] * above * gap ** (size - 2)).sum(axis=1) * 0.02
    mean = float((weight * r * density).sum())
    square = float((weight * r**2 * density).sum())
    return mean if ranges > MANY else float(np.sqrt(mean**2 + (square - mean**2) / ranges))
