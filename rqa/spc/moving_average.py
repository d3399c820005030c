"""Has the level crept away from its target: the exponentially weighted moving average (EWMA)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.basis import Baseline, BaselinePoints, basis
from rqa.spc.chart import Chart, judge
from rqa.spc.rules import beyond_limits
from rqa.spc.subgroup_constants import D2_OF_TWO

Limits = Literal["exact", "asymptotic"]
METHOD = (
    "EWMA = weight x value + (1 - weight) x EWMA before, from the target on; limits {width:g} sigma of the EWMA, "
    "{kind}."
)
KINDS = {"exact": "exact at every point", "asymptotic": "as they become after many points"}
SOURCE = "S. W. Roberts, Technometrics 1, 1959, 239-250; NIST/SEMATECH e-Handbook 6.3.2.4"


@dataclass(frozen=True, eq=False, kw_only=True)
class EwmaChart(Chart):
    """An EWMA chart: `values` are the averages it judges, `observed` what they were made of.

    `sigma` is the standard deviation of the average at each point, `sigma_observed` that of a single value.
    """

    observed: Numbers
    weight: float
    width: float
    target: float
    sigma_observed: float
    limits: Limits


def ewma_chart(
    values: ArrayLike,
    *,
    weight: float,
    width: float,
    target: float | None = None,
    sigma: float | None = None,
    limits: Limits = "exact",
    baseline: Baseline = None,
) -> EwmaChart:
    """Say whether the level has crept away from its target, by an average that forgets the past little by little.

    Parameters
    ----------
    values
        One measured value or share a period, in time order; NaN for a period without one.
    weight
        Share of the newest value in the average, above 0 and at most 1; 0.05 to 0.25 is usual. The smaller, the
        longer the memory and the smaller the shifts found; 1 is a chart of single values.
    width
        Limits in sigma of the average, above 0; `rqa.spc.limit_for` gives the one for a wanted run length.
    target
        The level the average starts from and is judged against. None takes the mean of the baseline.
    sigma
        Standard deviation of a single value, at least 0. None takes it from the mean moving range of the baseline.
    limits
        "exact", narrower over the first points, or "asymptotic", the same all along.
    baseline
        The points that set what is not given: a slice, or one true/false a point. None takes all.

    Returns
    -------
    EwmaChart
        `values` (the averages), `centre` (the target), `lower`, `upper`, `sigma`, one a point; `signals` of the rule
        "beyond the limits"; and the inputs.

    Notes
    -----
    Landmarks: a period without a value has no average and no limits, and the average goes on from where it was. A
    sigma of 0 puts the limits on the target, and the first value off it is a signal.

    With the target in place of the value before the first, EWMA_i = weight x_i + (1 - weight) EWMA_(i-1); its variance
    after i values is sigma^2 weight / (2 - weight) (1 - (1 - weight)^(2 i)).

    The values must be independent of each other and of one spread; the averages are not independent, so zone and run
    rules must not be put to them. A chart whose sigma is taken from the values under judgement has false alarms more
    often than its run length promises.

    Raises
    ------
    ValueError
        Values that are infinite or not in one dimension; a weight, width or sigma outside its range; no two values
        in a row to take sigma from, or none to take the target from.

    References
    ----------
    1. S. W. Roberts, Technometrics 1, 1959, 239-250.
    2. J. M. Lucas and M. S. Saccucci, Technometrics 32, 1990, 1-12.
    3. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.

    Examples
    --------
    >>> chart = ewma_chart([52, 47, 53, 49.3, 50.1], weight=0.3, width=3, target=50, sigma=2)
    >>> chart.values.round(2).tolist(), chart.upper.round(2).tolist()
    ([50.6, 49.52, 50.56, 50.18, 50.16], [51.8, 52.2, 52.37, 52.45, 52.48])

    The averages stay within their limits: nothing speaks against the target of 50.
    """
    x = arguments.measurements("values", values)
    if x.ndim != 1:
        raise ValueError(f"values must be one number a period, in one dimension: shape {x.shape}")
    weight, width = smoothing(weight), arguments.positive("width", width)
    arguments.one_of("limits", limits, tuple(KINDS))
    base = basis(len(x), baseline, (), None)
    centre = _target(x, base, target)
    spread = _sigma(x, base, sigma)

    there = ~np.isnan(x)
    average = np.full(len(x), np.nan)
    average[there] = list(accumulate(x[there], lambda old, new: old + weight * (new - old), initial=centre))[1:]
    settled = spread * np.sqrt(weight / (2.0 - weight))
    steps = np.where(there, np.cumsum(there), np.nan)
    growth = np.sqrt(-np.expm1(2.0 * steps * np.log1p(-weight))) if weight < 1.0 else np.where(there, 1.0, np.nan)
    sigma_average = settled * (growth if limits == "exact" else np.where(there, 1.0, np.nan))
    return judge(
        EwmaChart(
            values=arguments.frozen(average),
            centre=arguments.frozen(np.full(len(x), centre)),
            lower=arguments.frozen(centre - width * sigma_average),
            upper=arguments.frozen(centre + width * sigma_average),
            sigma=arguments.frozen(sigma_average),
            method=METHOD.format(width=width, kind=KINDS[limits]),
            source=SOURCE,
            warnings=base.few(there) if target is None or sigma is None else (),
            baseline=base.baseline,
            observed=arguments.frozen(x),
            weight=float(weight),
            width=float(width),
            target=centre,
            sigma_observed=spread,
            limits=limits,
        ),
        beyond_limits,
    )


def _target(x: Numbers, base: BaselinePoints, given: float | None) -> float:
    if given is None:
        known = x[base.baseline & ~np.isnan(x)]
        if not len(known):
            raise ValueError("target must be given, as the baseline holds no value to take it from")
        return float(known.mean())
    return arguments.number("target", given)


def _sigma(x: Numbers, base: BaselinePoints, given: float | None) -> float:
    if given is None:
        moved = np.abs(np.diff(np.where(base.baseline, x, np.nan)))
        moved = moved[~np.isnan(moved)]
        if not len(moved):
            raise ValueError("sigma must be given, as the baseline holds no two values in a row to take it from")
        return float(moved.mean() / D2_OF_TWO)
    return arguments.amount("sigma", given)


def smoothing(weight: float) -> float:
    """The weight of the newest value: above 0 and at most 1."""
    rule = "must be above 0 and at most 1"
    if not arguments.positive("weight", weight, rule) <= 1.0:
        raise ValueError(f"weight {rule}: {weight!r}")
    return float(weight)
