"""How strong would something not measured have to be, to explain a ratio away: the E-value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers

Measure = Literal["risk", "odds"]


@dataclass(frozen=True, eq=False)
class EValue:
    """The E-value of a ratio and of the limit of it that is nearer to 1."""

    estimate: Numbers
    low: Numbers
    high: Numbers
    measure: str
    common: bool
    of_estimate: Numbers
    of_limit: Numbers


def e_value(
    *, estimate: ArrayLike, low: ArrayLike, high: ArrayLike, measure: Measure = "risk", common: bool = False
) -> EValue:
    """Say how strongly an unseen cause must hang together with both sides of a ratio to be all there is behind it.

    Parameters
    ----------
    estimate, low, high
        A ratio, such as of the come-backs of jobs with a step to those without, and its limits: numbers from 0 up, any
        one shape; NaN where there is none, infinity for an end that is open.
    measure
        "risk": a ratio of shares, or of rates of a rare event. "odds": a ratio of odds.
    common
        For odds: whether the event is common (some 15 % or more), so that the ratio of odds overstates that of shares.

    Returns
    -------
    EValue
        `of_estimate` for the ratio itself; `of_limit` for the limit nearer to 1, and 1 where the limits hold 1.

    Notes
    -----
    Landmarks: 1, nothing unseen is needed; NaN without a ratio; infinity for a ratio that is 0 or infinite.

    E = RR + sqrt(RR (RR - 1)) with RR the ratio, or 1 over it where it is below 1. An unseen cause (such as units that
    were worse from the start) explains a ratio away only if it makes both the exposure and the event at least E times
    as likely, beyond what is allowed for already; a weaker one cannot. For odds of a common event RR is taken as the
    square root of their ratio.

    A large value does not show that the ratio is one of cause: that takes knowing which unseen causes there may be.

    Raises
    ------
    ValueError
        A ratio or limit below 0; limits out of order, or that do not hold the estimate; shapes that do not fit; an
        unknown measure; `common` for shares.

    References
    ----------
    1. T. J. VanderWeele and P. Ding, Annals of Internal Medicine 167, 2017, 268-274.

    Examples
    --------
    >>> r = e_value(estimate=3.9, low=1.8, high=8.7)
    >>> f"{r.of_estimate:.2f}, {r.of_limit:.1f}"
    '7.26, 3.0'

    Something unseen must make both the exposure and the event seven times as likely to be all there is behind it; three
    times would do to take the lower limit to 1.
    """
    arguments.one_of("measure", measure, get_args(Measure))
    if not isinstance(common, bool | np.bool_):
        raise ValueError(f"common must be True or False: {common!r}")
    if common and measure == "risk":
        raise ValueError("common must be left out for a ratio of shares, which says the same of common events")
    given = {name: arguments.ratios(name, one) for name, one in (("estimate", estimate), ("low", low), ("high", high))}
    middle, least, most = arguments.same_shape(given)
    if (np.isnan(least) != np.isnan(most)).any():
        raise ValueError("low and high must be known together: one of them alone is NaN")
    if (least > most).any() or (middle < least).any() or (middle > most).any():
        raise ValueError("low must not be above estimate, nor estimate above high")
    power = 0.5 if common else 1.0
    nearer = np.where(middle >= 1.0, np.maximum(least, 1.0), np.minimum(most, 1.0))
    nearer = np.where(np.isnan(middle) | np.isnan(least) | np.isnan(most), np.nan, nearer)
    return EValue(
        estimate=arguments.frozen(middle),
        low=arguments.frozen(least),
        high=arguments.frozen(most),
        measure=measure,
        common=bool(common),
        of_estimate=arguments.frozen(_explained_away(middle, power)),
        of_limit=arguments.frozen(_explained_away(nearer, power)),
    )


def _explained_away(ratio: Numbers, power: float) -> Numbers:
    with np.errstate(divide="ignore"):
        away = np.where(ratio < 1.0, 1.0 / ratio, ratio) ** power
    finite = np.where(np.isfinite(away), away, 1.0)
    return np.where(np.isfinite(away), finite + np.sqrt(finite * (finite - 1.0)), away)
