"""Hypergeometric draws: the chance of a count, the tails of one draw, and the distribution of a sum of draws.

Chances are worked as logarithms from the deviation of each cell from its expectation, so that neither counts up to
2**53 nor a tail below the least double lose digits.
"""

from collections.abc import Callable, Sequence
from math import log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rqa.arguments import Counts, Numbers
from rqa.stats.far_tails import NODES, PIECES, WEIGHTS, beyond_stirling, deviance

REACH = 12.0
"""Standard deviations either side of a draw's mean that are kept; what lies beyond is below 1e-30."""
NOTHING = -46.0
"""A logarithm of a ratio below this (1e-20) adds nothing to a sum."""
TERMS = 20_000
"""Terms of a tail that are added up; a longer one is an integral, right to 1 / variance^2 of itself."""
TOLERANCE = 1e-10
"""Two tables whose chances are this near to each other are as likely as each other."""


def log_chance(k: ArrayLike, drawn: ArrayLike, marked: ArrayLike, total: ArrayLike) -> Numbers:
    """The logarithm of the chance of k marked ones among `drawn` of `total`, `marked` of which carry the mark.

    Places between whole numbers are allowed, for sums over a coarser grid and for integrals.
    """
    at, n, m, t = (np.asarray(a, dtype=np.float64) for a in (k, drawn, marked, total))
    # Drawn or left, marked or not: the smaller half of each, so that the deviation keeps its digits.
    many, most = 2.0 * n > t, 2.0 * m > t
    at, n = np.where(many, m - at, at), np.where(many, t - n, n)
    at, m = np.where(most, n - at, at), np.where(most, t - m, m)
    one = np.maximum(t, 1.0)
    expected = n * m / one
    off = at - expected
    cells = (
        deviance(at, expected, off) + deviance(n - at, n - expected, -off)
        + deviance(m - at, m - expected, -off) + deviance(t - n - m + at, t - n - m + expected, off)
    )
    rest = [beyond_stirling(a) for a in (at, n - at, m - at, t - n - m + at)]
    margins = [beyond_stirling(a) for a in (n, t - n, m, t - m)]
    return np.asarray(sum(margins) - beyond_stirling(t) - cells - sum(rest), dtype=np.float64)


def log_tail(k: int, drawn: int, marked: int, total: int, *, upper: bool) -> float:
    """The logarithm of the chance of k or more (`upper`), or of k or fewer, in one draw."""
    if not upper:  # k or fewer marked are drawn - k or more of the others
        return log_tail(drawn - k, drawn, total - marked, total, upper=True)
    least, most = max(0, drawn + marked - total), min(drawn, marked)
    if k <= least:
        return 0.0
    if k > most:
        return -np.inf
    if k <= drawn * (marked / total):
        # Nearly all of it: 1 less the other tail, which is then the smaller or as large.
        return float(np.log1p(-np.exp(min(log_tail(k - 1, drawn, marked, total, upper=False), 0.0))))
    args = (float(drawn), float(marked), float(total))
    here = float(log_chance(np.float64(k), *args))
    last = _last(float(k), float(most), here, args)
    if last - k < TERMS:
        chances = log_chance(np.arange(k, int(last) + 1, dtype=np.float64), *args)
        return here + log(float(np.exp(chances - here).sum()))
    # The sum is the integral from half a count before, less a 24th of the density's slope there (Euler and Maclaurin).
    edges = np.linspace(k - 0.5, last, PIECES + 1)
    half = np.diff(edges)[:, np.newaxis] / 2.0
    places = edges[:-1, np.newaxis] + half * (NODES + 1.0)
    integral = float((np.exp(log_chance(places, *args) - here) * WEIGHTS * half).sum())
    ends = np.exp(log_chance(np.array([k - 1.0, float(k)]), *args) - here)
    return min(here + log(integral + float(ends[1] - ends[0]) / 24.0), 0.0)


def _last(first: float, most: float, here: float, args: tuple[float, float, float]) -> float:
    """A count beyond which a falling density is nothing beside that of the first."""
    if float(log_chance(np.float64(most), *args)) - here > NOTHING:
        return most
    return _turn(int(first), int(most), lambda k: log_chance(k, *args) - here <= NOTHING)


