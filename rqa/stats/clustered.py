"""How sure are we of a share whose cases come in clusters, such as checks of one job or jobs of one lot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import estimate, wilson


@dataclass(frozen=True, eq=False)
class ClusteredInterval:
    """A share with limits that allow for clusters, and how much less its cases say than as many of their own."""

    successes: Counts
    trials: Counts
    clusters: Counts
    level: float
    estimate: Numbers
    design_effect: Numbers
    effective_trials: Numbers
    low: Numbers
    high: Numbers


def clustered_interval(*, successes: ArrayLike, trials: ArrayLike, level: float = 0.95) -> ClusteredInterval:
    """Say between which limits a share lies whose cases hang together in clusters.

    Parameters
    ----------
    successes, trials
        Cases with the event, and all, of each cluster (a job with its checks, a lot with its units): whole numbers,
        clusters along the last axis, groups before it.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    ClusteredInterval
        `estimate`, the share over all cases; `design_effect`, how many times its variance is that of as many cases
        that are independent; `effective_trials` = trials / design effect (of 1 at least); `low`, `high`.

    Notes
    -----
    Landmarks: no case is no data, NaN; one cluster says nothing of how they differ, so that there are no limits (NaN).
    Where all cases have the event, or none, the clusters cannot be seen to differ: then each counts as one case.

    With p the share over all n cases of m clusters, the variance is m / (m - 1) times the sum of (x_j - n_j p)^2 over
    n^2, and the design effect that over p (1 - p) / n. The limits are Wilson's for the effective counts, with Student's
    quantile of m - 1 degrees, as the design effect is itself only as well known as m clusters tell. An effect below 1
    is told and taken as 1.

    Clusters must be independent of each other. Below about ten clusters the limits are rough.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; successes above trials; a single number; a level outside (0, 1).

    References
    ----------
    1. J. N. K. Rao and A. J. Scott, Biometrics 48, 1992, 577-585.

    Examples
    --------
    >>> r = clustered_interval(successes=[4, 0, 3, 0, 0, 5, 1, 0], trials=[5, 4, 6, 5, 3, 6, 4, 5])
    >>> f"{r.estimate:.2f} ({r.low:.2f} to {r.high:.2f}), design effect {r.design_effect:.1f}"
    '0.34 (0.12 to 0.66), design effect 3.2'

    Thirty-eight checks of eight jobs say as much as twelve checks of twelve jobs would.
    """
    x, n = arguments.part_and_whole("successes", successes, "trials", trials)
    level = arguments.share("level", level)
    if x.ndim < 1:
        raise ValueError("successes and trials must have one axis at least, the clusters")
    arguments.countable(n.astype(np.float64).sum(axis=-1), "trials")
    total, events = n.sum(axis=-1), x.sum(axis=-1)
    clusters = (n > 0).sum(axis=-1)
    share = estimate(events, total)
    size = np.maximum(total, 1).astype(np.float64)
    off = ((x - n * np.nan_to_num(share)[..., np.newaxis]) ** 2).sum(axis=-1)
    several = np.maximum(clusters - 1.0, 1.0)
    inside = (events > 0) & (events < total)
    plain = np.where(inside, np.nan_to_num(share) * (1.0 - np.nan_to_num(share)), 1.0)
    effect = clusters / several * off / size / plain
    effect = np.where((clusters >= 2) & inside, effect, np.nan)
    effective = np.where(inside, size / np.maximum(np.where(np.isnan(effect), 1.0, effect), 1.0), clusters)
    unknown = clusters < 2
    effective = np.where(unknown, 1.0, effective)
    quantile = -special.stdtrit(several, (1.0 - level) / 2.0)
    low, high = wilson(np.nan_to_num(share) * effective, effective, quantile)
    return ClusteredInterval(
        successes=arguments.frozen_counts(x),
        trials=arguments.frozen_counts(n),
        clusters=arguments.frozen_counts(clusters),
        level=level,
        estimate=arguments.frozen(share),
        design_effect=arguments.frozen(effect),
        effective_trials=arguments.frozen(np.where(unknown, np.nan, effective)),
        low=arguments.frozen(np.where(unknown, np.nan, np.minimum(low, share))),
        high=arguments.frozen(np.where(unknown, np.nan, np.maximum(high, share))),
    )
