"""Every window of time in every group: its counts, its likelihood ratio, and counts as chance would have them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, special

from rqa.arguments import Counts, Numbers


@dataclass(frozen=True, eq=False)
class Windows:
    """Cells added up to rows (groups of all dimensions, one after the other) x windows of successive periods."""

    adding: sparse.csr_array
    periods: int
    first: Counts
    last: Counts
    row_of: tuple[Counts, ...]
    starts: Counts

    def sums(self, cells: Numbers) -> Numbers:
        """Sets x cells to sets x rows x windows."""
        table = (self.adding @ cells.T).T.reshape(len(cells), -1, self.periods)
        running = np.concatenate([np.zeros((*table.shape[:2], 1)), np.cumsum(table, axis=2)], axis=2)
        return np.asarray(running[:, :, self.last + 1] - running[:, :, self.first], dtype=np.float64)

    def highest(self, ratio: Numbers) -> Numbers:
        """Sets x rows x windows to sets x dimensions."""
        return np.maximum.reduceat(ratio.max(axis=2), self.starts, axis=1)


def windows(period: Counts, codes: Sequence[Counts], sizes: Sequence[int], periods: int, longest: int) -> Windows:
    """Lay out all windows of up to `longest` periods; a code of -1 is a cell without a group in that dimension."""
    starts = np.concatenate([[0], np.cumsum(sizes)])
    row_of = [np.where(code >= 0, code + start, -1) for code, start in zip(codes, starts[:-1], strict=True)]
    cell = np.arange(len(period))
    places = np.concatenate([(rows * periods + period)[rows >= 0] for rows in row_of])
    source = np.concatenate([cell[rows >= 0] for rows in row_of])
    shape = (int(starts[-1]) * periods, len(period))
    adding = sparse.csr_array(sparse.coo_array((np.ones(len(places)), (places, source)), shape=shape))
    length = np.arange(longest)
    first = np.repeat(np.arange(periods), longest)
    last = first + np.tile(length, periods)
    inside = last < periods
    return Windows(adding, periods, first[inside], last[inside], tuple(row_of), starts[:-1].astype(np.int64))


def poisson_ratio(events: Numbers, expected: Numbers, total: float, fewest: int) -> Numbers:
    """c log(c / e) + (C - c) log((C - c) / (C - e)) where c is above e, else 0; expected numbers add up to C."""
    e = np.broadcast_to(expected, events.shape)
    ratio = np.zeros_like(events)
    above = (events > e) & (events >= fewest) & (e > 0)
    c, e = events[above], e[above]
    out, rest = total - c, total - e
    # Where all is expected inside, more than that is a matter of rounding.
    open_ = rest > 1e-12 * total
    outside = np.where(open_, special.xlogy(out, np.where(open_, out, 1.0) / np.where(open_, rest, 1.0)), 0.0)
    ratio[above] = np.where(open_, special.xlogy(c, c / e) + outside, 0.0)
    return np.maximum(ratio, 0.0)


def bernoulli_ratio(events: Numbers, jobs: Numbers, total: float, all_jobs: float, fewest: int) -> Numbers:
    """Log of the likelihood with one share inside and another outside over that with one share, where it is higher."""
    n = np.broadcast_to(jobs, events.shape)
    ratio = np.zeros_like(events)
    above = (events * all_jobs > total * n) & (events >= fewest) & (n < all_jobs)
    c, n = events[above], n[above]
    ratio[above] = _log_likelihood(c, n) + _log_likelihood(total - c, all_jobs - n)
    whole = float(_log_likelihood(np.array(total), np.array(all_jobs)))
    return np.where(above, np.maximum(ratio - whole, 0.0), 0.0)


def poisson_sets(rng: np.random.Generator, work: Numbers, total: int, sets: int) -> Numbers:
    """Events thrown on cells in proportion to what is expected there."""
    if total > len(work):
        return rng.multinomial(total, work / work.sum(), size=sets).astype(np.float64)
    running = np.cumsum(work)
    drawn = np.searchsorted(running, rng.random((sets, total)) * running[-1], side="right")
    return _counted(np.minimum(drawn, len(work) - 1), len(work))


def bernoulli_sets(rng: np.random.Generator, work: Numbers, total: int, sets: int) -> Numbers:
    """Jobs with the event drawn from all jobs, each at most once."""
    jobs = work.astype(np.int64)
    if total > len(work):
        return rng.multivariate_hypergeometric(jobs, total, size=sets, method="marginals").astype(np.float64)
    running = np.cumsum(jobs)
    drawn = np.stack([rng.choice(running[-1], total, replace=False, shuffle=False) for _ in range(sets)])
    return _counted(np.searchsorted(running, drawn, side="right"), len(work))


def _counted(drawn: NDArray[np.intp], cells: int) -> Numbers:
    sets = len(drawn)
    flat = (drawn + np.arange(sets)[:, None] * cells).ravel()
    return np.bincount(flat, minlength=sets * cells).reshape(sets, cells).astype(np.float64)


def _log_likelihood(events: Numbers, jobs: Numbers) -> Numbers:
    share = events / jobs
    return np.asarray(special.xlogy(events, share) + special.xlog1py(jobs - events, -share), dtype=np.float64)


def coded(labels: NDArray[np.object_]) -> tuple[tuple[object, ...], NDArray[np.int64]]:
    """The groups met, in order, and each label's place among them: -1 for a missing one."""
    # A missing entry is None, or NaN, which alone is not equal to itself.
    kept = sorted({v for v in labels if v is not None and v == v}, key=lambda v: (str(type(v)), v))
    place = {v: i for i, v in enumerate(kept)}
    return tuple(kept), np.array([place.get(v, -1) for v in labels], dtype=np.int64)
