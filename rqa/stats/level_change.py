"""Has the level of a share changed lately, since when, and how surely: a change point in a row of binomial counts."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa import arguments
from rqa.arguments import Counts
from rqa.stats.difference import difference_interval

BEFORE = 4
AFTER = 1
"""So many periods at least on either side of a change."""
AWAY = 2
"""So many periods at least between two changes."""
RECENT = 12
"""A change is looked for in so many of the last periods."""
SHOWN = 6
"""Whether a change would have been seen is asked of so many periods at the end."""
BAR = 10.0
"""Twice the log likelihood ratio, over the dispersion, from which a change is told."""
TWO_BAR = 25.0
"""The same of two changes of which neither alone would be told."""


@dataclass(frozen=True, eq=False)
class LevelChange:
    """The last change of level, if there is one, and the level on either side of it.

    `since` is the element of the first period at the new level, None where no change is clear in the recent periods;
    then `before`, `difference` and its limits are NaN. `after` is the level of now; `first_before` the first period of
    the level before or, without a recent change, of that of now. `evidence` is that of the likeliest change, told from
    10 on. `dispersion` says how many times as much the periods vary as their counts alone would. `would_show`: a share
    that doubled or halved for half a year would have been told.
    """

    count: Counts
    size: Counts
    level: float
    since: int | None
    first_before: int
    evidence: float
    dispersion: float
    before: float
    after: float
    difference: float
    low: float
    high: float
    would_show: bool


def level_change(
    *, count: ArrayLike, size: ArrayLike, recent: int = RECENT, dispersion: float = 1.0, level: float = 0.95
) -> LevelChange:
    """Say since when a share is at another level than before, if it is.

    Parameters
    ----------
    count, size
        Events and cases of each period, in order, of one axis; periods without cases are looked past.
    recent
        In how many of the last periods the new level may have begun, from 1 up.
    dispersion
        How many times as much the counts vary as single cases would, where this is known (from 1 up); the periods' own
        figure counts where it is larger.
    level
        Confidence level of the difference, strictly between 0 and 1.

    Returns
    -------
    LevelChange
        `since`, `before`, `after`, `difference` = after - before with limits, `evidence`, `dispersion`, `would_show`.

    Notes
    -----
    Landmarks: with fewer than five periods with cases nothing can be told, and `would_show` is False.

    Evidence = 2 log(likelihood with a change / without) / dispersion at the likeliest change, with four periods before
    it and one after at least. Where one change shows nothing, two are tried, from an evidence of 25 on; and the periods
    after a change are searched again. So a gain that fades is told as the rise that it is. The dispersion is the larger
    of two, times k / (k - 4) for k periods, and 1 at least: the mean squared difference of periods that follow each
    other, and the squared distance of each from its level, both over what the counts alone would give.

    From 10 on a change is told. A share that does not change is then told to have changed on some monthly page of one
    year in 25; of one in fifteen where the months' true shares differ by 15 to 20 %. A halving at
    100 jobs a month (9 to 11 % before) is seen on 7 to 8 of the next twelve pages where 27 months are seen, on 6 to 7
    where the first page has 15 (tests/bench/level.py).
    `before` and `after` are told apart where they differ most: so much of their difference is choice. Neither the mix
    of work nor the season is allowed for.

    Raises
    ------
    ValueError
        Counts that are missing, negative, not whole or above their size; more than one axis; a dispersion below 1;
        fewer than one recent period; a level outside (0, 1).

    References
    ----------
    1. D. M. Hawkins, P. Qiu and C. W. Kang, Journal of Quality Technology 35, 2003, 355-366 (the change-point model).
    2. P. McCullagh and J. A. Nelder, Generalized Linear Models, 2nd ed., 1989, section 4.5 (overdispersion).
    3. J. von Neumann et al., Annals of Mathematical Statistics 12, 1941, 153-162 (successive differences).

    Examples
    --------
    >>> r = level_change(count=[11, 9, 12, 10, 13, 9, 11, 12, 10, 4, 5, 3, 4], size=[100] * 13)
    >>> r.since, f"{r.before:.3f} to {r.after:.3f}", round(r.evidence, 1)
    (9, '0.108 to 0.040', 18.3)

    Ten or eleven of a hundred came back, and since the tenth period four.
    """
    x, n = arguments.part_and_whole("count", count, "size", size)
    if x.ndim != 1:
        raise ValueError(f"count must have one axis, the periods: shape {x.shape}")
    latest = arguments.whole("recent", recent, AFTER)
    known = arguments.amount("dispersion", dispersion)
    if not known >= 1.0:
        raise ValueError(f"dispersion must be 1 or more: {known}")
    level = arguments.share("level", level)
    there = np.flatnonzero(n > 0)
    events, cases = x[there].astype(np.float64), n[there].astype(np.float64)
    k = there.size
    if k < BEFORE + AFTER:
        whole = float(events.sum() / cases.sum()) if k else np.nan
        return LevelChange(
            arguments.frozen_counts(x), arguments.frozen_counts(n), level, None, 0, np.nan, known, np.nan, whole,
            np.nan, np.nan, np.nan, False,
        )
    one = _likeliest(events, cases, BEFORE)
    cuts: tuple[int, ...] = one[:1]
    ratio = one[1]
    spread = max(known, _dispersion(events, cases, cuts))
    changed = ratio / spread >= BAR
    two = None if changed else _likeliest_two(events, cases, max(BEFORE, k - latest))
    if two is not None:
        wide = max(known, _dispersion(events, cases, two[:2]))
        if two[2] / wide >= TWO_BAR:
            changed, cuts, ratio, spread = True, two[:2], two[2], wide
    evidence = ratio / spread
    while changed and k - cuts[-1] > 2 * AWAY:
        later, ratio = _likeliest(events[cuts[-1] :], cases[cuts[-1] :], AWAY)
        if ratio / spread < BAR:
            break
        cuts, evidence = (*cuts, cuts[-1] + later), ratio / spread
    start, since = (0, *cuts)[-2:] if changed else (0, None)
    if since is not None and since < k - latest:
        start, since = since, None
    return _told(x, n, there, start, since, evidence, spread, level, _would_show(events, cases, spread))


def _told(
    x: Counts, n: Counts, there: NDArray[np.int64], start: int, since: int | None, evidence: float, spread: float,
    level: float, would_show: bool,
) -> LevelChange:
    cases, events = n[there], x[there]
    old, new = slice(start, since), slice(since, None)
    if since is None:
        after = float(events[start:].sum() / cases[start:].sum())
        before = difference = low = high = np.nan
    else:
        apart = difference_interval(
            successes1=events[new].sum(), trials1=cases[new].sum(), successes2=events[old].sum(),
            trials2=cases[old].sum(), level=level,
        )
        difference = float(apart.estimate)
        low, high = (
            float(max(-1.0, min(1.0, difference + (float(end) - difference) * spread**0.5)))
            for end in (apart.low, apart.high)
        )
        after = float(events[new].sum() / cases[new].sum())
        before = float(events[old].sum() / cases[old].sum())
    return LevelChange(
        arguments.frozen_counts(x), arguments.frozen_counts(n), level, None if since is None else int(there[since]),
        int(there[start]), float(evidence), float(spread), before, after, difference, low, high, would_show,
    )


def _log_likelihood(events: NDArray[np.float64], cases: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of so many events among cases at their own share, without the coefficient."""
    rest = cases - events
    return np.asarray(
        special.xlogy(events, events) + special.xlogy(rest, rest) - special.xlogy(cases, cases), dtype=np.float64
    )


