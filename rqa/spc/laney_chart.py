"""Is a share or rate steady when each period has its own chance: Laney's p' and u' charts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.spc.basis import Aside, Baseline, BaselinePoints, Mask, Stages, basis
from rqa.spc.chart import Chart, judge
from rqa.spc.dispersion import standardised
from rqa.spc.moving_range import moving_ranges, sigma_of
from rqa.spc.proportion_chart import periods, share_lines
from rqa.spc.rate_chart import exposures, rate_lines
from rqa.spc.rules import beyond_limits

METHOD = (
    "Centre as for the plain chart; sigma of a point is that of the plain chart times sigma_z, the mean moving range "
    "of the standardised points / 1.128."
)
SOURCE = "D. B. Laney, Quality Engineering 14, 2002, 531-537"


@dataclass(frozen=True, eq=False, kw_only=True)
class LaneyChart(Chart):
    """A p' or u' chart, with the counts it was made of; `sigma_z` is the spread in units of the plain chart's."""

    count: Counts
    size: Numbers
    sigma_z: Numbers


def laney_p_chart(
    *,
    count: ArrayLike,
    size: ArrayLike,
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> LaneyChart:
    """Say whether the share of each month is unusual among months that truly differ from each other.

    Parameters
    ----------
    count
        Jobs with the event in each period: whole numbers from 0 to `size`, one dimension, in time order.
    size
        Jobs in each period, of the same length, or one number for all.
    baseline, stages, set_aside
        As for `p_chart`: the points that set the limits, where the chart is split, and what is left out and why.

    Returns
    -------
    LaneyChart
        `values` = count / size, `centre`, `lower`, `upper`, `sigma`, `sigma_z`, one a point; `signals` of the rule
        "beyond the limits"; `method`, `source`, `warnings`; and the inputs.

    Notes
    -----
    Landmarks: a period of size 0 is a value without data (NaN), has no limits, gives no signal, and breaks the chain
    of moving ranges. Without two neighbouring periods that have data there is no sigma_z and there are no limits.
    Without an event (or with nothing but) in the baseline the limits are the centre. sigma_z near 1 gives the p chart.

    z = (share - centre) / sigma of the p chart; sigma_z = mean moving range of z / d2(2), d2(2) = 2 / sqrt(pi) =
    1.12838 (often rounded to 1.128); limits = centre -/+ 3 sigma sigma_z, within 0 and 1.

    For large periods, whose jobs are not of one chance (mix, season, crews), so that a p chart puts nearly every
    point out. Not a cure for a cause that can be found: what spreads the months is part of the limits.

    Raises
    ------
    ValueError
        As for `p_chart`.

    References
    ----------
    1. D. B. Laney, Quality Engineering 14, 2002, 531-537.

    Examples
    --------
    >>> chart = laney_p_chart(count=[410, 620, 480, 590, 440, 605], size=10_000)
    >>> f"{chart.sigma_z[0]:.1f}", len(chart.signals)
    ('6.2', 0)

    Months of 10,000 jobs differ 6 times as much as chance would make them; among such months none is unusual.
    """
    x, n = periods(count, size)
    chosen = basis(len(x), baseline, stages, set_aside)
    return _chart(x, n.astype(np.float64), lambda mask: share_lines(x, n, mask, "normal"), 1.0, chosen)


def laney_u_chart(
    *,
    count: ArrayLike,
    size: ArrayLike,
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> LaneyChart:
    """Say whether the faults per job of each period are unusual among periods that differ by more than chance.

    Parameters
    ----------
    count
        Events in each period: whole numbers from 0 up, one dimension, in time order.
    size
        What could have had them, as for `u_chart`.
    baseline, stages, set_aside
        As for `p_chart`.

    Returns
    -------
    LaneyChart
        `values` = count / size, `centre`, `lower`, `upper`, `sigma`, `sigma_z`, one a point; `signals` of the rule
        "beyond the limits"; `method`, `source`, `warnings`; and the inputs.

    Notes
    -----
    Landmarks: as for `laney_p_chart`; only the lower limit is bounded, by 0.

    As for `laney_p_chart`, with the sigma of the u chart.

    Raises
    ------
    ValueError
        As for `u_chart`.

    References
    ----------
    1. D. B. Laney, Quality Engineering 14, 2002, 531-537.

    Examples
    --------
    >>> chart = laney_u_chart(count=[310, 520, 350, 480, 330, 500], size=1_000)
    >>> f"{chart.sigma_z[0]:.1f}", len(chart.signals)
    ('7.2', 0)

    Periods differ 7 times as much as independent faults would make them; among such periods none is unusual.
    """
    x, n = exposures(count, size)
    chosen = basis(len(x), baseline, stages, set_aside)
    return _chart(x, n, lambda mask: rate_lines(x, n, mask, "normal"), np.inf, chosen)


def _chart(
    x: Counts,
    n: Numbers,
    plain: Callable[[Mask], tuple[Numbers, ...]],
    highest: float,
    chosen: BaselinePoints,
) -> LaneyChart:
    values = x / np.where(n == 0, np.nan, n)

    def lines(mask: Mask) -> tuple[Numbers, ...]:
        centre, sigma = plain(mask)[:2]
        # A sigma of 0 leaves no standardised distance: then the chart is the plain one.
        flat = bool((sigma[np.isfinite(sigma)] == 0).any())
        spread = 1.0 if flat else sigma_of(moving_ranges(standardised(values, centre, sigma)), mask)
        widened = sigma * spread
        return (
            centre,
            widened,
            np.maximum(centre - 3.0 * widened, 0.0),
            np.minimum(centre + 3.0 * widened, highest),
            np.full(len(x), spread),
        )

    centre, sigma, lower, upper, spread = chosen.by_stage(lines)
    return judge(
        LaneyChart(
            values=arguments.frozen(values),
            centre=arguments.frozen(centre),
            lower=arguments.frozen(lower),
            upper=arguments.frozen(upper),
            sigma=arguments.frozen(sigma),
            count=arguments.frozen_counts(x),
            size=arguments.frozen(n),
            sigma_z=arguments.frozen(spread),
            method=METHOD,
            source=SOURCE,
            warnings=_warnings(n, chosen, spread),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def _warnings(n: Numbers, chosen: BaselinePoints, spread: Numbers) -> tuple[str, ...]:
    found = list(chosen.few(n > 0))
    each = spread[list(chosen.starts)] if len(spread) else spread
    if np.isnan(each).any():
        found.append("No two neighbouring points with data set the spread between them, so there are no limits.")
    if (each < 1).any():
        found.append(
            f"The points spread less than chance would have it (sigma_z = {np.nanmin(each):.2f}), so these limits are "
            "narrower than those of the plain chart. Is the chance variation of several benches mixed in each point?"
        )
    return tuple(found)
