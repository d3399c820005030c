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

    `parts` are where the runs of cells begin, and the last one ends, that are set against themselves; `part` is each
    window's. `cases` bound the events of a cell, where they are known.
    """

    events: Counts
    work: Numbers
    period: Counts
    row: Counts
    groups: tuple[object, ...]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    part: NDArray[np.int64]
    parts: NDArray[np.int64]
    cases: Counts | None
    likelihood: str
    fewest: int

    @property
    def telling(self) -> bool:
        """Whether there is any window, and any event."""
        return bool(len(self.first) and self.events.sum())

    @property
    def all_events(self) -> Counts:
        """Events of each part."""
        return np.add.reduceat(self.events, self.parts[:-1]) if len(self.events) else np.zeros(1, dtype=np.int64)

    @property
    def all_work(self) -> Numbers:
        """Work of each part."""
        return np.add.reduceat(self.work, self.parts[:-1]) if len(self.work) else np.zeros(1)

    def ratios(self, cells: Numbers) -> Numbers:
        """Sets x cells to sets x windows: log-likelihood ratios, 0 where there is no more than expected."""
        running = np.concatenate([np.zeros((len(cells), 1)), np.cumsum(cells, axis=1)], axis=1)
        c = running[:, self.last + 1] - running[:, self.first]
        totals = running[:, self.parts[1:]] - running[:, self.parts[:-1]]
        total = totals[:, self.part]
        sums = np.concatenate([[0.0], np.cumsum(self.work)])
        all_work = self.all_work[self.part]
        share = (sums[self.last + 1] - sums[self.first]) / np.where(all_work > 0, all_work, 1.0)
        # A window that holds all the work it is set against has nothing outside.
        open_ = share < 1.0 - 1e-9
        made = np.zeros_like(c)
        above = (c >= self.fewest) & (c > total * share * (1.0 + 1e-12)) & open_
        n = np.nonzero(above)[1]
        ratio = _bernoulli if self.likelihood == "bernoulli" else _poisson
        made[above] = np.maximum(ratio(c[above], share[n], total[above], all_work[n]), 0.0)
        return made

    def drawn(self, rng: np.random.Generator, sets: int) -> Numbers:
        """Events thrown on the same cells, part by part: sets x cells.

        As many as there are; but where cases bound them each case has its chance of its own, so that a cell never gets
        more events than cases, and their number varies a little.
        """
        made = np.zeros((sets, len(self.events)))
        for start, end in pairwise(self.parts.tolist()):
            total, work = int(self.events[start:end].sum()), self.work[start:end]
            if not total:
                continue
            if self.likelihood == "bernoulli":
                jobs = work.astype(np.int64)
                made[:, start:end] = rng.multivariate_hypergeometric(jobs, total, size=sets, method="marginals")
            elif self.cases is not None:
                n = self.cases[start:end]
                chance = np.minimum(total * work / (work.sum() * np.maximum(n, 1)), 1.0)
                made[:, start:end] = rng.binomial(n, chance, size=(sets, end - start))
            else:
                made[:, start:end] = rng.multinomial(total, work / work.sum(), size=sets)
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
    bound = None
    if margin.cases is not None:
        _, bound = arguments.part_and_whole("events", x, "cases", margin.cases)
    groups, row = _coded(name, margin.group, len(x))
    here = np.flatnonzero((row >= 0) & (w > 0))
    here = here[np.lexsort((period[here], row[here]))]
    x, w, period, row = x[here], w[here], period[here], row[here]
    cases = None if bound is None else bound[here]
    if ((np.diff(row) == 0) & (np.diff(period) == 0)).any():
        raise ValueError(f"a group and period must be met once: {name}")
    own = margin.own_level and margin.group is not None
    parts = np.flatnonzero(np.diff(row, prepend=-1, append=-1)) if own else np.array([0, len(x)])
    first, last = _windows(row, period, longest)
    part = np.searchsorted(parts, first, side="right") - 1
    return Laid(x, w, period, row, groups, first, last, part, parts, cases, likelihood, fewest)


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
