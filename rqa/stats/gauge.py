"""Can a measurement be believed: how much of what it shows is its own scatter (repeatability, reproducibility)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import SMALLEST, never_zero
from rqa.stats.gauge_by_range import by_averages_and_ranges
from rqa.stats.mean_square_limits import combined_limits

Method = Literal["anova", "range"]
Interaction = Literal["tested", "kept", "pooled"]
SOURCES = ("appraiser", "part", "interaction", "repeatability")
COMPONENTS = ("repeatability", "reproducibility", "gauge", "part", "total")
POOLED_ABOVE = 0.25
"""An interaction less sure than this is put to the scatter (common practice)."""
DRAWS = 20_000
PER_CATEGORY = 1.41
"""Root of 2, as the trade rounds it: part deviation over gauge deviation times this is the number of categories."""


@dataclass(frozen=True, eq=False)
class GaugeStudy:
    """What each source adds to the variance, in the order of `components`, with limits; NaN where it has none.

    `squares`, `degrees` are in the order of `sources`, as in the full table, before any pooling.
    """

    method: str
    level: float
    parts: int
    appraisers: int
    trials: int
    sources: tuple[str, ...]
    squares: Numbers
    degrees: Counts
    f_interaction: float
    p_interaction: float
    pooled: bool
    components: tuple[str, ...]
    variance: Numbers
    low: Numbers
    high: Numbers
    sigma: Numbers
    of_total: Numbers
    contribution: Numbers
    gauge_of_total: tuple[float, float, float]
    of_tolerance: tuple[float, float, float]
    category_ratio: tuple[float, float, float]
    categories: int | None


def gauge_rr(
    values: ArrayLike,
    *,
    method: Method = "anova",
    interaction: Interaction = "tested",
    tolerance: float | None = None,
    level: float = 0.95,
) -> GaugeStudy:
    """Say how much of the scatter of measured values is the gauge's own, and how many kinds of unit it tells apart.

    Parameters
    ----------
    values
        Measured values, parts x appraisers (or stations) x trials: at least two parts and two trials, none missing.
    method
        "anova": analysis of variance, with limits. "range": averages and ranges, as on a paper form, without limits or
        interaction.
    interaction
        Whether appraisers who differ from part to part are a source of their own: "kept", "pooled" with the scatter, or
        "tested": pooled where p is above 0.25. For "anova" only.
    tolerance
        Upper less lower limit of the measured value, above 0, if the gauge is to be held against it.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    GaugeStudy
        `variance` of each component with `low`, `high`; `sigma`, its root; `of_total`, sigma over that of all;
        `contribution`, the same of variances. As value, low end, high end: `gauge_of_total`; `of_tolerance`, 6 sigma of
        the gauge over the tolerance; `category_ratio`, 1.41 x part / gauge. `categories`, that cut off to a whole
        number, None where the gauge showed no scatter.

    Notes
    -----
    Reproducibility = appraisers + interaction; gauge = repeatability + reproducibility; total = gauge + parts. A
    component whose estimate falls below 0 is 0.

    Landmarks (common practice): the gauge below 10 % of total or tolerance is good, above 30 % not fit; fewer than 5
    categories do not serve to watch a process. With one appraiser reproducibility is not known, NaN, and the gauge is
    repeatability alone. No scatter at all: shares of total are NaN.

    Limits of variances are modified large-sample limits; those of ratios are generalised ones, from 20,000 draws of
    chi-squared numbers with a fixed seed. With 3 appraisers the upper end for reproducibility is far away, as it should
    be: three people say little of people in general. Limits after a test of interaction take its outcome for granted.

    The parts must span the work as it is. Do not use it for tests that change the part.

    Raises
    ------
    ValueError
        Values that are not parts x appraisers x trials, or too few, or missing; a tolerance not above 0; an unknown
        method or interaction; a level outside (0, 1).

    References
    ----------
    1. Automotive Industry Action Group, Measurement Systems Analysis, 3rd edition, 2002.
    2. R. K. Burdick, C. M. Borror and D. C. Montgomery, Journal of Quality Technology 35, 2003, 342-354 (limits).
    3. N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam and T. F. C. Lu, Journal of Statistical Computation and
       Simulation 35, 1990, 135-143.

    Examples
    --------
    >>> study = [
    ...     [[5.01, 5.03], [5.06, 5.05]],
    ...     [[5.42, 5.40], [5.43, 5.46]],
    ...     [[4.80, 4.83], [4.86, 4.84]],
    ...     [[5.20, 5.19], [5.22, 5.25]],
    ... ]
    >>> r = gauge_rr(study)
    >>> f"{r.gauge_of_total[0]:.0%} of the total, {r.categories} categories"
    '11% of the total, 12 categories'

    The two stations differ a little, but both tell the four boards apart with ease.
    """
    arguments.one_of("method", method, get_args(Method))
    arguments.one_of("interaction", interaction, get_args(Interaction))
    level = arguments.share("level", level)
    width = (
        None
        if tolerance is None
        else arguments.positive("tolerance", tolerance)
    )
    x = _study(values)
    parts, appraisers, trials = x.shape
    squares, degrees = _table(x)
    f, p = _interaction_test(squares, degrees)
    alone = appraisers == 1
    pooled = (
        alone or method == "range" or interaction == "pooled" or (interaction == "tested" and not p <= POOLED_ABOVE)
    )
    mean, free, weights = _mean_squares(squares, degrees, x.shape, pooled)
    low, high = np.full(5, np.nan), np.full(5, np.nan)
    nothing = (float("nan"), float("nan"))
    share_limits = ratio_limits = nothing
    if method == "anova":
        variance = _components(mean[None, :], weights)[0]
        for i, weight in enumerate(weights):
            low[i], high[i] = np.maximum(combined_limits(weight, mean, free, level), 0.0)
        low, high = np.minimum(low, variance), np.maximum(high, variance)
        share_limits, ratio_limits = _drawn_limits(mean, free, weights, level)
    else:
        repeatability, appraiser, part = by_averages_and_ranges(x)
        gauge = repeatability + appraiser
        variance = np.array([repeatability, appraiser, gauge, part, gauge + part])
    sigma = np.sqrt(variance)
    gauge, part, total = sigma[2:]
    ratio = PER_CATEGORY * float(part / gauge) if gauge > 0 else float("nan")
    if alone:
        for row in (variance, low, high, sigma):
            row[1] = np.nan
    against = (
        (float("nan"), *nothing)
        if width is None
        else tuple(6.0 * float(s) / width for s in (gauge, np.sqrt(low[2]), np.sqrt(high[2])))
    )
    shares = sigma / total if total > 0 else np.full(5, np.nan)
    return GaugeStudy(
        method=method,
        level=level,
        parts=parts,
        appraisers=appraisers,
        trials=trials,
        sources=SOURCES,
        squares=arguments.frozen(squares),
        degrees=arguments.frozen_counts(degrees.astype(np.int64)),
        f_interaction=f,
        p_interaction=p,
        pooled=pooled,
        components=COMPONENTS,
        variance=arguments.frozen(variance),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
        sigma=arguments.frozen(sigma),
        of_total=arguments.frozen(shares),
        contribution=arguments.frozen(shares**2),
        gauge_of_total=(float(shares[2]), *share_limits),
        of_tolerance=(against[0], against[1], against[2]),
        category_ratio=(ratio, *ratio_limits),
        categories=None if np.isnan(ratio) else int(ratio),
    )


def _study(values: ArrayLike) -> Numbers:
    x = arguments.measurements("values", values)
    if x.ndim != 3 or x.shape[0] < 2 or x.shape[1] < 1 or x.shape[2] < 2:
        raise ValueError(
            "values must be parts x appraisers x trials, at least two parts, one appraiser and two trials: "
            f"shape {x.shape}"
        )
    missing = np.argwhere(np.isnan(x))
    if len(missing):
        part, appraiser, trial = (int(i) for i in missing[0])
        raise ValueError(
            f"values must all be measured: {len(missing)} missing, first at part {part}, appraiser {appraiser}, "
            f"trial {trial}; leave out that part"
        )
    return x


def _table(x: Numbers) -> tuple[Numbers, Numbers]:
    """Sums of squares and degrees of freedom in the order of `SOURCES`."""
    p, o, r = x.shape
    x = x - x.mean()
    part, appraiser, cell = x.mean(axis=(1, 2)), x.mean(axis=(0, 2)), x.mean(axis=2)
    both = cell - part[:, None] - appraiser[None, :]
    squares = [p * r * (appraiser**2).sum(), o * r * (part**2).sum(), r * (both**2).sum(), ((x.T - cell.T) ** 2).sum()]
    return np.array(squares), np.array([o - 1.0, p - 1.0, (o - 1.0) * (p - 1.0), p * o * (r - 1.0)])


def _interaction_test(squares: Numbers, degrees: Numbers) -> tuple[float, float]:
    if degrees[2] == 0 or squares[2] + squares[3] == 0:
        return float("nan"), float("nan")
    if squares[3] == 0:
        return float("inf"), SMALLEST
    f = float(squares[2] / degrees[2] / (squares[3] / degrees[3]))
    return f, float(never_zero(special.fdtrc(degrees[2], degrees[3], f)))


def _mean_squares(
    squares: Numbers, degrees: Numbers, shape: tuple[int, ...], pooled: bool
) -> tuple[Numbers, Numbers, Numbers]:
    """Mean squares, their degrees, and their weights in each of `COMPONENTS`, the last two of them sums of all."""
    p, o, r = (float(n) for n in shape)
    a, b, c, e = 1.0 / (p * r), 1.0 / (o * r), 1.0 / r, 1.0
    if pooled:
        squares = np.array([squares[0], squares[1], 0.0, squares[2] + squares[3]])
        degrees = np.array([degrees[0], degrees[1], 0.0, degrees[2] + degrees[3]])
        repeatability, part = np.array([0, 0, 0, e]), np.array([0, b, 0, -b])
        reproducibility = np.array([a, 0, 0, -a]) if o > 1 else np.zeros(4)
    else:
        repeatability, part = np.array([0, 0, 0, e]), np.array([0, b, -b, 0])
        reproducibility = np.array([a, 0, c - a, -c])
    gauge = repeatability + reproducibility
    mean = squares / np.where(degrees > 0, degrees, 1.0)
    free = np.where(degrees > 0, degrees, 1.0)
    return mean, free, np.stack([repeatability, reproducibility, gauge, part, gauge + part])


def _components(mean: Numbers, weights: Numbers) -> Numbers:
    """Variances of `COMPONENTS` for rows of mean squares, those below 0 set to 0."""
    found = np.maximum(mean @ weights.T, 0.0)
    found[:, 2] = found[:, 0] + found[:, 1]
    found[:, 4] = found[:, 2] + found[:, 3]
    return found


def _drawn_limits(
    mean: Numbers, free: Numbers, weights: Numbers, level: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Generalised limits of gauge over total, and of 1.41 x part over gauge."""
    drawn = mean * free / np.random.default_rng(1).chisquare(free, size=(DRAWS, len(free)))
    found = _components(drawn, weights)
    gauge, part, total = np.sqrt(found[:, 2:]).T
    if not (gauge > 0).all():
        return (float("nan"), float("nan")), (float("nan"), float("nan"))
    tails = [(1.0 - level) / 2.0, (1.0 + level) / 2.0]
    low, high = np.quantile(gauge / total, tails)
    few, many = np.quantile(PER_CATEGORY * part / gauge, tails)
    return (float(low), float(high)), (float(few), float(many))
