"""Does a measured step keep within its limits by a margin: Cp, Cpk, Pp and Ppk with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats import capability_checks
from rqa.stats.capability_index import (
    NOT_DEFINED,
    CapabilityIndex,
    Spread,
    by_percentiles,
    nearer_side,
    one_side,
    width,
)
from rqa.stats.normality import anderson_darling
from rqa.stats.proportion import ProportionInterval, proportion_interval

Method = Literal["normal", "percentile"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Capability:
    """Indices of capability, NaN where refused or not defined; `refusals` says why.

    `cp` and `cpk` go by the spread within (neighbours, subgroups): what the process can do. `pp` and `ppk` go by the
    whole spread: what it did. `lower` and `upper` are the one-sided parts of `ppk`. `off_centre` is how far the mean
    is from the middle of the limits, in halves of their distance. `outside` is the share of values beyond a limit
    that was seen, `outside_expected` that of a normal process with this mean and whole spread.
    """

    n: int
    mean: float
    sigma_within: float
    sigma_overall: float
    lower_limit: float | None
    upper_limit: float | None
    method: str
    level: float
    cp: CapabilityIndex
    cpk: CapabilityIndex
    pp: CapabilityIndex
    ppk: CapabilityIndex
    lower: CapabilityIndex
    upper: CapabilityIndex
    off_centre: float
    outside: ProportionInterval
    outside_expected: float
    p_normal: float
    p_order: float
    refusals: tuple[str, ...]


def capability(
    values: ArrayLike | Sequence[ArrayLike],
    *,
    lower_limit: float | None = None,
    upper_limit: float | None = None,
    method: Method = "normal",
    level: float = 0.95,
) -> Capability:
    """Say by what margin a measured step or test keeps within its limits, or why no such figure can be given.

    Parameters
    ----------
    values
        Measurements in time order: one number a unit, or rows of several taken together (subgroups, of any sizes).
        NaN is a measurement that was not taken.
    lower_limit, upper_limit
        The limits that a unit must keep, in the unit of the values; one may be left out.
    method
        "normal" takes the values as normal; "percentile" does not, and needs at least 740 of them.
    level
        Confidence level of the intervals, strictly between 0 and 1.

    Returns
    -------
    Capability
        `cp`, `cpk`, `pp`, `ppk`, each with `estimate`, `low`, `high`; `lower`, `upper`; `outside`; and `refusals`,
        empty when the indices are given.

    Notes
    -----
    Landmarks: 1 means that three deviations fit between mean and nearer limit; below 0 the mean itself is outside.
    With one limit, cp and pp are not defined (NaN). cp and cpk are not defined by percentiles.

    Refused, with NaN for the indices: fewer than 25 values (the message says how many more); values without spread; an
    order that is not chance (Bartels' test of neighbours, Pettitt's of a shift, in level and in distance from the
    median, 0.5 % each), subgroups whose means differ more than their spread within (F test, 0.5 %), or a single value
    too far out for a steady normal process (1 % over all); and, for "normal", values plainly not normal (Anderson-
    Darling, 0.5 %). A steady normal process is refused about three times in a hundred. `outside` needs no shape and is
    always given.

    cp = (upper - lower) / (6 sigma), cpk = the nearer limit's distance from the mean / (3 sigma); sigma within is the
    mean moving range / 1.12838, or the pooled deviation within subgroups; pp, ppk the same with the whole deviation.
    Intervals: chi-squared for cp, pp; noncentral t for one limit; Bissell's approximation for cpk, ppk of two. The
    moving range counts as many degrees of freedom as its variance warrants. By percentiles: (upper - lower) /
    (Q(99.865 %) - Q(0.135 %)), and each side against its distance from the median; intervals from the ranks of the
    values, safe whatever the shape, with a low end of 0 where even the extremes do not bound the far percentiles.

    An index near 1.33 from 50 values may as well be 1.1 or 1.6: look at the interval. Not for values cut off or
    re-measured until they pass; and a gauge that scatters makes the step look worse than it is.

    Raises
    ------
    ValueError
        No limit, limits that are not finite or not in order; values that are not numbers; an unknown method; a level
        outside (0, 1).

    References
    ----------
    1. NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.
    2. A. F. Bissell, Applied Statistics 39, 1990, 331-340.
    3. ISO 22514-2 (percentile method).
    4. R. Bartels, Journal of the American Statistical Association 77, 1982, 40-46; A. N. Pettitt, Applied Statistics
       28, 1979, 126-135; R. B. D'Agostino and M. A. Stephens, Goodness-of-Fit Techniques, 1986.

    Examples
    --------
    >>> gap = [1.02, 0.97, 1.05, 1.00, 0.94, 1.01, 1.08, 0.99, 0.96, 1.03, 1.00, 0.98, 1.06, 0.92, 1.01, 1.04, 0.99]
    >>> r = capability(gap + [0.95, 1.02, 1.00, 0.97, 1.07, 0.98, 1.03, 1.01], lower_limit=0.8, upper_limit=1.2)
    >>> f"{r.ppk.estimate:.2f} ({r.ppk.low:.2f} to {r.ppk.high:.2f})", r.refusals
    ('1.64 (1.16 to 2.12)', ())

    The gap keeps within its limits, probably by a comfortable margin; 25 values cannot say how comfortable.
    """
    arguments.one_of("method", method, get_args(Method))
    level = arguments.share("level", level)
    low, high = _limits(lower_limit, upper_limit)
    rows = _rows(values)
    x = np.concatenate([*rows, np.zeros(0)])
    n = len(x)
    single = all(len(row) <= 1 for row in rows)
    mean = float(x.mean()) if n else float("nan")
    within = from_neighbours(x) if single else _from_subgroups(rows)
    overall = _from_subgroups([x])
    p_normal = anderson_darling(x)
    p_order = capability_checks.order(x if single else np.array([row.mean() for row in rows if len(row)]))
    refusals = capability_checks.enough(n, method) or capability_checks.spread_of(overall)
    if not refusals:
        refusals = (
            *capability_checks.stable(x, rows, within, p_order, p_normal),
            *capability_checks.normal(p_normal, method),
        )
    cp = cpk = pp = ppk = lower = upper = NOT_DEFINED
    below, above = (None if low is None else mean - low), (None if high is None else high - mean)
    if not refusals and method == "normal":
        cp, pp = width(low, high, within, level), width(low, high, overall, level)
        lower, upper = one_side(below, overall, n, level), one_side(above, overall, n, level)
        cpk, ppk = nearer_side(below, above, within, n, level), nearer_side(below, above, overall, n, level)
    elif not refusals:
        pp, ppk, lower, upper = by_percentiles(x, low, high, level)
    beyond = int(((x < (-np.inf if low is None else low)) | (x > (np.inf if high is None else high))).sum())
    middle = float("nan") if low is None or high is None else abs((low + high) / 2.0 - mean) / ((high - low) / 2.0)
    return Capability(
        n=n,
        mean=mean,
        sigma_within=within.sigma,
        sigma_overall=overall.sigma,
        lower_limit=low,
        upper_limit=high,
        method=method,
        level=level,
        cp=cp,
        cpk=cpk,
        pp=pp,
        ppk=ppk,
        lower=lower,
        upper=upper,
        off_centre=middle,
        outside=proportion_interval(successes=beyond, trials=n, method="clopper-pearson", level=level),
        outside_expected=_tails(mean, overall.sigma, low, high),
        p_normal=p_normal,
        p_order=p_order,
        refusals=refusals,
    )


def _limits(lower: float | None, upper: float | None) -> tuple[float | None, float | None]:
    found: list[float | None] = []
    for name, limit in (("lower_limit", lower), ("upper_limit", upper)):
        if limit is None:
            found.append(None)
            continue
        number = arguments.measurements(name, limit)
        if number.ndim or np.isnan(number):
            raise ValueError(f"{name} must be one number: {limit!r}")
        found.append(float(number))
    low, high = found
    if low is None and high is None:
        raise ValueError("lower_limit or upper_limit must be given: without a limit there is nothing to be capable of")
    if low is not None and high is not None and low >= high:
        raise ValueError(f"lower_limit must be below upper_limit: {low:g}, {high:g}")
    return low, high


def _rows(values: ArrayLike | Sequence[ArrayLike]) -> list[Numbers]:
    """The measurements that were taken, by subgroup; single values are subgroups of one."""
    to_numpy = getattr(values, "to_numpy", None)
    given = to_numpy() if to_numpy is not None else values
    if isinstance(given, list | tuple) and any(np.ndim(row) for row in given):
        rows = [arguments.measurements(f"values[{i}]", row) for i, row in enumerate(given)]
    else:
        table = arguments.measurements("values", given)  # type: ignore[arg-type]
        if table.ndim == 0:
            raise ValueError("values must be numbers, or rows of numbers: shape ()")
        rows = list(table[:, None] if table.ndim == 1 else table)
    for i, row in enumerate(rows):
        if row.ndim != 1:
            raise ValueError(f"values must be numbers, or rows of numbers: values[{i}] has shape {row.shape}")
    return [row[np.isfinite(row)] for row in rows]


def from_neighbours(x: Numbers) -> Spread:
    """Sigma from moving ranges, with the degrees of freedom that its variance is worth.

    Of two steps that share a value, |U| and |V| with correlation -1/2 and variance 2, the mean product is (4 / pi)
    (sqrt(3) / 2 + pi / 12). A deviation of f degrees has a squared coefficient of variation of about 1 / (2 f) +
    1 / (8 f^2), which is solved for f.
    """
    steps = len(x) - 1
    if steps < 1:
        return Spread(sigma=float("nan"), root=float("nan"), degrees=float("nan"))
    mean = 2.0 / np.sqrt(np.pi)
    together = 4.0 / np.pi * (np.sqrt(3.0) / 2.0 + np.pi / 12.0) - mean**2
    variance = (steps * (2.0 - mean**2) + 2.0 * (steps - 1) * together) / steps**2 / mean**2
    degrees = (4.0 + np.sqrt(16.0 + 32.0 * variance)) / (16.0 * variance)
    sigma = float(np.abs(np.diff(x)).mean() / mean)
    # The root of an unbiased variance is too small on average by the factor c4.
    c4 = np.sqrt(2.0 / degrees) * special.poch(degrees / 2.0, 0.5)
    return Spread(sigma=sigma, root=float(sigma * c4), degrees=float(degrees))


def _from_subgroups(rows: Sequence[Numbers]) -> Spread:
    degrees = float(sum(len(row) - 1 for row in rows if len(row)))
    squares = sum(float(((row - row.mean()) ** 2).sum()) for row in rows if len(row))
    sigma = float(np.sqrt(squares / degrees)) if degrees else float("nan")
    return Spread(sigma=sigma, root=sigma, degrees=degrees)


def _tails(mean: float, sigma: float, low: float | None, high: float | None) -> float:
    if not sigma > 0:
        return float("nan")
    below = 0.0 if low is None else float(special.ndtr((low - mean) / sigma))
    return below + (0.0 if high is None else float(special.ndtr((mean - high) / sigma)))
