"""Does a technician's yield rise with practice: a logistic curve over the logarithm of jobs done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero

STEPS = 50
SETTLED = 1e-10


@dataclass(frozen=True, eq=False)
class LearningCurve:
    """Log odds of a pass = intercept + slope x log(experience), with what the counts allow to say of the slope.

    `covariance` is that of (intercept, slope). Where no finite curve is likeliest, `settled` is False and the curve's
    numbers are NaN; `p_value` is then still told.
    """

    experience: Numbers
    passed: Counts
    checked: Counts
    level: float
    settled: bool
    intercept: float
    slope: float
    slope_low: float
    slope_high: float
    covariance: Numbers
    log_likelihood: float
    log_likelihood_flat: float
    p_value: float


def learning_curve(
    *, experience: ArrayLike, passed: ArrayLike, checked: ArrayLike, level: float = 0.95
) -> LearningCurve:
    """Say whether, and how fast, first-pass yield changes with the number of jobs done.

    Parameters
    ----------
    experience
        Jobs of this procedure done up to and with the one at hand: numbers above 0, one row. Rows may be single jobs or
        counts of many at one experience; the answer is the same.
    passed
        How many of the first checks at that experience passed: whole numbers from 0 to `checked`, of the same shape.
    checked
        How many were checked there, of the same shape or one number for all.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    LearningCurve
        `slope`, the rise of the log odds of a pass for each factor e of experience, with limits; each doubling of
        experience multiplies the odds by 2^slope. `p_value`, how often chance alone would make such a rise or fall.

    Notes
    -----
    Landmarks: a slope of 0 is no learning, one below 0 gets worse. All passed, or none, or all at one experience: there
    is no slope, and p is 1. Failures all before the first pass, or all after the last one: the likeliest curve is a
    cliff, without finite slope, but p is told. No check at all: no data, NaN.

    Maximum likelihood by Newton's method; limits are slope -/+ z times its standard error; p by the likelihood ratio
    with one degree of freedom, which is too small with fewer than some ten failures or passes.

    Checks are taken as independent given the experience. Harder jobs given to the practised hide learning, easy jobs
    given to beginners too; and over several technicians the curve mixes who learns with who stays. So fit one
    technician on one procedure, and read a fall as a question about the work before one about the person.

    Raises
    ------
    ValueError
        An experience that is missing, infinite or not above 0; a count that is missing, negative or not whole; passed
        above checked; counts that are no row; shapes that do not fit; a level outside (0, 1).

    References
    ----------
    1. D. R. Cox, The Analysis of Binary Data, 1970, chapter 2.

    Examples
    --------
    >>> r = learning_curve(experience=[1, 2, 4, 8, 16, 32], passed=[5, 6, 6, 8, 9, 9], checked=10)
    >>> f"odds x {2**r.slope:.2f} a doubling ({2**r.slope_low:.2f} to {2**r.slope_high:.2f}), p = {r.p_value:.3f}"
    'odds x 1.62 a doubling (1.11 to 2.37), p = 0.008'

    With each doubling of the jobs done, the odds of passing first time rise by half or so.
    """
    done = arguments.above_zero("experience", experience)
    x, n = arguments.part_and_whole("passed", passed, "checked", checked)
    done, xs, ns = arguments.same_shape(
        {"experience": done, "passed": x.astype(np.float64), "checked": n.astype(np.float64)}
    )
    if done.ndim != 1:
        raise ValueError(f"experience must be one row: shape {done.shape}")
    level = arguments.share("level", level)
    places = np.log(done)
    total, events = float(ns.sum()), float(xs.sum())
    flat = _flat(events, total)
    cliff = _cliff(places, xs, ns)
    if cliff is None:
        intercept, slope, covariance, best = _newton(places, xs, ns)
    else:
        intercept, slope, covariance, best = np.nan, np.nan, np.full((2, 2), np.nan), cliff
    reach = -float(special.ndtri((1.0 - level) / 2.0)) * float(np.sqrt(covariance[1, 1]))
    return LearningCurve(
        experience=arguments.frozen(done),
        passed=arguments.frozen_counts(xs.astype(np.int64)),
        checked=arguments.frozen_counts(ns.astype(np.int64)),
        level=level,
        settled=cliff is None,
        intercept=intercept,
        slope=slope,
        slope_low=slope - reach,
        slope_high=slope + reach,
        covariance=arguments.frozen(covariance),
        log_likelihood=best,
        log_likelihood_flat=flat,
        p_value=float(never_zero(special.chdtrc(1, max(2.0 * (best - flat), 0.0)))) if total else np.nan,
    )


def _flat(events: float, total: float) -> float:
    share = events / total if total else 0.5
    return float(special.xlogy(events, share) + special.xlogy(total - events, 1.0 - share))


def _cliff(places: Numbers, x: Numbers, n: Numbers) -> float | None:
    """The highest log-likelihood where no finite slope reaches it, None where one does."""
    total, events = float(n.sum()), float(x.sum())
    if events in (0.0, total) or np.unique(places[n > 0]).size == 1:
        return _flat(events, total)
    passes, failures = places[x > 0], places[x < n]
    for first, then in ((failures, passes), (passes, failures)):
        if first.max() <= then.min():
            edge = (places == first.max()) & (places == then.min())
            return _flat(float(x[edge].sum()), float(n[edge].sum()))
    return None


def _newton(places: Numbers, x: Numbers, n: Numbers) -> tuple[float, float, Numbers, float]:
    middle = float((places * n).sum() / n.sum())
    design = np.stack([np.ones_like(places), places - middle])

    def height(beta: Numbers) -> float:
        odds = beta @ design
        return float((x * odds - n * np.logaddexp(0.0, odds)).sum())

    beta = np.array([float(special.logit(x.sum() / n.sum())), 0.0])
    best = height(beta)
    for _ in range(STEPS):
        p = special.expit(beta @ design)
        information = (design * (n * p * (1.0 - p))) @ design.T
        step = np.linalg.solve(information, design @ (x - n * p))
        # A step that is too long is halved, so that the likelihood never falls.
        while height(beta + step) < best - SETTLED and np.abs(step).max() > SETTLED:
            step = step / 2.0
        beta, best = beta + step, height(beta + step)
        if np.abs(step).max() < SETTLED:
            break
    p = special.expit(beta @ design)
    back = np.array([[1.0, -middle], [0.0, 1.0]])
    covariance = back @ np.linalg.inv((design * (n * p * (1.0 - p))) @ design.T) @ back.T
    return float(beta[0] - beta[1] * middle), float(beta[1]), covariance, best
