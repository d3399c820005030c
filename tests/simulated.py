"""Simulated run lengths beside computed ones."""

import numpy as np


def agrees(first, expected, horizon):
    """Compare simulated first signals with a distribution, up to a horizon so that no run is cut unawares.

    `first` holds the point of the first signal of each run, more than `horizon` if there was none. The bounds are 4
    standard errors of the simulation: with a handful of looks and seeds that are fixed a right program passes, while an
    error of a few percent in the run length fails.
    """
    runs = len(first)
    for n in (horizon // 8, horizon // 2, horizon):
        chance = float(expected.survival(n))
        assert abs((first > n).mean() - chance) <= 4 * np.sqrt(chance * (1 - chance) / runs) + 1e-12
    cut = np.minimum(first, horizon)
    mean = expected.survival(np.arange(horizon)).sum()
    assert abs(cut.mean() - mean) <= 4 * cut.std() / np.sqrt(runs)
