"""Has the chance of a come-back changed, watched job by job: the Bernoulli and the risk-adjusted CUSUM.

Both sum up, from job to job, what speaks for a changed chance, and so answer sooner than a chart by month: nobody
waits for a month to end. Both signal when the sum reaches its limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.chart import Side
from rqa.spc.patterns import TIE
from rqa.spc.tabular_cusum import Arm, CusumChart, calls, check_limit, climb

BERNOULLI_METHOD = (
    "One sum over jobs: {up} for a job with the event, {down} for a job without, never under 0; a signal at {h:g}."
)
BERNOULLI_SOURCE = "M. R. Reynolds and Z. G. Stoumbos, Journal of Quality Technology 31, 1999, 87-108"
RISK_METHOD = (
    "One sum over jobs of the log-likelihood ratio of {odds:g} times the expected odds against the expected ones, "
    "never under 0; a signal at {h:g}."
)
RISK_SOURCE = "S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452"


@dataclass(frozen=True, kw_only=True)
class BernoulliWeights:
    """What a job adds to the log-likelihood ratio of chance p1 against p0, and the reference value made of it.

    A job without the event adds -r1, one with it r2 - r1; `reference` = r1 / r2 lies between p0 and p1.
    """

    r1: float
    r2: float
    reference: float


@dataclass(frozen=True, eq=False, kw_only=True)
class BernoulliCusum(CusumChart):
    """A Bernoulli CUSUM, in events: with p1 above p0 the arm is `high`, below it `low`."""

    p0: float
    p1: float
    reference: float


@dataclass(frozen=True, eq=False, kw_only=True)
class RiskAdjustedCusum(CusumChart):
    """A risk-adjusted CUSUM, in log-likelihood: with odds_ratio above 1 the arm is `high`, below it `low`.

    `weights` is what each job added, `centre` its expected chance.
    """

    odds_ratio: float
    weights: Numbers


def bernoulli_weights(*, p0: float, p1: float) -> BernoulliWeights:
    """Say what a job with and without the event weighs, when chance p1 is to be told from p0.

    r1 = -log((1 - p1) / (1 - p0)), r2 = log(p1 (1 - p0) / (p0 (1 - p1))), reference = r1 / r2 (Reynolds and Stoumbos,
    Journal of Quality Technology 31, 1999, 87-108). p0 and p1 lie between 0 and 1 and differ; anything else is a
    ValueError.
    """
    p0, p1 = arguments.share("p0", p0), arguments.share("p1", p1)
    if p0 == p1:
        raise ValueError(f"p1 must differ from p0: both are {p0!r}")
    r1 = np.log1p(-p0) - np.log1p(-p1)
    r2 = np.log(p1) - np.log(p0) + r1
    return BernoulliWeights(r1=float(r1), r2=float(r2), reference=float(r1 / r2))


def bernoulli_cusum(
    event: ArrayLike, *, p0: float, p1: float, h: float, headstart: float = 0.0, restart: bool = False
) -> BernoulliCusum:
    """Say, job by job, whether the chance of a come-back (or failure) has moved from p0 towards p1.

    Parameters
    ----------
    event
        One entry a job in the order the jobs were done: 1 or true with the event, 0 or false without.
    p0
        The chance of a steady process, between 0 and 1.
    p1
        The changed chance that is to be found: above p0 for a worsening, below it for an improvement.
    h
        Limit of the sum, in events above what the reference allows; `rqa.spc.limit_for` gives the one for a wanted run
        length.
    headstart
        Where the sum starts, from 0 to below h.
    restart
        Whether the sum begins anew (at the headstart) after a signal. By default it goes on.

    Returns
    -------
    BernoulliCusum
        `high` (or `low`), the sum after each job; `reference`; `values` (the events), `centre` (p0), `sigma`;
        `signals`, one for each time the sum reaches its limit, with the jobs since it was last 0.

    Notes
    -----
    Landmarks: no jobs, no sum. The sum never falls under 0, so a long good time earns no credit.

    With p1 above p0, high_i = max(0, high_(i-1) + event_i - reference), where the reference value is between p0 and p1
    (see `bernoulli_weights`); with p1 below, low_i = max(0, low_(i-1) + reference - event_i). The sum times r2 is the
    log-likelihood ratio. A signal is a sum that reaches h, not only one that is above it.

    Jobs must be followed up long enough for their event to be known, and be independent of each other: a bad lot that
    comes back as a whole counts as many. If the chance depends on the job, use `risk_adjusted_cusum`.

    Raises
    ------
    ValueError
        Events other than 0 and 1 or not in one dimension; p0, p1, h or headstart out of range.

    References
    ----------
    1. M. R. Reynolds and Z. G. Stoumbos, Journal of Quality Technology 31, 1999, 87-108.

    Examples
    --------
    >>> chart = bernoulli_cusum([0, 0, 1, 0, 1, 1, 0, 1], p0=0.05, p1=0.10, h=3.5)
    >>> chart.high.round(2).tolist(), [(signal.index, signal.side) for signal in chart.signals]
    ([0.0, 0.0, 0.93, 0.86, 1.78, 2.71, 2.64, 3.57], [(7, 'above')])

    Four come-backs among six jobs speak for a changed chance.
    """
    x = _events("event", event)
    weighed = bernoulli_weights(p0=p0, p1=p1)
    h, headstart = check_limit(h, headstart)
    sign = 1.0 if p1 > p0 else -1.0
    arm = _arm(sign * (x - weighed.reference), h=h, headstart=headstart, restart=restart)
    # The outcome at which the sum after this job just reaches the limit.
    edge = weighed.reference + sign * (h - arm.before)
    event_adds, other_adds = sign * (1.0 - weighed.reference), -sign * weighed.reference
    common = _common(x, np.full(len(x), float(p0)), arm, edge, "above" if sign > 0 else "below", restart)
    return BernoulliCusum(
        **common,
        method=BERNOULLI_METHOD.format(up=f"{event_adds:+.4g}", down=f"{other_adds:+.4g}", h=h),
        source=BERNOULLI_SOURCE,
        limit=float(h),
        headstart=float(headstart),
        p0=float(p0),
        p1=float(p1),
        reference=weighed.reference,
    )


def risk_adjusted_cusum(
    *,
    outcome: ArrayLike,
    expected: ArrayLike,
    odds_ratio: float,
    h: float,
    headstart: float = 0.0,
    restart: bool = False,
) -> RiskAdjustedCusum:
    """Say, job by job, whether the odds of a come-back have changed beyond what the mix of jobs explains.

    Parameters
    ----------
    outcome
        One entry a job in the order the jobs were done: 1 or true with the event, 0 or false without.
    expected
        The chance of the event expected for each job from its kind (model, procedure, billing), strictly between 0
        and 1; of the same length, or one number for all.
    odds_ratio
        By how much the odds are to have changed: 2 finds a doubling, 0.5 a halving. Above 0, not 1.
    h
        Limit of the sum, in log-likelihood; `rqa.spc.limit_for` gives the one for a wanted run length.
    headstart
        Where the sum starts, from 0 to below h.
    restart
        Whether the sum begins anew (at the headstart) after a signal. By default it goes on.

    Returns
    -------
    RiskAdjustedCusum
        `high` (or `low`), the sum after each job; `weights`, what each job added; `values` (the outcomes), `centre`
        (the expected chances), `sigma`; `signals`, one for each time the sum reaches its limit, with the jobs since it
        was last 0.

    Notes
    -----
    Landmarks: no jobs, no sum. A come-back of a job that was expected to come back adds little, one that was not
    expected adds nearly log(odds_ratio).

    weight = outcome log(odds_ratio) - log(1 - expected + odds_ratio expected); sum_i = max(0, sum_(i-1) + weight_i). A
    signal is a sum that reaches h, not only one that is above it.

    The expected chances must come from other jobs than those judged, and be calibrated: if they are too low for all,
    the chart will signal whatever is done.

    Raises
    ------
    ValueError
        Outcomes other than 0 and 1; expected chances of another length or not strictly between 0 and 1; odds_ratio, h
        or headstart out of range.

    References
    ----------
    1. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452.

    Examples
    --------
    >>> chart = risk_adjusted_cusum(outcome=[1, 0, 1], expected=[0.2, 0.05, 0.02], odds_ratio=2, h=4)
    >>> chart.weights.round(3).tolist(), chart.high.round(3).tolist()
    ([0.511, -0.049, 0.673], [0.511, 0.462, 1.135])

    The come-back that was least expected weighs most.
    """
    x = _events("outcome", outcome)
    p = arguments.shares("expected", expected)
    if p.ndim == 0:
        p = np.full(len(x), float(p))
    if p.shape != x.shape:
        raise ValueError(f"outcome and expected must be of one length: outcome {x.shape}, expected {p.shape}")
    if ((p == 0.0) | (p == 1.0)).any():
        place = int(np.argmax((p == 0.0) | (p == 1.0)))
        raise ValueError(f"expected must be strictly between 0 and 1: expected[{place}] = {p[place]:g}")
    odds_ratio = changed_odds(odds_ratio)
    h, headstart = check_limit(h, headstart)
    log_odds = float(np.log(odds_ratio))
    offset = np.log1p(p * (odds_ratio - 1.0))
    weights = x * log_odds - offset
    arm = _arm(weights, h=h, headstart=headstart, restart=restart)
    edge = (h - arm.before + offset) / log_odds
    common = _common(x, p, arm, edge, "above" if odds_ratio > 1.0 else "below", restart)
    return RiskAdjustedCusum(
        **common,
        method=RISK_METHOD.format(odds=odds_ratio, h=h),
        source=RISK_SOURCE,
        limit=float(h),
        headstart=float(headstart),
        odds_ratio=float(odds_ratio),
        weights=arguments.frozen(weights),
    )


def changed_odds(odds_ratio: float) -> float:
    """An odds ratio that is a change: above 0, and not 1."""
    rule = "must be above 0, finite and not 1"
    if arguments.positive("odds_ratio", odds_ratio, rule) == 1.0:
        raise ValueError(f"odds_ratio {rule}: {odds_ratio!r}")
    return float(odds_ratio)


def _events(name: str, given: ArrayLike) -> Numbers:
    arguments.unmasked(name, given)
    array = np.asarray(given)
    x = array.astype(np.float64) if array.dtype == np.bool_ else arguments.counts(name, given).astype(np.float64)
    if x.ndim != 1:
        raise ValueError(f"{name} must be one entry a job, in one dimension: shape {x.shape}")
    if (x > 1.0).any():
        place = int(np.argmax(x > 1.0))
        raise ValueError(f"{name} must be 0 or 1 for each job: {name}[{place}] = {x[place]:g}")
    return x


def _arm(steps: Numbers, *, h: float, headstart: float, restart: bool) -> Arm:
    # Rounding over millions of jobs stays far below this; a sum that reaches h on paper is out.
    return climb(steps, start=headstart, limit=h, restart=restart, slack=-TIE)


def _common(x: Numbers, p: Numbers, arm: Arm, edge: Numbers, side: Side, restart: bool) -> dict[str, Any]:
    """What both charts have: the watched arm, the other one empty, a signal each time the sum comes out."""
    arrived = arm.out if restart else arm.out & ~np.concatenate(([False], arm.out[:-1]))
    empty = arguments.frozen(np.full(len(x), np.nan))
    up = side == "above"
    return {
        "values": arguments.frozen(x),
        "centre": arguments.frozen(p),
        "lower": empty if up else arguments.frozen(edge),
        "upper": arguments.frozen(edge) if up else empty,
        "sigma": arguments.frozen(np.sqrt(p * (1.0 - p))),
        "signals": tuple(calls(arm, side, arrived)),
        "high": arguments.frozen(arm.after) if up else empty,
        "low": empty if up else arguments.frozen(arm.after),
    }
