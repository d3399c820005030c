"""Defects per unit and per million opportunities, with limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.standardised import poisson_limits


@dataclass(frozen=True, eq=False)
class DefectRate:
    """Defects per unit (`dpu`) and per million opportunities (`dpmo`) with their limits; no exposure is NaN."""

    defects: Counts
    exposures: Numbers
    opportunities: Numbers
    level: float
    dpu: Numbers
    dpu_low: Numbers
    dpu_high: Numbers
    dpmo: Numbers
    dpmo_low: Numbers
    dpmo_high: Numbers


def defect_rate(
    *, defects: ArrayLike, exposures: ArrayLike, opportunities: ArrayLike = 1.0, level: float = 0.95
) -> DefectRate:
    """Say how many defects a unit of work had, and how many in a million chances to make one.

    Parameters
    ----------
    defects
        Defects found: whole numbers from 0 up, any shape.
    exposures
        Units of work they were found in (jobs, attempts at a step), of the same shape or one number for all.
    opportunities
        Chances of a defect in each unit (connectors reseated, screws placed), above 0; of the same shape or one number
        for all.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    DefectRate
        `dpu` = defects / exposures, `dpmo` = defects / (exposures x opportunities) x 10^6, each with limits.

    Notes
    -----
    Landmarks: no defect gives 0 with a finite upper limit; no exposure is no data, NaN. A unit can have several
    defects, so `dpu` may be above 1.

    Limits are exact Poisson ones, with a coverage never below `level` if defects come independently of each other.
    Where one bad act makes many defects at once they are too narrow.

    DPMO makes work of unlike size comparable only if opportunities are counted alike. Counting more of them makes any
    bench look better, so take them from the procedures and leave them there.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; exposures that are missing, negative or infinite;
        opportunities that are not above 0; shapes that do not fit; a level outside (0, 1).

    References
    ----------
    1. F. Garwood, Biometrika 28, 1936, 437-442 (limits).

    Examples
    --------
    >>> r = defect_rate(defects=6, exposures=500, opportunities=24)
    >>> f"{r.dpu:.3f} a unit; {r.dpmo:.0f} ({r.dpmo_low:.0f} to {r.dpmo_high:.0f}) in a million"
    '0.012 a unit; 500 (183 to 1088) in a million'

    Six in 500 jobs of 24 connectors each is one in 2,000 connectors, and could in truth be one in 920.
    """
    arrays = {
        "defects": arguments.counts("defects", defects).astype(np.float64),
        "exposures": arguments.amounts("exposures", exposures),
        "opportunities": arguments.above_zero("opportunities", opportunities),
    }
    x, units, chances = arguments.same_shape(arrays)
    level = arguments.share("level", level)
    per_unit = 1.0 / np.where(units == 0, np.nan, units)
    ends = [end * per_unit for end in (x, *poisson_limits(x, (1.0 - level) / 2.0))]
    return DefectRate(
        arguments.frozen_counts(x.astype(np.int64)),
        arguments.frozen(units),
        arguments.frozen(chances),
        level,
        *(arguments.frozen(end) for end in ends),
        *(arguments.frozen(end / chances * 1e6) for end in ends),
    )
