"""What a learning curve says: the yield after so many jobs, and the jobs it takes to reach a yield."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.learning import LearningCurve


@dataclass(frozen=True, eq=False)
class CurvePoints:
    """The curve's yield at some experiences, with limits."""

    experience: Numbers
    level: float
    estimate: Numbers
    low: Numbers
    high: Numbers


@dataclass(frozen=True)
class ExperienceNeeded:
    """Jobs after which the curve reaches a yield, with limits; infinite where it never does."""

    target: float
    level: float
    estimate: float
    low: float
    high: float


def yield_on_curve(curve: LearningCurve, *, experience: ArrayLike) -> CurvePoints:
    """Say what yield the fitted curve gives after so many jobs, with limits.

    Parameters
    ----------
    curve
        A result of `learning_curve`.
    experience
        Jobs done, above 0, any shape.

    Returns
    -------
    CurvePoints
        `estimate`, `low`, `high` at each experience, at the curve's level; NaN from a curve that is not settled.

    Notes
    -----
    Limits are set on the log odds (Wald) and turned back, so they stay between 0 and 1. They are those of the curve at
    each place, and they trust its form: beyond the experience seen, they are a guess.

    Raises
    ------
    ValueError
        An experience that is missing, infinite or not above 0.

    Examples
    --------
    >>> from rqa.stats import learning_curve
    >>> curve = learning_curve(experience=[1, 2, 4, 8, 16, 32], passed=[5, 6, 6, 8, 9, 9], checked=10)
    >>> yield_on_curve(curve, experience=[1, 10]).estimate.round(2).tolist()
    [0.47, 0.81]
    """
    arguments.instance("curve", curve, LearningCurve)
    done = arguments.above_zero("experience", experience)
    t = np.log(done)
    odds = curve.intercept + curve.slope * t
    v = curve.covariance
    reach = -float(special.ndtri((1.0 - curve.level) / 2.0)) * np.sqrt(v[0, 0] + 2.0 * t * v[0, 1] + t * t * v[1, 1])
    return CurvePoints(
        experience=arguments.frozen(done),
        level=curve.level,
        estimate=arguments.frozen(special.expit(odds)),
        low=arguments.frozen(special.expit(odds - reach)),
        high=arguments.frozen(special.expit(odds + reach)),
    )


def experience_needed(curve: LearningCurve, *, target: float) -> ExperienceNeeded:
    """Say after how many jobs the curve reaches a yield, such as the depot's own level.

    Parameters
    ----------
    curve
        A result of `learning_curve`.
    target
        The yield to reach, strictly between 0 and 1.

    Returns
    -------
    ExperienceNeeded
        `estimate`, `low`, `high` in jobs, at the curve's level.

    Notes
    -----
    Landmarks: an estimate below 1 says that the first job was there already. A curve that does not rise (slope 0 or
    less) never gets there: infinite, whatever it was before. Where the slope's own limits hold 0, whether it gets there
    is open: `high` is infinite. NaN from a curve that is not settled.

    The limits are Fieller's: the experiences whose log odds differ from the target's by no more than z standard errors.
    Far beyond the experience seen they are a guess.

    Raises
    ------
    ValueError
        A target outside (0, 1).

    References
    ----------
    1. E. C. Fieller, Journal of the Royal Statistical Society B 16, 1954, 175-185.

    Examples
    --------
    >>> from rqa.stats import learning_curve
    >>> curve = learning_curve(experience=[1, 2, 4, 8, 16, 32], passed=[5, 6, 6, 8, 9, 9], checked=10)
    >>> r = experience_needed(curve, target=0.8)
    >>> f"{r.estimate:.0f} jobs ({r.low:.0f} to {r.high:.0f})"
    '9 jobs (4 to 370)'

    It may take nine jobs or hundreds: the counts cannot tell yet.
    """
    arguments.instance("curve", curve, LearningCurve)
    aim = float(special.logit(arguments.share("target", target)))
    if not curve.settled or np.isnan(curve.slope):
        return ExperienceNeeded(float(target), curve.level, np.nan, np.nan, np.nan)
    v, z = curve.covariance, -float(special.ndtri((1.0 - curve.level) / 2.0))
    gap = curve.intercept - aim
    # (gap + slope t)^2 <= z^2 (v00 + 2 t v01 + t^2 v11), a parabola in t = log(experience).
    a = curve.slope**2 - z * z * float(v[1, 1])
    b = 2.0 * (curve.slope * gap - z * z * float(v[0, 1]))
    c = gap**2 - z * z * float(v[0, 0])
    root = float(max(b * b - 4.0 * a * c, 0.0)) ** 0.5
    estimate = _power(-gap / curve.slope) if curve.slope > 0 else np.inf
    low, high = 0.0, np.inf
    if a > 0:
        # The slope is sure: the experiences lie between the two roots, or nowhere if the curve falls.
        low, high = (_power((-b + way * root) / (2.0 * a)) if curve.slope > 0 else np.inf for way in (-1.0, 1.0))
    elif a < 0 and root > 0:
        # It is not: they lie outside of the two roots, and those beyond the later one belong to slopes that rise.
        later = _power((-b - root) / (2.0 * a))
        low = later if estimate >= later else 0.0
    return ExperienceNeeded(float(target), curve.level, estimate, low, high)


def _power(t: float) -> float:
    return float(np.exp(min(t, 700.0))) if t < 700.0 else np.inf
