"""Limits of the rates of masked causes, along the profile of their likelihood."""

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers
from rqa.stats.masked_fit import CERTAIN, FAR, Problem, RateEstimate, maximise

SMALL = 0.1
"""Mean causes per job up to which g may be eased at the maximum."""


def profile_limits(
    problem: Problem, best: RateEstimate, level: float, steps: NDArray[np.int64] | None = None
) -> tuple[Numbers, Numbers]:
    """Rates at which the profile of the log-likelihood has fallen by half the chi-squared quantile, on either side.

    With `steps` only of these; the others' limits are NaN.
    """
    z = float(special.ndtri((1.0 + level) / 2.0))
    exact, top = (problem, best), best
    if problem.done is not None and len(problem.times) and (problem.done @ best.rate).max() < SMALL:
        problem = problem.eased()
        top = maximise(problem, best.rate)
    spread = _spread(problem, best.rate)
    low, high = np.full_like(best.rate, np.nan), np.full_like(best.rate, np.nan)
    for step in range(len(best.rate)) if steps is None else steps.tolist():
        low[step] = _end(problem, top, step, z, spread[step], up=False)
        high[step] = _end(problem, top, step, z, spread[step], up=True)
        if problem is not exact[0] and not high[step] < FAR:
            high[step] = _end(*exact, step, z, spread[step], up=True)
    return np.minimum(low, best.rate), np.maximum(high, best.rate)


def _end(problem: Problem, best: RateEstimate, step: int, z: float, spread: float, *, up: bool) -> float:
    """Root of sqrt(2 (top - profile)) - z, by Newton's method within a bracket."""
    top = np.inf if problem.done is None else CERTAIN
    middle = float(best.rate[step])
    near, far = middle, (top if up else 0.0)
    if middle >= top and up:
        return top
    if not problem.own[:, step].any():
        # Never a candidate: only the exposures speak, and they speak against any rate above 0.
        if not up:
            return 0.0
    elif not up and _fallen(maximise(problem, _with(best.rate, step, 0.0), step), best) <= z:
        return 0.0
    point = middle + (z if up else -z) * spread
    rate = best.rate
    for _ in range(100):
        if not (min(near, far) < point < max(near, far)):
            point = 2.0 * near + 1e-12 if np.isinf(far) else (near + far) / 2.0
        here = maximise(problem, _with(rate, step, point), step)
        fallen = _fallen(here, best)
        if abs(fallen - z) < 1e-7 or abs(far - near) < 1e-12 * max(near, 1e-300):
            return point
        near, far = (point, far) if fallen < z else (near, point)
        if np.isfinite(fallen) and fallen > 0:
            rate = here.rate
            steepness = -float(problem.slope(here.rate)[step]) / fallen
            point = point - (fallen - z) / steepness if steepness != 0 else np.nan
        else:
            point = np.nan
    return float(np.clip(np.nan_to_num(point, nan=near), min(near, far), max(near, far)))


def _fallen(here: RateEstimate, best: RateEstimate) -> float:
    return float(np.sqrt(2.0 * max(best.log_likelihood - here.log_likelihood, 0.0)))


def _with(rate: Numbers, step: int, value: float) -> Numbers:
    changed = rate.copy()
    changed[step] = value
    return changed


def _spread(problem: Problem, rate: Numbers) -> Numbers:
    """A first guess of each rate's standard error."""
    bent = problem.curvature(rate) if len(problem.times) else np.zeros((len(rate), len(rate)))
    exposure = problem.exposure()
    bent[np.diag_indices_from(bent)] += 1e-9 * np.maximum(exposure, 1.0) ** 2 / max(problem.times.sum(), 1.0)
    by_row = np.diag(np.linalg.pinv(bent, hermitian=True))
    alone = 2.0 / np.maximum(exposure, 1.0)
    return np.where(rate > 0, np.sqrt(np.maximum(by_row, 0.0)), alone)