def _likeliest(events: NDArray[np.float64], cases: NDArray[np.float64], first: int) -> tuple[int, float]:
    """The likeliest first period of a new level, from `first` on, and twice its log likelihood ratio."""
    x, n = (np.cumsum(a, dtype=np.float64) for a in (events, cases))
    cuts = np.arange(first, events.size - AFTER + 1)
    parts = _log_likelihood(x[cuts - 1], n[cuts - 1]) + _log_likelihood(x[-1] - x[cuts - 1], n[-1] - n[cuts - 1])
    ratio = 2.0 * (parts - _log_likelihood(x[-1:], n[-1:]))
    best = int(ratio.argmax())
    return int(cuts[best]), max(0.0, float(ratio[best]))


def _likeliest_two(
    events: NDArray[np.float64], cases: NDArray[np.float64], first: int
) -> tuple[int, int, float] | None:
    """The likeliest two changes, the last from `first` on, and twice their log likelihood ratio; None without room."""
    x, n = (np.cumsum(np.append(0.0, a), dtype=np.float64) for a in (events, cases))
    k = events.size
    firsts, lasts = (a.ravel() for a in np.meshgrid(np.arange(BEFORE, k), np.arange(first, k - AFTER + 1)))
    room = lasts - firsts >= AWAY
    one, two = firsts[room], lasts[room]
    if not one.size:
        return None
    parts = sum(
        _log_likelihood(x[to] - x[of], n[to] - n[of]) for of, to in ((0, one), (one, two), (two, np.full_like(two, k)))
    )
    ratio = 2.0 * (parts - _log_likelihood(x[-1:], n[-1:]))
    best = int(np.argmax(ratio))
    return int(one[best]), int(two[best]), float(ratio[best])


def _dispersion(events: NDArray[np.float64], cases: NDArray[np.float64], cuts: tuple[int, ...]) -> float:
    """How many times as much the periods vary as their counts alone would, with changes of level at `cuts`."""
    k = events.size
    ends = (0, *cuts, k)
    pooled = np.concatenate([
        np.full(to - of, events[of:to].sum() / cases[of:to].sum()) for of, to in pairwise(ends)
    ])
    luck = pooled * (1.0 - pooled) / cases
    share = events / cases
    if not (luck > 0).any():
        return 1.0
    pairs = luck[1:] + luck[:-1]
    steps = np.divide(np.diff(share) ** 2, pairs, out=np.zeros(k - 1), where=pairs > 0).mean()
    apart = np.divide((share - pooled) ** 2, luck, out=np.zeros(k), where=luck > 0).sum() / (k - len(cuts) - 1)
    return max(1.0, float(max(steps, apart)) * k / (k - BEFORE))


def _would_show(events: NDArray[np.float64], cases: NDArray[np.float64], spread: float) -> bool:
    """Whether a share that doubled or halved in the last half-year would be told, of the rarer of both outcomes."""
    last = min(SHOWN, cases.size - BEFORE)
    n_old, n_new = cases[:-last].sum(), cases[-last:].sum()
    share = events.sum() / cases.sum()
    rarer = min(share, 1.0 - share)
    for times in (2.0, 0.5):
        x_old, x_new = rarer * n_old, min(times * rarer, 1.0) * n_new
        parts = _log_likelihood(np.array([x_old, x_new]), np.array([n_old, n_new])).sum()
        whole = _log_likelihood(np.array([x_old + x_new]), np.array([n_old + n_new]))[0]
        if 2.0 * (parts - whole) / spread >= BAR:
            return True
    return False
