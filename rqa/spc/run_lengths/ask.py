"""The questions about run lengths: how long, how often a false alarm, what limit, how soon is a shift seen."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from rqa import arguments
from rqa.spc.patterns import LimitRule, PointRule
from rqa.spc.rules import MONTHLY
from rqa.spc.run_lengths.bernoulli import bernoulli_hazard, lattice
from rqa.spc.run_lengths.cusum import cusum_hazard
from rqa.spc.run_lengths.designs import (
    BernoulliDesign,
    CusumDesign,
    Design,
    EwmaDesign,
    RiskAdjustedDesign,
    ShewhartDesign,
)
from rqa.spc.run_lengths.ewma import ewma_hazard
from rqa.spc.run_lengths.points import NormalPoints, Points, SharePoints
from rqa.spc.run_lengths.result import RunLength, from_hazard
from rqa.spc.run_lengths.risk_adjusted import risk_adjusted_hazard
from rqa.spc.run_lengths.shewhart import shewhart_hazard

WIDEST = 12.0
"""Limits further out than this many sigma are never passed, as far as doubles can tell."""


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
    Gauss-Legendre nodes. Bernoulli: a Markov chain on the lattice of the sum. All are exact up to rounding, except
    that a reference value that is no fraction with a denominator up to 1,000 is replaced by the nearest one, and that
    the risk-adjusted sum is cut into steps (an error of about one in a thousand).

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
    5.5 %, and a shift by one sigma is seen after 15 months on average.
    """
    return from_hazard(_asked(design, _process(design, shift, spread, points, share, odds)))


