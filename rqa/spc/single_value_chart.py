"""Is a measured figure steady from one value to the next: the individuals chart with its moving ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.basis import Aside, Baseline, BaselinePoints, Mask, Stages, basis
from rqa.spc.chart import Chart, judge
from rqa.spc.moving_range import mean_range, moving_ranges
from rqa.spc.rules import beyond_limits
from rqa.spc.subgroup_constants import D2_OF_TWO, constants

METHOD = "Centre = mean; limits 3 sigma from it, with sigma = mean moving range / d2(2), d2(2) = 1.12838."
RANGE_METHOD = "Centre = mean moving range; upper limit = D4(2) x that, D4(2) = 3.26653; lower limit 0."
SOURCE = "NIST/SEMATECH e-Handbook 6.3.2.2; W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931"


@dataclass(frozen=True, eq=False, kw_only=True)
class IndividualsChart(Chart):
    """A chart of single values, with the chart of the distances between neighbours in `spread`."""

    spread: Chart


def individuals_chart(
    values: ArrayLike, *, baseline: Baseline = None, stages: Stages = (), set_aside: Aside = None
) -> IndividualsChart:
    """Say whether a measured figure (hours on the bench, torque, gap width) is within its own pattern of chance.

    Parameters
    ----------
    values
        One number a point, in time order; NaN where nothing was measured.
    baseline, stages, set_aside
        As for `p_chart`: the points that set the limits, where the chart is split, and what is left out and why.

    Returns
    -------
    IndividualsChart
        `values`, `centre`, `lower`, `upper`, `sigma`, one a point; `signals` of the rule "beyond the limits"; the
        moving ranges as a chart of their own in `spread`; `method`, `source`, `warnings`.

    Notes
    -----
    Landmarks: a missing value has no limits, gives no signal, and leaves two moving ranges out; so does a point set
    aside. No range is taken across a split. One value, or no two neighbours, gives a centre but no limits (NaN).
    Values that are all equal have limits equal to the centre, so any other value is a signal.

    sigma = mean moving range / d2(2), with d2(2) = 2 / sqrt(pi) = 1.12838; limits = mean -/+ 3 sigma. Limits printed
    with 1.128 differ in about the fourth digit.

    It takes the values as independent and roughly normal. Values that drift in waves have small moving ranges and
    fall out all the time; strongly skewed ones (durations) fall out on their long side: chart their logarithm.

    Raises
    ------
    ValueError
        Values that are not numbers, infinite, or of more than one dimension; a baseline, stages or points set aside
        that do not fit.

    References
    ----------
    1. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.

    Examples
    --------
    >>> chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> f"{chart.lower[0]:.2f} to {chart.upper[0]:.2f}", chart.signals
    ('45.82 to 55.80', ())

    Values between 45.8 and 55.8 are what this process gives by itself; none was outside.
    """
    x = arguments.measurements("values", values)
    if x.ndim != 1:
        raise ValueError(f"values must be one number a point, in one dimension: shape {x.shape}")
    return of_values(x, basis(len(x), baseline, stages, set_aside))


def of_values(x: Numbers, chosen: BaselinePoints) -> IndividualsChart:
    """The chart of checked values on a checked basis."""
    ranges = _ranges(x, chosen)
    middle, sigma, lower, upper, mean, sigma_range, upper_range = chosen.by_stage(lambda mask: _lines(x, ranges, mask))
    have, step = np.isfinite(x), np.isfinite(ranges)
    spread = judge(
        Chart(
            values=arguments.frozen(ranges),
            centre=arguments.frozen(mean),
            lower=arguments.frozen(np.where(step, 0.0 * mean, np.nan)),
            upper=arguments.frozen(np.where(step, upper_range, np.nan)),
            sigma=arguments.frozen(np.where(step, sigma_range, np.nan)),
            method=RANGE_METHOD,
            source=SOURCE,
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )
    return judge(
        IndividualsChart(
            values=arguments.frozen(x),
            centre=arguments.frozen(middle),
            lower=arguments.frozen(np.where(have, lower, np.nan)),
            upper=arguments.frozen(np.where(have, upper, np.nan)),
            sigma=arguments.frozen(np.where(have, sigma, np.nan)),
            spread=spread,
            method=METHOD,
            source=SOURCE,
            warnings=_warnings(have, sigma, chosen),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def _ranges(x: Numbers, chosen: BaselinePoints) -> Numbers:
    ranges = moving_ranges(np.where(chosen.kept, x, np.nan))
    ranges[[start for start in chosen.starts if start < len(x)]] = np.nan
    return ranges


def _lines(x: Numbers, ranges: Numbers, mask: Mask) -> tuple[Numbers, ...]:
    taken = x[mask & np.isfinite(x)]
    middle = float(taken.mean()) if len(taken) else float("nan")
    mean = mean_range(ranges, mask)
    sigma = mean / D2_OF_TWO
    two = constants(2)
    rows = (middle, sigma, middle - 3.0 * sigma, middle + 3.0 * sigma, mean, two.d3 * sigma, two.D4 * mean)
    return tuple(np.full(len(x), row) for row in rows)


def _warnings(have: Mask, sigma: Numbers, chosen: BaselinePoints) -> tuple[str, ...]:
    found = list(chosen.few(have))
    each = sigma[list(chosen.starts)] if len(sigma) else sigma
    if np.isnan(each).any():
        found.append("No two neighbouring values set the spread between them, so there are no limits.")
    if (each == 0).any():
        found.append("All neighbouring values are equal, so the limits are the centre: is the figure rounded too far?")
    return tuple(found)
