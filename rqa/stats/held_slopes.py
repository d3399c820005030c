"""A chance by the marks of a case: logistic regression whose slopes are held back, so that rare marks say little."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers

STEPS, CLOSE = 100, 1e-10
LARGEST_MARK = 1e3


def ridge_logit(*, marks: ArrayLike, events: ArrayLike, cases: ArrayLike, penalty: float = 1.0) -> Numbers:
    """Fit the chance of an event to the marks of cases; give the intercept and a slope a mark.

    `marks`: a row a kind of case, a column a mark (usually 0 or 1). `events` of `cases` had the event. What is made
    smallest is minus the log-likelihood plus penalty / 2 × the sum of squared slopes; the intercept is free, so the
    fitted chances add up to the events seen. Newton's method, with halved steps where it would overshoot. Chances of
    new cases are 1 / (1 + exp(-(intercept + marks · slopes))).

    Raises `ValueError` for unlike lengths, a penalty not above 0, no events at all, or nothing but events.

    >>> ridge_logit(marks=[[0], [1]], events=[10, 30], cases=[100, 100], penalty=1e-6).round(3)
    array([-2.197,  1.35 ])

    The odds with the mark are exp(1.35) = 3.86 times those without.
    """
    x = arguments.measurements("marks", marks)
    back, jobs = arguments.part_and_whole("events", events, "cases", cases)
    y, n = back.astype(np.float64), jobs.astype(np.float64)
    if x.ndim != 2 or y.ndim != 1 or len(x) != len(y) or np.isnan(x).any():
        raise ValueError(f"marks, events and cases must have a row a kind: {x.shape}, {y.shape}, {n.shape}")
    if np.abs(x).max(initial=0.0) > LARGEST_MARK:
        raise ValueError(f"marks must be within -{LARGEST_MARK:g} and {LARGEST_MARK:g}: scale them")
    if not 0 < y.sum() < n.sum():
        raise ValueError("events must be neither none nor all of the cases")
    penalty = arguments.positive("penalty", penalty)
    full = np.column_stack([np.ones(len(x)), x])
    held = np.full(full.shape[1], penalty)
    held[0] = 0.0
    slopes = np.zeros(full.shape[1])
    slopes[0] = np.log(y.sum() / (n.sum() - y.sum()))

    def loss(b: Numbers) -> float:
        eta = full @ b
        return float((n * np.logaddexp(0.0, eta) - y * eta).sum() + 0.5 * (held * b**2).sum())

    now = loss(slopes)
    for _ in range(STEPS):
        p = 1.0 / (1.0 + np.exp(-(full @ slopes)))
        slope = full.T @ (y - n * p) - held * slopes
        step = np.linalg.solve((full * (n * p * (1.0 - p))[:, None]).T @ full + np.diag(held), slope)
        size = 1.0
        while size > CLOSE and loss(slopes + size * step) > now + CLOSE * abs(now):
            size /= 2.0
        slopes = slopes + size * step
        now = loss(slopes)
        if np.abs(step).max() < CLOSE:
            break
    return arguments.frozen(slopes)