def limit_for(design: Design, *, run_length: float, points: Points | None = None) -> Design:
    """Say which limit gives a chart a wanted average run length while nothing has changed.

    Parameters
    ----------
    design
        As for `run_length`; its limit (`width` or `h`) is what is looked for, so the one given does not matter. A
        headstart keeps its share of h.
    run_length
        Wanted average number of points between false alarms; in jobs for the charts job by job.
    points
        For a `ShewhartDesign`: the points of the unchanged process, if not normal ones.

    Returns
    -------
    ShewhartDesign, EwmaDesign, CusumDesign, BernoulliDesign or RiskAdjustedDesign
        The design with that limit. Where run lengths come in steps (whole counts of jobs) it is the least limit whose
        run length is not below the wanted one.

    Raises
    ------
    ValueError
        A run length that no limit gives: other rules of the set may end runs sooner, whatever the limits.

    Examples
    --------
    >>> from rqa.spc import CusumDesign, limit_for
    >>> round(limit_for(CusumDesign(k=0.5), run_length=370).h, 3)
    4.774
    """
    if not 1.0 < run_length < np.inf:
        raise ValueError(f"run_length must be above 1 and finite: {run_length!r}")
    if isinstance(design, BernoulliDesign):
        return _bernoulli_limit(design, run_length)
    if isinstance(design, ShewhartDesign) and not any(isinstance(rule, LimitRule) for rule in design.rules):
        raise ValueError("rules must hold the rule about the limits, as these are what is looked for")
    steady = _process(design, None, None, points, None, None)
    return _at(design, _solve(design, run_length, steady))


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
    steady, changed = _shares(design, before, after, size)
    found, silent = from_hazard(_asked(design, changed)), from_hazard(_asked(design, steady))
    per_period = float(size) if isinstance(design, BernoulliDesign) else 1.0
    return Detection(
        mean=found.mean / per_period,
        median=float(np.ceil(found.median / per_period)),
        within=float(np.ceil(found.quantile(chance) / per_period)),
        chance=float(chance),
        false_alarm_mean=silent.mean / per_period,
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
    number = int(arguments.counts("charts", charts))
    quiet = from_hazard(_asked(ShewhartDesign(rules=rules, width=width), NormalPoints())).survival(points)
    return float(1.0 - quiet**number)


def share_shift(*, before: float, after: float, size: int) -> NormalPoints:
    """What a change of a share is for a chart of shares with limits for `size` jobs: shift and spread in its sigma.

    shift = (after - before) / sigma, spread = the standard deviation at `after` / sigma, where sigma = sqrt(before
    (1 - before) / size).
    """
    before, after = arguments.share("before", before), arguments.share("after", after)
    jobs = SharePoints(size=size, centre=before).size
    sigma = np.sqrt(before * (1.0 - before) / jobs)
    return NormalPoints(
        shift=float((after - before) / sigma),
        spread=float(np.sqrt(after * (1.0 - after) / (before * (1.0 - before)))),
    )


def _process(
    design: Design,
    shift: float | None,
    spread: float | None,
    points: Points | None,
    share: float | None,
    odds: float | None,
) -> Points | float:
    """What was asked about, or nothing but chance; refuse what does not belong to the design."""
    asked = {"shift": shift, "spread": spread, "points": points, "share": share, "odds": odds}
    fits = {BernoulliDesign: ("share",), RiskAdjustedDesign: ("odds",)}.get(type(design), ("shift", "spread", "points"))
    strange = [name for name, given in asked.items() if given is not None and name not in fits]
    if strange:
        raise ValueError(f"{strange[0]} does not belong to {type(design).__name__}, which takes {', '.join(fits)}")
    if isinstance(design, BernoulliDesign):
        return design.p0 if share is None else float(arguments.shares("share", share))
    if isinstance(design, RiskAdjustedDesign):
        if odds is not None and not 0.0 <= odds < np.inf:
            raise ValueError(f"odds must be at least 0 and finite: {odds!r}")
        return 1.0 if odds is None else float(odds)
    if points is None:
        return NormalPoints(shift=0.0 if shift is None else shift, spread=1.0 if spread is None else spread)
    if shift is not None or spread is not None:
        raise ValueError("points must be given alone, or shift and spread")
    return points


def _asked(design: Design, process: Points | float) -> arguments.Numbers:
    if isinstance(process, float):
        if isinstance(design, BernoulliDesign):
            return bernoulli_hazard(design, process)
        if isinstance(design, RiskAdjustedDesign):
            return risk_adjusted_hazard(design, process)
    elif isinstance(design, ShewhartDesign):
        return shewhart_hazard(design, process)
    elif isinstance(process, NormalPoints):
        if isinstance(design, EwmaDesign):
            return ewma_hazard(design, process)
        if isinstance(design, CusumDesign):
            return cusum_hazard(design, process)
    raise ValueError(f"points do not belong to {type(design).__name__}: {process!r}")


def _shares(design: Design, before: float, after: float, size: int) -> tuple[Points | float, Points | float]:
    """The process before and after a change of a share."""
    if isinstance(design, RiskAdjustedDesign):
        raise ValueError("a RiskAdjustedDesign is asked by run_length(design, odds=…), as its jobs have no one share")
    if isinstance(design, BernoulliDesign):
        arguments.counts("size", size)
        return arguments.share("before", before), arguments.share("after", after)
    if isinstance(design, ShewhartDesign):
        return SharePoints(size=size, centre=before), SharePoints(size=size, centre=before, share=after)
    return share_shift(before=before, after=before, size=size), share_shift(before=before, after=after, size=size)


def _at(design: Design, limit: float) -> Design:
    if isinstance(design, ShewhartDesign | EwmaDesign):
        return replace(design, width=limit)
    return replace(design, h=limit, headstart=design.headstart / design.h * limit)


def _solve(design: Design, wanted: float, steady: Points | float) -> float:
    """The limit whose run length is the wanted one. In logarithms run lengths are nearly straight in the limit."""

    def mean(limit: float) -> float:
        return from_hazard(_asked(_at(design, limit), steady)).mean

    low, high = 1.0, 2.0
    while mean(low) > wanted:
        low, high = low / 2.0, low
        if low < 1e-3:
            raise ValueError(f"run_length must be at least {mean(low):.4g}, the least this chart has: {wanted!r}")
    while mean(high) < wanted:
        low, high = high, high * 1.5
        if isinstance(design, ShewhartDesign) and high > WIDEST:
            if mean(WIDEST) < wanted:
                raise ValueError(
                    f"run_length must be at most {mean(WIDEST):.4g}, as the other rules end runs that soon: {wanted!r}"
                )
            high = WIDEST
            break
    if isinstance(steady, SharePoints):
        return _least(mean, wanted, low, high)
    return float(brentq(lambda limit: np.log(mean(limit)) - np.log(wanted), low, high, xtol=1e-9, rtol=1e-10))


def _least(mean: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    while high - low > 1e-9 * high:
        middle = (low + high) / 2.0
        low, high = (middle, high) if mean(middle) < wanted else (low, middle)
    return high


def _bernoulli_limit(design: BernoulliDesign, wanted: float) -> BernoulliDesign:
    unit = lattice(design).denominator
    head = design.headstart / design.h

    def at(place: int) -> BernoulliDesign:
        return replace(design, h=place / unit, headstart=head * place / unit)

    def mean(place: int) -> float:
        return from_hazard(bernoulli_hazard(at(place), design.p0)).mean

    low, high = 0, unit
    while mean(high) < wanted:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if mean(middle) < wanted else (low, middle)
    return at(high)
