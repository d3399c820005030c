"""Is the share of jobs with a fault steady from period to period: the p chart, and the np chart of their number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.spc import probability_limits
from rqa.spc.basis import Aside, Baseline, BaselinePoints, Mask, Stages, basis
from rqa.spc.chart import Chart, judge
from rqa.spc.dispersion import CLEARLY, Dispersion, dispersion, mean_excess, standardised
from rqa.spc.probability_limits import FEW_EVENTS, Limits
from rqa.spc.rules import beyond_limits

METHODS = {
    "normal": "Centre = all events / all jobs of the points that set it; limits 3 sigma from it, with sigma^2 = "
    "centre (1 - centre) / size.",
    "exact": "Centre = all events / all jobs of the points that set it; limits from the binomial distribution of each "
    "period's count, with a chance of at most 0.00135 beyond each.",
}
SOURCE = "W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931; NIST/SEMATECH e-Handbook 6.3.3.2"


@dataclass(frozen=True, eq=False, kw_only=True)
class ProportionChart(Chart):
    """A chart of shares, with the counts it was made of and the kind of its limits."""

    count: Counts
    size: Counts
    limits: Limits


def p_chart(
    *,
    count: ArrayLike,
    size: ArrayLike,
    limits: Limits = "normal",
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> ProportionChart:
    """Say whether the share of come-backs (or failures) of each month is within the pattern of chance.

    Parameters
    ----------
    count
        Jobs with the event in each period: whole numbers from 0 to `size`, one dimension, in time order.
    size
        Jobs in each period, of the same length, or one number for all.
    limits
        "normal" for the centre -/+ 3 sigma; "exact" for limits from the binomial distribution itself, where events
        are few (below about five a period on average).
    baseline
        The points that set the centre and limits: a slice, or one true/false a point. None takes all of them (trial
        limits). Points outside a baseline are judged against it but do not move it.
    stages
        Places of the points at which the chart is split, such as [12] for an action before the 13th period. Each
        stage has a centre and limits of its own.
    set_aside
        Points left out of the limits and of the judgement: a reason in words by place. They stay in the chart.

    Returns
    -------
    ProportionChart
        `values` = count / size, `centre`, `lower`, `upper`, `sigma`, one a point; `signals` of the rule "beyond the
        limits"; `method`, `source`, `warnings`; and the inputs.

    Notes
    -----
    Landmarks: a period of size 0 is a value without data (NaN), has no limits and gives no signal. Limits stay
    within 0 and 1, and a value on its limit is not out. Without an event in the baseline the limits are 0, and the
    first event is a signal: such a baseline is too short or the event too rare for this chart. A baseline without
    any job leaves the centre unknown, NaN.

    Centre = all events / all jobs of the baseline; sigma of a period = sqrt(centre (1 - centre) / size); limits =
    centre -/+ 3 sigma, so they are wider for smaller periods. Exact limits are the counts with a chance of at most
    0.00135 beyond each, over the size.

    It takes every job of a period as having one chance. Very large periods show more spread than that, and nearly
    every point falls out; then this chart is the wrong one, and `laney_p_chart` may fit. Below about five expected
    events a period the normal limits are rough, and the lower one is 0. A month whose jobs have not been followed up
    long enough must not be among the points.

    Raises
    ------
    ValueError
        Counts that are missing, negative, not whole, above their size or of another length; a baseline of another
        length, of other than true/false, or that takes no point; stages out of order or outside the chart; a point
        set aside without a reason; a stage left without a point.

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
    return _chart(count, size, limits, baseline, stages, set_aside, per_job=True)


