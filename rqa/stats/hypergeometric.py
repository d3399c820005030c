"""The distribution of a sum of independent hypergeometric draws, one from each stratum."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers

REACH = 12.0
"""Standard deviations either side of a draw's mean that are kept; what lies beyond is below 1e-30."""


def sum_of_draws(drawn: Counts, marked: Counts, total: Counts) -> tuple[int, Numbers]:
    """Chances of the sums from the first returned count on.

    From each stratum `drawn` of `total` units are taken, `marked` of which carry the mark; the sum counts the marks.
    """
    mean = drawn * marked / total
    spread = np.sqrt(mean * (total - marked) * (total - drawn) / (total * np.maximum(total - 1.0, 1.0)))
    reach = REACH * spread + REACH
    lowest = np.maximum(np.maximum(drawn + marked - total, 0), np.floor(mean - reach).astype(np.int64))
    highest = np.minimum(np.minimum(drawn, marked), np.ceil(mean + reach).astype(np.int64))
    parts = _probabilities(drawn, marked, total, lowest, highest)
    sums = np.ones(1)
    for part in sorted(parts, key=len):
        sums = np.convolve(sums, part)
    return int(lowest.sum()), sums


def log_chances(drawn: Counts, marked: Counts, total: Counts) -> tuple[int, Numbers]:
    """Chances of all the sums there can be, as logarithms, so that they can be tilted towards either end."""
    lowest, highest = np.maximum(drawn + marked - total, 0), np.minimum(drawn, marked)
    sums = np.zeros(1)
    for part in _probabilities(drawn, marked, total, lowest, highest, logs=True):
        added = np.full(sums.size + part.size - 1, -np.inf)
        for place, height in enumerate(part):
            span = slice(place, place + sums.size)
            added[span] = np.logaddexp(added[span], sums + height)
        sums = added
    return int(lowest.sum()), sums


def _probabilities(
    drawn: Counts, marked: Counts, total: Counts, lowest: Counts, highest: Counts, logs: bool = False
) -> list[Numbers]:
    """The chances of each stratum's counts from lowest to highest, all worked in one sweep and cut apart at the end."""
    width = highest - lowest + 1
    ends = np.cumsum(width)
    k = np.arange(ends[-1] if ends.size else 0) - np.repeat(ends - width - lowest, width)
    n, m, t = (np.repeat(a, width) for a in (drawn, marked, total))
    log = -(
        special.gammaln(k + 1.0)
        + special.gammaln(n - k + 1.0)
        + special.gammaln(m - k + 1.0)
        + special.gammaln(t - m - n + k + 1.0)
    )
    parts = []
    for part in np.split(log, ends[:-1]) if ends.size else []:
        raised = part - part.max()
        total_chance = np.exp(raised).sum()
        parts.append(raised - np.log(total_chance) if logs else np.exp(raised) / total_chance)
    return parts
