"""How long until a chart signals: the distribution of the run length, from the chance of a signal at each point."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers

FIRST_LOOK = 64
LONGEST = 2**18
"""Points after which a chance of a signal that still changes is taken as it is."""

SETTLED = 1e-12
"""Relative change of the chance of a signal over the latter half of the points below which it is taken as constant."""

NOBODY_LEFT = 1e-18


@dataclass(frozen=True, eq=False, kw_only=True)
class RunLength:
    """The number of points up to and including the first signal.

    `hazard[n - 1]` is the chance that point n signals when none before it did; after its last entry it stays as it is.
    `mean` is the average run length and `sd` its standard deviation, in points; infinite if no signal ever comes.
    """

    hazard: Numbers
    mean: float
    sd: float

    def survival(self, points: ArrayLike) -> Numbers:
        """Chance that no signal comes within so many points (0 or more), of the same shape."""
        n = arguments.counts("points", points)
        return np.exp(self._log_survival(n))

    def pmf(self, points: ArrayLike) -> Numbers:
        """Chance that the first signal comes at exactly this point (counted from 1), of the same shape."""
        n = arguments.counts("points", points)
        place = np.clip(n - 1, 0, len(self.hazard) - 1)
        return np.where(n == 0, 0.0, np.exp(self._log_survival(np.maximum(n - 1, 0))) * self.hazard[place])

    def alarm_chance(self, points: ArrayLike) -> Numbers:
        """Chance of at least one signal within so many points: 12 for a year of months, 52 for a year of weeks.

        Without a shift this is the chance of a false alarm in that time.
        """
        n = arguments.counts("points", points)
        return -np.expm1(self._log_survival(n))

    def quantile(self, chance: float) -> float:
        """Points within which a signal comes with at least this chance (between 0 and 1); infinite if it never does."""
        wanted = np.log1p(-arguments.share("chance", chance))
        logs = self._log_survival(np.arange(len(self.hazard) + 1))
        # Equal on paper may differ in the last bits.
        reached = np.flatnonzero(logs <= wanted + 1e-12)
        if len(reached):
            return float(reached[0])
        with np.errstate(divide="ignore"):
            more = (logs[-1] - wanted) / -np.log1p(-self.hazard[-1])
        return float(len(self.hazard) + np.ceil(more - 1e-9))

    @property
    def median(self) -> float:
        """Points within which every second run has signalled."""
        return self.quantile(0.5)

    def _log_survival(self, n: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> Numbers:
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.log1p(-self.hazard)
            known = np.concatenate(([0.0], np.cumsum(step)))
            beyond = np.maximum(n - len(step), 0)
            return known[np.minimum(n, len(step))] + np.where(beyond > 0, beyond * step[-1], 0.0)


def settled(hazards: Iterator[float], memory: int = 1) -> Numbers:
    """Take chances of a signal until they no longer change; `memory` is how many points a pattern can span."""
    taken: list[float] = []
    look = max(FIRST_LOOK, 4 * memory)
    alive = 1.0
    for hazard in hazards:
        taken.append(min(max(hazard, 0.0), 1.0))
        alive *= 1.0 - taken[-1]
        if alive < NOBODY_LEFT or len(taken) >= LONGEST:
            break
        if len(taken) == look:
            if is_settled(np.array(taken)):
                break
            look += look // 2
    return np.array(taken)


def is_settled(hazard: Numbers) -> bool:
    """Whether the latter half of the chances is one and the same."""
    late = hazard[len(hazard) // 2 :]
    return bool(np.abs(late - late[-1]).max() <= SETTLED * late[-1])


def from_hazard(hazard: Numbers) -> RunLength:
    """The distribution, its mean and standard deviation, with a constant chance of a signal after the last entry."""
    alive = np.concatenate(([1.0], np.cumprod(1.0 - hazard)))
    n, last = len(hazard), float(hazard[-1])
    if last > 0.0:
        rest = float(alive[-1]) / last
        mean = float(alive[:-1].sum()) + rest
        # E N^2 is the sum over n of (2 n + 1) P(N > n); the part after the last entry is geometric.
        later = rest * (2.0 * n + 1.0 + 2.0 * (1.0 - last) / last)
        square = float(((2.0 * np.arange(n) + 1.0) * alive[:-1]).sum()) + later
        sd = float(np.sqrt(max(square - mean * mean, 0.0)))
    elif alive[-1] > 0.0:
        mean = sd = np.inf
    else:
        mean, sd = float(alive[:-1].sum()), 0.0
    return RunLength(hazard=arguments.frozen(hazard), mean=mean, sd=sd)
