"""Computed values beside those of a publication."""

import numpy as np


def as_printed(shown, published, decimals):
    """Whether values equal published ones to every printed digit: half a unit of the last one apart at most."""
    return bool(np.abs(np.asarray(shown) - published).max() <= 0.5 * 10.0**-decimals * (1 + 1e-9))