def _turn(low: int, high: int, holds: Callable[[Numbers], NDArray[np.bool_]]) -> int:
    """The first count above `low` from which on a condition holds that holds at `high`, looked for at many at once."""
    while high - low > 1:
        step = max((high - low) // 32, 1)
        asked = np.arange(low + step, high, step)
        answers = holds(asked.astype(np.float64))
        place = int(np.argmax(answers)) if answers.any() else asked.size
        low, high = int(asked[place - 1]) if place else low, int(asked[place]) if place < asked.size else high
    return high


def log_two_sided(k: int, drawn: int, marked: int, total: int) -> float:
    """The logarithm of the chance of all counts no likelier than k (Fisher's two-sided test)."""
    args = (float(drawn), float(marked), float(total))
    least, most = max(0, drawn + marked - total), min(drawn, marked)
    here = float(log_chance(np.float64(k), *args)) + TOLERANCE
    if most - least < TERMS:
        every = log_chance(np.arange(least, most + 1, dtype=np.float64), *args)
        return min(log_sum(every[every <= here]), 0.0)
    top = min(max((drawn + 1) * (marked + 1) // (total + 2), least), most)
    if float(log_chance(np.float64(top), *args)) <= here:
        return 0.0
    upper = k > top
    own = log_tail(k, drawn, marked, total, upper=upper)
    # The other side's first count that is no likelier, if it has one; chances only fall from the mode to either end.
    end = least if upper else most
    if float(log_chance(np.float64(end), *args)) > here:
        return own
    if upper:
        other = top - _turn(0, top - least, lambda back: log_chance(top - back, *args) <= here)
    else:
        other = _turn(top, most, lambda count: log_chance(count, *args) <= here)
    return min(float(np.logaddexp(own, log_tail(other, drawn, marked, total, upper=not upper))), 0.0)


Strata = tuple[Counts, Counts, Counts]
"""Of each stratum the units drawn, those that carry the mark, and all."""


def sum_of_draws(drawn: Counts, marked: Counts, total: Counts) -> tuple[int, Numbers]:
    """Chances of the sums from the first returned count on.

    From each stratum `drawn` of `total` units are taken, `marked` of which carry the mark; the sum counts the marks.
    """
    return sums_of_draws([(drawn, marked, total)])[0]


def sums_of_draws(each: Sequence[Strata]) -> list[tuple[int, Numbers]]:
    """The sums of many sets of draws, whose chances are worked in one sweep."""
    if not each:
        return []
    drawn, marked, total = (np.concatenate(parts) for parts in zip(*each, strict=True))
    n, m, t = (a.astype(np.float64) for a in (drawn, marked, total))
    mean = n * m / t
    spread = np.sqrt(mean * (t - m) * (t - n) / (t * np.maximum(t - 1.0, 1.0)))
    lowest, highest = _window(mean, spread, drawn, marked, total)
    parts = _probabilities(drawn, marked, total, lowest, highest)
    ends = np.cumsum([len(strata[0]) for strata in each]).tolist()
    return [
        (int(lowest[begin:end].sum()), _joined(parts[begin:end])) for begin, end in zip([0, *ends], ends, strict=False)
    ]


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


def log_tails_of_sum(seen: int, drawn: Counts, marked: Counts, total: Counts, *, upper: bool) -> tuple[float, float]:
    """Logarithms of the tail of a sum of draws from `seen` on, and of the chance of `seen`, however far out.

    The draws are tilted until `seen` is their mean; there they are added up, or, where they vary too much for that,
    the tail is taken from the saddlepoint (Lugannani and Rice, with Daniels' correction for whole numbers).
    """
    if upper:
        # As many more marked ones drawn, as more unmarked ones left: whichever of the two counts is smaller.
        many = drawn + marked > total
        seen += int((total - drawn - marked)[many].sum())
        drawn, marked = np.where(many, total - drawn, drawn), np.where(many, total - marked, marked)
        return _log_upper(seen, drawn, marked, total)
    # So few marked ones drawn, that is so many unmarked ones drawn, or so many marked ones left.
    few = drawn < marked
    seen = int(np.minimum(drawn, marked).sum()) - seen
    drawn, marked = np.where(few, drawn, total - drawn), np.where(few, total - marked, marked)
    return _log_upper(seen, drawn, marked, total)


def _log_upper(seen: int, drawn: Counts, marked: Counts, total: Counts) -> tuple[float, float]:
    lowest, highest = np.maximum(drawn + marked - total, 0), np.minimum(drawn, marked)
    if seen <= int(lowest.sum()):
        return 0.0, float(log_chance(lowest, drawn, marked, total).sum())
    most = int(highest.sum())
    if seen >= most:
        end = float(log_chance(highest, drawn, marked, total).sum())
        return (end, end) if seen == most else (-np.inf, -np.inf)
    theta = _tilt(float(seen), drawn, marked, total)
    if float(_moments(theta, drawn, marked, total)[2]) <= TILTED_UP_TO:
        return _by_tilting(seen, theta, drawn, marked, total)
    log_from, log_after = (_saddlepoint(place, theta, drawn, marked, total) for place in (seen - 0.5, seen + 0.5))
    return log_from, log_from + float(np.log1p(-np.exp(min(log_after - log_from, -1e-300))))


TILTED_UP_TO = 2_000.0
"""Variance of the tilted sum up to which it is added up."""


def _by_tilting(
    seen: int, theta: float, drawn: Counts, marked: Counts, total: Counts
) -> tuple[float, float]:
    centre = _fitted(theta, drawn, marked, total)
    spread = _spread(centre, drawn, marked, total)
    lowest, highest = _window(centre, spread, drawn, marked, total)
    k, width, ends = _places(lowest, highest)
    n, m, t, middle = (np.repeat(a, width) for a in (drawn, marked, total, np.rint(centre)))
    logs = log_chance(k, n, m, t) + theta * (k - middle)
    starts = ends - width
    heights = np.maximum.reduceat(logs, starts)
    raised = np.exp(logs - np.repeat(heights, width))
    masses = np.add.reduceat(raised, starts)
    tilted = _joined(np.split(raised / np.repeat(masses, width), ends[:-1]))
    mass = float((heights + np.log(masses)).sum())
    place = min(max(seen - int(lowest.sum()), 0), tilted.size - 1)
    away = seen - float(np.rint(centre).sum())
    steps = np.arange(tilted.size - place)
    tail = float((tilted[place:] * np.exp(-theta * steps)).sum())
    return mass - theta * away + log(tail), mass - theta * away + log(float(tilted[place]))


def _saddlepoint(place: float, theta: float, drawn: Counts, marked: Counts, total: Counts) -> float:
    """The logarithm of the chance of whole numbers above a place halfway between two."""
    for _ in range(20):
        height, mean, variance = _moments(theta, drawn, marked, total)
        step = (place - mean) / variance
        theta += step
        if abs(step) < 1e-9:
            break
    height, mean, variance = _moments(theta, drawn, marked, total)
    root = sqrt(max(2.0 * (theta * place - height), 0.0))
    u = 2.0 * np.sinh(theta / 2.0) * sqrt(variance)
    mills = special.erfcx(root / sqrt(2.0)) * sqrt(np.pi / 2.0)
    return float(-0.5 * root**2 - 0.5 * log(2.0 * np.pi) + np.log(mills + 1.0 / u - 1.0 / root))


def _moments(theta: float, drawn: Counts, marked: Counts, total: Counts) -> tuple[float, float, float]:
    """The cumulant function of the sum at a tilt, its slope (the tilted mean) and its bend (the tilted variance).

    A wide draw is summed over a coarser grid: of a smooth peak, a step of a quarter deviation leaves out nothing.
    """
    centre = _fitted(theta, drawn, marked, total)
    spread = _spread(centre, drawn, marked, total)
    lowest, highest = _window(centre, spread, drawn, marked, total)
    step = np.maximum(1, np.floor(spread / 4.0)).astype(np.int64)
    places, width, ends = _places(np.zeros_like(lowest), (highest - lowest) // step)
    k = np.repeat(lowest, width) + places * np.repeat(step, width)
    n, m, t, middle = (np.repeat(a, width) for a in (drawn, marked, total, centre))
    off = k - middle
    logs = log_chance(k, n, m, t) + theta * off
    starts = ends - width
    heights = np.maximum.reduceat(logs, starts)
    raised = np.exp(logs - np.repeat(heights, width))
    mass = np.add.reduceat(raised, starts)
    mean = np.add.reduceat(raised * off, starts) / mass
    variance = np.add.reduceat(raised * (off - np.repeat(mean, width)) ** 2, starts) / mass
    height = float((heights + np.log(mass * step)).sum()) + theta * float(centre.sum())
    return height, float((centre + mean).sum()), float(variance.sum())


def _tilt(seen: float, drawn: Counts, marked: Counts, total: Counts) -> float:
    """The log-odds ratio at which the fitted counts add up to what was seen, near enough."""
    low, high = -200.0, 200.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if float(_fitted(middle, drawn, marked, total).sum()) < seen:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _fitted(theta: float, drawn: Counts, marked: Counts, total: Counts) -> Numbers:
    """The count of each stratum that makes its odds ratio exp(theta)."""
    n, m, t = (a.astype(np.float64) for a in (drawn, marked, total))
    odds = np.exp(theta)
    half = odds * (n + m) + (t - n - m)
    inside = np.maximum(half**2 - 4.0 * (odds - 1.0) * odds * n * m, 0.0)
    fitted = 2.0 * odds * n * m / np.maximum(half + np.sqrt(inside), 1e-300)
    return np.clip(fitted, np.maximum(n + m - t, 0.0), np.minimum(n, m))


def _spread(centre: Numbers, drawn: Counts, marked: Counts, total: Counts) -> Numbers:
    cells = (centre, drawn - centre, marked - centre, total - drawn - marked + centre)
    return np.sqrt(1.0 / sum(1.0 / np.maximum(cell, 1e-12) for cell in cells))


def _window(
    centre: Numbers, spread: Numbers, drawn: Counts, marked: Counts, total: Counts
) -> tuple[Counts, Counts]:
    reach = REACH * spread + REACH
    lowest = np.maximum(np.maximum(drawn + marked - total, 0), np.floor(centre - reach).astype(np.int64))
    highest = np.minimum(np.minimum(drawn, marked), np.ceil(centre + reach).astype(np.int64))
    return lowest, highest


def _places(lowest: Counts, highest: Counts) -> tuple[Counts, Counts, Counts]:
    """All counts from lowest to highest, stratum after stratum; how many each has, and where each ends."""
    width = highest - lowest + 1
    ends = np.cumsum(width)
    return np.arange(ends[-1] if ends.size else 0) - np.repeat(ends - width - lowest, width), width, ends


def _joined(parts: list[Numbers]) -> Numbers:
    sums = np.ones(1)
    for part in sorted(parts, key=len):
        sums = np.convolve(sums, part)
    return sums


def _probabilities(
    drawn: Counts, marked: Counts, total: Counts, lowest: Counts, highest: Counts, logs: bool = False
) -> list[Numbers]:
    """The chances of each stratum's counts from lowest to highest, all worked in one sweep and cut apart at the end."""
    k, width, ends = _places(lowest, highest)
    if not ends.size:
        return []
    starts = ends - width
    log_each = log_chance(k, *(np.repeat(a, width) for a in (drawn, marked, total)))
    raised = log_each - np.repeat(np.maximum.reduceat(log_each, starts), width)
    heights = np.exp(raised)
    masses = np.add.reduceat(heights, starts)
    made = raised - np.repeat(np.log(masses), width) if logs else heights / np.repeat(masses, width)
    return [made[begin:end] for begin, end in zip(starts.tolist(), ends.tolist(), strict=True)]


def log_sum(logs: Numbers) -> float:
    """The logarithm of a sum of numbers given by theirs; of none, minus infinity."""
    highest = float(logs.max(initial=-np.inf))
    return highest + log(float(np.exp(logs - highest).sum())) if np.isfinite(highest) else highest
