"""How many jobs to audit so that a given share of faulty ones would not go unseen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers

TIE = 1e-9
"""A chance this near to the one asked for is taken as reached, so that rounding does not cost a job."""


@dataclass(frozen=True, eq=False)
class AuditSize:
    """Jobs to audit for each fault share, and the chance of finding at least one faulty job that they really give."""

    fraction: Numbers
    chance: float
    lot: int | None
    jobs: Counts
    found: Numbers


def jobs_to_audit(*, fraction: ArrayLike, chance: float = 0.95, lot: int | None = None) -> AuditSize:
    """Say how many jobs to audit to find at least one faulty job, if at least that share of them is faulty.

    Parameters
    ----------
    fraction
        Share of faulty jobs that must not go unseen: above 0, at most 1, any shape.
    chance
        Chance of finding at least one of them, strictly between 0 and 1.
    lot
        Jobs that the sample is drawn from; left out for work that goes on. In a lot at least fraction x lot jobs are
        faulty, taken up to a whole number.

    Returns
    -------
    AuditSize
        `jobs`, the fewest that will do; `found`, the chance they really give.

    Notes
    -----
    Landmarks: 5 % and a chance of 95 % take 59 jobs; a single faulty job in a lot takes `chance` of the whole lot.

    Without a lot, the fewest n with 1 - (1 - fraction)^n >= chance; in a lot of N with D faulty jobs, with
    1 - C(N - D, n) / C(N, n) >= chance. The other way round: when so many were audited and none was faulty, a share of
    `fraction` or more is ruled out at that level.

    The jobs must be drawn at random, and the audit must see a fault that is there.

    Raises
    ------
    ValueError
        A fraction that is not above 0 and at most 1; a chance outside (0, 1); a lot that is no whole number.

    References
    ----------
    1. A. R. Cannon and R. T. Roe, Livestock Disease Surveys, 1982 (from memory).

    Examples
    --------
    >>> r = jobs_to_audit(fraction=[0.05, 0.01])
    >>> r.jobs.tolist(), jobs_to_audit(fraction=0.05, lot=100).jobs.tolist()
    ([59, 299], 45)

    To notice a fault in one job of twenty takes 59 audits, or 45 out of a month's hundred jobs.
    """
    share = arguments.shares("fraction", fraction)
    if (share == 0).any():
        raise ValueError("fraction must be above 0: no audit finds a fault that is not there")
    chance = arguments.share("chance", chance)
    size = None if lot is None else arguments.whole("lot", lot, 1)
    if size is None:
        with np.errstate(divide="ignore"):
            unseen = np.log1p(-share)
        jobs = np.maximum(np.ceil(np.log1p(-chance) / unseen - TIE), 1.0)
        found = -np.expm1(jobs * unseen)
    else:
        faulty = np.maximum(np.ceil(share * size - TIE), 1.0)
        jobs = _fewest(faulty, size, chance)
        found = 1.0 - np.exp(_log_unseen(jobs, faulty, size))
    return AuditSize(
        fraction=arguments.frozen(share),
        chance=chance,
        lot=size,
        jobs=arguments.frozen_counts(jobs.astype(np.int64)),
        found=arguments.frozen(found),
    )


def _fewest(faulty: Numbers, lot: int, chance: float) -> Numbers:
    near, far = np.zeros_like(faulty), lot - faulty + 1.0
    while (far - near > 1).any():
        middle = np.floor((near + far) / 2.0)
        enough = _log_unseen(middle, faulty, lot) <= np.log1p(-chance) + TIE
        near, far = np.where(enough, near, middle), np.where(enough, middle, far)
    return far


def _log_unseen(jobs: Numbers, faulty: Numbers, lot: int) -> Numbers:
    """The log of the chance that a sample misses every faulty job; minus infinity once it cannot."""
    left = lot - faulty - jobs
    possible = np.maximum(left, 0.0)
    log = special.gammaln(lot - faulty + 1.0) - special.gammaln(possible + 1.0)
    log = log + special.gammaln(lot - jobs + 1.0) - special.gammaln(lot + 1.0)
    return np.where(left < 0, -np.inf, log)
