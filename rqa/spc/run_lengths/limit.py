"""The other way round: which limit gives a wanted run length."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import get_args

import numpy as np

from rqa import arguments
from rqa.spc.patterns import LimitRule
from rqa.spc.run_lengths.bernoulli import lattice
from rqa.spc.run_lengths.cusum import FARTHEST_LIMIT
from rqa.spc.run_lengths.designs import BernoulliDesign, CusumDesign, Design, EwmaDesign, ShewhartDesign
from rqa.spc.run_lengths.hazards import mean_of, process_for
from rqa.spc.run_lengths.points import NormalPoints, Points, SharePoints

LONGEST_RUN = 1e15
"""Points between false alarms above which no limit is looked for."""
WIDEST = 12.0
"""Limits further out than this many sigma are never passed, as far as doubles can tell."""


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
    arguments.instance("design", design, *get_args(Design))
    if not 1.0 < arguments.amount("run_length", run_length) <= LONGEST_RUN:
        raise ValueError(f"run_length must be above 1 and at most {LONGEST_RUN:g}: {run_length!r}")
    if isinstance(design, BernoulliDesign):
        return _bernoulli_limit(design, run_length)
    if isinstance(design, ShewhartDesign) and not any(isinstance(rule, LimitRule) for rule in design.rules):
        raise ValueError("rules must hold the rule about the limits, as these are what is looked for")
    steady = process_for(design, points=points)
    return _at(design, _solve(design, run_length, steady))


def _at(design: Design, limit: float) -> Design:
    if isinstance(design, ShewhartDesign | EwmaDesign):
        return replace(design, width=limit)
    return replace(design, h=limit, headstart=design.headstart / design.h * limit)


def _solve(design: Design, wanted: float, steady: Points | float) -> float:
    """The limit whose run length is the wanted one. In logarithms run lengths are nearly straight in the limit."""

    def mean(limit: float) -> float:
        return mean_of(_at(design, limit), steady)

    low, high = 1.0, 2.0
    while mean(low) > wanted:
        low, high = low / 2.0, low
        if low < 1e-3:
            raise ValueError(f"run_length must be at least {mean(low):.4g}, the least this chart has: {wanted!r}")
    while mean(high) < wanted:
        low, high = high, high * 1.5
        if isinstance(design, CusumDesign) and isinstance(steady, NormalPoints):
            farthest = FARTHEST_LIMIT * steady.spread
            if low >= farthest:
                raise ValueError(f"run_length must be at most {mean(farthest):.4g}, the longest worked out: {wanted!r}")
            high = min(high, farthest)
        if isinstance(design, ShewhartDesign) and high > WIDEST:
            if mean(WIDEST) < wanted:
                raise ValueError(
                    f"run_length must be at most {mean(WIDEST):.4g}, as the other rules end runs that soon: {wanted!r}"
                )
            high = WIDEST
            break
    if isinstance(steady, SharePoints):
        return _least(mean, wanted, low, high)
    from scipy.optimize import brentq  # a third of a second to import, so only when a limit is asked for

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
        return mean_of(at(place), design.p0)

    low, high = 0, unit
    while mean(high) < wanted:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if mean(middle) < wanted else (low, middle)
    return at(high)
