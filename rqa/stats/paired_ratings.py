"""Do two judges agree by more than chance: Cohen's kappa, plain and weighted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero
from rqa.stats.proportion import lower_limit, upper_limit

Weights = Literal["none", "linear", "quadratic"]


@dataclass(frozen=True, eq=False)
class CohenKappa:
    """Agreement of two judges beyond chance with its limits, and a test of there being none."""

    table: Counts
    weights: str
    level: float
    observed: float
    expected: float
    kappa: float
    standard_error: float
    low: float
    high: float
    standard_error_null: float
    z: float
    p_value: float


def cohen_kappa(table: ArrayLike, *, weights: Weights = "none", level: float = 0.95) -> CohenKappa:
    """Say how far two stations, or a station and a reference, agree beyond what chance alone would give.

    Parameters
    ----------
    table
        Units by verdict of the first (rows) and of the second (columns): whole numbers, as many rows as columns.
    weights
        "none": any two different verdicts are full disagreement. "linear", "quadratic": for ordered verdicts, the
        further apart the worse, by distance or by its square.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    CohenKappa
        `kappa` = (observed - expected) / (1 - expected) with `standard_error` and limits; `z` and two-sided `p_value`
        of no agreement beyond chance, from `standard_error_null`.

    Notes
    -----
    Landmarks: 1 is full agreement, 0 what chance would give, below 0 less. No unit, or all in one verdict by both:
    chance alone agrees fully, no data, NaN. Where all agree, or all disagree alike, the standard error is 0, and the
    limits come from Wilson's of the agreement seen instead.

    There are two standard errors: for limits the one that holds at any kappa, for the test the one that holds at 0.
    Limits are kappa -/+ z standard errors, cut at -1 and 1; below some 30 units they are rough.

    Kappa depends on how common the verdicts are: with few faults it may be low though nearly all verdicts agree, so
    look at `observed` too. Against a reference, the shares of faults missed and of good units failed say more.

    Raises
    ------
    ValueError
        A table that is not square with at least two verdicts; counts that are missing, negative or not whole; unknown
        weights; a level outside (0, 1).

    References
    ----------
    1. J. Cohen, Educational and Psychological Measurement 20, 1960, 37-46; Psychological Bulletin 70, 1968, 213-220.
    2. J. L. Fleiss, J. Cohen and B. S. Everitt, Psychological Bulletin 72, 1969, 323-327 (standard errors).

    Examples
    --------
    >>> r = cohen_kappa([[45, 3], [5, 17]])
    >>> f"{r.observed:.2f} agree, kappa {r.kappa:.2f} ({r.low:.2f} to {r.high:.2f})"
    '0.89 agree, kappa 0.73 (0.55 to 0.90)'

    The two stations agree on nine units of ten, well beyond chance, but not so far that either can stand for the other.
    """
    n = arguments.counts("table", table)
    arguments.one_of("weights", weights, get_args(Weights))
    level = arguments.share("level", level)
    if n.ndim != 2 or n.shape[0] != n.shape[1] or len(n) < 2:
        raise ValueError(f"table must have as many rows as columns, at least two of each: shape {n.shape}")
    units = float(n.sum())
    w = _weights(len(n), weights)
    p = n / max(units, 1.0)
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    by_chance = np.outer(rows, columns)
    observed, expected = float((w * p).sum()), float((w * by_chance).sum())
    left = 1.0 - expected
    if units == 0 or left < 1e-12:
        kappa = error = null = low = high = float("nan")
        observed, expected = (observed, expected) if units else (float("nan"), float("nan"))
    else:
        kappa = (observed - expected) / left
        margin = (w @ columns)[:, None] + (rows @ w)[None, :]
        spread = (p * (w * left - margin * (1.0 - observed)) ** 2).sum()
        spread -= (observed * expected - 2.0 * expected + observed) ** 2
        error = float(np.sqrt(max(float(spread), 0.0) / units)) / left**2
        null = float(np.sqrt(max(float((by_chance * (w - margin) ** 2).sum()) - expected**2, 0.0) / units)) / left
        reach = float(special.ndtri((1.0 + level) / 2.0)) * error
        low, high = max(kappa - reach, -1.0), min(kappa + reach, 1.0)
        if error < 1e-6:
            low, high = from_agreement(observed, expected, units, level)
    z = kappa / null if null > 0 else float("nan")
    return CohenKappa(
        table=arguments.frozen_counts(n),
        weights=weights,
        level=level,
        observed=observed,
        expected=expected,
        kappa=kappa,
        standard_error=error,
        low=low,
        high=high,
        standard_error_null=null,
        z=z,
        p_value=float(never_zero(2.0 * special.ndtr(-abs(z)))),
    )


def from_agreement(observed: float, expected: float, units: float, level: float) -> tuple[float, float]:
    """Limits of kappa from Wilson's of the share that agrees, what chance would give taken as known."""
    agreed, of = np.array(observed * units), np.array(units)
    ends = (limit(agreed, of, "wilson", level) for limit in (lower_limit, upper_limit))
    low, high = ((float(end) - expected) / (1.0 - expected) for end in ends)
    return max(low, -1.0), min(high, 1.0)


def _weights(size: int, weights: str) -> Numbers:
    apart = np.abs(np.subtract.outer(np.arange(size), np.arange(size))) / (size - 1.0)
    if weights == "none":
        return np.eye(size)
    return np.asarray(1.0 - (apart if weights == "linear" else apart**2), dtype=np.float64)
