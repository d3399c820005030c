"""The exact chance that a sliding window of a row of random events holds so many of them (Huntington and Naus)."""

from collections.abc import Iterator
from math import factorial, floor

import numpy as np
from numpy.typing import NDArray

from rqa.arguments import Numbers

MOST_EVENTS = 40
"""Events up to which the sum is tried: beyond, its terms cancel to fewer digits than are shown."""
MOST_WAYS = 20_000
"""Ways to spread the events over the parts of the time, up to which they are added up."""
MOST_WINDOWS = 500
"""Windows that the time is cut into."""


def exact_chance(events: int, fullest: int, window: float) -> float:
    """The chance that some window of this share of the time holds `fullest` or more; NaN where the sum is too long.

    The time is cut at both ends of each of the windows that follow one another from its start, and those that end at
    its end. Of all ways to spread the events over these parts that leave each two neighbours below `fullest`, the
    chance that no window between fills up is a product of two determinants (Karlin and McGregor's theorem).
    """
    whole = floor(1.0 / window + 1e-12)
    rest = max(1.0 - window * whole, 0.0)
    if rest < 1e-12:
        rest = 0.0
    parts = 2 * whole + 1
    # So many windows cover the time that one of them holds so many events, however these fall.
    if events > (fullest - 1) * (whole + (rest > 0.0)):
        return 1.0
    if events > MOST_EVENTS or whole > MOST_WINDOWS or _how_many(events, parts, fullest, rest == 0.0) > MOST_WAYS:
        return float("nan")
    n = np.array(list(_ways(events, parts, fullest, rest == 0.0)), dtype=np.int64)
    odd = n[:, ::2].sum(axis=1)
    size = (np.where(odd == 0, 1.0, rest**odd)) * (window - rest) ** (events - odd)
    none = float((size * _determinant(n, fullest, 0) * _determinant(n, fullest, 1)).sum()) * factorial(events)
    return float(min(max(1.0 - none, 0.0), 1.0))


def _how_many(events: int, parts: int, fullest: int, no_odd: bool) -> float:
    """How many ways there are, counted by what is placed so far and what the last part holds."""
    most = min(events, fullest - 1)
    ways = np.zeros((events + 1, most + 1))
    ways[0, 0] = 1.0
    for place in range(parts):
        after = np.zeros_like(ways)
        for count in range((0 if no_odd and place % 2 == 0 else most) + 1):
            after[count:, count] = ways[: events + 1 - count, : fullest - count].sum(axis=1)
        ways = after
    return float(ways[events].sum())


def _ways(events: int, parts: int, fullest: int, no_odd: bool) -> Iterator[tuple[int, ...]]:
    """Counts of the parts in order, which add up to the events, each two neighbours to less than the fullest."""

    def on(place: int, left: int, last: int) -> Iterator[tuple[int, ...]]:
        if place == parts:
            if left == 0:
                yield ()
            return
        # Each pair of parts still to come holds less than the fullest.
        if left > (fullest - 1) * ((parts - place + 1) // 2):
            return
        top = 0 if no_odd and place % 2 == 0 else min(left, fullest - 1 - last)
        for count in range(top + 1):
            for others in on(place + 1, left - count, count):
                yield (count, *others)

    yield from on(0, events, 0)


def _determinant(n: NDArray[np.int64], fullest: int, first: int) -> Numbers:
    """det |1 / h_ij!|, one a row: h of the windows that begin the time (first 0), or of those shifted by the rest."""
    size = n.shape[1] // 2 + (1 - first)
    total = np.concatenate([np.zeros((len(n), 1), dtype=np.int64), n.cumsum(axis=1)], axis=1)
    made = np.empty((len(n), size, size))
    inverse = np.array([1.0 / factorial(k) for k in range(171)])
    for i in range(size):
        for j in range(size):
            # Parts from 2j (+ first) up to 2i (+ first), both taken in; with j beyond i those between, taken off.
            if i >= j:
                h = total[:, 2 * i + first + 1] - total[:, 2 * j + first] - (i - j) * fullest
            else:
                h = -(total[:, 2 * j + first] - total[:, 2 * i + first + 1]) + (j - i) * fullest
            made[:, i, j] = np.where(h < 0, 0.0, inverse[np.clip(h, 0, 170)])
    return np.asarray(np.linalg.det(made), dtype=np.float64)
