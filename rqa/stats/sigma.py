"""The sigma level: defects per million opportunities told as a distance on the normal curve."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers

CUSTOMARY_SHIFT = 1.5
"""Added by custom for a drift that the counts did not see; a convention, not a finding."""


@dataclass(frozen=True, eq=False)
class SigmaLevel:
    """Defects per million opportunities and the sigma level of the same, with the shift that was added."""

    dpmo: Numbers
    sigma: Numbers
    shift: float


def sigma_level(*, dpmo: ArrayLike, shift: float = CUSTOMARY_SHIFT) -> SigmaLevel:
    """Say how many standard deviations lie between the mean and a one-sided limit that so many defects pass.

    Parameters
    ----------
    dpmo
        Defects per million opportunities, from 0 to 1,000,000, any shape; NaN for no data.
    shift
        Added to the distance: 1.5 by custom, 0 for the distance that the defects themselves show. Always state which.

    Returns
    -------
    SigmaLevel
        `sigma` = z + shift, where a normal variable is above z with the chance dpmo / 10^6.

    Notes
    -----
    Landmarks: 0 defects is an infinite level and 1,000,000 a level of minus infinity, so level a month without defects
    by its upper limit (`defect_rate`); 500,000 gives just the shift.

    The shift is a convention: it takes the counted defects for a good spell, and the long run for 1.5 standard
    deviations worse. Counts of defects are what happened and need no such allowance, so the level with shift 0 is the
    one the data show. The scale adds nothing to DPMO but familiarity.

    Raises
    ------
    ValueError
        A dpmo outside 0 to 1,000,000; a shift that is not one finite number from 0 up.

    References
    ----------
    1. Common practice, no source.

    Examples
    --------
    >>> r = sigma_level(dpmo=[66_807, 3.4])
    >>> r.sigma.round(2).tolist(), sigma_level(dpmo=[66_807, 3.4], shift=0).sigma.round(2).tolist()
    ([3.0, 6.0], [1.5, 4.5])

    "Six sigma" is 3.4 in a million: four and a half standard deviations, and the customary one and a half.
    """
    defects = arguments.measurements("dpmo", dpmo)
    share = arguments.shares("dpmo / 1e6", defects / 1e6, missing=True)
    shift = arguments.amount("shift", shift)
    return SigmaLevel(
        dpmo=arguments.frozen(defects),
        sigma=arguments.frozen(shift - special.ndtri(share)),
        shift=shift,
    )


def dpmo_at_sigma(*, sigma: ArrayLike, shift: float = CUSTOMARY_SHIFT) -> SigmaLevel:
    """Say how many defects per million opportunities a sigma level stands for: the way back of `sigma_level`.

    Parameters
    ----------
    sigma
        Sigma levels, any shape; NaN for no data.
    shift
        What was added to the distance when the level was told: 1.5 by custom.

    Returns
    -------
    SigmaLevel
        `dpmo` = 10^6 x the chance that a normal variable is above sigma - shift.

    Raises
    ------
    ValueError
        A shift that is not one finite number from 0 up.

    Examples
    --------
    >>> dpmo_at_sigma(sigma=[3, 6]).dpmo.round(1).tolist()
    [66807.2, 3.4]
    """
    level = arguments.measurements("sigma", sigma)
    shift = arguments.amount("shift", shift)
    return SigmaLevel(
        dpmo=arguments.frozen(1e6 * special.ndtr(shift - level)), sigma=arguments.frozen(level), shift=shift
    )
