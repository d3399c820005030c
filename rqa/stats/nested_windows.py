"""The surest of several looks at the same work, each over more of the past: how sure is it, allowing for the choice?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers

NODES = 96
"""Points at which the path of a score is followed from one window to the next."""
REACH = 9.0
"""Standard deviations to which a path is followed on the side that is not looked for."""
APART = 0.05
"""Share by which a window must hold more than the one before to be a look of its own."""


@dataclass(frozen=True, eq=False)
class SurestWindow:
    """The smallest p-values over nested windows, and what they are worth with the choice allowed for."""

    smallest: Numbers
    p_value: Numbers
    windows: int


def surest_window(*, smallest: ArrayLike, information: ArrayLike, sides: int = 1) -> SurestWindow:
    """Say how often chance alone gives a p-value as small as the smallest of several nested windows.

    For one comparison made over the last 3, 6, 12 and 24 months, of which the surest is told.

    Parameters
    ----------
    smallest
        The smallest p-value of each comparison over its windows, from 0 to 1; of one side or of both, as `sides` says.
    information
        What each window tells: cases, or the variance of the score, comparisons x windows, from the shortest window on
        (0 where the comparison could not be made over that window). A longer window holds all of a shorter one.
    sides
        1 or 2, whether the p-values are of one side or of both.

    Returns
    -------
    SurestWindow
        `p_value` for each comparison, not below `smallest` and not above its product with the number of windows.

    Notes
    -----
    Landmarks: with one window, or windows that hold the same, the p-value is the smallest itself. None is 0: one below
    the least double, 2.2e-308, is taken as that.

    Under no difference the scores of nested windows are those of one Brownian path, read where the windows end and
    divided by its standard deviation there (Armitage, McPherson and Rowe 1969): the path is followed from window to
    window, and the chances to pass the bound first at each are added up. Exact p-values of small counts are taken as
    those of normal scores, which makes the answer too large rather than too small. A window that holds less than a
    twentieth more than the one before is no look of its own.

    Raises
    ------
    ValueError
        A p-value outside 0 to 1, information below 0 or less in a longer window, sides other than 1 or 2.

    References
    ----------
    1. P. Armitage, C. K. McPherson and B. C. Rowe, Journal of the Royal Statistical Society A 132, 1969, 235-244.

    Examples
    --------
    >>> r = surest_window(smallest=[0.001], information=[[50, 100, 200, 400]])
    >>> float(r.p_value.round(4)[0])
    0.0035

    The surest of four windows, at 1 in 1,000, is worth 3.5 in 1,000.
    """
    p = arguments.shares("smallest", smallest)
    held = arguments.amounts("information", information)
    if held.ndim != 2 or p.ndim != 1 or len(held) != len(p):
        raise ValueError(
            f"smallest has a p-value a comparison, information a row a comparison and a column a window; their shapes "
            f"are {p.shape} and {held.shape}."
        )
    if arguments.whole("sides", sides, 1) > 2:
        raise ValueError(f"sides is 1 or 2: {sides!r}.")
    if bool((np.diff(np.where(held > 0, held, np.nan), axis=1) < 0).any()) or _shrinks(held):
        raise ValueError("information: a longer window holds all of a shorter one, so not less.")
    p = np.maximum(p, np.finfo(np.float64).tiny)
    made = np.array([_of_path(float(x), row[row > 0], sides) for x, row in zip(p, held, strict=True)])
    return SurestWindow(smallest=arguments.frozen(p), p_value=arguments.frozen(made), windows=held.shape[1])


def _shrinks(held: Numbers) -> bool:
    return bool((held < np.maximum.accumulate(held, axis=1))[held > 0].any())


def _of_path(p: float, held: Numbers, sides: int) -> float:
    kept: list[float] = []
    for each in held.tolist():
        if not kept or each > kept[-1] * (1.0 + APART):
            kept.append(each)
    if len(kept) < 2 or p == 1.0:
        return p
    bound = -float(special.ndtri(p / sides))
    return float(min(max(_crossed(bound, np.array(kept) / kept[-1], sides), p), len(kept) * p, 1.0))


@lru_cache(maxsize=1)
def _nodes() -> tuple[Numbers, Numbers]:
    node, weight = np.polynomial.legendre.leggauss(NODES)
    return np.asarray(node), np.asarray(weight)


def _crossed(bound: float, at: Numbers, sides: int) -> float:
    """The chance that a Brownian path lies beyond the bound, in standard deviations, at any of these times."""
    node, weight = _nodes()
    total = sides * float(special.ndtr(-bound))
    places = np.zeros(1)
    mass = np.ones(1)
    for before, now, then in zip([0.0, *at[:-2].tolist()], at[:-1].tolist(), at[1:].tolist(), strict=True):
        low = -bound if sides == 2 else -REACH
        middle, half = (bound + low) / 2.0, (bound - low) / 2.0
        here = (middle + half * node) * now**0.5
        step = now - before
        density = np.exp(-((here[:, None] - places[None, :]) ** 2) / (2.0 * step)) / (2.0 * np.pi * step) ** 0.5
        mass, places = (density @ mass) * weight * half * now**0.5, here
        edge, spread = bound * then**0.5, (then - now) ** 0.5
        total += float(mass @ special.ndtr((places - edge) / spread))
        if sides == 2:
            total += float(mass @ special.ndtr((-places - edge) / spread))
    return total
