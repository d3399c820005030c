"""Run length of the EWMA chart: a Markov chain over the average, on Gauss-Legendre nodes within its limits.

With exact limits the nodes move out with the limits until these have settled (after Crowder, Technometrics 29, 1987,
401-407, and Lucas and Saccucci, Technometrics 32, 1990, 1-12, for settled limits).
"""

from collections.abc import Iterator
from itertools import repeat

import numpy as np
from scipy.special import ndtr

from rqa.arguments import Numbers
from rqa.spc.run_lengths.cusum import FEWEST_NODES, NODES_A_SPREAD, normal_kernel
from rqa.spc.run_lengths.designs import EwmaDesign
from rqa.spc.run_lengths.points import NormalPoints
from rqa.spc.run_lengths.result import settled


def ewma_hazard(design: EwmaDesign, points: NormalPoints) -> Numbers:
    """The chance of a signal at each point, none before it."""
    # The start of exact limits looks settled for a while when the weight is small.
    memory = int(np.ceil(4.0 / design.weight))
    return settled(_walk(design, points), memory)


def _walk(design: EwmaDesign, points: NormalPoints) -> Iterator[float]:
    """Points in sigma from the target; the average starts on it."""
    keep = 1.0 - design.weight
    spread = design.weight * points.spread
    widest = design.width * np.sqrt(design.weight / (2.0 - design.weight))
    count = FEWEST_NODES + int(np.ceil(2.0 * NODES_A_SPREAD * widest / spread))
    node, weight = np.polynomial.legendre.leggauss(count)
    at, state, limit, step = np.zeros(1), np.ones(1), 0.0, 0
    chain, leave = np.zeros((1, 1)), np.zeros(1)
    while True:
        step += 1
        before, limit = limit, widest * _share_of_limit(design, step)
        if limit != before or len(at) == 1 or step == 2:
            mean = keep * at + design.weight * points.shift
            leave = ndtr((mean - limit) / spread) + ndtr((-limit - mean) / spread)
            chain = normal_kernel(mean, limit * node, spread) * (limit * weight)
            at = limit * node
        yield float(state @ leave)
        state = state @ chain
        total = state.sum()
        if total <= 0.0:
            break
        state = state / total
    yield from repeat(1.0)


def _share_of_limit(design: EwmaDesign, step: int) -> float:
    return float(np.sqrt(-np.expm1(2.0 * step * np.log1p(-design.weight)))) if _narrower(design) else 1.0


def _narrower(design: EwmaDesign) -> bool:
    return design.limits == "exact" and design.weight < 1.0
