"""Was there a burst: more come-backs in some weeks, or at some bench in some weeks, than chance brings anywhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.scan_windows import Windows, bernoulli_ratio, bernoulli_sets, coded, poisson_ratio, poisson_sets, windows
from rqa.words import counted

Likelihood = Literal["bernoulli", "poisson"]
TIME = "time"
AT_ONCE = 2_000_000
"""Numbers held at a time when sets are drawn and scanned."""
MOST_EVENTS, MOST_WORK, MOST_WINDOWS = 10_000_000, 999_999_999, 20_000_000
"""Sizes up to which chance is simulated, and all windows are kept in memory."""
EQUAL = 1e-9
"""Likelihood ratios of the same counts may differ by so little when added up in another order."""


@dataclass(frozen=True)
class Burst:
    """Periods `first` to `last` of one group of one dimension; of all groups where the dimension is "time"."""

    dimension: str
    group: object
    first: int
    last: int
    events: int
    work: float
    expected: float
    ratio: float
    log_ratio: float
    p_value: float
    p_within: float
    echo_of: int | None
    shared: float


@dataclass(frozen=True, eq=False)
class ScanStatistic:
    """The bursts found, strongest first, with p-values from simulated sets without any."""

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
    bursts: tuple[Burst, ...]


def scan_statistic(
    *,
    events: ArrayLike,
    work: ArrayLike,
    period: ArrayLike,
    groups: Mapping[str, ArrayLike] | None = None,
    likelihood: Likelihood = "bernoulli",
    longest: int | None = None,
    fewest: int = 2,
    limit: int = 10,
    simulations: int = 999,
    enough: int = 20,
    seed: int = 0,
) -> ScanStatistic:
    """Say where and when events were bunched, over all periods, groups and dimensions in one go.

    Parameters
    ----------
    events
        Events in each cell, such as the jobs of one month, bench and model that came back: whole numbers, one row.
    work
        For "bernoulli" the cell's jobs: whole numbers, none below its events. For "poisson" the events expected of it,
        in any unit: numbers from 0 up; they carry all that is known beforehand, such as the mix or the groups' levels.
    period
        Period of each cell, counted from 0: months or weeks.
    groups
        For each dimension, such as bench or lot, each cell's group; None or NaN for a cell without one. Left out: time
        alone, which is always scanned too.
    likelihood
        "bernoulli" for jobs that came back or not, "poisson" for counts against expected ones.
    longest
        Periods in the longest window, from 1; left out: half of all. A longer one is no burst but a level.
    fewest
        Windows with fewer events are passed over.
    limit
        Bursts to list.
    simulations
        Sets simulated at most, and so the smallest p-value, 1 / (simulations + 1).
    enough
        Simulation ends as soon as so many sets had a stronger burst, as the strongest is then surely chance.
    seed
        Seed of the simulation; the same seed gives the same answer.

    Returns
    -------
    ScanStatistic
        `bursts`, each with its `events` against those `expected` with the rate of all, `ratio` of the rate inside to
        that outside, `p_value` over all dimensions, `p_within` its own dimension. `echo_of`, the place in the list of a
        stronger burst that holds at least half of its events (`shared`); `highest` log ratio and `p_within` of each
        dimension; `p_value` of the strongest burst.

    Notes
    -----
    Every window of successive periods is tried in every group. Its log-likelihood ratio is that of Kulldorff; the
    strongest window of all is set against the strongest of each simulated set, in which the same number of events fell
    on the cells by chance (jobs drawn without replacement; or in proportion to what is expected). One set serves all
    dimensions, so what they share is allowed for: with no burst anywhere, `p_value` is at most 5 % five times in a
    hundred, however many groups there are. Weaker bursts are set against the strongest ones of the sets too, so they
    are rather missed than made up. In one group, only windows that do not overlap are listed.

    P = (stronger or equal sets + 1) / (sets + 1), or stronger / sets when simulation ended early (Besag and Clifford).

    Landmarks: no event, no burst, p NaN. A group whose level is high all the time shows as its longest windows: where
    that is known, put it into `work`. So for seasons and for the mix.

    Raises
    ------
    ValueError
        Rows of different lengths; counts that are missing, negative or not whole; more events than jobs; events where
        none were expected; settings that are not whole numbers in their range; an unknown likelihood.

    References
    ----------
    1. M. Kulldorff, Communications in Statistics - Theory and Methods 26, 1997, 1481-1496.
    2. J. Besag and P. Clifford, Biometrika 78, 1991, 301-304.

    Examples
    --------
    >>> r = scan_statistic(
    ...     events=[2, 3, 2, 1, 3, 2, 2, 9, 8, 2, 1, 3],
    ...     work=100,
    ...     period=[0, 1, 2, 3, 4, 5] * 2,
    ...     groups={"bench": ["B1"] * 6 + ["B2"] * 6},
    ... )
    >>> b = r.bursts[0]
    >>> b.dimension, b.group, b.first, b.last, b.events, round(b.ratio, 1), b.p_value < 0.01
    ('bench', 'B2', 1, 2, 17, 4.0, True)

    At bench B2, in the second and third month, four times as many came back as elsewhere, which is not due to chance.
    """
    arguments.one_of("likelihood", likelihood, get_args(Likelihood))
    x, w, when = _taken(events, work, period, likelihood)
    periods = int(when.max(initial=0)) + 1
    longest = max(periods // 2, 1) if longest is None else min(arguments.whole("longest", longest, 1), periods)
    fewest, limit = arguments.whole("fewest", fewest, 1), arguments.whole("limit", limit, 1)
    simulations, enough = arguments.whole("simulations", simulations, 1), arguments.whole("enough", enough, 1)
    seed = arguments.whole("seed", seed, 0)
    names, values, codes = _dimensions(groups, len(x))
    rows = sum(len(v) for v in values)
    if rows * periods * longest > MOST_WINDOWS:
        raise ValueError(
            f"period, groups and longest make too many windows: {counted(rows, 'group')}, "
            f"{counted(periods, 'period')}, each window up to {longest} long; take a smaller longest or "
            f"longer periods, for at most {MOST_WINDOWS:,} windows"
        )
    total, all_work = int(x.sum()), float(w.sum())
    nothing = np.full(len(names), np.nan)
    if total == 0 or (likelihood == "bernoulli" and total == all_work):
        return ScanStatistic(
            likelihood=likelihood,
            longest=longest,
            fewest=fewest,
            simulations=0,
            stopped=False,
            seed=seed,
            dimensions=names,
            highest=arguments.frozen(nothing),
            p_within=arguments.frozen(nothing),
            p_value=float("nan"),
            bursts=(),
        )
    scale = total / all_work if likelihood == "poisson" else 1.0
    w, all_work = w * scale, all_work * scale
    layout = windows(when, codes, [len(v) for v in values], periods, longest)
    base = layout.sums(w[None, :])[0]

    def scanned(cells: Numbers) -> Numbers:
        inside = layout.sums(cells)
        if likelihood == "poisson":
            return poisson_ratio(inside, base, total, fewest)
        return bernoulli_ratio(inside, base, total, all_work, fewest)

    inside = layout.sums(x[None, :].astype(np.float64))[0]
    found = scanned(x[None, :].astype(np.float64))[0]
    highest = np.maximum.reduceat(found.max(axis=1), layout.starts)

    def drawn(rng: np.random.Generator, sets: int) -> Iterator[Numbers]:
        draw = poisson_sets if likelihood == "poisson" else bernoulli_sets
        yield layout.highest(scanned(draw(rng, w, total, sets)))

    batch = max(1, min(200, AT_ONCE // max(found.size, len(x), total)))
    null, stopped = simulated_maxima(drawn, float(highest.max()), simulations, enough, batch, seed)
    overall = null.max(axis=1)
    p_value = chance_among(float(highest.max()), overall, stopped)
    bursts: list[Burst] = []
    masks: list[Counts] = []
    for row, window in _strongest(found, layout, limit):
        d = int(np.searchsorted(layout.starts, row, side="right")) - 1
        first, last = int(layout.first[window]), int(layout.last[window])
        mask = np.where((layout.row_of[d] == row) & (when >= first) & (when <= last), x, 0)
        echo, shared = _echo(mask, masks)
        c, e, log_ratio = int(inside[row, window]), float(base[row, window]), float(found[row, window])
        bursts.append(
            Burst(
                dimension=names[d],
                group=values[d][row - int(layout.starts[d])],
                first=first,
                last=last,
                events=c,
                work=e / scale,
                expected=e * total / all_work,
                ratio=c * (all_work - e) / (e * (total - c)) if c < total else float("inf"),
                log_ratio=log_ratio,
                p_value=chance_among(log_ratio, overall, False) if bursts else p_value,
                p_within=chance_among(log_ratio, null[:, d], False),
                echo_of=echo,
                shared=shared,
            )
        )
        masks.append(mask)
    within = [chance_among(float(h), null[:, d], False) for d, h in enumerate(highest)]
    return ScanStatistic(
        likelihood=likelihood,
        longest=longest,
        fewest=fewest,
        simulations=len(null),
        stopped=stopped,
        seed=seed,
        dimensions=names,
        highest=arguments.frozen(highest),
        p_within=arguments.frozen(within),
        p_value=p_value,
        bursts=tuple(bursts),
    )


def simulated_maxima(
    drawn: Callable[[np.random.Generator, int], Iterable[Numbers]],
    highest: float,
    simulations: int,
    enough: int,
    batch: int,
    seed: int,
) -> tuple[Numbers, bool]:
    """Highest ratios of simulated sets by dimension, up to the set that makes it enough; and whether one did.

    `drawn` draws a batch and scores some of its sets after others: those after the last that is needed are not scored.
    """
    rng = np.random.default_rng(seed)
    chance: list[Numbers] = []
    stronger, run = 0, 0
    while run < simulations and stronger < enough:
        for scored in drawn(rng, min(batch, simulations - run)):
            sets = scored
            hits = stronger + np.cumsum(sets.max(axis=1) >= highest - EQUAL)
            if hits[-1] >= enough:
                sets = sets[: int(np.argmax(hits >= enough)) + 1]
            stronger, run = int(hits[len(sets) - 1]), run + len(sets)
            chance.append(sets)
            if stronger >= enough:
                break
    return np.concatenate(chance), stronger >= enough


def chance_among(ratio: float, maxima: Numbers, stopped: bool) -> float:
    """How often the simulated maxima are as high; `stopped`: simulation ended as soon as enough were."""
    above = int((maxima >= ratio - EQUAL).sum())
    return above / len(maxima) if stopped else (above + 1) / (len(maxima) + 1)


def _taken(events: ArrayLike, work: ArrayLike, period: ArrayLike, likelihood: str) -> tuple[Counts, Numbers, Counts]:
    when = arguments.counts("period", period)
    w: Numbers
    if likelihood == "bernoulli":
        x, jobs = arguments.part_and_whole("events", events, "work", work)
        w = jobs.astype(np.float64)
    else:
        given = arguments.counts("events", events).astype(np.float64)
        given, w = arguments.same_shape({"events": given, "work": arguments.amounts("work", work)})
        x = given.astype(np.int64)
        if ((x > 0) & (w == 0)).any():
            raise ValueError("work must be above 0 where there were events")
    if x.sum() > MOST_EVENTS or (likelihood == "bernoulli" and w.sum() > MOST_WORK):
        raise ValueError(
            f"events must be at most {MOST_EVENTS:,} and, for 'bernoulli', work {MOST_WORK:,} in all, as each "
            f"simulated set deals them out anew: {x.sum():,} and {w.sum():,.0f}"
        )
    if when.ndim != 1 or x.shape != when.shape:
        raise ValueError(f"events and period must be one row each, of one length: {x.shape}, {when.shape}")
    return x, w, when


def _dimensions(
    groups: Mapping[str, ArrayLike] | None, cells: int
) -> tuple[tuple[str, ...], list[list[object]], list[Counts]]:
    """Names, the groups of each, and each cell's code; time first."""
    names: list[str] = [TIME]
    values: list[list[object]] = [[None]]
    codes = [np.zeros(cells, dtype=np.int64)]
    if groups is not None:
        arguments.instance("groups", groups, Mapping)
    for name, given in (groups or {}).items():
        arguments.unmasked(f"groups[{name!r}]", given)
        labels = np.asarray(given, dtype=object)
        if name == TIME:
            raise ValueError(f"groups must not be named {TIME!r}: time is always scanned")
        if labels.shape != (cells,):
            raise ValueError(f"groups[{name!r}] must have one entry per cell: {labels.shape}, {counted(cells, 'cell')}")
        kept, place = coded(labels)
        if not kept:
            continue
        names.append(name)
        values.append(list(kept))
        codes.append(place)
    return tuple(names), values, codes


def _strongest(ratio: Numbers, layout: Windows, limit: int) -> list[tuple[int, int]]:
    """Rows and windows in order of their ratio, none overlapping a stronger one of its own row."""
    left = ratio.copy()
    listed: list[tuple[int, int]] = []
    while len(listed) < limit:
        row, window = (int(i) for i in np.unravel_index(int(np.argmax(left)), left.shape))
        if left[row, window] <= EQUAL:
            break
        listed.append((row, window))
        apart = (layout.last < layout.first[window]) | (layout.first > layout.last[window])
        left[row, ~apart] = 0.0
    return listed


def _echo(mask: Counts, earlier: list[Counts]) -> tuple[int | None, float]:
    """The stronger burst that holds most of this one's events, if it holds at least half of them."""
    shared = [float(mask[other > 0].sum() / mask.sum()) for other in earlier]
    best = int(np.argmax(shared)) if shared else 0
    return (best, shared[best]) if shared and shared[best] >= 0.5 else (None, max(shared, default=0.0))
