"""Simulated run lengths beside computed ones."""

import numpy as np
from scipy.stats import binom

FAR = 3e-5
"""Chance beyond 4 standard errors on one side, for a normal mean."""


def agrees(first, expected, horizon):
    """Compare simulated first signals with a distribution, up to a horizon so that no run is cut unawares.

    `first` holds the point of the first signal of each run, more than `horizon` if there was none. The bounds are 4
    standard errors of the simulation, for counts of runs by the binomial distribution itself: with seeds that are fixed
    a right program passes, while an error of a few percent in the run length fails.
    """
    runs = len(first)
    for n in (horizon // 8, horizon // 2, horizon):
        lasted, chance = int((first > n).sum()), float(expected.survival(n))
        assert binom.cdf(lasted, runs, chance) > FAR
        assert binom.sf(lasted - 1, runs, chance) > FAR
    cut = np.minimum(first, horizon)
    mean = expected.survival(np.arange(horizon)).sum()
    assert abs(cut.mean() - mean) <= 4 * cut.std() / np.sqrt(runs)
