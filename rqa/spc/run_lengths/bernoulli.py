"""Run length of the Bernoulli CUSUM, in jobs: an exact Markov chain, as the sum moves on a lattice.

With a reference value of a / b the sum is always a whole number of 1 / b (Reynolds and Stoumbos, Journal of Quality
Technology 31, 1999, 87-108, choose p1 so that the reference is 1 / b). Any other reference value is replaced by the
nearest fraction with a denominator up to `FINEST`.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import repeat

import numpy as np

from rqa.arguments import Numbers
from rqa.spc.job_cusum import bernoulli_weights
from rqa.spc.patterns import TIE
from rqa.spc.run_lengths.absorption import mean_until_left
from rqa.spc.run_lengths.designs import BernoulliDesign
from rqa.spc.run_lengths.result import from_hazard, settled

FINEST = 1000


def bernoulli_hazard(design: BernoulliDesign, share: float) -> Numbers:
    """The chance of a signal at each job, none before it, when jobs have the event with chance `share`."""
    unit = lattice(design)
    # Jobs that a signal takes at least: before that the chance is 0, which is not to be taken for good.
    fewest = int(np.ceil(design.h / float(1 - unit if design.p1 > design.p0 else unit)))
    return settled(_walk(design, share), fewest)


def lattice(design: BernoulliDesign) -> Fraction:
    """The reference value as a fraction."""
    given = design.reference
    if given is None:
        given = bernoulli_weights(p0=design.p0, p1=design.p1).reference
    return Fraction(given).limit_denominator(FINEST)


def bernoulli_mean(design: BernoulliDesign, share: float) -> float:
    """The average run length in jobs: as of `bernoulli_hazard`, but from the equations of the chain."""
    out, start, moves = _chain(design, share)
    at, stays = np.arange(out), []
    for step, chance in moves:
        to = np.maximum(at + step, 0)
        stays.append((at[to < out], to[to < out], np.full(int((to < out).sum()), chance)))
    begin = np.zeros(out)
    begin[start] = 1.0
    mean = mean_until_left(out, stays, begin)
    return from_hazard(bernoulli_hazard(design, share)).mean if mean is None else mean


def _chain(design: BernoulliDesign, share: float) -> tuple[int, int, tuple[tuple[int, float], ...]]:
    """The first place of the lattice that reaches the limit, the last at or below the headstart, and the two moves."""
    reference = lattice(design)
    unit = reference.denominator
    allowed = reference.numerator
    event, other = (unit - allowed, -allowed) if design.p1 > design.p0 else (allowed - unit, allowed)
    out = int(np.ceil(design.h * unit - TIE))
    start = min(int(np.floor(design.headstart * unit + TIE)), out - 1)
    return out, start, ((event, share), (other, 1.0 - share))


def _walk(design: BernoulliDesign, share: float) -> Iterator[float]:
    out, start, moves = _chain(design, share)
    (up, rise), (down, fall) = sorted(moves, reverse=True)
    up, down = min(up, out), min(-down, out)
    state, moved = np.zeros(out), np.zeros(out)
    state[start] = 1.0
    add = np.add.reduce
    while True:
        moved[:up] = 0.0
        np.multiply(state[: out - up], rise, out=moved[up:])
        leave = rise * add(state[out - up :])
        state *= fall
        moved[: out - down] += state[down:]
        moved[0] += add(state[:down])
        yield float(leave)
        total = add(moved)
        if total <= 0.0:
            break
        moved /= total
        state, moved = moved, state
    yield from repeat(1.0)
