"""The questions about run lengths: how long, how often a false alarm, how soon is a change seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from rqa import arguments
from rqa.spc.patterns import PointRule
from rqa.spc.rules import MONTHLY
from rqa.spc.run_lengths.cusum import FARTHEST_LIMIT
from rqa.spc.run_lengths.designs import BernoulliDesign, CusumDesign, Design, RiskAdjustedDesign, ShewhartDesign
from rqa.spc.run_lengths.hazards import hazard_of, mean_of, process_for
from rqa.spc.run_lengths.points import NormalPoints, Points, SharePoints
from rqa.spc.run_lengths.result import RunLength, from_hazard


@dataclass(frozen=True, kw_only=True)
class Detection:
    """How soon a chart answers a change, and how long it is silent without one, in periods.

    `mean` and `median` are of the periods up to the signal; with `chance` it comes `within` that many.
    `false_alarm_mean` is the average time between false alarms.
    """

    mean: float
    median: float
    within: float
    chance: float
    false_alarm_mean: float


def run_length(
    design: Design,
    *,
    shift: float | None = None,
    spread: float | None = None,
    points: Points | None = None,
    share: float | None = None,
    odds: float | None = None,
) -> RunLength:
    """Say how many points pass until a chart signals: without a change (false alarms) or after one (detection).

    Parameters
    ----------
    design
        What the chart is set to: `ShewhartDesign(rules=…, width=…)`, `EwmaDesign(weight=…, width=…)`,
        `CusumDesign(k=…, h=…, headstart=…, arms=…)`, `BernoulliDesign(p0=…, p1=…, h=…)` or
        `RiskAdjustedDesign(expected=…, odds_ratio=…, h=…)`.
    shift
        How far the level is off the centre from the first point on, in sigma; 0 if not given. For charts of points.
    spread
        Standard deviation of the points in units of the sigma the chart was made with; 1 if not given.
    points
        In place of shift and spread: `NormalPoints`, or, for a `ShewhartDesign`, `SharePoints`, whose chances are
        those of whole counts of jobs.
    share
        For a `BernoulliDesign`: the true chance of the event; p0 if not given.
    odds
        For a `RiskAdjustedDesign`: the true odds of the event over the expected ones; 1 if not given.

    Returns
    -------
    RunLength
        `mean` (the average run length), `sd`, `median`, and the functions `pmf`, `survival`, `quantile` and
        `alarm_chance`; in points, or in jobs for the charts job by job.

    Notes
    -----
    Landmarks: a chart that can never signal has the mean infinity. The change is there from the first point on, and
    the chart begins fresh with it (the "zero state" of the literature).

    Shewhart: a Markov chain over what the rules remember, found from the rules themselves (after Champ and Woodall);
    with trend rules, over the latest value too. CUSUM and EWMA: a Markov chain over the sum or the average, at
    Gauss-Legendre nodes. Bernoulli: a Markov chain on the lattice of the sum. All are exact up to rounding, with
    two exceptions. A reference value that is no fraction with a denominator up to 1,000 is replaced by the nearest one.
    The risk-adjusted sum is cut into steps (an error of about one in a thousand).

    Points are independent, and centre and sigma known. Limits from few points have false alarms more often.

    Raises
    ------
    ValueError
        A question that does not fit the design, or a number out of range.

    References
    ----------
    1. C. W. Champ and W. H. Woodall, Technometrics 29, 1987, 393-399.
    2. D. Brook and D. A. Evans, Biometrika 59, 1972, 539-549.
    3. J. M. Lucas and R. B. Crosier, Technometrics 24, 1982, 199-205.
    4. J. M. Lucas and M. S. Saccucci, Technometrics 32, 1990, 1-12.
    5. M. R. Reynolds and Z. G. Stoumbos, Journal of Quality Technology 31, 1999, 87-108.
    6. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452.

    Examples
    --------
    >>> from rqa.spc import ShewhartDesign, run_length
    >>> steady = run_length(ShewhartDesign())
    >>> changed = run_length(ShewhartDesign(), shift=1)
    >>> round(steady.mean), round(float(steady.alarm_chance(12)), 3), round(changed.mean, 1)
    (153, 0.055, 14.6)

    With the limits and the run of eight, a steady monthly chart raises a false alarm in its first year with a chance of
    5.5 %. A shift by one sigma is seen after 15 months on average.
    """
    process = process_for(design, shift=shift, spread=spread, points=points, share=share, odds=odds)
    return from_hazard(hazard_of(design, process))


def periods_to_detect(design: Design, *, before: float, after: float, size: int, chance: float = 0.9) -> Detection:
    """Say in how many periods a chart sees a change of a share, at a given number of jobs a period.

    Parameters
    ----------
    design
        As for `run_length`. A `BernoulliDesign` is asked job by job, and its jobs turned into periods.
    before, after
        The share (of come-backs, say) that the chart was made for, and the changed one; between 0 and 1.
    size
        Jobs in each period, at least 1.
    chance
        The chance with which the signal is to come `within` the periods told.

    Returns
    -------
    Detection
        Periods up to the signal: `mean`, `median`, `within`; and `false_alarm_mean`, periods between false alarms.

    Notes
    -----
    A chart by period is taken as one of shares, with limits for `size` jobs: exactly by whole counts for a
    `ShewhartDesign`, by the normal distribution with the changed level and spread for EWMA and CUSUM, which is rough
    below about five expected events a period. The change begins with a period, and the chart afresh with it.

    Examples
    --------
    >>> from rqa.spc import CusumDesign, periods_to_detect
    >>> seen = periods_to_detect(CusumDesign(k=0.5, h=4), before=0.05, after=0.07, size=400)
    >>> round(seen.mean, 1), seen.within, round(seen.false_alarm_mean)
    (3.7, 6.0, 168)

    With 400 jobs a month, a rise of come-backs from 5 to 7 % is seen within six months in nine of ten cases.
    """
    chance = arguments.share("chance", chance)
    steady, changed = _shares(design, before, after, size)
    found = from_hazard(hazard_of(design, changed))
    per_period = float(size) if isinstance(design, BernoulliDesign) else 1.0
    return Detection(
        mean=found.mean / per_period,
        median=float(np.ceil(found.median / per_period)),
        within=float(np.ceil(found.quantile(chance) / per_period)),
        chance=float(chance),
        false_alarm_mean=mean_of(design, steady) / per_period,
    )


def false_alarm_chance(
    rules: Sequence[PointRule] = MONTHLY, *, points: int = 12, width: float = 3.0, charts: int = 1
) -> float:
    """Say how likely it is that steady work raises at least one alarm, by a set of rules.

    Parameters
    ----------
    rules
        The rules that the charts are put to; those of the monthly page if not given.
    points
        Points a chart has in the time asked about: 12 for a year of months.
    width
        Limits in sigma.
    charts
        How many independent charts are looked at.

    Returns
    -------
    float
        The chance of a false alarm on any of the charts, each begun fresh, with independent normal points.

    Examples
    --------
    >>> from rqa.spc import false_alarm_chance
    >>> round(false_alarm_chance(), 3), round(false_alarm_chance(charts=20), 2)
    (0.055, 0.67)

    One steady chart is quiet in most years; of twenty, one or another raises an alarm in two years of three.
    """
    number = arguments.whole("charts", charts, 0)
    arguments.whole("points", points, 0)
    quiet = from_hazard(hazard_of(ShewhartDesign(rules=rules, width=width), NormalPoints())).survival(points)
    return float(1.0 - quiet**number)


def share_shift(*, before: float, after: float, size: int) -> NormalPoints:
    """What a change of a share is for a chart of shares with limits for `size` jobs: shift and spread in its sigma.

    shift = (after - before) / sigma, spread = the standard deviation at `after` / sigma, where sigma = sqrt(before
    (1 - before) / size).
    """
    before, after = arguments.share("before", before), arguments.share("after", after)
    jobs = SharePoints(size=size, centre=before).size
    sigma = np.sqrt(before * (1.0 - before) / jobs)
    spread = float(np.sqrt(after * (1.0 - after) / (before * (1.0 - before))))
    if not 1.0 / FARTHEST_SPREAD <= spread <= FARTHEST_SPREAD:
        raise ValueError(f"before and after must not lie so far apart, near 0 or 1: {before!r} and {after!r}")
    return NormalPoints(shift=float((after - before) / sigma), spread=spread)


FARTHEST_SPREAD = 1e6
"""Times by which the spread of the points may change with their share."""


def _shares(design: Design, before: float, after: float, size: int) -> tuple[Points | float, Points | float]:
    """The process before and after a change of a share."""
    arguments.instance("design", design, *get_args(Design))
    if isinstance(design, RiskAdjustedDesign):
        raise ValueError("a RiskAdjustedDesign is asked by run_length(design, odds=…), as its jobs have no one share")
    if isinstance(design, BernoulliDesign):
        arguments.whole("size", size, 1)
        return arguments.share("before", before), arguments.share("after", after)
    if isinstance(design, ShewhartDesign):
        return SharePoints(size=size, centre=before), SharePoints(size=size, centre=before, share=after)
    changed = share_shift(before=before, after=after, size=size)
    if isinstance(design, CusumDesign) and design.h > FARTHEST_LIMIT * changed.spread:
        raise ValueError(f"after must be farther from 0 and 1, as such points hardly vary: {after!r}")
    return share_shift(before=before, after=before, size=size), changed