def np_chart(
    *,
    count: ArrayLike,
    size: ArrayLike,
    limits: Limits = "normal",
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> ProportionChart:
    """Say the same as `p_chart` in jobs: is the number of come-backs of each month within the pattern of chance.

    Parameters
    ----------
    count, size, limits, baseline, stages, set_aside
        As for `p_chart`.

    Returns
    -------
    ProportionChart
        `values` = count, and centre, limits and sigma in jobs.

    Notes
    -----
    Landmarks: as for `p_chart`; a period of size 0 has no value, as nobody could have come back.

    Centre = size x share, sigma = sqrt(size x share (1 - share)), where share = all events / all jobs of the
    baseline. With sizes that vary the centre steps up and down with them, which is harder to read than a p chart;
    the signals are the same.

    Raises
    ------
    ValueError
        As for `p_chart`.

    References
    ----------
    1. W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931.

    Examples
    --------
    >>> chart = np_chart(count=[4, 6, 5, 15], size=100, baseline=slice(0, 3))
    >>> f"{chart.centre[0]:.0f} expected, at most {chart.upper[0]:.2f}", [signal.index for signal in chart.signals]
    ('5 expected, at most 11.54', [3])

    Against the first three months with 5 come-backs of 100, the fourth with 15 is more than chance would give.
    """
    return _chart(count, size, limits, baseline, stages, set_aside, per_job=False)


def share_lines(count: Counts, size: Counts, chosen: Mask, limits: Limits) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Centre, sigma, lower and upper share of every point, from the chosen ones; points along the last axis."""
    jobs = np.where(chosen, size, 0).sum(axis=-1, keepdims=True)
    events = np.where(chosen, count, 0).sum(axis=-1, keepdims=True)
    n = np.where(size == 0, np.nan, size)
    centre = np.broadcast_to(np.where(jobs == 0, np.nan, events / np.where(jobs == 0, 1, jobs)), n.shape)
    sigma = np.sqrt(centre * (1.0 - centre) / n)
    if limits == "exact":
        lower, upper = (line / n for line in probability_limits.binomial(n, centre))
    else:
        lower, upper = np.maximum(centre - 3.0 * sigma, 0.0), np.minimum(centre + 3.0 * sigma, 1.0)
    return centre, sigma, lower, upper


def share_spread(count: Counts, size: Counts, centre: Numbers, sigma: Numbers, taken: Mask) -> Dispersion:
    """How the shares of the points taken spread, in units of what jobs of one chance would do."""
    jobs = np.where(taken & (size > 0), size, np.nan)
    variance = jobs * centre * (1.0 - centre)
    excess = (1.0 - 6.0 * centre * (1.0 - centre)) / np.where(variance > 0, variance, np.nan)
    return dispersion(standardised(count / jobs, centre, sigma), excess=mean_excess(excess))


def periods(count: ArrayLike, size: ArrayLike) -> tuple[Counts, Counts]:
    """Counts and sizes of one chart: one number a period."""
    x, n = arguments.part_and_whole("count", count, "size", size)
    if x.ndim != 1:
        raise ValueError(f"count must be one number a period, in one dimension: shape {x.shape}")
    return x, n


def _chart(
    count: ArrayLike,
    size: ArrayLike,
    limits: Limits,
    baseline: Baseline,
    stages: Stages,
    set_aside: Aside,
    *,
    per_job: bool,
) -> ProportionChart:
    arguments.one_of("limits", limits, get_args(Limits))
    x, n = periods(count, size)
    chosen = basis(len(x), baseline, stages, set_aside)
    centre, sigma, lower, upper = chosen.by_stage(lambda mask: share_lines(x, n, mask, limits))
    jobs = np.where(n == 0, np.nan, n)
    scale = np.ones(len(n)) if per_job else jobs
    return judge(
        ProportionChart(
            values=arguments.frozen(x / jobs if per_job else np.where(n == 0, np.nan, x)),
            centre=arguments.frozen(centre * scale),
            lower=arguments.frozen(lower * scale),
            upper=arguments.frozen(upper * scale),
            sigma=arguments.frozen(sigma * scale),
            count=arguments.frozen_counts(x),
            size=arguments.frozen_counts(n),
            limits=limits,
            method=METHODS[limits],
            source=SOURCE,
            warnings=_warnings(x, n, chosen, limits, share_spread(x, n, centre, sigma, chosen.baseline)),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def _warnings(x: Counts, n: Counts, chosen: BaselinePoints, limits: Limits, spread: Dispersion) -> tuple[str, ...]:
    found = list(chosen.few(n > 0))
    taken = chosen.baseline & (n > 0)
    events, jobs, count = int(x[taken].sum()), int(n[taken].sum()), int(taken.sum())
    if jobs == 0:
        return (*found, "No job in the points that set the limits, so there are none.")
    if events == 0:
        found.append("No event in the points that set the limits: they are 0, and the first event is a signal.")
    elif events == jobs:
        found.append("Every job had the event in the points that set the limits: the first without it is a signal.")
    elif limits == "normal" and min(events, jobs - events) / count < FEW_EVENTS:
        few = "events" if events <= jobs - events else "jobs without the event"
        found.append(
            f"On average {min(events, jobs - events) / count:.1f} {few} a period; below about {FEW_EVENTS:.0f} normal "
            "limits mislead. Exact limits keep their promise, and a chart of the jobs between events sees more."
        )
    if spread.more_next < CLEARLY:
        found.append(
            f"The points spread {spread.ratio_next**0.5:.1f} times as far from month to month as jobs of one chance "
            "would: these limits are too narrow, and Laney's p' chart may fit."
        )
    return tuple(found)
