"""Thousands of charts at once: one row a chart (step x technician x site), one column a period."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc import proportion_chart, rate_chart
from rqa.spc.basis import Baseline, BaselinePoints, Mask, Stages, basis
from rqa.spc.chart import Chart
from rqa.spc.probability_limits import Limits
from rqa.spc.rules import beyond_limits


@dataclass(frozen=True, eq=False, kw_only=True)
class ManyCharts(Chart):
    """Charts side by side: every array is of shape (charts, periods).

    `above` and `below` are true for the points beyond the limits; `signals` stays empty. `rqa.spc.signal_masks`
    takes these charts for any other rule.
    """

    count: Numbers
    size: Numbers
    limits: Limits
    above: Mask
    below: Mask

    @property
    def out(self) -> Mask:
        """True for the points beyond either limit."""
        return self.above | self.below


def p_charts(
    *, count: ArrayLike, size: ArrayLike, limits: Limits = "normal", baseline: Baseline = None, stages: Stages = ()
) -> ManyCharts:
    """Say of thousands of series of shares at once which periods are outside the pattern of chance of their series.

    Parameters
    ----------
    count
        Jobs with the event: whole numbers from 0 to `size`, of shape (charts, periods), periods in time order.
    size
        Jobs, of the same shape, or one number for all.
    limits
        As for `p_chart`.
    baseline
        The periods that set the limits of every chart: a slice, one true/false a period, or one a chart and period.
    stages
        Places of the periods at which every chart is split.

    Returns
    -------
    ManyCharts
        `values`, `centre`, `lower`, `upper`, `sigma` of shape (charts, periods), and the masks `above`, `below` and
        `out`. Each row equals the `p_chart` of that row.

    Notes
    -----
    Landmarks: a period of size 0 is NaN and gives no signal; a chart without any job in its baseline is NaN throughout.
    The results are as those of `p_chart`, without its warnings.

    Among 10,000 charts of 36 periods chance alone puts about a thousand points out. Do not act on each: compare their
    number with what chance gives, or control the false discoveries over all.

    Raises
    ------
    ValueError
        As for `p_chart`; counts that are not of shape (charts, periods).

    References
    ----------
    1. As for `p_chart`.

    Examples
    --------
    >>> charts = p_charts(count=[[4, 6, 5, 19], [1, 0, 2, 1]], size=100, baseline=slice(0, 3))
    >>> charts.out.tolist()
    [[False, False, False, True], [False, False, False, False]]

    In the first series the fourth month is out; the second is quiet.
    """
    arguments.one_of("limits", limits, get_args(Limits))
    x, n = arguments.part_and_whole("count", count, "size", size)
    chosen = _basis(x, baseline, stages)
    rows = chosen.by_stage(lambda mask: proportion_chart.share_lines(x, n, mask, limits))
    method, source = proportion_chart.METHODS[limits], proportion_chart.SOURCE
    return _charts(x.astype(np.float64), n.astype(np.float64), rows, chosen, limits, method, source)


def u_charts(
    *, count: ArrayLike, size: ArrayLike, limits: Limits = "normal", baseline: Baseline = None, stages: Stages = ()
) -> ManyCharts:
    """Say of thousands of series of faults per job at once which periods are outside the pattern of chance.

    Parameters
    ----------
    count
        Events: whole numbers from 0 up, of shape (charts, periods), periods in time order.
    size
        What could have had them, as for `u_chart`, of the same shape, or one number for all.
    limits, baseline, stages
        As for `p_charts`.

    Returns
    -------
    ManyCharts
        As for `p_charts`. Each row equals the `u_chart` of that row.

    Notes
    -----
    Landmarks and caution as for `p_charts`.

    Raises
    ------
    ValueError
        As for `u_chart`; counts that are not of shape (charts, periods).

    References
    ----------
    1. As for `u_chart`.

    Examples
    --------
    >>> charts = u_charts(count=[[12, 9, 14, 30], [2, 1, 0, 3]], size=10.0, baseline=slice(0, 3))
    >>> charts.out.tolist()
    [[False, False, False, True], [False, False, False, False]]

    In the first series the fourth period is out; the second is quiet.
    """
    arguments.one_of("limits", limits, get_args(Limits))
    x, n = rate_chart.counted_on(count, size)
    chosen = _basis(x, baseline, stages)
    rows = chosen.by_stage(lambda mask: rate_chart.rate_lines(x, n, mask, limits))
    return _charts(x.astype(np.float64), n, rows, chosen, limits, rate_chart.METHODS[limits], rate_chart.SOURCE)


def _basis(count: arguments.Counts, baseline: Baseline, stages: Stages) -> BaselinePoints:
    if count.ndim != 2:
        raise ValueError(f"count must be of shape (charts, periods): shape {count.shape}")
    return basis(count.shape[1], baseline, stages, None, charts=count.shape[0])


def _charts(
    x: Numbers, n: Numbers, rows: tuple[Numbers, ...], chosen: BaselinePoints, limits: Limits, method: str, source: str
) -> ManyCharts:
    centre, sigma, lower, upper = rows
    values = x / np.where(n == 0, np.nan, n)
    lines = Chart(values=values, centre=centre, lower=lower, upper=upper, sigma=sigma)
    masks = beyond_limits.masks(lines)
    for mask in masks.values():
        mask.setflags(write=False)
    return ManyCharts(
        values=arguments.frozen(values),
        centre=arguments.frozen(centre),
        lower=arguments.frozen(lower),
        upper=arguments.frozen(upper),
        sigma=arguments.frozen(sigma),
        count=arguments.frozen(x),
        size=arguments.frozen(n),
        limits=limits,
        above=masks["above"],
        below=masks["below"],
        method=method,
        source=source,
        baseline=chosen.baseline,
        starts=chosen.starts,
    )
