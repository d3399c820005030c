"""One dimension's windows laid out over its own cells, and its events thrown on them anew."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.margin_maxima import MarginMaxima
from rqa.stats.scan_windows import coded
from rqa.words import counted

if TYPE_CHECKING:
    from rqa.stats.marginal_scan import Margin

SIDE = 4
"""Periods that a group must have been there before a window, and after it for that side to be asked."""
Side = tuple[tuple[NDArray[np.int64], NDArray[np.int64]], Numbers, Numbers, NDArray[np.bool_]]


@dataclass(frozen=True, eq=False)
class WindowLayout:
    """Cells with work, in order of group and period; windows from cell `first` to cell `last` of one group.

    `begin` and `end` are the cells that a window is set against, itself among them; where that is its own level
    (`own`), `after` says whether there is enough after it to be asked. `parts` are where the runs of cells begin, and
    the last one ends, over which events are thrown; `part` is each window's; `cases` bound a cell's events.
    """

    events: Counts
    work: Numbers
    period: Counts
    row: Counts
    groups: tuple[object, ...]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    begin: NDArray[np.int64]
    end: NDArray[np.int64]
    part: NDArray[np.int64]
    parts: NDArray[np.int64]
    own: bool
    after: NDArray[np.bool_]
    cases: Counts | None
    likelihood: str
    fewest: int

    @property
    def telling(self) -> bool:
        """Whether there is any window, and any event."""
        return bool(len(self.first) and self.events.sum())

    @cached_property
    def sides(self) -> tuple["Side", ...]:
        """What each window is set against: where that begins, the window's share of its work, all of its work, and
        whether it is asked. Against its own level a window is set against what was before, and what was after."""
        work = np.concatenate([[0.0], np.cumsum(self.work)])
        inside = work[self.last + 1] - work[self.first]
        always = np.ones(len(self.first), dtype=np.bool_)

        def side(begin: NDArray[np.int64], end: NDArray[np.int64], asked: NDArray[np.bool_]) -> "Side":
            whole = work[end + 1] - work[begin]
            return (begin, end), np.minimum(inside / np.where(whole > 0, whole, 1.0), 1.0), whole, asked

        if not self.own:
            return (side(self.begin, self.end, always),)
        return side(self.begin, self.last, always), side(self.first, self.end, self.after)

    def ratios(self, cells: Numbers) -> Numbers:
        """Sets x cells to sets x windows: log-likelihood ratios, 0 where there is no more than expected.

        Against its own level a window has the smaller of its ratios to what was before and to what was after.
        """
        running = np.concatenate([np.zeros((1, len(cells))), np.cumsum(cells.T, axis=0)])
        sets, windows = np.indices((len(cells), len(self.first)))
        return self.ratios_of(running, windows.ravel(), sets.ravel()).reshape(sets.shape)

    def ratios_of(
        self, running: "NDArray[np.floating[Any]]", windows: NDArray[np.intp], sets: NDArray[np.intp]
    ) -> Numbers:
        """The ratios of some windows, each of one set; `running`: events of all cells before each, a column a set."""
        c = _inside(running, self.first[windows], self.last[windows], sets)
        made = np.full(len(windows), np.inf)
        for (begin, end), shares, whole, asked in self.sides:
            total, share = _inside(running, begin[windows], end[windows], sets), shares[windows]
            # A window that holds all the work it is set against has nothing outside.
            above = (c >= self.fewest) & (c > total * share * (1.0 + 1e-12)) & (share < 1.0 - 1e-9) & (made > 0.0)
            ratio = np.zeros(len(windows))
            found = _ratio(self.likelihood, c[above], share[above], total[above], whole[windows[above]])
            ratio[above] = np.maximum(found, 0.0)
            made = np.minimum(made, np.where(asked[windows], ratio, np.inf))
        return np.where(np.isfinite(made), made, 0.0)

    @cached_property
    def maxima(self) -> MarginMaxima:
        """What finds the highest ratio of simulated sets."""
        return MarginMaxima(self)

    def highest(self, cells: Numbers) -> Numbers:
        """The highest ratio of each set: sets x cells to sets."""
        return self.maxima.highest(cells)

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


def laid(name: str, margin: "Margin", likelihood: str, longest: int, fewest: int, beside: int) -> WindowLayout:
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
    own = margin.own_level
    parts = np.flatnonzero(np.diff(row, prepend=-1, append=-1)) if own else np.array([0, len(x)])
    first, last = _windows(row, period, longest)
    part = np.searchsorted(parts, first, side="right") - 1
    start, stop = parts[part], parts[part + 1] - 1
    if own:
        told = period[first] - period[start] >= SIDE
        first, last, part, start, stop = (a[told] for a in (first, last, part, start, stop))
    begin, end = _reaching(row, period, first, last, start, stop, beside) if own else (start, stop)
    after = period[stop] - period[last] >= SIDE
    return WindowLayout(
        x, w, period, row, groups, first, last, begin, end, part, parts, own, after, cases, likelihood, fewest
    )


def _reaching(
    row: Counts, period: Counts, first: NDArray[np.int64], last: NDArray[np.int64], start: NDArray[np.int64],
    stop: NDArray[np.int64], beside: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The first cell at most `beside` periods before each window, the last one at most so many after it."""
    place = row * (int(period.max(initial=0)) + 2 * beside + 2) + period + beside
    begin = np.searchsorted(place, place[first] - beside, side="left")
    end = np.searchsorted(place, place[last] + beside, side="right") - 1
    return np.maximum(begin, start), np.minimum(end, stop)


def _coded(name: str, group: object, cells: int) -> tuple[tuple[object, ...], NDArray[np.int64]]:
    if group is None:
        return (None,), np.zeros(cells, dtype=np.int64)
    labels = np.empty(cells, dtype=object)
    arguments.unmasked(f"group of {name!r}", group)
    if isinstance(group, str) or not isinstance(group, Iterable):
        raise ValueError(f"group must be a row of names: {name}: {group!r}")
    given = list(group)
    if len(given) != cells:
        raise ValueError(f"group must have one entry per row: {name}: {len(given)}, {counted(cells, 'row')}")
    labels[:] = given
    return coded(labels)


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


def _inside(
    running: "NDArray[np.floating[Any]]", begin: NDArray[np.int64], end: NDArray[np.int64], sets: NDArray[np.intp]
) -> Numbers:
    """Events from cell `begin` to cell `end` of the sets."""
    return np.asarray(running[end + 1, sets] - running[begin, sets], dtype=np.float64)


def _ratio(likelihood: str, c: Numbers, share: Numbers, total: Numbers, work: Numbers) -> Numbers:
    return (_bernoulli if likelihood == "bernoulli" else _poisson)(c, share, total, work)


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
