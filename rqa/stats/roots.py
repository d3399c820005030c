"""Where a function of each element of an array is 0."""

from collections.abc import Callable

import numpy as np

from rqa.arguments import Counts, Numbers


def roots(of: Callable[[Numbers, Counts], Numbers], low: Numbers, high: Numbers) -> Numbers:
    """Where a function that only rises or only falls between two ends is 0, to neighbouring doubles.

    `of` gets places and, for each, the number of its element in the flattened arrays: elements that have settled are
    not asked again. Where the ends have the same sign, the answer is NaN.
    """
    from scipy.optimize import elementwise  # a third of a second to import, so only when a root is asked for

    which = np.arange(low.size).reshape(low.shape)
    with np.errstate(invalid="ignore"):
        return np.asarray(elementwise.find_root(of, (low, high), args=(which,)).x, dtype=np.float64)
