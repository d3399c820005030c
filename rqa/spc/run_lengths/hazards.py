"""Which chain answers for which design, and which questions a design can be asked."""

from typing import get_args

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.run_lengths.bernoulli import bernoulli_hazard, bernoulli_mean
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
from rqa.spc.run_lengths.result import from_hazard
from rqa.spc.run_lengths.risk_adjusted import risk_adjusted_hazard, risk_adjusted_mean
from rqa.spc.run_lengths.shewhart import shewhart_hazard


def process_for(
    design: Design,
    *,
    shift: float | None = None,
    spread: float | None = None,
    points: Points | None = None,
    share: float | None = None,
    odds: float | None = None,
) -> Points | float:
    """What was asked about, or nothing but chance; refuse what does not belong to the design."""
    arguments.instance("design", design, *get_args(Design))
    asked = {"shift": shift, "spread": spread, "points": points, "share": share, "odds": odds}
    fits = {BernoulliDesign: ("share",), RiskAdjustedDesign: ("odds",)}.get(type(design), ("shift", "spread", "points"))
    strange = [name for name, given in asked.items() if given is not None and name not in fits]
    if strange:
        raise ValueError(f"{strange[0]} does not belong to {type(design).__name__}, which takes {', '.join(fits)}")
    if isinstance(design, BernoulliDesign):
        return design.p0 if share is None else float(arguments.shares("share", arguments.number("share", share)))
    if isinstance(design, RiskAdjustedDesign):
        return 1.0 if odds is None else arguments.amount("odds", odds)
    if points is None:
        return NormalPoints(shift=0.0 if shift is None else shift, spread=1.0 if spread is None else spread)
    if shift is not None or spread is not None:
        raise ValueError("points must be given alone, or shift and spread")
    return arguments.instance("points", points, NormalPoints, SharePoints)


def hazard_of(design: Design, process: Points | float) -> Numbers:
    """The chance of a signal at each point or job, none before it."""
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


def mean_of(design: Design, process: Points | float) -> float:
    """The average run length, in points or jobs; where the chain's equations give it, no chances are walked through."""
    if isinstance(process, float):
        if isinstance(design, BernoulliDesign):
            return bernoulli_mean(design, process)
        if isinstance(design, RiskAdjustedDesign):
            return risk_adjusted_mean(design, process)
    return from_hazard(hazard_of(design, process)).mean
