"""Do rare come-backs come closer together or further apart: the g chart by jobs, the t chart by time."""

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
from rqa.spc.probability_limits import Limits
from rqa.spc.rules import beyond_limits
from rqa.spc.single_value_chart import of_values

POWER = 0.2777
"""1 / 3.6 to four digits, as Nelson printed it: makes times of a constant hazard nearly normal."""

G_METHODS = {
    "normal": "Centre = mean gap; limits 3 sigma from it, sigma^2 = centre (centre + 1), the lower one not below 0.",
    "exact": "Centre = mean gap; limits from the geometric distribution, with a chance of at most 0.00135 beyond each.",
}
G_SOURCE = (
    "F. C. Kaminsky, J. C. Benneyan, R. D. Davis and R. J. Burke, Journal of Quality Technology 24, 1992, 63-69; "
    "J. C. Benneyan, Health Care Management Science 4, 2001, 305-318"
)
T_SOURCE = "L. S. Nelson, Journal of Quality Technology 26, 1994, 239-240"


@dataclass(frozen=True, eq=False, kw_only=True)
class GapChart(Chart):
    """A g chart: jobs between events, with the chance of a false alarm a point, if the centre is right."""

    gaps: Counts
    limits: Limits
    false_alarm: float


@dataclass(frozen=True, eq=False, kw_only=True)
class TimeChart(Chart):
    """A t chart: the lines are of the transformed times; `gap...` are the same lines in the unit of the gaps."""

    gaps: Numbers
    power: float
    gap_centre: Numbers
    gap_lower: Numbers
    gap_upper: Numbers


