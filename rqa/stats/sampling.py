"""Checking a sample instead of all: what a sampling plan lets through, and the smallest plan that will do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.words import counted

LARGEST_SAMPLE = 10_000_000


@dataclass(frozen=True, eq=False)
class SamplingPlanOc:
    """What a plan does at each share of faulty jobs: acceptance, what is let through, jobs checked in the end."""

    n: int
    c: int
    lot: int | None
    fraction: Numbers
    accept: Numbers
    outgoing: Numbers
    checked: Numbers


@dataclass(frozen=True)
class SamplingPlan:
    """The smallest single plan for two points, and what it does there."""

    n: int
    c: int
    lot: int | None
    good: float
    bad: float
    accept_good: float
    accept_bad: float


def sampling_plan_oc(*, n: int, c: int, fraction: ArrayLike, lot: int | None = None) -> SamplingPlanOc:
    """Say how likely a batch of jobs passes an audit of `n` jobs that allows `c` faulty ones.

    Parameters
    ----------
    n
        Jobs audited: a whole number of at least 1, at most the lot.
    c
        Faulty jobs at which the batch still passes: a whole number from 0 up.
    fraction
        True share of faulty jobs, from 0 to 1, any shape. With a lot it is taken to the nearest whole number of jobs.
    lot
        Jobs in the batch; left out for work that goes on, or a batch many times the sample.

    Returns
    -------
    SamplingPlanOc
        `accept`, the chance that the batch passes (the operating characteristic); `outgoing`, the share of faulty jobs
        left on average if batches that fail are checked in full and put right; `checked`, the jobs checked on average
        then (without a lot: infinite unless nothing is ever refused). `fraction` as it was used.

    Notes
    -----
    Landmarks: no faulty job always passes; c >= n always passes; all faulty never passes with c < n.

    accept = P(X <= c) with X hypergeometric in a lot, binomial without one. outgoing = accept x fraction x
    (lot - n) / lot (without a lot: accept x fraction); checked = n + (1 - accept) (lot - n).

    The sample must be drawn at random: the first jobs of the day, or those that lie on top, are no sample. And an audit
    must find a fault that is there.

    Raises
    ------
    ValueError
        n, c or lot that is no whole number in its range; a fraction outside 0 to 1.

    References
    ----------
    1. NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.3.2.
    2. H. F. Dodge and H. G. Romig, Sampling Inspection Tables, 1944.

    Examples
    --------
    >>> r = sampling_plan_oc(n=52, c=3, fraction=[0.01, 0.03, 0.10], lot=10_000)
    >>> r.accept.round(3).tolist()
    [0.998, 0.93, 0.222]

    With 3 % faulty the batch passes 93 times in 100; with 10 % still once in five.
    """
    n, c = arguments.whole("n", n, 1), arguments.whole("c", c, 0)
    share = arguments.shares("fraction", fraction)
    if lot is None:
        accept = _binomial(c, n, share)
        return SamplingPlanOc(
            n=n,
            c=c,
            lot=None,
            fraction=arguments.frozen(share),
            accept=arguments.frozen(accept),
            outgoing=arguments.frozen(accept * share),
            checked=arguments.frozen(np.where(accept == 1, n, np.inf)),
        )
    lot = arguments.whole("lot", lot, 1)
    if n > lot:
        raise ValueError(f"n must not be above lot: n = {n}, lot = {lot}")
    faulty = np.rint(share * lot)
    accept = _hypergeometric(c, n, faulty, lot)
    return SamplingPlanOc(
        n=n,
        c=c,
        lot=lot,
        fraction=arguments.frozen(faulty / lot),
        accept=arguments.frozen(accept),
        outgoing=arguments.frozen(accept * faulty / lot * (lot - n) / lot),
        checked=arguments.frozen(n + (1.0 - accept) * (lot - n)),
    )


def sampling_plan(
    *, good: float, bad: float, good_refused: float = 0.05, bad_accepted: float = 0.10, lot: int | None = None
) -> SamplingPlan:
    """Find the smallest audit that passes good batches and stops bad ones, as often as asked.

    Parameters
    ----------
    good, bad
        Shares of faulty jobs of a batch that should pass, and of one that should not: 0 < good < bad < 1.
    good_refused
        Chance allowed of refusing a batch that is just good (the producer's risk), strictly between 0 and 1.
    bad_accepted
        Chance allowed of passing a batch that is just bad (the consumer's risk), strictly between 0 and 1.
    lot
        Jobs in the batch; left out for work that goes on.

    Returns
    -------
    SamplingPlan
        `n`, `c`, and `accept_good` >= 1 - good_refused, `accept_bad` <= bad_accepted, the chances it really has.

    Notes
    -----
    For each c from 0 up, the smallest n that keeps the second promise is taken; the first c for which that n keeps the
    first promise too gives the smallest plan there is. With a lot both shares are taken to the nearest whole number of
    jobs.

    Raises
    ------
    ValueError
        Shares or risks out of range, or in the wrong order; a lot in which both shares are the same number of jobs;
        no plan of up to 10 million jobs.

    References
    ----------
    1. E. G. Schilling and D. V. Neubauer, Acceptance Sampling in Quality Control, 2nd edition, 2009, chapter 5.

    Examples
    --------
    >>> plan = sampling_plan(good=0.01, bad=0.08)
    >>> plan.n, plan.c, round(plan.accept_good, 3), round(plan.accept_bad, 3)
    (65, 2, 0.972, 0.099)

    Audit 65 jobs and let two faulty ones pass.
    """
    good, bad = arguments.share("good", good), arguments.share("bad", bad)
    refused, accepted = arguments.share("good_refused", good_refused), arguments.share("bad_accepted", bad_accepted)
    if lot is not None:
        lot = arguments.whole("lot", lot, 1)
        good, bad = round(good * lot) / lot, round(bad * lot) / lot
    if not good < bad:
        raise ValueError(
            f"good must be below bad: good = {good:g}, bad = {bad:g}" + (f" of a lot of {lot}" * bool(lot))
        )

    def accept(n: int, c: int, share: float) -> float:
        at = np.asarray(share)
        return float(_binomial(c, n, at) if lot is None else _hypergeometric(c, n, np.rint(at * lot), lot))

    def smallest(least: int, most: int, c: int) -> int:
        return _smallest(least, most, lambda n: accept(n, c, bad) <= accepted)

    n, largest = 1, LARGEST_SAMPLE if lot is None else lot
    start = _first_near(largest, lambda c: (smallest(c + 1, largest, c), c), accept, good, 1.0 - refused - NEAR)
    for c in range(start, largest):
        n = smallest(max(n, c + 1), largest, c)
        if n > largest:
            break
        if accept(n, c, good) >= 1.0 - refused:
            return SamplingPlan(n, c, lot, good, bad, accept(n, c, good), accept(n, c, bad))
    raise ValueError(f"no plan of up to {counted(largest, 'job')} keeps both promises: good = {good:g}, bad = {bad:g}")


FEW_FAULTY, NEAR = 64, 0.02
"""Up to so many faulty ones every plan is tried. Beyond, the chance that a good batch passes grows with them, but for
steps that are far smaller than this."""


def _first_near(
    largest: int,
    plan: Callable[[int], tuple[int, int]],
    accept: Callable[[int, int, float], float],
    good: float,
    wanted: float,
) -> int:
    """From how many faulty ones on plans must be tried one by one: before, good batches pass too seldom by far."""

    def far_off(c: int) -> bool:
        n, c = plan(c)
        return n <= largest and accept(n, c, good) < wanted

    low, high = 0, FEW_FAULTY
    while high < largest and far_off(high):
        low, high = high, 2 * high
    if not low:
        return 0
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if middle < largest and far_off(middle) else (low, middle)
    return high


def _smallest(near: int, far: int, enough: Callable[[int], bool]) -> int:
    """The smallest whole number from near to far that is enough; far + 1 if none is."""
    far += 1
    step = near
    while near < far:
        # Galloping first: plans are small, and the range is large.
        middle = min(near + step - 1, (near + far) // 2)
        if enough(middle):
            far, step = middle, far
        else:
            near, step = middle + 1, 2 * step
    return near


def _binomial(c: int, n: int, share: Numbers) -> Numbers:
    if c >= n:
        return np.ones_like(share)
    return np.asarray(special.bdtr(c, n, share), dtype=np.float64)


def _hypergeometric(c: int, n: int, faulty: Numbers, lot: int) -> Numbers:
    """P(X <= c), the chances of 0 to c added up."""
    if c >= n:
        return np.ones_like(faulty)
    k = np.arange(c + 1.0)
    d = faulty[..., np.newaxis]
    possible = (k <= d) & (k <= n) & (n - k <= lot - d)
    chosen = _log_choose(d, np.where(possible, k, 0)) + _log_choose(lot - d, np.where(possible, n - k, 0))
    chance = np.where(possible, np.exp(chosen - _log_choose(np.asarray(float(lot)), np.asarray(float(n)))), 0.0)
    return np.minimum(chance.sum(axis=-1), 1.0)


def _log_choose(n: Numbers, k: Numbers) -> Numbers:
    return special.gammaln(n + 1.0) - special.gammaln(k + 1.0) - special.gammaln(n - k + 1.0)
