"""Are small groups of measurements steady: charts of their means with their ranges or standard deviations."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.spc.basis import Aside, Baseline, BaselinePoints, Mask, Stages, basis
from rqa.spc.chart import Chart, judge
from rqa.spc.rules import beyond_limits
from rqa.spc.subgroup_constants import constants, mean_deviation
from rqa.words import counted

Subgroups = ArrayLike | Sequence[ArrayLike]

SOURCE = "W. A. Shewhart, Economic Control of Quality of Manufactured Product, 1931; ASTM E2587; constants from rqa.spc"
UNEQUAL = "I. W. Burr, Journal of Quality Technology 1, 1969, 163-167 (weights for unequal sizes)"
LARGEST_FOR_RANGE = 10


@dataclass(frozen=True, eq=False, kw_only=True)
class SubgroupChart(Chart):
    """A chart of means of subgroups, with the chart of the spread within them in `spread`, and their sizes."""

    size: Counts
    spread: Chart


def xbar_r_chart(
    subgroups: Subgroups, *, baseline: Baseline = None, stages: Stages = (), set_aside: Aside = None
) -> SubgroupChart:
    """Say whether small groups of measurements are steady in their mean and, by their range, in their spread.

    Parameters
    ----------
    subgroups
        One row a subgroup, of 2 to 1,000 measurements each, all of one size, in time order. A row of nothing but NaN
        is a subgroup that was not taken.
    baseline, stages, set_aside
        As for `p_chart`, by subgroup.

    Returns
    -------
    SubgroupChart
        `values` (means), `centre`, `lower`, `upper`, `sigma` (of a mean), one a subgroup; `size`; the ranges as a chart
        of their own in `spread`; `signals` of the rule "beyond the limits"; `method`, `source`, `warnings`.

    Notes
    -----
    Landmarks: a subgroup that was not taken has no limits and gives no signal. Subgroups without any spread have
    limits equal to the centre.

    Means: grand mean -/+ A2 x mean range. Ranges: D3 and D4 x mean range. Constants from `constants`.

    The spread within a subgroup must be what chance does: take measurements of comparable work, close together. If
    months differ by more than that, nearly every mean falls out; then chart the means with `individuals_chart`. Ranges
    waste information beyond about ten measurements, and do not compare between sizes: use `xbar_s_chart`.

    Raises
    ------
    ValueError
        Subgroups of different sizes, or with a measurement missing; a size below 2 or above 1,000; values that are
        not finite numbers; a baseline, stages or points set aside that do not fit.

    References
    ----------
    1. ASTM E2587, Standard Practice for Use of Control Charts in Statistical Process Control.

    Examples
    --------
    >>> groups = [[5.0, 5.2, 4.9], [5.1, 5.0, 5.3], [4.8, 5.0, 5.1], [5.9, 6.1, 6.0]]
    >>> chart = xbar_r_chart(groups, baseline=slice(0, 3))
    >>> f"{chart.lower[0]:.2f} to {chart.upper[0]:.2f}", [signal.index for signal in chart.signals]
    ('4.74 to 5.35', [3])

    Means of three between 4.74 and 5.35 were usual; the fourth, 6.0, is not.
    """
    rows = measured(subgroups)
    sizes = np.array([len(row) for row in rows], dtype=np.int64)
    taken = sizes[sizes > 0]
    if len(set(taken.tolist())) > 1:
        raise ValueError(
            "subgroups must be of one size, as ranges do not compare between sizes; "
            f"sizes {sorted(set(taken.tolist()))} were given: use xbar_s_chart"
        )
    chosen = basis(len(rows), baseline, stages, set_aside)
    mean = _by_row(rows, np.mean)
    width = _by_row(rows, np.ptp)
    size = int(taken[0]) if len(taken) else 2
    if size < 2:
        raise ValueError("subgroups must be of at least 2 measurements: use individuals_chart for single values")
    factors = constants(size)

    def lines(mask: Mask) -> tuple[Numbers, ...]:
        used = mask & (sizes > 0)
        middle = mean[used].mean() if used.any() else np.nan
        typical = width[used].mean() if used.any() else np.nan
        row = np.where(sizes > 0, 1.0, np.nan)
        sigma = typical / factors.d2
        return (
            np.full(len(rows), middle),
            row * sigma / np.sqrt(size),
            row * (middle - factors.A2 * typical),
            row * (middle + factors.A2 * typical),
            np.full(len(rows), typical),
            row * factors.d3 * sigma,
            row * factors.D3 * typical,
            row * factors.D4 * typical,
        )

    warnings = list(chosen.few(sizes > 0))
    if size > LARGEST_FOR_RANGE:
        warnings.append(
            f"Ranges of {counted(size, 'measurement')} waste information; the standard deviation (xbar_s_chart) does "
            "not."
        )
    return _chart(
        mean,
        width,
        sizes,
        chosen,
        chosen.by_stage(lines),
        method="Centre = grand mean; limits = grand mean -/+ A2 x mean range; ranges between D3 and D4 x mean range.",
        source=SOURCE,
        warnings=warnings,
    )


def xbar_s_chart(
    subgroups: Subgroups, *, baseline: Baseline = None, stages: Stages = (), set_aside: Aside = None
) -> SubgroupChart:
    """Say whether groups of measurements, of any sizes, are steady in their mean and their standard deviation.

    Parameters
    ----------
    subgroups
        The measurements of each subgroup, in time order: a table of one row a subgroup, or a list of lists of any
        lengths. NaN is a measurement that was not taken.
    baseline, stages, set_aside
        As for `p_chart`, by subgroup.

    Returns
    -------
    SubgroupChart
        `values` (means), `centre`, `lower`, `upper`, `sigma` (of a mean), one a subgroup; `size`; the standard
        deviations as a chart of their own in `spread`; `signals` of the rule "beyond the limits"; `method`, `source`,
        `warnings`.

    Notes
    -----
    Landmarks: an empty subgroup has no limits and gives no signal. A subgroup of one has a mean, judged by limits of
    its size, but no standard deviation. Without a subgroup of two in the baseline there are no limits.

    Centre = mean of all measurements. sigma = sum h s / c4 over sum h, with h = c4^2 / (1 - c4^2) by each subgroup's
    size: the unbiased estimate of least variance among sums of the s, which for equal sizes is the mean s / c4. Limits
    of a mean: centre -/+ 3 sigma / sqrt(n); of a standard deviation: B5 sigma and B6 sigma; both by its own size n.

    The spread within a subgroup must be what chance does, as for `xbar_r_chart`. With large subgroups (a month's
    jobs) even unimportant differences between months fall out; then chart the means with `individuals_chart`.

    Raises
    ------
    ValueError
        Values that are not finite numbers; a baseline, stages or points set aside that do not fit.

    References
    ----------
    1. ASTM E2587, Standard Practice for Use of Control Charts in Statistical Process Control.
    2. I. W. Burr, Journal of Quality Technology 1, 1969, 163-167.

    Examples
    --------
    >>> chart = xbar_s_chart([[5.0, 5.2, 4.9], [5.1, 5.0], [4.8, 5.0, 5.1, 4.9], [5.9, 6.1]], baseline=slice(0, 3))
    >>> chart.values.round(2).tolist(), [signal.index for signal in chart.signals]
    ([5.03, 5.05, 4.95, 6.0], [3])

    The groups differ in size, and so do their limits; the fourth is out of its own.
    """
    rows = measured(subgroups)
    sizes = np.array([len(row) for row in rows], dtype=np.int64)
    chosen = basis(len(rows), baseline, stages, set_aside)
    mean = _by_row(rows, np.mean)
    several = sizes >= 2
    deviation = np.array([row.std(ddof=1) if len(row) >= 2 else np.nan for row in rows], dtype=np.float64)
    c4 = np.where(several, mean_deviation(np.where(several, sizes, 2)), np.nan)
    c5 = np.sqrt(1.0 - c4**2)
    weight = c4**2 / (1.0 - c4**2)

    def lines(mask: Mask) -> tuple[Numbers, ...]:
        used, spread = mask & (sizes > 0), mask & several
        middle = (mean[used] * sizes[used]).sum() / sizes[used].sum() if used.any() else np.nan
        sigma = (weight * deviation / c4)[spread].sum() / weight[spread].sum() if spread.any() else np.nan
        of_mean = sigma / np.sqrt(np.where(sizes > 0, sizes, np.nan))
        return (
            np.full(len(rows), middle),
            of_mean,
            middle - 3.0 * of_mean,
            middle + 3.0 * of_mean,
            c4 * sigma,
            c5 * sigma,
            np.maximum(c4 - 3.0 * c5, 0.0) * sigma,
            (c4 + 3.0 * c5) * sigma,
        )

    made = chosen.by_stage(lines)
    warnings = list(chosen.few(several))
    if any(not (mask & several).any() for _, mask in chosen.stages()):
        warnings.append("No subgroup of two or more sets the spread, so there are no limits: use individuals_chart.")
    unequal = len(set(sizes[several].tolist())) > 1
    return _chart(
        mean,
        deviation,
        sizes,
        chosen,
        made,
        method="Centre = mean of all measurements; sigma = weighted mean of s / c4; limits of means = centre -/+ "
        "3 sigma / sqrt(n), of standard deviations = B5 and B6 x sigma, each by the subgroup's own size.",
        source=f"{SOURCE}; {UNEQUAL}" if unequal else SOURCE,
        warnings=warnings,
    )


def _chart(
    mean: Numbers,
    spread: Numbers,
    sizes: Counts,
    chosen: BaselinePoints,
    rows: tuple[Numbers, ...],
    *,
    method: str,
    source: str,
    warnings: Sequence[str],
) -> SubgroupChart:
    centre, sigma, lower, upper, typical, sigma_spread, lower_spread, upper_spread = rows
    within = judge(
        Chart(
            values=arguments.frozen(spread),
            centre=arguments.frozen(typical),
            lower=arguments.frozen(lower_spread),
            upper=arguments.frozen(upper_spread),
            sigma=arguments.frozen(sigma_spread),
            method=method,
            source=source,
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )
    found = list(warnings)
    if within.signals:
        places = ", ".join(str(signal.index) for signal in within.signals)
        found.append(f"The spread within is out at {places}: settle that first, as the limits of the means rest on it.")
    return judge(
        SubgroupChart(
            values=arguments.frozen(mean),
            centre=arguments.frozen(centre),
            lower=arguments.frozen(lower),
            upper=arguments.frozen(upper),
            sigma=arguments.frozen(sigma),
            size=arguments.frozen_counts(sizes),
            spread=within,
            method=method,
            source=source,
            warnings=tuple(found),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def measured(subgroups: Subgroups) -> list[Numbers]:
    """The measurements of each subgroup that were taken, as checked rows."""
    if not isinstance(subgroups, Iterable) or isinstance(subgroups, str):
        raise ValueError(f"subgroups must be rows of measurements: {subgroups!r}")
    rows = [arguments.measurements(f"subgroups[{i}]", row) for i, row in enumerate(_each(subgroups))]
    for i, row in enumerate(rows):
        if row.ndim != 1:
            raise ValueError(f"subgroups must be rows of measurements: subgroups[{i}] has shape {row.shape}")
    return [row[np.isfinite(row)] for row in rows]


def _each(subgroups: object) -> Sequence[ArrayLike]:
    # A pandas frame iterates over its column names, not its rows.
    to_numpy = getattr(subgroups, "to_numpy", None)
    return list(to_numpy()) if to_numpy is not None else list(subgroups)  # type: ignore[call-overload]


def _by_row(rows: Sequence[Numbers], of: Callable[[Numbers], float]) -> Numbers:
    return np.array([of(row) if len(row) else np.nan for row in rows], dtype=np.float64)
