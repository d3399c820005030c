"""The likelihood of masked causes: its value, slope and curvature, and its maximum."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse, special
from scipy.sparse import csgraph

from rqa.arguments import Numbers
from rqa.stats.identifiability import open_ended

CERTAIN = 50.0
"""A rate at which coming back is certain to the last digit of a double; a likelihood that still rises there ends."""
STEPS = 2000
SETTLED = 1e-9
FAR = 0.5
"""A rate up to which g may be eased at the limits."""
NONE = 1e-12
"""Share of the highest rate below which a rate is taken as 0 when a way up is looked for."""
POLISHED = 20
"""The most steps by the slope alone; three are usual."""
FIRST = 0.1
"""Twice the longest first step, relative to the rate; where it is longer, the parabola is not to be trusted."""
SLIGHT, SINKING = 1e-6, 1e-3
"""A rate below this share of the highest that expectation and maximisation lowers by this share at a time is 0."""
NEAR = 0.02
"""Below this, series are used, whose next term is under 1e-15."""


@dataclass(frozen=True, eq=False)
class RateEstimate:
    """Rates at a maximum of the log-likelihood, and whether the search settled."""

    rate: Numbers
    log_likelihood: float
    settled: bool


@dataclass(frozen=True, eq=False)
class Problem:
    """Rows of come-backs: `own`, exposures to candidates; `done`, to all steps; `times`; and the `quiet` exposures.

    log L = -quiet r + sum times (log own r + g(done r)) + r square r, where g(m) = log((1 - exp(-m)) / m). Without
    `done`, as for counts, g is 0; `square` stands in for it where the means are small.
    """

    quiet: Numbers
    own: Numbers
    times: Numbers
    done: Numbers | None
    square: Numbers

    def parts(self) -> list[NDArray[np.int64]]:
        """Steps that share no row of come-backs can be fitted apart."""
        rows = sparse.csr_array((self.own if self.done is None else self.done) > 0).astype(np.int64)
        _, label = csgraph.connected_components(rows.T @ rows, directed=False)
        return [np.flatnonzero(label == one) for one in np.unique(label)]

    def of_steps(self, steps: NDArray[np.int64]) -> "Problem":
        """The problem of some steps alone, like rows taken together."""
        rows = self.own[:, steps].any(axis=1)
        own = self.own[np.ix_(rows, steps)]
        done = None if self.done is None else self.done[np.ix_(rows, steps)]
        return _together(self.quiet[steps], own, self.times[rows], done, self.square[np.ix_(steps, steps)])

    def eased(self) -> "Problem":
        """The same with g(m) = -m / 2 + m^2 / 24, short by less than m^4 / 2880: many rows become alike."""
        if self.done is None:
            return self
        square = self.square + (self.done.T * (self.times / 24.0)) @ self.done
        return _together(self.quiet + self.times @ self.done / 2.0, self.own, self.times, None, square)

    def exposure(self) -> Numbers:
        """Exposures to each step, those of jobs that came back included."""
        return self.quiet if self.done is None else np.asarray(self.quiet + self.times @ self.done)

    def start(self) -> Numbers:
        """Come-backs shared evenly among candidates, over exposures."""
        even = (self.own > 0) / np.maximum((self.own > 0).sum(axis=1, keepdims=True), 1)
        exposure = self.exposure()
        return np.asarray((self.times @ even) / np.where(exposure > 0, exposure, 1.0), dtype=np.float64)

    def value(self, rate: Numbers) -> float:
        """Log-likelihood; minus infinity where come-backs are left without a cause."""
        with np.errstate(divide="ignore"):
            total = self.times @ np.log(self.own @ rate) - self.quiet @ rate + rate @ self.square @ rate
        return float(total if self.done is None else total + self.times @ _fall(self.done @ rate))

    def slope(self, rate: Numbers) -> Numbers:
        """Its derivative by each rate."""
        return np.asarray((self.times / (self.own @ rate)) @ self.own - self._waited(rate), dtype=np.float64)

    def curvature(self, rate: Numbers) -> Numbers:
        """Minus its second derivatives."""
        bent = (self.own.T * (self.times / (self.own @ rate) ** 2)) @ self.own - 2.0 * self.square
        if self.done is not None:
            bent -= (self.done.T * (self.times * _bend(self.done @ rate))) @ self.done
        return np.asarray(bent, dtype=np.float64)

    def attributed(self, rate: Numbers) -> Numbers:
        """Come-backs that each step most likely caused."""
        caused = self.own @ rate
        return np.asarray(rate * ((self.times / np.where(caused > 0, caused, 1.0)) @ self.own), dtype=np.float64)

    def shared_again(self, rate: Numbers) -> Numbers:
        """One step of expectation and maximisation: attributed come-backs over the exposure until the first of them."""
        waited = self._waited(rate)
        return np.asarray(self.attributed(rate) / np.where(waited > 0, waited, 1.0), dtype=np.float64)

    def _waited(self, rate: Numbers) -> Numbers:
        waited = self.quiet - 2.0 * self.square @ rate
        if self.done is not None:
            waited = waited + (self.times * _until_first(self.done @ rate)) @ self.done
        return np.asarray(waited, dtype=np.float64)


def _together(quiet: Numbers, own: Numbers, times: Numbers, done: Numbers | None, square: Numbers) -> Problem:
    key = own if done is None else np.hstack([own, done])
    _, first, place = np.unique(key, axis=0, return_index=True, return_inverse=True)
    merged = np.bincount(place.ravel(), weights=times, minlength=len(first)).astype(np.float64)
    return Problem(quiet, own[first], merged, None if done is None else done[first], square)


def _reach(problem: Problem) -> float:
    """The highest rate looked at: an eased likelihood rises again far from where it holds."""
    if problem.done is not None:
        return CERTAIN
    return FAR if problem.square.any() else np.inf


def maximise(problem: Problem, start: Numbers, held: int | None = None) -> RateEstimate:
    """Rates of the highest likelihood, from a start, with one rate held if wanted.

    With none held they are brought to where the slope is 0. With one held the value alone is wanted, and at its top it
    tells no rates apart.
    """
    best = _climbed(problem, start, held)
    return best if held is not None or not np.isfinite(best.log_likelihood) else _levelled(problem, best)


def _climbed(problem: Problem, start: Numbers, held: int | None) -> RateEstimate:
    """Expectation and maximisation with Newton steps, until the likelihood no longer rises."""
    top = _reach(problem) if held is None else max(_reach(problem), float(start[held]))
    rate = np.minimum(start, top)
    value = problem.value(rate)
    if not np.isfinite(value):
        even = problem.start()
        rate = 0.9 * rate + 0.1 * np.minimum(even, top)
        if held is not None:
            rate[held] = start[held]
        value = problem.value(rate)
        if not np.isfinite(value):
            return RateEstimate(rate, value, settled=True)
    for _ in range(STEPS):
        before = value
        shared = np.minimum(problem.shared_again(rate), top)
        if held is not None:
            shared[held] = rate[held]
        risen = problem.value(shared)
        if risen > value:
            rate, value = shared, risen
        rate, value, promised = _newton(problem, rate, value, top, held)
        if value - before < SETTLED and promised < SETTLED:
            return RateEstimate(rate, value, settled=True)
    return RateEstimate(rate, value, settled=False)


def _newton(
    problem: Problem, rate: Numbers, value: float, top: float, held: int | None
) -> tuple[Numbers, float, float]:
    """One step towards the top of the parabola, shortened until it rises; and the rise it promised."""
    slope = problem.slope(rate)
    none = rate <= NONE * rate.max(initial=0.0)
    free = (~none & (rate < top)) | (none & (slope > 0)) | ((rate >= top) & (slope < 0))
    if held is not None:
        free[held] = False
    curvature = problem.curvature(rate)
    while free.any():
        bent = curvature[np.ix_(free, free)]
        size = np.diag(bent).copy()
        if not (size > 0).all():
            return rate, value, 0.0
        try:
            way = linalg.cho_solve(linalg.cho_factor(bent + np.diag(1e-10 * size)), slope[free])
        except linalg.LinAlgError:
            return rate, value, 0.0
        stuck = none[free] & (way < 0)
        if not stuck.any():
            return _along(problem, rate, value, top, free, way)
        free[np.flatnonzero(free)[stuck]] = False
    return rate, value, 0.0


def _along(
    problem: Problem, rate: Numbers, value: float, top: float, free: NDArray[np.bool_], way: Numbers
) -> tuple[Numbers, float, float]:
    """The first rise on the way, rates kept within their bounds; else as far as the first of them comes to 0."""
    falling = way < 0
    reach = min(1.0, float((rate[free][falling] / -way[falling]).min(initial=1.0)))
    for longest, shortest in ((1.0, 1e-4), (reach, 1e-4 * reach)):
        part = longest
        while part > shortest:
            tried = rate.copy()
            tried[free] = np.clip(rate[free] + part * way, 0.0, top)
            risen = problem.value(tried)
            if risen > value:
                return tried, risen, risen - value
            part /= 4.0
    return rate, value, 0.0


def _levelled(problem: Problem, best: RateEstimate) -> RateEstimate:
    """Newton steps judged by their own length, as long as each is less than half the one before.

    The likelihood's last digit hides a change of its square root, about 1e-8, in the rates; which rates the climb ends
    with within that depends on the processor's order of summing. The slope knows them to the last digits.
    """
    highest, last = best.rate.max(initial=0.0), FIRST
    # A rate on its way to 0 gets there by parts only, and would hold up the others.
    sinking = (best.rate < SLIGHT * highest) & (problem.shared_again(best.rate) < (1.0 - SINKING) * best.rate)
    rate = np.where(sinking, 0.0, best.rate)
    free = (rate > NONE * highest) & (rate < _reach(problem))
    for _ in range(POLISHED):
        if not free.any():
            break
        bent = problem.curvature(rate)[np.ix_(free, free)]
        try:
            way = linalg.cho_solve(linalg.cho_factor(bent + np.diag(1e-10 * np.diag(bent))), problem.slope(rate)[free])
        except linalg.LinAlgError:
            break
        length = float(np.abs(way / rate[free]).max())
        if not length < last / 2.0:
            break
        rate[free], last = np.minimum(rate[free] + way, _reach(problem)), length
    value = problem.value(rate)
    return RateEstimate(rate, value, best.settled) if np.isfinite(value) else best


def entangled(problem: Problem, best: RateEstimate) -> NDArray[np.bool_]:
    """Steps whose share could be shifted to others without the likelihood noticing."""
    found = np.zeros(len(best.rate), dtype=np.bool_)
    if not len(problem.times):
        return found
    slope = problem.slope(best.rate)
    loose = (best.rate > NONE * best.rate.max(initial=0.0)) | (np.abs(slope) <= 1e-6 * (problem.exposure()))
    loose &= problem.own.any(axis=0)
    rows = [problem.own, problem.quiet[None, :], *([] if problem.done is None else [problem.done])]
    found[loose] = open_ended(np.vstack(rows)[:, loose])
    return found


def _fall(mean: Numbers) -> Numbers:
    """g(m) = log((1 - exp(-m)) / m)."""
    small, m, left, square = _parts_of(mean)
    return np.where(small, -mean / 2.0 + square / 24.0 - square**2 / 2880.0, np.log(left / m))


def _until_first(mean: Numbers) -> Numbers:
    """Minus the slope of g: the mean time until the first come-back."""
    small, m, left, square = _parts_of(mean)
    return np.where(small, 0.5 - mean / 12.0 + mean * square / 720.0, 1.0 / m - np.exp(-m) / left)


def _bend(mean: Numbers) -> Numbers:
    """The curvature of g."""
    small, m, left, square = _parts_of(mean)
    return np.where(small, 1 / 12 - square / 240.0 + square**2 / 6048.0, 1.0 / m**2 - np.exp(-m) / left**2)


def _parts_of(mean: Numbers) -> tuple[NDArray[np.bool_], Numbers, Numbers, Numbers]:
    """Where a series does, a mean that is not small, the chance that anything came, and the mean's square."""
    small = mean < NEAR
    m = np.where(small, 1.0, mean)
    return small, m, -special.expm1(-m), mean**2
