"""Which points are signals: the rules that a chart is put to. Each takes a chart and returns its signals."""

import numpy as np
from numpy.typing import NDArray

from rqa.spc.chart import Chart, Side, Signal

BEYOND_LIMITS = "beyond the limits"


def beyond_limits(chart: Chart) -> tuple[Signal, ...]:
    """Points above the upper or below the lower limit; a point exactly on a limit, or without data, is not out."""
    # A value and a limit that are equal on paper may differ in their last bits, in the scale of either.
    slack = 1e-9 * chart.sigma
    above = chart.values > chart.upper + slack + 1e-12 * np.abs(chart.upper)
    below = chart.values < chart.lower - slack - 1e-12 * np.abs(chart.lower)
    signals = _signals(above, BEYOND_LIMITS, "above") + _signals(below, BEYOND_LIMITS, "below")
    return tuple(sorted(signals, key=lambda signal: signal.index))


def _signals(out: NDArray[np.bool_], rule: str, side: Side) -> list[Signal]:
    return [Signal(index=int(i), rule=rule, side=side) for i in np.flatnonzero(out)]
