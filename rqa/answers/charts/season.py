"""Whether the points of a chart follow the season, so that its limits do not keep their promise of false alarms."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

SPAN = 668
"""Days from the first point to the last, two years of months: in less, a season looks the same as a slow change."""
LEAST = 20
"""Points below which no season is looked for."""
CLEAR = 0.05
"""Chance of such a wave without any season, below which it is named: naming it costs a caution and no signal."""
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")


@dataclass(frozen=True)
class Season:
    """A yearly wave through the points: its height above the middle, the month of its peak, its p-value."""

    height: float
    peak: str
    p_value: float

    def said(self, middle: float) -> str:
        """The caution on a chart whose points follow it."""
        share = f", by {self.height / middle * 100:.0f} % of the middle" if middle > 0 else ""
        return (
            f"The points follow the season: they are highest about {self.peak}{share} (p = {self.p_value:.2g}). A "
            "signal may be the season's, so how often steady work raises an alarm cannot be promised. Compare with the "
            "same months of the year before."
        )


def season(values: NDArray[np.float64], weights: NDArray[np.float64], days: Sequence[date]) -> Season | None:
    """A yearly wave, fitted by weighted least squares; None where none is clear or the points span too little.

    The F test of cosine and sine against what is left allows for points that vary more than chance.
    """
    known = np.isfinite(values) & (weights > 0)
    if known.sum() < LEAST or (days[-1] - days[0]).days < SPAN:
        return None
    y, root = values[known], np.sqrt(weights[known])
    half = min(b - a for a, b in pairwise(days)) / 2  # a point stands for the middle of its period
    angle = 2.0 * np.pi * np.array([(d + half).timetuple().tm_yday for d in days])[known] / 365.25
    wave = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1) * root[:, np.newaxis]
    fit, *_ = np.linalg.lstsq(wave, y * root, rcond=None)
    left = float(((y * root - wave @ fit) ** 2).sum())
    whole = float((root**2 * (y - (root**2 * y).sum() / (root**2).sum()) ** 2).sum())
    free = len(y) - 3
    # Rounding leaves equal values a spread of their own last bits.
    if left <= 1e-12 * whole or whole <= 1e-24 * float((root**2 * y**2).sum()):
        return None
    p = float(special.fdtrc(2, free, (whole - left) / 2.0 / (left / free)))
    if p >= CLEAR:
        return None
    peak = float(np.arctan2(fit[2], fit[1])) % (2.0 * np.pi)
    return Season(float(np.hypot(fit[1], fit[2])), MONTHS[int(peak / (2.0 * np.pi) * 12.0) % 12], p)
