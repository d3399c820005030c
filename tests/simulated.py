"""Simulated run lengths beside computed ones."""

import numpy as np
from scipy.stats import binom

FAR = 3e-5
"""Chance beyond 4 standard errors on one side, for a normal mean."""


def departures(first, expected, horizon):
    """Where simulated first signals depart from a distribution, in words; none is expected.

    `first` holds the point of the first signal of each run, more than `horizon` if there was none; up to the horizon
    they are compared, so that no run is cut unawares. The bounds are 4 standard errors of the simulation, for counts of
    runs by the binomial distribution itself: with seeds that are fixed a right program passes, while of 4,000 runs a
    run length wrong by a tenth is told 19 times in 20.
    """
    runs, found = len(first), []
    for n in (horizon // 8, horizon // 2, horizon):
        lasted, chance = int((first > n).sum()), float(expected.survival(n))
        if not (binom.cdf(lasted, runs, chance) > FAR and binom.sf(lasted - 1, runs, chance) > FAR):
            found.append(f"{lasted} of {runs} runs lasted beyond {n} points, {runs * chance:.1f} were due")
    cut = np.minimum(first, horizon)
    mean = expected.survival(np.arange(horizon)).sum()
    if not abs(cut.mean() - mean) <= 4 * cut.std() / np.sqrt(runs):
        found.append(f"the runs, cut at {horizon} points, last {cut.mean():.2f} on average, {mean:.2f} were due")
    return found
