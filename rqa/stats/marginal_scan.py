"""Was there a burst, when each dimension has a count table of its own: no table of all dimensions at once is needed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.far_tails import never_zero
from rqa.stats.margin_windows import WindowLayout, laid
from rqa.stats.scanning import AT_ONCE, EQUAL, Likelihood, chance_among, simulated_maxima

PILOT = 199
"""Sets by which the dimensions are put on one scale before the strongest is sought."""
FIRST = 32
"""Sets scored first of those drawn at a time: where nothing is bunched, these are enough to end the simulation."""


@dataclass(frozen=True, eq=False)
class Margin:
    """Counts of one dimension, a row a group and period: `events`, `work`, `period` from 0; no `group` for time alone.

    `own_level`: each group is set against itself just before and just after, for benches, sites, people, and time; else
    against all groups, for lots, which are there for some weeks only. `cases`, where `work` is expected events: the
    jobs of each row, which have the event at most once.
    """

    events: ArrayLike
    work: ArrayLike
    period: ArrayLike
    group: ArrayLike | None = None
    own_level: bool = False
    cases: ArrayLike | None = None


@dataclass(frozen=True)
class MarginBurst:
    """Periods `first` to `last` of one group of one dimension.

    `expected` is what the work brings at the level of all it is set against, itself among it, which has `all_events`;
    `ratio` is the rate inside to that of the rest of it.
    """

    dimension: str
    group: object
    first: int
    last: int
    events: int
    work: float
    expected: float
    all_events: int
    ratio: float
    log_ratio: float
    score: float
    p_value: float
    p_within: float
    p_fitted: float


@dataclass(frozen=True, eq=False)
class MarginScan:
    """The bursts of all dimensions, strongest first, and each dimension's strongest; p-values from simulated sets."""

    likelihood: str
    longest: int
    fewest: int
    simulations: int
    stopped: bool
    seed: int
    dimensions: tuple[str, ...]
    highest: Numbers
    p_within: Numbers
    p_value: float
    windows: int
    bursts: tuple[MarginBurst, ...]
    leading: tuple[MarginBurst | None, ...]


