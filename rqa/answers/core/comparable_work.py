"""Cases against comparable work: observed and expected over kinds of work, with exact p-values where needed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
LIKELY = 0.2
"""P-values above this are those of a binomial of the same mean and variance, near enough; below, the exact test's."""


@dataclass(frozen=True, eq=False)
class ComparableWork:
    """One value a row: events, cases in kinds of work that others did too, events expected, two-sided p-value."""

    observed: Counts
    comparable: Counts
    expected: NDArray[np.float64]
    p_value: NDArray[np.float64]

    def of(self, rows: NDArray[np.bool_]) -> "ComparableWork":
        """Some of the rows."""
        return ComparableWork(self.observed[rows], self.comparable[rows], self.expected[rows], self.p_value[rows])


def against_comparable_work(*, events: Counts, cases: Counts, all_events: Counts, all_cases: Counts) -> ComparableWork:
    """Rows x kinds of work: each row's events out of its cases, set against all cases of the same kinds.

    `all_events` and `all_cases` count the row itself among them; either may be one row for all. Kinds that a row has to
    itself say nothing. P is NaN where nothing is expected.
    """
    from rqa.stats import expectation_test
    from rqa.stats.stratified import exact_p_of_first

    x, n, marked, everyone = np.broadcast_arrays(events, cases, all_events, all_cases)
    shared = (n > 0) & (n < everyone)
    total = np.maximum(everyone, 2).astype(np.float64)
    mean = np.where(shared, n * marked / total, 0.0)
    variance = np.where(shared, mean * (everyone - n) * (everyone - marked) / (total * (total - 1.0)), 0.0)
    observed = np.where(shared, x, 0).sum(axis=1)
    expected = mean.sum(axis=1)
    p_value = expectation_test(observed=observed, expected=expected, variance=variance.sum(axis=1)).p_value.copy()
    rows = np.flatnonzero((expected > 0) & ~(p_value > LIKELY))
    pairs = [(np.stack([x[i], marked[i] - x[i]]), np.stack([n[i], everyone[i] - n[i]])) for i in rows]
    p_value[rows] = [p for p, _, _ in exact_p_of_first(pairs)]
    return ComparableWork(observed, np.where(shared, n, 0).sum(axis=1), expected, p_value)
