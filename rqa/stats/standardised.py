"""Observed over expected: how many times the come-backs (or failures) that the mix of work would bring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers

Method = Literal["exact", "byar"]


@dataclass(frozen=True, eq=False)
class StandardisedRatio:
    """Observed over expected with its limits, in the shape of the counts; NaN where nothing was expected."""

    observed: Counts
    expected: Numbers
    method: str
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


def standardised_ratio(
    *, observed: ArrayLike, expected: ArrayLike, method: Method = "exact", level: float = 0.95
) -> StandardisedRatio:
    """Say how many times the expected number of events a technician, bench or site had, with limits.

    Parameters
    ----------
    observed
        Events seen: whole numbers from 0 up, any shape.
    expected
        Events that the same work would have brought elsewhere (`expected_from_mix`): numbers from 0 up, of the same
        shape or one number for all.
    method
        "exact": Garwood's limits, with a coverage that is never below `level`. "byar": Byar's formula, close to it and
        worked by hand.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    StandardisedRatio
        `estimate` = observed / expected, `low`, `high`, with the inputs as they were taken.

    Notes
    -----
    Landmarks: 1 is just what the mix brings; 0 observed has `low` exactly 0 and a finite `high`; where nothing was
    expected there is no ratio, NaN.

    Observed is taken as a Poisson count and expected as known. With m the Poisson mean, the exact limits are the m at
    which P(X >= observed) and P(X <= observed) are (1 - level) / 2, over expected. Where events are frequent (a step
    that fails every third time) a count varies less than a Poisson count, so the limits are wider than need be; where
    expected itself rests on little work, they are too narrow. The p-value of `stratified_exact_test` allows for both.

    Two ratios, each against its own mix, are not strictly comparable with each other: each says how its own work
    went, not who would do better on the same work.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; an expected number that is missing, negative or infinite;
        shapes that do not fit; an unknown method; a level outside (0, 1).

    References
    ----------
    1. F. Garwood, Biometrika 28, 1936, 437-442.
    2. N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research II, IARC, 1987, 69-71 (Byar).

    Examples
    --------
    >>> r = standardised_ratio(observed=10, expected=5.0)
    >>> f"{r.estimate:.1f} ({r.low:.2f} to {r.high:.2f})"
    '2.0 (0.96 to 3.68)'

    Ten where five were expected: twice as many, and chance alone could still have done it.
    """
    count = arguments.counts("observed", observed)
    x, e = arguments.same_shape(
        {"observed": count.astype(np.float64), "expected": arguments.amounts("expected", expected)}
    )
    arguments.one_of("method", method, get_args(Method))
    level = arguments.share("level", level)
    low, high = _LIMITS[method](x, (1.0 - level) / 2.0)
    ratio, low, high = (np.where(e == 0, np.nan, ends / np.where(e == 0, 1.0, e)) for ends in (x, low, high))
    return StandardisedRatio(
        observed=arguments.frozen_counts(x.astype(np.int64)),
        expected=arguments.frozen(e),
        method=method,
        level=level,
        estimate=arguments.frozen(ratio),
        low=arguments.frozen(low),
        high=arguments.frozen(high),
    )


def poisson_limits(events: Numbers, tail: float) -> tuple[Numbers, Numbers]:
    """Garwood's limits of a Poisson mean: quantiles of gamma distributions."""
    low = np.where(events == 0, 0.0, special.gammaincinv(np.maximum(events, 1.0), tail))
    return low, np.asarray(special.gammainccinv(events + 1.0, tail))


def _byar(events: Numbers, tail: float) -> tuple[Numbers, Numbers]:
    z = -float(special.ndtri(tail))
    return _cube(events, -z), _cube(events + 1.0, z)


def _cube(events: Numbers, z: float) -> Numbers:
    known = np.maximum(events, 1.0)
    cube = known * np.maximum(1.0 - 1.0 / (9.0 * known) + z / (3.0 * np.sqrt(known)), 0.0) ** 3
    return np.where(events == 0, 0.0, cube)


_LIMITS = {"exact": poisson_limits, "byar": _byar}