def g_chart(
    gaps: ArrayLike,
    *,
    limits: Limits = "normal",
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> GapChart:
    """Say whether the number of good jobs between one come-back and the next is within the pattern of chance.

    Parameters
    ----------
    gaps
        Jobs without the event before each event, since the one before it (0: two in a row): whole numbers from 0 up,
        one dimension, in order. The jobs after the last event are not a gap yet.
    limits
        "normal" for the centre -/+ 3 sigma; "exact" for limits from the geometric distribution.
    baseline, stages, set_aside
        As for `p_chart`, by gap.

    Returns
    -------
    GapChart
        `values` = gaps, `centre`, `lower`, `upper`, `sigma`, one a gap; `signals` of the rule "beyond the limits";
        `false_alarm`, the chance that a point of a steady process is out; `method`, `source`, `warnings`; the inputs.

    Notes
    -----
    Landmarks: every job an event (all gaps 0) has limits of 0. A gap above the upper limit is good news: the event
    became rarer. No gap, no chart.

    Centre = mean gap m; sigma = sqrt(m (m + 1)); limits = m -/+ 3 sigma, the lower one not below 0. A share of events
    p has m = (1 - p) / p. Exact limits: the gaps with a chance of at most 0.00135 beyond each.

    Gaps are far from normal. With three sigma the chance of a false alarm is about 0.018 a point, not 0.0027, and
    all of it above; no gap is short enough to be below. Exact limits have a lower one above 0 only when the event
    happens to fewer than one job in 740. To see that come-backs become more frequent, use a rule on several points
    in a row, or a CUSUM by job.

    Raises
    ------
    ValueError
        Gaps that are missing, negative or not whole; a baseline, stages or points set aside that do not fit.

    References
    ----------
    1. F. C. Kaminsky, J. C. Benneyan, R. D. Davis and R. J. Burke, Journal of Quality Technology 24, 1992, 63-69.
    2. J. C. Benneyan, Health Care Management Science 4, 2001, 305-318.

    Examples
    --------
    >>> chart = g_chart([12, 3, 20, 7, 0, 14, 9, 5, 11, 60], baseline=slice(0, 9))
    >>> f"{chart.centre[0]:.0f}, at most {chart.upper[0]:.2f}", [signal.index for signal in chart.signals]
    ('9, at most 37.46', [9])

    Nine good jobs between come-backs were usual; sixty in a row are a sign that something became better.
    """
    arguments.one_of("limits", limits, get_args(Limits))
    x = arguments.counts("gaps", gaps)
    if x.ndim != 1:
        raise ValueError(f"gaps must be one number an event, in one dimension: shape {x.shape}")
    chosen = basis(len(x), baseline, stages, set_aside)

    def lines(mask: Mask) -> tuple[Numbers, ...]:
        mean = np.full(len(x), x[mask].mean() if mask.any() else np.nan)
        sigma = np.sqrt(mean * (mean + 1.0))
        if limits == "exact":
            return mean, sigma, *probability_limits.geometric(mean)
        return mean, sigma, np.maximum(mean - 3.0 * sigma, 0.0), mean + 3.0 * sigma

    centre, sigma, lower, upper = chosen.by_stage(lines)
    alarm = _false_alarm(centre[-1], lower[-1], upper[-1]) if len(x) else float("nan")
    return judge(
        GapChart(
            values=arguments.frozen(x),
            centre=arguments.frozen(centre),
            lower=arguments.frozen(lower),
            upper=arguments.frozen(upper),
            sigma=arguments.frozen(sigma),
            gaps=arguments.frozen_counts(x),
            limits=limits,
            false_alarm=alarm,
            method=G_METHODS[limits],
            source=G_SOURCE,
            warnings=_g_warnings(chosen, lower, alarm),
            baseline=chosen.baseline,
            starts=chosen.starts,
            set_aside=chosen.set_aside,
        ),
        beyond_limits,
    )


def t_chart(
    gaps: ArrayLike,
    *,
    power: float = POWER,
    baseline: Baseline = None,
    stages: Stages = (),
    set_aside: Aside = None,
) -> TimeChart:
    """Say whether the time between one come-back (failure, breach) and the next is within the pattern of chance.

    Parameters
    ----------
    gaps
        Time from each event to the next, in any unit: numbers from 0 up, one dimension, in order.
    power
        Exponent that makes the times nearly normal; 0.2777 for a constant hazard.
    baseline, stages, set_aside
        As for `p_chart`, by gap.

    Returns
    -------
    TimeChart
        `values` = gaps to the power, with `centre`, `lower`, `upper`, `sigma` on that scale, as rules need; `gaps`,
        `gap_centre`, `gap_lower`, `gap_upper` in the unit given, for reading; `signals`, `method`, `source`,
        `warnings`.

    Notes
    -----
    Landmarks: a gap of 0 stays 0; two or more at once are often a matter of the clock's unit, and a lower limit of 0
    never calls them out. A gap above the upper limit is good news. One gap gives a centre but no limits.

    values = gaps^0.2777 (1 / 3.6), charted as individuals: mean -/+ 3 mean moving range / 1.12838, the lower one not
    below 0. `gap_centre` is the centre's power 3.6, near the median gap, not the mean.

    It takes events as coming one by one at a constant hazard. Where the volume of work varies, count the jobs between
    events instead (`g_chart`).

    Raises
    ------
    ValueError
        Gaps that are missing, negative or infinite; a power not between 0 and 1; a baseline, stages or points set
        aside that do not fit.

    References
    ----------
    1. L. S. Nelson, Journal of Quality Technology 26, 1994, 239-240.

    Examples
    --------
    >>> chart = t_chart([286, 948, 536, 124, 816, 729, 4, 143, 431, 8])
    >>> f"{chart.gap_centre[0]:.0f} h, at most {chart.gap_upper[0]:.0f} h", chart.signals
    ('250 h, at most 4783 h', ())

    Half the gaps are below about 250 hours; none of these is too long or too short for a constant hazard.
    """
    power = arguments.share("power", power)
    x = arguments.amounts("gaps", gaps)
    if x.ndim != 1:
        raise ValueError(f"gaps must be one number an event, in one dimension: shape {x.shape}")
    plain = of_values(x**power, basis(len(x), baseline, stages, set_aside))
    lower = np.maximum(plain.lower, 0.0)
    warnings = list(plain.warnings)
    if (lower == 0).any():
        warnings.append("The lower limit is 0: no single gap is too short. Rules on several points see more.")
    return judge(
        TimeChart(
            values=plain.values,
            centre=plain.centre,
            lower=arguments.frozen(lower),
            upper=plain.upper,
            sigma=plain.sigma,
            gaps=arguments.frozen(x),
            power=power,
            gap_centre=arguments.frozen(plain.centre ** (1.0 / power)),
            gap_lower=arguments.frozen(lower ** (1.0 / power)),
            gap_upper=arguments.frozen(plain.upper ** (1.0 / power)),
            method=f"Individuals chart of gaps^{power:g}; limits 3 sigma from the mean, sigma = mean moving range / "
            "1.12838, the lower one not below 0.",
            source=T_SOURCE,
            warnings=tuple(warnings),
            baseline=plain.baseline,
            starts=plain.starts,
            set_aside=plain.set_aside,
        ),
        beyond_limits,
    )


def _false_alarm(mean: float, lower: float, upper: float) -> float:
    """Chance of a gap above the upper or below the lower limit, if gaps are geometric with this mean."""
    if not mean > 0:
        return 0.0
    stay = np.log(mean) - np.log1p(mean)
    above = np.exp(stay * (np.floor(upper * (1 + 1e-12)) + 1.0))
    below = -np.expm1(stay * np.ceil(lower))
    return float(above + below)


def _g_warnings(chosen: BaselinePoints, lower: Numbers, alarm: float) -> tuple[str, ...]:
    found = list(chosen.few(np.ones(chosen.points, dtype=np.bool_)))
    if len(lower) and not lower[-1] > 0:
        found.append("No gap is too short for this chart: it sees come-backs become rarer, not more frequent.")
    if alarm > 0.005:
        found.append(f"A steady process is out at {100 * alarm:.1f} % of its points, not 0.3 %: gaps are not normal.")
    return tuple(found)
