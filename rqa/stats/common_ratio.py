"""One ratio over many strata: what an exposure does to a risk once the mix of work is allowed for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.exact_odds import limit_at_the_end
from rqa.stats.far_tails import never_zero
from rqa.stats.homogeneity import breslow_day
from rqa.stats.risk_score import score_limits

Measure = Literal["odds", "risk"]


@dataclass(frozen=True, eq=False)
class MantelHaenszel:
    """A common odds or risk ratio with limits, the test that there is none, and whether one ratio fits all strata."""

    tables: Counts
    measure: str
    level: float
    strata: Counts
    estimate: Numbers
    low: Numbers
    high: Numbers
    chi2: Numbers
    p_value: Numbers
    chi2_corrected: Numbers
    p_corrected: Numbers
    breslow_day: Numbers
    breslow_day_p: Numbers
    tarone: Numbers
    tarone_p: Numbers


def mantel_haenszel(tables: ArrayLike, *, measure: Measure = "odds", level: float = 0.95) -> MantelHaenszel:
    """Say how many times the odds or the risk of a come-back an exposure makes, on comparable work.

    Parameters
    ----------
    tables
        k x 2 x 2 whole numbers, one table for each stratum (such as procedure x model): rows exposed and unexposed,
        columns with and without the event. Axes before these three are questions of their own.
    measure
        "odds" for the odds ratio, "risk" for the risk ratio.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    MantelHaenszel
        `estimate`, `low`, `high`; `strata`, how many have both exposed and unexposed. Cochran-Mantel-Haenszel test of
        no difference: `chi2` with `p_value`, and `chi2_corrected` with `p_corrected` (continuity correction). Tests
        that the odds ratio is the same in all strata (also where the risk ratio is asked for): `breslow_day`, and
        `tarone` with Tarone's correction, each with its p-value.

    Notes
    -----
    Landmarks: 1 is no difference. No exposed event gives 0 with a finite `high`, no unexposed event an infinite
    estimate with a finite `low`; there the logarithm has no standard error, so the limits are exact ones (odds) or
    those of the stratified score test (risk). Nobody with the event: the ratio is unknown, NaN between 0 and infinity,
    and so is the odds ratio if everybody had it; there is no test then, NaN. No stratum with both exposed and
    unexposed: no data, NaN throughout.

    With a table [[a, b], [c, d]] of n jobs: odds ratio = sum(ad/n) / sum(bc/n), with Robins, Breslow and Greenland's
    variance of its logarithm; risk ratio = sum(a (c + d) / n) / sum(c (a + b) / n), with Greenland and Robins'. Both
    variances hold for few large strata and for many small ones. With few events in all, use `exact_common_odds`.

    One ratio for all strata is an average. A small p-value of `tarone` says that the exposure matters more in some
    strata than in others; then say where, instead of averaging.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; tables not k x 2 x 2; an unknown measure; a level outside
        (0, 1).

    References
    ----------
    1. N. Mantel and W. Haenszel, Journal of the National Cancer Institute 22, 1959, 719-748.
    2. J. Robins, N. Breslow and S. Greenland, Biometrics 42, 1986, 311-323.
    3. S. Greenland and J. M. Robins, Biometrics 41, 1985, 55-68.
    4. N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research I, IARC, 1980, 142; R. E. Tarone, Biometrika
       72, 1985, 91-95.
    5. J. J. Gart, Biometrika 72, 1985, 673-677 (stratified score limits).

    Examples
    --------
    >>> r = mantel_haenszel([[[12, 88], [30, 470]], [[5, 15], [40, 240]]], measure="risk")
    >>> f"{r.estimate:.2f} ({r.low:.2f} to {r.high:.2f}), p = {r.p_value:.3f}"
    '1.91 (1.16 to 3.16), p = 0.012'

    On comparable work a come-back is nearly twice as likely after a failed check.
    """
    counts = arguments.counts("tables", tables)
    if counts.ndim < 3 or counts.shape[-2:] != (2, 2):
        raise ValueError(f"tables must be k x 2 x 2: shape {counts.shape}")
    arguments.one_of("measure", measure, get_args(Measure))
    level = arguments.share("level", level)
    both = (counts.sum(axis=-1) > 0).all(axis=-1)
    used = np.where(both[..., np.newaxis, np.newaxis], counts, 0)
    a, b, c, d = (used[..., i, j].astype(np.float64) for i in (0, 1) for j in (0, 1))
    top, bottom, variance = _SUMS[measure](a, b, c, d)
    with np.errstate(divide="ignore", invalid="ignore"):
        estimate = top / bottom
        reach = np.exp(-float(special.ndtri((1.0 - level) / 2.0)) * np.sqrt(variance))
        low, high = estimate / reach, estimate * reach
    low, high = np.where(top == 0, 0.0, low), np.where(bottom == 0, np.inf, high)
    if measure == "risk":
        bare = (top == 0) | (bottom == 0) | (variance <= 0)
        if bare.any():
            score_low, score_high = score_limits(a, a + b, c, c + d, level)
            low, high = np.where(bare, score_low, low), np.where(bare, score_high, high)
    else:
        low, high = _exact_ends(used, top, bottom, low, high, level)
    strata = both.sum(axis=-1)
    chi2, corrected = _test(a, b, c, d)
    same = breslow_day(a, b, c, d)
    numbers = {"estimate": estimate, "low": low, "high": high, "chi2": chi2, "chi2_corrected": corrected}
    numbers |= {
        "p_value": never_zero(special.chdtrc(1, chi2)), "p_corrected": never_zero(special.chdtrc(1, corrected)),
    } | same
    return MantelHaenszel(
        tables=arguments.frozen_counts(counts),
        measure=measure,
        level=level,
        strata=arguments.frozen_counts(strata),
        **{name: arguments.frozen(np.where(strata == 0, np.nan, value)) for name, value in numbers.items()},
    )


def _odds(a: Numbers, b: Numbers, c: Numbers, d: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The two sums of the odds ratio and the variance of its logarithm (Robins, Breslow and Greenland)."""
    n = np.maximum(a + b + c + d, 1.0)
    r, s, p, q = a * d / n, b * c / n, (a + d) / n, (b + c) / n
    top, bottom = r.sum(axis=-1), s.sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (p * r).sum(axis=-1) / (2 * top**2) + (q * s).sum(axis=-1) / (2 * bottom**2)
        variance = variance + (p * s + q * r).sum(axis=-1) / (2 * top * bottom)
    return top, bottom, variance


