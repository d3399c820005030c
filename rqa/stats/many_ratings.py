"""Do several judges agree by more than chance: Fleiss's kappa, in all and for each verdict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import never_zero
from rqa.stats.paired_ratings import from_agreement


@dataclass(frozen=True, eq=False)
class FleissKappa:
    """Agreement of many judges beyond chance with its limits; the same for each verdict against all others."""

    table: Counts
    level: float
    units: int
    observed: float
    expected: float
    kappa: float
    standard_error: float
    low: float
    high: float
    standard_error_null: float
    z: float
    p_value: float
    category_kappa: Numbers
    category_low: Numbers
    category_high: Numbers


def fleiss_kappa(table: ArrayLike, *, level: float = 0.95) -> FleissKappa:
    """Say how far several stations, appraisers or repeated runs agree on units beyond what chance would give.

    Parameters
    ----------
    table
        How many judgements of each unit (rows) gave each verdict (columns): whole numbers, at least two columns. Units
        may have been judged unequally often; those judged less than twice are left out.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    FleissKappa
        `kappa` = (observed - expected) / (1 - expected) with `standard_error` and limits; `z` and two-sided `p_value`
        of no agreement beyond chance, from `standard_error_null`; kappa of each verdict with its limits.

    Notes
    -----
    Landmarks: 1 is full agreement, 0 what chance would give. No unit judged twice, or one verdict only: no data, NaN;
    so for a verdict never given. Where all units agree alike, fully or not, the limits come from Wilson's of that
    agreement.

    Limits are for the units as a sample of all such units, from each unit's pull on kappa (Gwet) with Student's t of
    n - 1 degrees, cut at 1 and -1; the judges are taken as given. The standard error for the test holds only where all
    agreement is chance, and only where all units were judged equally often (else NaN): it is that of 1979, not the one
    of the 1971 paper, which was wrong.

    Kappa says nothing of who is right. Repeated runs at one station that agree may all be wrong.

    Raises
    ------
    ValueError
        A table that is not units x at least two verdicts; counts that are missing, negative or not whole; a level
        outside (0, 1).

    References
    ----------
    1. J. L. Fleiss, Psychological Bulletin 76, 1971, 378-382.
    2. J. L. Fleiss, J. C. M. Nee and J. R. Landis, Psychological Bulletin 86, 1979, 974-977 (standard error).
    3. K. L. Gwet, British Journal of Mathematical and Statistical Psychology 61, 2008, 29-48 (variance).

    Examples
    --------
    >>> r = fleiss_kappa([[3, 0], [3, 0], [0, 3], [2, 1], [3, 0], [0, 3], [1, 2], [3, 0], [3, 0], [0, 3]])
    >>> f"{r.observed:.2f} agree, kappa {r.kappa:.2f} ({r.low:.2f} to {r.high:.2f})"
    '0.87 agree, kappa 0.72 (0.30 to 1.00)'

    Three runs of one test agree fairly well on ten units, but ten units leave open whether well enough.
    """
    n = arguments.counts("table", table)
    level = arguments.share("level", level)
    if n.ndim != 2 or n.shape[1] < 2:
        raise ValueError(f"table must be units x verdicts, at least two verdicts: shape {n.shape}")
    judged = n[n.sum(axis=1) >= 2]
    overall = _agreement(judged, level)
    each = [_agreement(np.stack([column, judged.sum(axis=1) - column], axis=1), level) for column in judged.T]
    null = _error_without_agreement(judged)
    z = overall.kappa / null if null > 0 else float("nan")
    return FleissKappa(
        table=arguments.frozen_counts(n),
        level=level,
        units=len(judged),
        observed=overall.observed,
        expected=overall.expected,
        kappa=overall.kappa,
        standard_error=overall.error,
        low=overall.low,
        high=overall.high,
        standard_error_null=null,
        z=z,
        p_value=float(never_zero(2.0 * special.ndtr(-abs(z)))),
        category_kappa=arguments.frozen([one.kappa for one in each]),
        category_low=arguments.frozen([one.low for one in each]),
        category_high=arguments.frozen([one.high for one in each]),
    )


@dataclass(frozen=True)
class _Agreement:
    observed: float
    expected: float
    kappa: float
    error: float
    low: float
    high: float


def _agreement(judged: Counts, level: float) -> _Agreement:
    nothing = float("nan")
    units = len(judged)
    if units == 0:
        return _Agreement(nothing, nothing, nothing, nothing, nothing, nothing)
    times = judged.sum(axis=1).astype(np.float64)
    share = judged / times[:, None]
    common = share.mean(axis=0)
    alike = (judged * (judged - 1.0)).sum(axis=1) / (times * (times - 1.0))
    observed, expected = float(alike.mean()), float((common**2).sum())
    left = 1.0 - expected
    if left < 1e-12:
        return _Agreement(observed, expected, nothing, nothing, nothing, nothing)
    kappa = (observed - expected) / left
    if units == 1:
        return _Agreement(observed, expected, kappa, nothing, -1.0, 1.0)
    pull = (alike - expected) / left - 2.0 * (1.0 - kappa) * (share @ common - expected) / left
    error = float(np.sqrt(((pull - kappa) ** 2).sum() / (units * (units - 1.0))))
    reach = float(special.stdtrit(units - 1, (1.0 + level) / 2.0)) * error
    low, high = max(kappa - reach, -1.0), min(kappa + reach, 1.0)
    if error < 1e-6:
        low, high = from_agreement(observed, expected, float(units), level)
    return _Agreement(observed, expected, kappa, error, low, high)


def _error_without_agreement(judged: Counts) -> float:
    times = judged.sum(axis=1)
    if len(judged) == 0 or (times != times[0]).any():
        return float("nan")
    m = float(times[0])
    p = judged.sum(axis=0) / judged.sum()
    mixed = float((p * (1.0 - p)).sum())
    if mixed == 0:
        return float("nan")
    inside = mixed**2 - float((p * (1.0 - p) * (1.0 - 2.0 * p)).sum())
    return float(np.sqrt(2.0 * max(inside, 0.0) / (len(judged) * m * (m - 1.0)))) / mixed
