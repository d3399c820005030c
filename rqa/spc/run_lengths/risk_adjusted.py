"""Run length of the risk-adjusted CUSUM, in jobs: a Markov chain over the sum, cut into `STEPS` equal steps.

What a job adds depends on its expected chance, so the sums fill the range densely (Steiner, Cook, Farewell and
Treasure, Biostatistics 1, 2000, 441-452, use such a chain). Each addition is split between the two steps next to it
so that its mean is kept, which leaves an error of second order in the width of a step.
"""

from collections.abc import Iterator
from itertools import repeat

import numpy as np

from rqa.arguments import Numbers
from rqa.spc.run_lengths.absorption import mean_until_left
from rqa.spc.run_lengths.designs import RiskAdjustedDesign
from rqa.spc.run_lengths.result import from_hazard, settled

STEPS = 800


def risk_adjusted_hazard(design: RiskAdjustedDesign, odds: float) -> Numbers:
    """The chance of a signal at each job, none before it, when odds are `odds` times the expected ones."""
    offset = np.log1p(np.array(design.expected) * (design.odds_ratio - 1.0))
    largest = float(np.maximum(np.log(design.odds_ratio) - offset, -offset).max())
    # Jobs that a signal takes at least: before that the chance is 0, which is not to be taken for good.
    return settled(_walk(design, odds), int(np.ceil(design.h / largest)))


def _width(design: RiskAdjustedDesign) -> float:
    """A step, such that the limit lies midway between the last sum within it and the first beyond.

    A sum that comes to lie between these two is split between them, so midway the errors on both sides cancel.
    """
    return design.h / (STEPS - 0.5)


def _jumps(design: RiskAdjustedDesign, odds: float) -> tuple[Numbers, int]:
    """Chances of moving by so many steps, and the number of steps that the first of them stands for."""
    p = np.array(design.expected)
    offset = np.log1p(p * (design.odds_ratio - 1.0))
    true = odds * p / (1.0 - p + odds * p)
    jump = np.concatenate((np.log(design.odds_ratio) - offset, -offset)) / _width(design)
    chance = np.concatenate((true, 1.0 - true)) / len(p)
    low = np.floor(jump)
    part = jump - low
    first = int(low.min())
    place = low.astype(np.int64) - first
    size = int(place.max()) + 2
    jumps = np.zeros(size)
    np.add.at(jumps, place, chance * (1.0 - part))
    np.add.at(jumps, place + 1, chance * part)
    return jumps, first


def risk_adjusted_mean(design: RiskAdjustedDesign, odds: float) -> float:
    """The average run length in jobs: as of `risk_adjusted_hazard`, but from the equations of the chain."""
    jumps, first = _jumps(design, odds)
    at, by = np.divmod(np.arange(STEPS * len(jumps)), len(jumps))
    to = np.maximum(at + by + first, 0)
    stays = to < STEPS
    mean = mean_until_left(STEPS, [(at[stays], to[stays], jumps[by[stays]])], _begin(design))
    return from_hazard(risk_adjusted_hazard(design, odds)).mean if mean is None else mean


def _begin(design: RiskAdjustedDesign) -> Numbers:
    at = design.headstart / _width(design)
    low = int(at)
    state = np.zeros(STEPS)
    state[low] = 1.0 - (at - low)
    if low + 1 < STEPS:
        state[low + 1] = at - low
    return state / state.sum()


def _walk(design: RiskAdjustedDesign, odds: float) -> Iterator[float]:
    jumps, first = _jumps(design, odds)
    state = _begin(design)
    while True:
        moved = np.convolve(state, jumps)
        # moved[i] is the chance of the sum being first + i steps; below 0 it stays at 0.
        below = max(-first, 0)
        next_state = np.zeros(STEPS)
        kept = moved[below : below + STEPS - max(first, 0)]
        next_state[max(first, 0) : max(first, 0) + len(kept)] = kept
        next_state[0] += moved[:below].sum()
        yield float(moved[below + STEPS - max(first, 0) :].sum())
        total = next_state.sum()
        if total <= 0.0:
            break
        state = next_state / total
    yield from repeat(1.0)
