"""Is the number of faults steady from period to period: the c chart, and the u chart of their number per unit."""

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
    "normal": "Centre = all events / all size of the points that set it; limits 3 sigma from it, with sigma^2 = "
    "centre / size.",
    "exact": "Centre = all events / all size of the points that set it; limits from the Poisson distribution of each "
    "period's count, with a chance of at most 0.00135 beyond each.",
}
SOURCE = "W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931; NIST/SEMATECH e-Handbook 6.3.3.1"


@dataclass(frozen=True, eq=False, kw_only=True)
class RateChart(Chart):
    """A chart of events per unit of size, with the counts it was made of and the kind of its limits."""

    count: Counts
    size: Numbers
    limits: Limits


def c_chart(
    count: ArrayLike,
    *,
    limits: Limits = "normal",
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> RateChart:
    """Say whether the number of faults of each period is within the pattern of chance, when all periods are alike.

    Parameters
    ----------
    count
        Events in each period: whole numbers from 0 up, one dimension, in time order.
    limits
        "normal" for the centre -/+ 3 sigma; "exact" for limits from the Poisson distribution, where events are few.
    baseline, stages, set_aside
        As for `p_chart`: the points that set the limits, where the chart is split, and what is left out and why.

    Returns
    -------
    RateChart
        `values` = count, `centre`, `lower`, `upper`, `sigma`, one a point; `signals` of the rule "beyond the limits";
        `method`, `source`, `warnings`; and the inputs, with `size` 1.

    Notes
    -----
    Landmarks: a baseline without an event has limits of 0, and the first event is a signal. A value on its limit is
    not out. A period that was not observed at all cannot be told from one without events: use `u_chart` with size 0.

    Centre = mean count of the baseline, sigma = sqrt(centre), limits = centre -/+ 3 sigma, the lower one not below 0.

    It takes events as independent, and each period as having had the same chances of one. Where the work done
    varies, use `u_chart`; where a job can have the event only once, `p_chart`.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; a baseline, stages or points set aside that do not fit.

    References
    ----------
    1. W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931.
    2. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.1.

    Examples
    --------
    >>> chart = c_chart([16, 14, 28, 16, 12, 20, 10, 31], baseline=slice(0, 7))
    >>> f"{chart.centre[0]:.2f}, at most {chart.upper[0]:.2f}", [signal.index for signal in chart.signals]
    ('16.57, at most 28.78', [7])

    Around a mean of 16.57 faults a period, 28 is still within chance; 31 is not.
    """
    x = arguments.counts("count", count)
    if x.ndim != 1:
        raise ValueError(f"count must be one number a period, in one dimension: shape {x.shape}")
    return _chart(x, np.ones(len(x)), limits, basis(len(x), baseline, stages, set_aside))


def u_chart(
    *,
    count: ArrayLike,
    size: ArrayLike,
    limits: Limits = "normal",
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> RateChart:
    """Say whether the number of faults per job (hour, connector) of each period is within the pattern of chance.

    Parameters
    ----------
    count
        Events in each period: whole numbers from 0 up, one dimension, in time order.
    size
        What could have had them: jobs, hours, connectors reseated; numbers from 0 up, of the same length, or one for
        all.
    limits
        "normal" for the centre -/+ 3 sigma; "exact" for limits from the Poisson distribution, where events are few.
    baseline, stages, set_aside
        As for `p_chart`: the points that set the limits, where the chart is split, and what is left out and why.

    Returns
    -------
    RateChart
        `values` = count / size, `centre`, `lower`, `upper`, `sigma`, one a point; `signals` of the rule "beyond the
        limits"; `method`, `source`, `warnings`; and the inputs.

    Notes
    -----
    Landmarks: a period of size 0 is a value without data (NaN), has no limits and gives no signal. A baseline without
    an event has limits of 0, and the first event is a signal. A value on its limit is not out.

    Centre = all events / all size of the baseline; sigma of a period = sqrt(centre / size); limits = centre -/+
    3 sigma, the lower one not below 0. Exact limits are the counts with a chance of at most 0.00135 beyond each,
    over the size.

    It takes events as independent: a job may have several, and one does not bring the next. Where events come in
    heaps or the chance differs from period to period, points fall out all the time, and `laney_u_chart` may fit.

    Raises
    ------
    ValueError
        Counts that are missing, negative or not whole; sizes that are missing, negative or infinite, or 0 with an
        event; lengths that differ; a baseline, stages or points set aside that do not fit.

    References
    ----------
    1. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.1.

    Examples
    --------
    >>> chart = u_chart(count=[12, 9, 14, 30], size=[10.0, 8.0, 12.5, 11.0], baseline=slice(0, 3))
    >>> chart.values.round(3).tolist(), [signal.index for signal in chart.signals]
    ([1.2, 1.125, 1.12, 2.727], [3])

    About 1.15 faults an hour of bench time were usual; 2.7 are more than chance would give.
    """
    x, n = exposures(count, size)
    return _chart(x, n, limits, basis(len(x), baseline, stages, set_aside))


def rate_lines(count: Counts, size: Numbers, chosen: Mask, limits: Limits) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Centre, sigma, lower and upper rate of every point, from the chosen ones; points along the last axis."""
    exposed = np.where(chosen, size, 0.0).sum(axis=-1, keepdims=True)
    events = np.where(chosen, count, 0).sum(axis=-1, keepdims=True)
    n = np.where(size == 0, np.nan, size)
    centre = np.broadcast_to(np.where(exposed == 0, np.nan, events / np.where(exposed == 0, 1.0, exposed)), n.shape)
    sigma = np.sqrt(centre / n)
    if limits == "exact":
        lower, upper = (line / n for line in probability_limits.poisson(centre * n))
    else:
        lower, upper = np.maximum(centre - 3.0 * sigma, 0.0), centre + 3.0 * sigma
    return centre, sigma, lower, upper


def rate_spread(count: Counts, size: Numbers, centre: Numbers, sigma: Numbers, taken: Mask) -> Dispersion:
    """How the rates of the points taken spread, in units of what independent events would do."""
    exposed = np.where(taken & (size > 0), size, np.nan)
    mean = centre * exposed
    excess = mean_excess(1.0 / np.where(mean > 0, mean, np.nan))
    return dispersion(standardised(count / exposed, centre, sigma), excess=excess)


def exposures(count: ArrayLike, size: ArrayLike) -> tuple[Counts, Numbers]:
    """Counts and what they were counted on, of one chart: one number a period."""
    x, n = counted_on(count, size)
    if x.ndim != 1:
        raise ValueError(f"count must be one number a period, in one dimension: shape {x.shape}")
    return x, n


def counted_on(count: ArrayLike, size: ArrayLike) -> tuple[Counts, Numbers]:
    """Counts and sizes of one shape, no event where there was nothing to have it."""
    x = arguments.counts("count", count)
    found, n = arguments.same_shape({"count": x.astype(np.float64), "size": arguments.amounts("size", size)})
    if ((n == 0) & (found > 0)).any():
        place = int(np.argmax((n == 0) & (found > 0)))
        raise ValueError(f"count must be 0 where size is 0: {found.flat[place]:.0f} at place {place}")
    return found.astype(np.int64), n


def _chart(x: Counts, n: Numbers, limits: Limits, chosen: BaselinePoints) -> RateChart:
    arguments.one_of("limits", limits, get_args(Limits))
    centre, sigma, lower, upper = chosen.by_stage(lambda mask: rate_lines(x, n, mask, limits))
    values = x / np.where(n == 0, np.nan, n)
    return judge(
        RateChart(
            values=arguments.frozen(values),
            centre=arguments.frozen(centre),
            lower=arguments.frozen(lower),
            upper=arguments.frozen(upper),
            sigma=arguments.frozen(sigma),
            count=arguments.frozen_counts(x),
            size=arguments.frozen(n),
            limits=limits,
            method=METHODS[limits],
            source=SOURCE,
            warnings=_warnings(x, n, chosen, limits, rate_spread(x, n, centre, sigma, chosen.baseline)),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def _warnings(x: Counts, n: Numbers, chosen: BaselinePoints, limits: Limits, spread: Dispersion) -> tuple[str, ...]:
    found = list(chosen.few(n > 0))
    taken = chosen.baseline & (n > 0)
    events, count = int(x[taken].sum()), int(taken.sum())
    if count == 0:
        return (*found, "Nothing was observed in the points that set the limits, so there are none.")
    if events == 0:
        found.append("No event in the points that set the limits: they are 0, and the first event is a signal.")
    elif limits == "normal" and events / count < FEW_EVENTS:
        found.append(
            f"On average {events / count:.1f} events a period; below about {FEW_EVENTS:.0f} normal limits mislead. "
            "Exact limits keep their promise, and a chart of the time between events sees more."
        )
    if spread.more_next < CLEARLY:
        found.append(
            f"The points spread {spread.ratio_next**0.5:.1f} times as far from period to period as independent events "
            "would: these limits are too narrow, and Laney's u' chart may fit."
        )
    return tuple(found)
