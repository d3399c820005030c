"""The average run length of a Markov chain from its equations, where the whole distribution is not asked for."""

import numpy as np

from rqa.arguments import Counts, Numbers

TRUSTED = 1e11
"""Longer means are left to the chances of a signal: the equations lose so many of sixteen digits."""
DENSE = 10
"""Steps from each state from which on the equations are solved as bands and not one by one."""


def mean_until_left(size: int, moves: list[tuple[Counts, Counts, Numbers]], start: Numbers) -> float | None:
    """Mean number of steps until a chain of `size` states is left; None where the equations cannot tell it.

    `moves` are from, to and chance of each step that stays within the states; `start` the chances of beginning in each.
    With `Q` the chances of staying, the means `m` from each state are those of `m = 1 + Q m` (Brook and Evans,
    Biometrika 59, 1972, 539-549).
    """
    at = np.arange(size)
    rows = np.concatenate([at, *(begin for begin, _, _ in moves)])
    columns = np.concatenate([at, *(end for _, end, _ in moves)])
    values = np.concatenate([np.ones(size), *(-chance for _, _, chance in moves)])
    try:
        solve = _in_bands if len(values) > DENSE * size else _in_few
        means = solve(size, rows, columns, values)
    except (RuntimeError, np.linalg.LinAlgError):  # the chain is never left from some state
        return None
    mean = float(start @ means)
    return mean if (means > 0.0).all() and 1.0 <= mean <= TRUSTED else None


def _in_few(size: int, rows: Counts, columns: Counts, values: Numbers) -> Numbers:
    from scipy import sparse
    from scipy.sparse.linalg import splu

    equations = sparse.csc_array(sparse.coo_array((values, (rows, columns)), shape=(size, size)))
    return np.asarray(splu(equations).solve(np.ones(size)), dtype=np.float64)


def _in_bands(size: int, rows: Counts, columns: Counts, values: Numbers) -> Numbers:
    from scipy.linalg import solve_banded

    below, above = int((rows - columns).max()), int((columns - rows).max())
    bands = np.zeros((below + above + 1, size))
    np.add.at(bands, (above + rows - columns, columns), values)
    return np.asarray(solve_banded((below, above), bands, np.ones(size)), dtype=np.float64)
