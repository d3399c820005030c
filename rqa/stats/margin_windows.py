"""One dimension's windows laid out over its own cells, and its events thrown on them anew."""

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers

if TYPE_CHECKING:
    from rqa.stats.marginal_scan import Margin


@dataclass(frozen=True, eq=False)
class Laid:
    """Cells with work, in order of group and period; windows from cell `first` to cell `last` of one group.

    `base` is the work of a cell, `total` and `all_base` the events and work that a window is set against; `parts` are
    the runs of cells over which events are thrown.
    """

    events: Counts
    work: Numbers
    base: Numbers
    period: Counts
    row: Counts
    groups: tuple[object, ...]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    total: Numbers
    all_base: Numbers
    parts: tuple[tuple[int, int], ...]
    likelihood: str
    fewest: int

    @property
    def telling(self) -> bool:
        """Whether there is any window, and any event."""
        return bool(len(self.first) and self.events.sum())

    def ratios(self, cells: Numbers) -> Numbers:
        """Sets x cells to sets x windows: log-likelihood ratios, 0 where there is no more than expected."""
        running = np.concatenate([np.zeros((len(cells), 1)), np.cumsum(cells, axis=1)], axis=1)
        c = running[:, self.last + 1] - running[:, self.first]
        sums = np.concatenate([[0.0], np.cumsum(self.base)])
        w = sums[self.last + 1] - sums[self.first]
        share = np.where(self.all_base > 0, w / np.where(self.all_base > 0, self.all_base, 1.0), 1.0)
        # A window that holds all the work it is set against has nothing outside.
        open_ = share < 1.0 - 1e-9
        made = np.zeros_like(c)
        above = (c >= self.fewest) & (c > self.total * share * (1.0 + 1e-12)) & open_
        at = np.nonzero(above)
        n, x = at[1], c[above]
        ratio = _bernoulli if self.likelihood == "bernoulli" else _poisson
        made[above] = np.maximum(ratio(x, share[n], self.total[n], self.all_base[n]), 0.0)
        return made

    def drawn(self, rng: np.random.Generator, sets: int) -> Numbers:
        """As many events thrown on the same cells, part by part: sets x cells."""
        made = np.zeros((sets, len(self.events)))
        for start, end in self.parts:
            total, base = int(self.events[start:end].sum()), self.base[start:end]
            if not total:
                continue
            if self.likelihood == "bernoulli":
                jobs = base.astype(np.int64)
                made[:, start:end] = rng.multivariate_hypergeometric(jobs, total, size=sets, method="marginals")
            else:
                made[:, start:end] = rng.multinomial(total, base / base.sum(), size=sets)
        return made


def laid(name: str, margin: "Margin", likelihood: str, longest: int, fewest: int) -> Laid:
    """The cells and windows of one dimension, checked."""
    period = arguments.counts("period", margin.period)
    w: Numbers
    if likelihood == "bernoulli":
        x, jobs = arguments.part_and_whole("events", margin.events, "work", margin.work)
        w = jobs.astype(np.float64)
    else:
        given = arguments.counts("events", margin.events).astype(np.float64)
        given, w = arguments.same_shape({"events": given, "work": arguments.amounts("work", margin.work)})
        x = given.astype(np.int64)
        if ((x > 0) & (w == 0)).any():
            raise ValueError(f"work must be above 0 where there were events: {name}")
    if period.ndim != 1 or x.shape != period.shape:
        raise ValueError(f"events and period must be one row each, of one length: {name}: {x.shape}, {period.shape}")
    groups, row = _coded(name, margin.group, len(x))
    here = np.flatnonzero((row >= 0) & (w > 0))
    here = here[np.lexsort((period[here], row[here]))]
    x, w, period, row = x[here], w[here], period[here], row[here]
    if ((np.diff(row) == 0) & (np.diff(period) == 0)).any():
        raise ValueError(f"a group and period must be met once: {name}")
    own = margin.own_level and margin.group is not None
    edges = np.flatnonzero(np.diff(row, prepend=-1, append=-1)) if own else np.array([0, len(x)])
    parts = tuple((int(a), int(b)) for a, b in pairwise(edges) if b > a)
    first, last = _windows(row, period, longest)
    total, all_base = np.zeros(len(first)), np.zeros(len(first))
    for a, b in parts:
        inside = (first >= a) & (first < b)
        total[inside], all_base[inside] = x[a:b].sum(), w[a:b].sum()
    return Laid(x, w, w, period, row, groups, first, last, total, all_base, parts, likelihood, fewest)


def _coded(name: str, group: object, cells: int) -> tuple[tuple[object, ...], NDArray[np.int64]]:
    if group is None:
        return (None,), np.zeros(cells, dtype=np.int64)
    labels = np.empty(cells, dtype=object)
    given = list(group)  # type: ignore[call-overload]
    if len(given) != cells:
        raise ValueError(f"group must have one entry per row: {name}: {len(given)}, {cells} rows")
    labels[:] = given
    # A missing entry is None, or NaN, which alone is not equal to itself.
    kept = sorted({v for v in labels if v is not None and v == v}, key=lambda v: (str(type(v)), v))
    place = {v: i for i, v in enumerate(kept)}
    return tuple(kept), np.array([place.get(v, -1) for v in labels], dtype=np.int64)


def _windows(row: Counts, period: Counts, longest: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last cell of every window that begins and ends with work."""
    first, last = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for further in range(min(longest, len(row))):
        a = np.arange(len(row) - further)
        b = a + further
        inside = (row[a] == row[b]) & (period[b] - period[a] < longest)
        first.append(a[inside])
        last.append(b[inside])
    return np.concatenate(first), np.concatenate(last)


def _poisson(c: Numbers, share: Numbers, total: Numbers, _all: Numbers) -> Numbers:
    """c log(c / e) + (C - c) log((C - c) / (C - e))."""
    out = total - c
    return np.asarray(
        special.xlogy(c, c / (total * share)) + special.xlogy(out, out / (total * (1.0 - share))), dtype=np.float64
    )


def _bernoulli(c: Numbers, share: Numbers, total: Numbers, jobs: Numbers) -> Numbers:
    """With one share inside and another outside against one for both."""
    n = share * jobs
    return np.asarray(_likelihood(c, n) + _likelihood(total - c, jobs - n) - _likelihood(total, jobs), dtype=np.float64)


def _likelihood(events: Numbers, jobs: Numbers) -> Numbers:
    # The work of a window is a difference of sums, so it can lie a rounding below its events.
    share, others = np.minimum(events / jobs, 1.0), np.maximum(jobs - events, 0.0)
    return np.asarray(special.xlogy(events, share) + special.xlog1py(others, -share), dtype=np.float64)
