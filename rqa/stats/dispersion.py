"""Do groups lie further apart than chance alone would set them, and what that does to each one's z-score."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class Overdispersion:
    """Spread of the groups over what chance makes, and each group's z-score without and with it."""

    observed: Counts
    expected: Numbers
    variance: Numbers
    winsorise: float
    groups: int
    z: Numbers
    phi: float
    tau: float
    z_multiplicative: Numbers
    z_additive: Numbers


def overdispersion(
    *, observed: ArrayLike, expected: ArrayLike, variance: ArrayLike | None = None, winsorise: float = 0.1
) -> Overdispersion:
    """Say how much more the groups differ than chance explains, and how far out each one lies once that is allowed for.

    Parameters
    ----------
    observed
        Events of each group: whole numbers from 0 up, one row of groups.
    expected
        Events expected of each from its mix of work, from 0 up.
    variance
        What chance alone lets observed - expected vary (`expected_from_mix(...).variance`); left out: `expected`, as of
        Poisson counts.
    winsorise
        Share of the groups at each end whose z-score is drawn in to the next one inward, from 0 to below 0.5. So the
        few that stand out do not hide themselves in the spread.

    Returns
    -------
    Overdispersion
        `z` = (observed - expected) / sqrt(variance). `phi`, the mean square of the winsorised z-scores, at least 1,
        and `z_multiplicative` = z / sqrt(phi). `tau`, the standard deviation of the groups' true ratios to
        expectation that would explain the spread, and `z_additive` = (ratio - 1) / sqrt(variance / expected^2 +
        tau^2). `groups` = those with a z-score; the others (nothing expected, or no variance) are NaN.

    Notes
    -----
    Landmarks: `phi` 1 and `tau` 0 when the groups differ no more than by chance: all three z-scores are then equal. No
    group with a z-score gives the same.

    With I groups, weights w = expected^2 / variance and phi not yet raised to 1, tau^2 = (I phi - (I - 1)) /
    (sum w - sum w^2 / sum w), at least 0. The multiplicative way draws all groups in alike. The additive way takes
    the groups to differ in truth by about tau, so it draws in those with much work most.

    Winsorising takes spread away: of normal z-scores by chance alone, 10 % at each end drawn in, the mean square is
    about 0.68, not 1. So a spread of up to about 1.2 times chance's (phi 1.5) goes unnoticed. And where half of the
    groups are truly different, their differences are taken as the depot's usual spread: look at `phi` itself before
    taking comfort from z-scores that it has drawn in.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; an expected number or variance that is missing, negative or
        infinite; shapes that do not fit or are no row of groups; winsorise outside [0, 0.5).

    References
    ----------
    1. D. J. Spiegelhalter, Quality and Safety in Health Care 14, 2005, 347-351.
    2. D. J. Spiegelhalter, Statistics in Medicine 24, 2005, 1185-1202, section 4.

    Examples
    --------
    >>> r = overdispersion(observed=[10, 30, 15, 45, 20, 28], expected=[20, 20, 25, 25, 30, 28], winsorise=0)
    >>> f"phi {r.phi:.1f}; the fourth: z {r.z[3]:.1f}, drawn in {r.z_multiplicative[3]:.1f}"
    'phi 5.6; the fourth: z 4.0, drawn in 1.7'

    The fourth group looks far out, but these groups vary so much that it is hardly unusual among them.
    """
    count = arguments.counts("observed", observed)
    e = arguments.amounts("expected", expected)
    v = e if variance is None else arguments.amounts("variance", variance)
    x, e, v = arguments.same_shape({"observed": count.astype(np.float64), "expected": e, "variance": v})
    if x.ndim != 1:
        raise ValueError(f"observed must be one row of groups: shape {x.shape}")
    cut = arguments.amount("winsorise", winsorise)
    if cut >= 0.5:
        raise ValueError(f"winsorise must be one number from 0 to below 0.5: {winsorise!r}")
    known = (e > 0) & (v > 0)
    z = np.full_like(x, np.nan)
    z[known] = (x[known] - e[known]) / np.sqrt(v[known])
    groups = int(known.sum())
    squares = float((winsorised(z[known], cut) ** 2).sum())
    error = np.where(known, np.sqrt(v), np.nan) / np.where(known, e, 1.0)
    tau = _tau(error[known] ** -2.0, squares)
    phi = max(squares / groups, 1.0) if groups else 1.0
    return Overdispersion(
        observed=arguments.frozen_counts(x.astype(np.int64)),
        expected=arguments.frozen(e),
        variance=arguments.frozen(v),
        winsorise=cut,
        groups=groups,
        z=arguments.frozen(z),
        phi=phi,
        tau=tau,
        z_multiplicative=arguments.frozen(z / np.sqrt(phi)),
        z_additive=arguments.frozen(z * error / np.hypot(error, tau)),
    )


def winsorised(z: Numbers, cut: float) -> Numbers:
    """The numbers with that share at each end replaced by the nearest one kept."""
    if not z.size:
        return z
    ordered = np.sort(z)
    out = int(cut * z.size)
    return np.clip(z, ordered[out], ordered[z.size - 1 - out])


def _tau(weights: Numbers, squares: float) -> float:
    total = float(weights.sum())
    room = total - float((weights**2).sum()) / total if total else 0.0
    excess = squares - (weights.size - 1)
    return float(np.sqrt(excess / room)) if room > 0 and excess > 0 else 0.0
