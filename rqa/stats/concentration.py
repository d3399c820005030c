"""Do a few units hold most of the returns: the share of the worst units, beside what chance alone would give them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers


@dataclass(frozen=True, eq=False)
class WorstUnits:
    """The share of all returns that the worst units hold, at each fraction of units; NaN without returns.

    `by_luck` is the share they would hold if units differed by chance alone.
    """

    fraction: Numbers
    units: int
    returns: int
    share: Numbers
    by_luck: Numbers


def worst_units(
    *, returns: ArrayLike, units: ArrayLike = 1, fraction: ArrayLike = 0.01, expected: ArrayLike | None = None
) -> WorstUnits:
    """Say what share of all returns the worst one in a hundred units hold, and what chance alone would give them.

    Parameters
    ----------
    returns
        Returns of a unit: whole numbers from 0 up, any shape.
    units
        How many units have that many: of the same shape, or one number for all.
    fraction
        Which part of all units is looked at, the worst first: from 0 to 1, any shape.
    expected
        Returns that a unit so long followed would have on average, of the shape of `returns`. Left out, it is the same
        for all units.

    Returns
    -------
    WorstUnits
        `share` and `by_luck` in the shape of `fraction`.

    Notes
    -----
    Landmarks: fraction 0 holds nothing, 1 everything; no returns at all, or no units, is no data, NaN.

    Units are put in order of their returns, and where the fraction ends among units of equal returns it takes a part of
    them. `by_luck` does the same with units whose returns are Poisson with the expected mean (`expected` is scaled to
    add up to the returns), so it is above the fraction: chance alone makes some units come back twice. Only what
    `share` has more than that asks for a cause.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; a fraction outside 0 to 1; shapes that do not fit.

    References
    ----------
    1. M. O. Lorenz, Publications of the American Statistical Association 9, 1905, 209-219 (the curve read off).

    Examples
    --------
    >>> r = worst_units(returns=[0, 1, 2, 9], units=[900, 80, 10, 10], fraction=[0.01, 0.1])
    >>> r.share.round(2).tolist(), r.by_luck.round(2).tolist()
    ([0.47, 1.0], [0.11, 0.62])

    One unit in a hundred holds 47 % of the returns; chance alone would give the worst hundredth 11 %.
    """
    table = {
        "returns": arguments.counts("returns", returns).astype(np.float64),
        "units": arguments.counts("units", units).astype(np.float64),
    }
    if expected is not None:
        table["expected"] = arguments.amounts("expected", expected)
    fitted = dict(zip(table, arguments.same_shape(table), strict=True))
    x, m = fitted["returns"].ravel(), fitted["units"].ravel()
    part = arguments.shares("fraction", fraction)
    total, all_units = float(x @ m), float(m.sum())
    share = luck = np.full(part.shape, np.nan)
    if total > 0:
        share = _held(x, m, part)
        e = fitted.get("expected", np.ones(x.size)).ravel()
        if not e @ m > 0:
            raise ValueError("expected must be above 0 for some unit, as there are returns")
        luck = _held(*_poisson_units(e * total / (e @ m), m), part)
    return WorstUnits(
        fraction=arguments.frozen(part),
        units=int(all_units),
        returns=int(total),
        share=arguments.frozen(share),
        by_luck=arguments.frozen(luck),
    )


def _held(returns: Numbers, units: Numbers, part: Numbers) -> Numbers:
    worst_first = np.argsort(-returns, kind="stable")
    counted = np.concatenate(([0.0], units[worst_first].cumsum()))
    held = np.concatenate(([0.0], (returns * units)[worst_first].cumsum()))
    return np.interp(part * counted[-1], counted, held) / held[-1]


MOST_BY_LUCK = 10_000_000
"""Returns expected of a unit up to which the chances of all numbers are worked out."""


def _poisson_units(means: Numbers, units: Numbers) -> tuple[Numbers, Numbers]:
    """How many units would have 0, 1, 2, ... returns by chance alone, to where next to none would."""
    means, of = np.unique(means, return_inverse=True)
    each = np.bincount(of, weights=units, minlength=means.size).astype(np.float64)
    top = means.max()
    if top > MOST_BY_LUCK:
        raise ValueError(f"returns must be at most {MOST_BY_LUCK:,} expected of a unit: {top:g}")
    k = np.arange(np.ceil(top + 10 * np.sqrt(top) + 30), dtype=np.float64)
    chance = np.exp(special.xlogy(k, means[:, np.newaxis]) - means[:, np.newaxis] - special.gammaln(k + 1))
    return k, each @ chance
