"""How far out must a figure lie when it is looked at again and again: the chance of error is spent over the looks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers

PLACES = 160
"""At so many places the distribution of the sum is kept between looks (Gauss and Legendre)."""
FAR = 8.0
"""A score beyond this has no chance worth the arithmetic; bounds above it are infinite."""


@dataclass(frozen=True, eq=False)
class LookBounds:
    """One bound a look: a normal score beyond it, either way, is statistically clear; with what was spent up to it."""

    information: Numbers
    planned: float
    level: float
    bound: Numbers
    spent: Numbers


def spending_bounds(*, information: ArrayLike, planned: float = 1.0, level: float = 0.95) -> LookBounds:
    """Say how far a score must lie at each look, so that all looks together err no more often than promised.

    Parameters
    ----------
    information
        What is known at each look, as 1 / variance of the estimate, in any unit, rising from look to look.
    planned
        What will be known at the last planned look, in the same unit; at and after it all of the error is spent.
    level
        Confidence level that holds over all looks together, strictly between 0 and 1.

    Returns
    -------
    LookBounds
        `bound`, one for each look: no change, looked at again and again, passes one of them with the chance 1 - level;
        infinite where the look is too early to say anything. `spent`: the chance of error used up to each look.

    Notes
    -----
    Landmarks: one look at the planned information has the usual bound, 1.96 at 95 %; early looks ask for very much, the
    last planned one for a little more than the usual. Looks after the planned one have an infinite bound: there is
    nothing left to spend, and the verdict is given.

    On each side the chance spent at the fraction t of the planned information is 2 - 2 Phi(z / sqrt(t)), z the normal
    quantile with (1 - level) / 4 above it. So bounds are close to those of O'Brien and Fleming. The sum of increments
    is followed from look to look by numerical integration. Neither the number of looks nor their times need be known
    beforehand, but they must not be chosen for what was seen.

    Raises
    ------
    ValueError
        Information that does not rise or is not above 0; planned not above 0; a level outside (0, 1).

    References
    ----------
    1. P. Armitage, C. K. McPherson and B. C. Rowe, Journal of the Royal Statistical Society A 132, 1969, 235-244.
    2. P. C. O'Brien and T. R. Fleming, Biometrics 35, 1979, 549-556.
    3. K. K. G. Lan and D. L. DeMets, Biometrika 70, 1983, 659-663.

    Examples
    --------
    >>> r = spending_bounds(information=[1, 2, 3, 4], planned=4)
    >>> r.bound.round(2).tolist()
    [4.33, 2.96, 2.36, 2.01]

    Looked at four times, a change a quarter of the way must lie more than four standard errors out to count.
    """
    level = arguments.share("level", level)
    known = np.atleast_1d(arguments.above_zero("information", information))
    if known.ndim != 1 or (np.diff(known) <= 0).any():
        raise ValueError(f"information must rise from look to look: {known.tolist()}")
    full = arguments.positive("planned", planned)
    edge = -float(special.ndtri((1.0 - level) / 4.0))
    fraction = np.minimum(known / full, 1.0)
    spent = 4.0 * special.ndtr(-edge / np.sqrt(fraction))
    bound = np.full(known.size, np.inf)
    node, share = _nodes()
    places, weights, step, before, reached = np.zeros(1), np.ones(1), known, 0.0, 0.0
    for look, (info, due) in enumerate(zip(known.tolist(), spent.tolist(), strict=True)):
        step = info - before
        chance = due - reached
        if chance > 2.0 * special.ndtr(-FAR):
            bound[look] = _bound(places, weights, math.sqrt(info), math.sqrt(step), chance)
        reached = due
        limit = min(float(bound[look]), FAR) * math.sqrt(info)
        at = node * limit
        density = np.exp(-(((at[:, np.newaxis] - places) / math.sqrt(step)) ** 2) / 2.0) / math.sqrt(2 * math.pi * step)
        places, weights, before = at, (density @ weights) * share * limit, info
    return LookBounds(
        information=arguments.frozen(known),
        planned=full,
        level=level,
        bound=arguments.frozen(bound),
        spent=arguments.frozen(spent),
    )


@cache
def _nodes() -> tuple[Numbers, Numbers]:
    """Places from -1 to 1 and their weights; to find them takes a tenth of a second, so not where none is asked for."""
    node, share = special.roots_legendre(PLACES)
    return node, share


def _bound(places: Numbers, weights: Numbers, root: float, step: float, chance: float) -> float:
    """The score beyond which, either way, the sum goes with this chance."""

    def beyond(score: float) -> float:
        above = special.ndtr((places - score * root) / step) + special.ndtr((-places - score * root) / step)
        return float(above @ weights) - chance

    if beyond(FAR) > 0:
        return math.inf
    if not beyond(0.0) > 0:
        raise ValueError("information must rise by more from look to look for a bound to be found")
    from scipy import optimize  # a third of a second to import, so only when it is asked for

    return float(optimize.brentq(beyond, 0.0, FAR, xtol=1e-10))
