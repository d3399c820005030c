"""Which steps can the data tell apart: columns that always go together, and mixtures that leave the answer open."""

import numpy as np
from numpy.typing import NDArray

from rqa.arguments import Numbers

DIGITS = 11
"""Shares of a column's largest entry that agree to so many digits are the same."""


def grouped(columns: Numbers, candidate: NDArray[np.bool_]) -> tuple[tuple[int, ...], ...]:
    """Steps in groups: candidates whose columns are multiples of each other together, every other step alone."""
    largest = np.abs(columns).max(axis=0, initial=0.0)
    shape = np.round(columns / np.where(largest > 0, largest, 1.0), DIGITS).T
    groups: dict[object, list[int]] = {}
    for step, row in enumerate(np.ascontiguousarray(shape)):
        key = row.tobytes() if candidate[step] else step
        groups.setdefault(key, []).append(step)
    return tuple(tuple(steps) for steps in groups.values())


def open_ended(columns: Numbers) -> NDArray[np.bool_]:
    """Which columns take part in a combination that adds up to nothing, so that their shares can be shifted."""
    if columns.shape[1] == 0:
        return np.zeros(0, dtype=np.bool_)
    largest = np.abs(columns).max(axis=1, keepdims=True)
    columns = columns / np.where(largest > 0, largest, 1.0)
    length = np.sqrt((columns**2).sum(axis=0))
    # Only the products matter for the null space, and they are as small as the steps are few.
    scaled = columns / np.where(length > 0, length, 1.0)
    values, vectors = np.linalg.eigh(scaled.T @ scaled)
    null = vectors[:, values <= 1e-11 * max(float(values.max()), 1.0)]
    return np.asarray((np.abs(null) > 1e-5).any(axis=1))
