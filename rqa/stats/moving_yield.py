"""What yield was really like at each stage of practice: a moving share over the logarithm of jobs done."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers


@dataclass(frozen=True, eq=False)
class SmoothedYield:
    """The local share of passes at some experiences with its limits, and how many checks speak there."""

    experience: Numbers
    width: float
    level: float
    checks: Numbers
    estimate: Numbers
    low: Numbers
    high: Numbers


def smoothed_yield(
    *,
    experience: ArrayLike,
    passed: ArrayLike,
    checked: ArrayLike,
    at: ArrayLike,
    width: float = 0.5,
    level: float = 0.95,
) -> SmoothedYield:
    """Say what share passed around each experience, without taking a form of the curve for granted.

    Parameters
    ----------
    experience
        Jobs done up to and with the one at hand: numbers above 0, one row.
    passed, checked
        First checks at that experience that passed, and all of them; as for `learning_curve`.
    at
        Experiences to tell the share for: numbers above 0, one row.
    width
        How far a check still speaks, on the scale of log(experience), above 0: the standard deviation of a normal
        weight. At 0.5 jobs at half and at double the experience count 0.38 as much as those at the place itself.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    SmoothedYield
        `estimate`, `low`, `high` at each place, and `checks`, the number of checks that the weighted share is worth.

    Notes
    -----
    Landmarks: where no check is near (`checks` below 1) there is no data, NaN. All passed gives 1, with a `low` below
    it.

    estimate = sum w passed / sum w checked with w = exp(-(log(experience) - log(at))^2 / (2 width^2)), and checks =
    (sum w checked)^2 / sum w^2 checked; limits are Wilson's of that share of that many. They are those of the smoothed
    curve: where the true one bends within a width, and at either end, it is drawn towards its surroundings.

    Raises
    ------
    ValueError
        An experience or place that is missing, infinite or not above 0; a count that is missing, negative or not whole;
        passed above checked; shapes that do not fit; a width that is not above 0; a level outside (0, 1).

    References
    ----------
    1. J. B. Copas, Applied Statistics 32, 1983, 25-31 (plotting shares against a covariate).

    Examples
    --------
    >>> r = smoothed_yield(experience=[1, 2, 4, 8, 16, 32], passed=[5, 6, 6, 8, 9, 9], checked=10, at=[1, 5, 30])
    >>> r.estimate.round(2).tolist()
    [0.53, 0.68, 0.9]
    """
    done, places = arguments.above_zero("experience", experience), arguments.above_zero("at", at)
    x, n = arguments.part_and_whole("passed", passed, "checked", checked)
    done, xs, ns = arguments.same_shape(
        {"experience": done, "passed": x.astype(np.float64), "checked": n.astype(np.float64)}
    )
    if done.ndim != 1 or places.ndim != 1:
        raise ValueError(f"experience and at must be one row each: shapes {done.shape}, {places.shape}")
    spread = arguments.positive("width", width)
    level = arguments.share("level", level)
    weight = np.exp(-0.5 * ((np.log(done) - np.log(places)[:, np.newaxis]) / spread) ** 2)
    heard = weight @ ns
    known = heard > 0
    # What is far off weighs next to nothing, and its square nothing at all.
    squares = (weight**2) @ ns
    checks = np.where(known & (squares > 0), heard, 0.0) ** 2 / np.where(squares > 0, squares, 1.0)
    enough = checks >= 1.0
    share = np.where(enough, (weight @ xs) / np.where(known, heard, 1.0), np.nan)
    z2 = float(special.ndtri((1.0 - level) / 2.0)) ** 2
    size = np.where(enough, checks, 1.0)
    middle = (share + z2 / (2.0 * size)) / (1.0 + z2 / size)
    reach = np.sqrt(z2 * (share * (1.0 - share) / size + z2 / (4.0 * size**2))) / (1.0 + z2 / size)
    return SmoothedYield(
        experience=arguments.frozen(places),
        width=float(spread),
        level=level,
        checks=arguments.frozen(checks),
        estimate=arguments.frozen(share),
        low=arguments.frozen(np.clip(middle - reach, 0.0, share)),
        high=arguments.frozen(np.clip(middle + reach, share, 1.0)),
    )