def _risk(a: Numbers, b: Numbers, c: Numbers, d: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The two sums of the risk ratio and the variance of its logarithm (Greenland and Robins)."""
    n = np.maximum(a + b + c + d, 1.0)
    top, bottom = (a * (c + d) / n).sum(axis=-1), (c * (a + b) / n).sum(axis=-1)
    terms = ((a + b) * (c + d) * (a + c) - a * c * n) / n**2
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = terms.sum(axis=-1) / (top * bottom)
    return top, bottom, variance


_SUMS = {"odds": _odds, "risk": _risk}


def _test(a: Numbers, b: Numbers, c: Numbers, d: Numbers) -> tuple[Numbers, Numbers]:
    n = np.maximum(a + b + c + d, 1.0)
    exposed, events = a + b, a + c
    gap = np.abs((a - exposed * events / n).sum(axis=-1))
    variance = (exposed * (c + d) * events * (b + d) / (n**2 * np.maximum(n - 1.0, 1.0))).sum(axis=-1)
    variance = np.where(variance > 0, variance, np.nan)
    return gap**2 / variance, np.maximum(gap - 0.5, 0.0) ** 2 / variance


def _exact_ends(
    tables: Counts, top: Numbers, bottom: Numbers, low: Numbers, high: Numbers, level: float
) -> tuple[Numbers, Numbers]:
    """Limits where exposed events are as few or as many as the totals allow, so that one of the sums is 0."""
    tail = (1.0 - level) / 2.0
    low, high = np.array(low), np.array(high)
    for place in np.ndindex(low.shape):
        if top[place] == 0 < bottom[place]:
            high[place] = limit_at_the_end(*_totals(tables[place]), tail)
        if bottom[place] == 0 < top[place]:
            low[place] = 1.0 / limit_at_the_end(*_totals(tables[place][:, ::-1]), tail)
    return low, high


def _totals(tables: Counts) -> tuple[Counts, Counts, Counts]:
    return tables[:, 0].sum(axis=-1), tables[:, :, 0].sum(axis=-1), tables.sum(axis=(1, 2))
