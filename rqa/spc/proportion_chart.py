"""Is the share of jobs with a fault steady from period to period: the p chart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Counts
from rqa.spc.chart import Chart, judge
from rqa.spc.rules import beyond_limits


@dataclass(frozen=True, eq=False, kw_only=True)
class ProportionChart(Chart):
    """A p chart, with the counts it was made of and the points that set its centre."""

    count: Counts
    size: Counts
    baseline: NDArray[np.bool_]


def p_chart(*, count: ArrayLike, size: ArrayLike, baseline: slice | ArrayLike | None = None) -> ProportionChart:
    """Say whether the share of come-backs (or failures) of each month is within the pattern of chance.

    Parameters
    ----------
    count
        Jobs with the event in each period: whole numbers from 0 to `size`, one dimension, in time order.
    size
        Jobs in each period, of the same length, or one number for all.
    baseline
        The points that set the centre and limits: a slice, or one true/false a point. None takes all of them (trial
        limits). Points outside a baseline are judged against it but do not move it.

    Returns
    -------
    ProportionChart
        `values` = count / size, `centre`, `lower`, `upper`, `sigma`, one a point; `signals` of the rule "beyond the
        limits"; and the inputs.

    Notes
    -----
    Landmarks: a period of size 0 is a value without data (NaN), has no limits and gives no signal. Limits stay
    within 0 and 1, and a value on its limit is not out. Without an event in the baseline the limits are 0, and the
    first event is a signal: such a baseline is too short or the event too rare for this chart. A baseline without
    any job leaves the centre unknown, NaN.

    Centre = all events / all jobs of the baseline; sigma of a period = sqrt(centre (1 - centre) / size); limits =
    centre -/+ 3 sigma, so they are wider for smaller periods.

    It takes every job of a period as having one chance. Very large periods show more spread than that, and nearly
    every point falls out; then this chart is the wrong one. Below about five expected events a period the limits
    are rough, and the lower one is 0. A month whose jobs have not been followed up long enough must not be among
    the points.

    Raises
    ------
    ValueError
        Counts that are missing, negative, not whole, above their size or of another length; a baseline of another
        length, of other than true/false, or that takes no point.

    References
    ----------
    1. W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931.
    2. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2.

    Examples
    --------
    >>> chart = p_chart(count=[4, 6, 5, 19], size=[100, 120, 80, 110], baseline=slice(0, 3))
    >>> [(signal.index, signal.side) for signal in chart.signals], chart.centre[0]
    ([(3, 'above')], np.float64(0.05))

    Against the first three months (5 % came back), the fourth with 17 % is above what chance would give.
    """
    x, n = arguments.part_and_whole("count", count, "size", size)
    if x.ndim != 1:
        raise ValueError(f"count must be one number a period, in one dimension: shape {x.shape}")
    chosen = _baseline(baseline, len(x))
    jobs = int(n[chosen].sum())
    centre = int(x[chosen].sum()) / jobs if jobs else np.nan
    size_or_nan = np.where(n == 0, np.nan, n)
    sigma = np.sqrt(centre * (1.0 - centre) / size_or_nan)
    return judge(
        ProportionChart(
            values=arguments.frozen(x / size_or_nan),
            centre=arguments.frozen(np.full(len(x), centre)),
            lower=arguments.frozen(np.maximum(centre - 3.0 * sigma, 0.0)),
            upper=arguments.frozen(np.minimum(centre + 3.0 * sigma, 1.0)),
            sigma=arguments.frozen(sigma),
            count=arguments.frozen_counts(x),
            size=arguments.frozen_counts(n),
            baseline=chosen,
        ),
        beyond_limits,
    )


def _baseline(given: slice | ArrayLike | None, points: int) -> NDArray[np.bool_]:
    if given is None:
        chosen = np.ones(points, dtype=np.bool_)
    elif isinstance(given, slice):
        chosen = np.zeros(points, dtype=np.bool_)
        chosen[given] = True
    else:
        chosen = np.array(given)
        if chosen.dtype != np.bool_ or chosen.shape != (points,):
            raise ValueError(
                f"baseline must be a slice or one true/false for each of the {points} points: "
                f"{chosen.dtype} of shape {chosen.shape}"
            )
    if points and not chosen.any():
        raise ValueError(f"baseline must take at least one of the {points} points: {given!r}")
    chosen.setflags(write=False)
    return chosen
