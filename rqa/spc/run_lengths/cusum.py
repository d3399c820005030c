"""Run length of the tabular CUSUM: a Markov chain over the sum, on Gauss-Legendre nodes in place of equal steps.

Brook and Evans (Biometrika 59, 1972, 539-549) cut the range of the sum into equal steps; the chance of the next sum is
a smooth function of the present one, so nodes of the Gauss-Legendre rule give the integral equation's solution to far
more digits with far fewer states. The sum at 0 is a state of its own.
"""

from collections.abc import Iterator
from itertools import islice, repeat

import numpy as np
from scipy.special import ndtr

from rqa.arguments import Numbers
from rqa.spc.run_lengths.designs import CusumDesign
from rqa.spc.run_lengths.points import NormalPoints
from rqa.spc.run_lengths.result import FIRST_LOOK, LONGEST, NOBODY_LEFT, is_settled, settled

NODES_A_SPREAD = 6
"""Nodes for each standard deviation of a point within the limit, beside `FEWEST_NODES`."""

FEWEST_NODES = 30

FARTHEST_LIMIT = 100.0
"""Limit, in standard deviations of a point, above which no run length is worked out: it takes minutes and gigabytes."""


def cusum_hazard(design: CusumDesign, points: NormalPoints) -> Numbers:
    """The chance of a signal at each point, none before it."""
    if design.h > FARTHEST_LIMIT * points.spread:
        raise ValueError(
            f"h must be at most {FARTHEST_LIMIT:g} standard deviations of a point for its run length to be worked out: "
            f"h = {design.h:g}, spread = {points.spread:g}"
        )
    if design.arms == "both":
        return _both(design, points)
    return settled(_arm(design, _turned(points, design.arms == "below"), design.headstart), _reach(design, points))


def _reach(design: CusumDesign, points: NormalPoints) -> int:
    """Points that a sum needs to come near a far limit with a chance that doubles can hold."""
    return int(np.ceil((design.h / points.spread) ** 2 / 1000.0))


def normal_kernel(at: Numbers, to: Numbers, spread: float) -> Numbers:
    """Density at `to` (columns) of normal values with their means `at` (rows)."""
    z = (to - at[:, None]) / spread
    return np.exp(-0.5 * z * z) / (spread * np.sqrt(2.0 * np.pi))


def _turned(points: NormalPoints, below: bool) -> NormalPoints:
    return NormalPoints(shift=-points.shift, spread=points.spread) if below else points


def _arm(design: CusumDesign, points: NormalPoints, start: float) -> Iterator[float]:
    """One sum from `start`. A state is the sum before a point: 0, or one of the nodes."""
    count = FEWEST_NODES + int(np.ceil(NODES_A_SPREAD * design.h / points.spread))
    node, weight = np.polynomial.legendre.leggauss(count)
    node, weight = design.h * (node + 1.0) / 2.0, design.h * weight / 2.0
    sums = np.concatenate(([start], [0.0], node))
    drift = points.shift - design.k
    to_zero = ndtr((-sums - drift) / points.spread)
    to_node = normal_kernel(sums + drift, node, points.spread) * weight
    leave = ndtr((sums + drift - design.h) / points.spread)
    chain = np.column_stack((to_zero, to_node))
    yield float(leave[0])
    state = chain[0]
    while (total := state.sum()) > 0.0:
        state = state / total
        yield float(state @ leave[1:])
        state = state @ chain[1:]
    yield from repeat(1.0)


def _both(design: CusumDesign, points: NormalPoints) -> Numbers:
    """Both sums together, exactly, from each of them alone.

    When one sum signals, the other is at 0: both above 0 would mean that one had signalled before (true for equal
    limits and a headstart of at most h / 2 + k). Let u(t), d(t) generate the run lengths of the sums alone from 0, and
    U(t), D(t) from the headstart; A(t) and B(t) the run length of the chart where it is ended by the upper, the lower
    sum. After an end by the lower sum the upper one starts from 0, so U = A + B u, and D = B + A d. Hence
    A = (U - D u) / (1 - u d) and B = (D - U d) / (1 - u d), to be read as power series.
    """
    if design.headstart > design.h / 2.0 + design.k:
        raise ValueError(
            f"headstart must be at most h / 2 + k = {design.h / 2.0 + design.k:g} where both arms are watched, as only "
            f"then the arms do not meet: {design.headstart:g}"
        )
    sides = [_turned(points, below) for below in (False, True)]
    walks = [[_arm(design, side, start) for start in (design.headstart, 0.0)] for side in sides]
    first = max(FIRST_LOOK, 4 * _reach(design, points))
    found = [[np.array(list(islice(walk, first))) for walk in pair] for pair in walks]
    while True:
        hazard, alive = _joined(*(_pmf(h) for pair in found for h in pair))
        size = len(found[0][0])
        gone = np.flatnonzero(alive < NOBODY_LEFT**0.5)
        if len(gone):
            return hazard[: int(gone[0]) + 1]
        if is_settled(hazard) or size >= LONGEST // 8:
            return hazard
        found = [
            [np.concatenate((old, list(islice(walk, size)))) for old, walk in zip(olds, pair, strict=True)]
            for olds, pair in zip(found, walks, strict=True)
        ]


def _pmf(hazard: Numbers) -> Numbers:
    return hazard * np.concatenate(([1.0], np.cumprod(1.0 - hazard)[:-1]))


def _joined(up_start: Numbers, up: Numbers, down_start: Numbers, down: Numbers) -> tuple[Numbers, Numbers]:
    """The chance of a signal at each point of the chart, and that none came up to it, from those of the two sums."""
    size = len(up)
    series = [np.concatenate(([0.0], pmf)) for pmf in (up_start, up, down_start, down)]
    upper0, upper, lower0, lower = series
    above = upper0 - np.convolve(lower0, upper)[: size + 1]
    below = lower0 - np.convolve(upper0, lower)[: size + 1]
    again = np.convolve(upper, lower)[: size + 1]
    pmf = np.zeros(size + 1)
    for n in range(1, size + 1):
        pmf[n] = above[n] + below[n] + pmf[:n] @ again[n:0:-1]
    pmf = pmf[1:]
    alive = 1.0 - np.cumsum(pmf)
    before = np.concatenate(([1.0], alive[:-1]))
    return np.clip(pmf / np.maximum(before, 1e-300), 0.0, 1.0), alive
