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
from rqa.spc.run_lengths.designs import BernoulliDesign
from rqa.spc.run_lengths.result import settled

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


def _walk(design: BernoulliDesign, share: float) -> Iterator[float]:
    reference = lattice(design)
    unit = reference.denominator
    allowed = reference.numerator
    event, other = (unit - allowed, -allowed) if design.p1 > design.p0 else (allowed - unit, allowed)
    # The first place of the lattice that reaches the limit, and the last at or below the headstart.
    out = int(np.ceil(design.h * unit - TIE))
    start = min(int(np.floor(design.headstart * unit + TIE)), out - 1)
    state = np.zeros(out)
    state[start] = 1.0
    while True:
        moved = np.zeros(out)
        leave = 0.0
        for step, chance in ((event, share), (other, 1.0 - share)):
            if step >= 0:
                moved[step:] += chance * state[: max(out - step, 0)]
                leave += chance * float(state[max(out - step, 0) :].sum())
            else:
                moved[: max(out + step, 0)] += chance * state[-step:]
                moved[0] += chance * float(state[:-step].sum())
        yield leave
        total = moved.sum()
        if total <= 0.0:
            break
        state = moved / total
    yield from repeat(1.0)
