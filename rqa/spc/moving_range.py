"""How far neighbours lie apart: the spread that slow changes do not enter."""

import numpy as np

from rqa.arguments import Numbers
from rqa.spc.basis import Mask
from rqa.spc.subgroup_constants import D2_OF_TWO


def moving_ranges(values: Numbers) -> Numbers:
    """Distance of each value from the one before; NaN for the first and where either is missing."""
    return np.abs(np.diff(values, prepend=np.nan))


def mean_range(ranges: Numbers, chosen: Mask) -> float:
    """Mean of the ranges whose two values are both chosen; NaN without any."""
    both = chosen & np.concatenate(([False], chosen[:-1])) if len(chosen) else chosen
    taken = ranges[both & np.isfinite(ranges)]
    return float(taken.mean()) if len(taken) else float("nan")


def sigma_of(ranges: Numbers, chosen: Mask) -> float:
    """Standard deviation that would give such ranges between independent normal neighbours."""
    return mean_range(ranges, chosen) / D2_OF_TWO
