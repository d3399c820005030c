"""What a watch sums up: for each series of work, day by day, what its jobs say for more events than expected of them.

Each month is judged by up to 24 months before it, but for the last: what a kind of work brought there, drawn towards
its like, times what the series brought of that, drawn towards 1. Nothing later is looked at, so a course that was once
seen stays, but for rows that come late.
"""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.follow_up_counts import group_numbers

if TYPE_CHECKING:
    import polars as pl

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BASELINE, LAG, FEWEST_MONTHS = 24, 1, 6
"""Months that say what to expect, months between them and the one judged, and months that it takes at least."""
FEWEST = 100
"""Cases in the baseline below which no expected chance is worth the name (common practice, no source)."""
LIKE_CASES, LIKE_EVENTS = 20.0, 4.0
"""How firmly a kind is drawn towards its like, in cases; a series towards its mix, in events (common practice)."""
MOST_EVENTS = 100.0
LOWEST, HIGHEST = 1e-4, 0.9
YEAR = 365
LEAST_EXPECTED = 3.0
"""Events that a month must be expected to have to say how much months differ."""
MEDIAN = 0.4549
"""Of the square of a standard normal value: what half of the months exceed that are as expected but for chance."""
MOST_APART, HALVINGS = 1.0, 20


@dataclass(frozen=True)
class Dimension:
    """One way in which work is watched: the file that counts it, what a series is, and what its events are.

    `level` are the columns within which a series is compared with its own past; `like` and `kinds` those of the kinds
    of work, the first drawn towards all and the second towards the first.
    """

    name: str
    measure: str
    listed: str
    events: tuple[str, str]
    cases: tuple[str, str]
    needs: tuple[str, ...]
    columns: tuple[str, ...]
    level: tuple[str, ...]
    like: tuple[str, ...]
    kinds: tuple[str, ...]
    pooled: bool = False
    """Whether what is expected of a level comes from other levels too, so that their spread says how far one is off."""


@dataclass(frozen=True, eq=False)
class Watched:
    """The series of one dimension; arrays have a row a series and a column a day from `first` on."""

    names: list[tuple[str, ...]]
    first: date
    cases: Floats
    events: Floats
    expected: Floats
    weights: Floats
    year_events: Floats
    chance: Floats
    variance: Floats
    """Of the ratio of the true level to what is expected: what the baseline leaves open, and how much months differ."""
    differ: float
    """How much months differ, as a variance."""
    left_out: int
    """Series of which less than one event a year is expected."""


def _month(days: Ints) -> Ints:
    at = days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return np.asarray(at, dtype=np.int64)


def _window(counts: Floats) -> Floats:
    """Of counts by row and month: the sum over each month's baseline."""
    sums = np.concatenate([np.zeros((counts.shape[0], 1)), np.cumsum(counts, axis=1)], axis=1)
    month = np.arange(counts.shape[1])
    end = np.maximum(month - LAG, 0)
    return np.asarray(sums[:, end] - sums[:, np.maximum(end - BASELINE, 0)])


def _by_month(rows: Ints, month: Ints, values: Ints, size: tuple[int, int]) -> Floats:
    made = np.zeros(size)
    np.add.at(made, (rows, month), values)
    return made