def scan_margins(
    margins: Mapping[str, Margin],
    *,
    likelihood: Likelihood = "poisson",
    longest: int = 13,
    beside: int = 13,
    fewest: int = 3,
    limit: int = 20,
    simulations: int = 999,
    enough: int = 20,
    seed: int = 0,
) -> MarginScan:
    """Say where and when events were bunched, over all dimensions in one go, from one count table for each of them.

    Parameters
    ----------
    margins
        The dimensions, such as time, bench, lot, each with its counts; a job may count in several groups of one.
    likelihood
        "poisson" for counts against expected ones, "bernoulli" for jobs that came back or not (`work` whole numbers).
    longest
        Periods in the longest window, from 1: a longer one is no burst but a level.
    beside
        Periods before and after a window that it is set against, where that is the group's own level.
    fewest
        Windows with fewer events are passed over.
    limit
        Bursts to list.
    simulations, enough, seed
        As of `scan_statistic`.

    Returns
    -------
    MarginScan
        `bursts`, none overlapping another of its own group, with `p_value` over all dimensions and `p_within` its own;
        `p_fitted` reads the first off a curve of extremes laid through the simulated maxima, which goes on below what
        so few sets can show; `leading`, the strongest of each dimension, None where there is none.

    Notes
    -----
    As `scan_statistic`, but each dimension's events are thrown on its own cells: all of them over all its cells, or,
    where groups are set against their own level, those of each group over its periods; with `cases`, each case has the
    event by its chance, so that a row of two jobs never gets three events. Dimensions differ in their
    windows, so a log ratio becomes a `score`: less the mean, over the spread, of its dimension's maxima in 199 sets
    drawn for this alone; a dimension of many small groups so takes no room from the others. Dimensions are simulated
    independently, and the strongest score of all set against the strongest of each set. The same events, seen by bench
    and by lot, rise and fall together, so the true maximum over dimensions is if anything lower, and the p-values are
    at most a little too large. So they are where a job counts in several groups.

    Against its own level a window's ratio is the smaller of two, to the periods before it and to those after it.
    So a change of level, such as a step made better, is no burst. Without four periods after it that side is not
    asked, so that a burst that is still on is one; without four before it a window is passed over.

    `p_fitted`: the Gumbel distribution with the mean and spread of the maxima (Abrams and others).

    Landmarks: no event, no burst, p NaN.

    Raises
    ------
    ValueError
        As `scan_statistic`; a period and group met twice.

    References
    ----------
    1. M. Kulldorff, Communications in Statistics - Theory and Methods 26, 1997, 1481-1496.
    2. A. M. Abrams, K. Kleinman, M. Kulldorff, International Journal of Health Geographics 9, 2010, 61.

    Examples
    --------
    >>> lots = Margin(
    ...     events=[2, 3, 2, 1, 11, 9, 2, 1],
    ...     work=[40, 50, 40, 30, 40, 45, 45, 30],
    ...     period=[0, 1, 2, 3, 2, 3, 4, 5],
    ...     group=["K1"] * 4 + ["K2"] * 4,
    ... )
    >>> b = scan_margins({"lot": lots}).bursts[0]
    >>> b.dimension, b.group, b.first, b.last, b.events, b.p_value < 0.01
    ('lot', 'K2', 2, 3, 20, True)

    Units with lot K2 came back more often, those of the third and fourth month, and that is not due to chance.
    """
    arguments.one_of("likelihood", likelihood, get_args(Likelihood))
    longest, fewest = arguments.whole("longest", longest, 1), arguments.whole("fewest", fewest, 1)
    beside = arguments.whole("beside", beside, 1)
    limit, simulations = arguments.whole("limit", limit, 1), arguments.whole("simulations", simulations, 1)
    enough, seed = arguments.whole("enough", enough, 1), arguments.whole("seed", seed, 0)
    arguments.instance("margins", margins, Mapping)
    for name, margin in margins.items():
        arguments.instance(f"margins[{name!r}]", margin, Margin)
    names = tuple(margins)
    tables = [laid(name, margins[name], likelihood, longest, fewest, beside) for name in names]
    found = [t.ratios(t.events[None, :].astype(np.float64))[0] for t in tables]
    highest = np.array([f.max(initial=0.0) if t.telling else np.nan for f, t in zip(found, tables, strict=True)])
    null, stopped, best = np.zeros((0, len(names))), False, float("nan")
    middle, spread = np.zeros(len(names)), np.ones(len(names))
    if (highest > EQUAL).any():
        size = max(1, *(len(f) for f in found), *(len(t.events) for t in tables))
        batch = max(1, min(200, AT_ONCE // size))

        def drawn(rng: np.random.Generator, sets: int) -> Iterator[Numbers]:
            cells = [t.drawn(rng, sets) for t in tables]
            for some in (slice(0, FIRST), slice(FIRST, sets))[: 1 + (sets > FIRST)]:
                yield np.stack([t.highest(c[some]) for t, c in zip(tables, cells, strict=True)], axis=1)

        def scored(rng: np.random.Generator, sets: int) -> Iterator[Numbers]:
            return ((highest - middle) / spread for highest in drawn(rng, sets))

        first, _ = simulated_maxima(drawn, np.inf, PILOT, PILOT + 1, batch, seed + 1)
        middle, spread = first.mean(axis=0), first.std(axis=0, ddof=1)
        spread = np.where(spread > EQUAL, spread, np.inf)
        best = float(np.nanmax((highest - middle) / spread))
        null, stopped = simulated_maxima(scored, best, simulations, enough, batch, seed)
    scores = [np.where(f > EQUAL, (f - m) / s, -np.inf) for f, m, s in zip(found, middle, spread, strict=True)]
    overall = null.max(axis=1, initial=-np.inf)
    told = _Told(names, tables, found, scores, overall, null, stopped, best)
    bursts = tuple(told.burst(d, w) for d, w in _strongest(scores, tables, limit))
    leading = tuple(
        told.burst(d, int(np.argmax(f))) if len(f) and f.max() > EQUAL else None for d, f in enumerate(found)
    )
    return MarginScan(
        likelihood=likelihood,
        longest=longest,
        fewest=fewest,
        simulations=len(null),
        stopped=stopped,
        seed=seed,
        dimensions=names,
        highest=arguments.frozen(highest),
        p_within=arguments.frozen([b.p_within if b else np.nan for b in leading]),
        p_value=bursts[0].p_value if bursts else float("nan"),
        windows=sum(len(f) for f in found),
        bursts=bursts,
        leading=leading,
    )


@dataclass(frozen=True, eq=False)
class _Told:
    """Windows told as bursts."""

    names: tuple[str, ...]
    tables: list[WindowLayout]
    found: list[Numbers]
    scores: list[Numbers]
    overall: Numbers
    null: Numbers
    stopped: bool
    best: float

    def burst(self, d: int, window: int) -> MarginBurst:
        t, score = self.tables[d], float(self.scores[d][window])
        first, last = int(t.first[window]), int(t.last[window])
        inside = slice(first, last + 1)
        against = slice(int(t.begin[window]), int(t.end[window]) + 1)
        c, work, total = int(t.events[inside].sum()), float(t.work[inside].sum()), int(t.events[against].sum())
        e = work * total / float(t.work[against].sum())
        rest = total - e
        ratio = c * rest / (e * (total - c)) if c < total and e > 0 else float("inf")
        top = self.stopped and score >= self.best - EQUAL
        return MarginBurst(
            dimension=self.names[d],
            group=t.groups[int(t.row[first])],
            first=int(t.period[first]),
            last=int(t.period[last]),
            events=c,
            work=work,
            expected=e,
            all_events=total,
            ratio=ratio,
            log_ratio=float(self.found[d][window]),
            score=score,
            p_value=chance_among(score, self.overall, top),
            p_within=chance_among(score, self.null[:, d], False),
            p_fitted=_fitted(score, self.overall),
        )


def _fitted(score: float, maxima: Numbers) -> float:
    spread = float(maxima.std(ddof=1)) * 6.0**0.5 / np.pi if len(maxima) > 1 else 0.0
    if spread == 0.0:
        return float("nan")
    z = (score - float(maxima.mean())) / spread + float(np.euler_gamma)
    return float(never_zero(-np.expm1(-np.exp(-z))))


def _strongest(scores: list[Numbers], tables: list[WindowLayout], limit: int) -> list[tuple[int, int]]:
    """Dimensions and windows in order of their score, none overlapping a stronger one of its own group."""
    left = [s.copy() for s in scores]
    listed: list[tuple[int, int]] = []
    while len(listed) < limit:
        tops = [float(s.max(initial=-np.inf)) for s in left]
        d = int(np.argmax(tops)) if tops else 0
        if not tops or tops[d] == -np.inf:
            break
        w = int(np.argmax(left[d]))
        listed.append((d, w))
        t = tables[d]
        same = t.row[t.first] == t.row[t.first[w]]
        overlap = (t.period[t.first] <= t.period[t.last[w]]) & (t.period[t.last] >= t.period[t.first[w]])
        left[d][same & overlap] = -np.inf
    return listed