def watched(
    table: "pl.DataFrame", of: Dimension, last: date, odds: float, differ: float | None = None
) -> Watched | None:
    """The series of a dimension up to a day; None where nothing can be expected of it yet.

    `differ`: how much months differ, where it is known from a dimension with more events a series.
    """
    if table.is_empty():
        return None
    day = table["day"].cast(int).to_numpy().astype(np.int64)
    cases, events = table["jobs"].to_numpy(), table["events"].to_numpy()
    groups, series = group_numbers(table, of.columns)
    levels, level = group_numbers(table, of.level)
    likes, like = group_numbers(table, of.like)
    kinds, kind = group_numbers(table, (*of.like, *(k for k in of.kinds if k not in of.like)))
    begin = int(_month(day).min())
    end = int((np.datetime64(last) - np.datetime64("1970-01-01")).astype(int))
    month = _month(day) - begin
    months = int(_month(np.array([end]))[0]) - begin + 1
    keep = day <= end
    day, month, cases, events = day[keep], month[keep], cases[keep], events[keep]
    series, level, like, kind = series[keep], level[keep], like[keep], kind[keep]

    def base(rows: Ints, values: Ints, size: int) -> Floats:
        return _window(_by_month(rows, month, values, (size, months)))

    zero = np.zeros(len(day), dtype=np.int64)
    total, hits = base(zero, cases, 1), base(zero, events, 1)
    first = next(
        (m for m in range(FEWEST_MONTHS + LAG, months) if total[0, m] >= FEWEST and 0 < hits[0, m] < total[0, m]), None
    )
    if first is None:
        return None
    share = hits / np.maximum(total, 1.0)
    of_like = np.zeros(kinds.height, dtype=np.int64)
    of_like[kind] = like
    drawn = (base(like, events, max(likes.height, 1)) + LIKE_CASES * share) / (
        base(like, cases, max(likes.height, 1)) + LIKE_CASES
    )
    chances = (base(kind, events, kinds.height) + LIKE_CASES * drawn[of_like]) / (
        base(kind, cases, kinds.height) + LIKE_CASES
    )
    own, seen, firmness = _own_level(level, kind, month, cases, events, chances, levels.height, first, of.pooled)
    p = np.clip(own[level, month] * chances[kind, month], LOWEST, HIGHEST)
    judged = month >= first
    begins = np.datetime64(begin + first, "M").astype("datetime64[D]")
    start = int((begins - np.datetime64("1970-01-01")).astype(int))
    in_year = judged & (day > end - YEAR)
    years = min(YEAR, end - start + 1) / YEAR
    expected_year = np.bincount(series, weights=cases * p * in_year, minlength=groups.height) / years
    jobs_year = np.bincount(series, weights=cases * in_year, minlength=groups.height) / years
    shown = np.flatnonzero(expected_year >= 1.0)
    place = np.full(groups.height, -1)
    place[shown] = np.arange(len(shown))
    use = judged & (place[series] >= 0)
    size = (len(shown), end - start + 1)

    def by_day(values: Floats) -> Floats:
        made = np.zeros(size)
        np.add.at(made, (place[series[use]], day[use] - start), values[use])
        return made

    of_level = np.zeros(groups.height, dtype=np.int64)
    of_level[series] = level
    unsure = 1.0 / (seen[of_level[shown], -1] + firmness[-1])
    log_odds = float(np.log(odds))
    made = by_day(cases * p), by_day(events.astype(np.float64)), by_day(cases * p * (1.0 - p))
    differ = _months_differ(*made, unsure, start) if differ is None else differ
    return Watched(
        names=[tuple(str(v) for v in groups.row(int(g))) for g in shown],
        first=date.fromisoformat(str(begins)), cases=by_day(cases.astype(np.float64)), events=made[1],
        expected=made[0], weights=by_day(events * log_odds - cases * np.log1p(p * (odds - 1.0))),
        year_events=expected_year[shown], chance=expected_year[shown] / np.maximum(jobs_year[shown], 1e-9),
        variance=unsure + differ, differ=differ, left_out=int((jobs_year > 0).sum()) - len(shown),
    )


def _own_level(
    level: Ints, kind: Ints, month: Ints, cases: Ints, events: Ints, chances: Floats, levels: int, first: int,
    pooled: bool,
) -> tuple[Floats, Floats, Floats]:
    """What each level brought of what its mix brings, by the month judged; its events in the baseline; and by month the
    events as which its mix counts beside its own."""
    months = chances.shape[1]
    number = (level * (int(kind.max()) + 1) + kind) * months + month
    keys, at = np.unique(number, return_inverse=True)
    done = np.bincount(at, weights=cases)
    its_month, rest = keys % months, keys // months
    its_level, its_kind = rest // (int(kind.max()) + 1), rest % (int(kind.max()) + 1)
    seen = _window(_by_month(level, month, events, (levels, months)))
    ratio, firmness = np.ones((levels, months)), np.full(months, LIKE_EVENTS)
    for m in range(first, months):
        inside = (its_month < m - LAG) & (its_month >= m - LAG - BASELINE)
        brought = np.bincount(
            its_level[inside], weights=done[inside] * chances[its_kind[inside], m], minlength=levels
        )
        if pooled:
            # How far levels are apart beyond chance (moments): the further, the less the mix says of one of them.
            apart = ((seen[:, m] - brought) ** 2 - brought).sum() / max(float((brought**2).sum()), 1e-12)
            firmness[m] = 1.0 / np.clip(apart, 1.0 / MOST_EVENTS, 1.0 / LIKE_EVENTS)
        ratio[:, m] = (seen[:, m] + firmness[m]) / (brought + firmness[m])
    return ratio, seen, firmness


def _months_differ(expected: Floats, events: Floats, spread: Floats, unsure: Floats, start: int) -> float:
    """How much months differ beyond chance, as the variance of their ratio to what is expected, over all series.

    It is the one with which half of the months are as far off as half of all normal values are: what was changed for
    less than half of them does not count as months that differ.
    """
    if not expected.size:
        return 0.0
    month = _month(start + np.arange(expected.shape[1]))
    begins = np.flatnonzero(np.diff(month, prepend=month[0] - 1))
    e, o, v = (np.add.reduceat(x, begins, axis=1) for x in (expected, events, spread))
    by_chance = v + e**2 * unsure[:, None]
    use = e >= LEAST_EXPECTED
    if use.sum() < FEWEST_MONTHS:
        return 0.0
    off, share = (o - e)[use] ** 2 / by_chance[use], e[use] ** 2 / by_chance[use]
    low, high = 0.0, MOST_APART
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if np.median(off / (1.0 + middle * share)) > MEDIAN else (low, middle)
    return low
