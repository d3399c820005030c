"""Has the level shifted by a given amount: the tabular cumulative sum (CUSUM), with a fast initial response."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.chart import Chart, Side, Signal
from rqa.spc.patterns import TIE

BEYOND_DECISION = "sum beyond its limit"
METHOD = (
    "Two sums of how far values lie above (below) the target by more than {k:g} sigma, never under 0; "
    "limit {h:g} sigma{head}."
)
SOURCE = "E. S. Page, Biometrika 41, 1954, 100-115; J. M. Lucas and R. B. Crosier, Technometrics 24, 1982, 199-205"


@dataclass(frozen=True, eq=False, kw_only=True)
class CusumChart(Chart):
    """A cumulative-sum chart: the observations in `values`, and the sums of what speaks for a shift.

    `high` is the sum for a shift up, `low` for a shift down; both are 0 or above, and an arm that is not watched is
    NaN. `limit` is the sum at which an arm signals. `lower` and `upper` are in the units of `values`: the value at
    which that very point makes (or keeps) an arm's sum a signal, so that the chart can be read as any other.
    """

    high: Numbers
    low: Numbers
    limit: float
    headstart: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Arm:
    """One sum: its value after and before every point, the first point of its present climb, and where it is out."""

    after: Numbers
    before: Numbers
    begun: NDArray[np.int64]
    out: NDArray[np.bool_]


def cusum_chart(
    values: ArrayLike, *, target: float, sigma: float, k: float, h: float, headstart: float = 0.0, restart: bool = False
) -> CusumChart:
    """Say whether the level has shifted away from its target, by summing up what lies beyond a small allowance.

    Parameters
    ----------
    values
        One value a period, in time order; NaN for a period without one.
    target
        The level to be kept.
    sigma
        Standard deviation of a single value, above 0, from a steady baseline.
    k
        Allowance in sigma, at least 0: half the shift that is to be found; 0.5 is usual.
    h
        Limit of the sums in sigma, above 0; 4 or 5 is usual, and `rqa.spc.limit_for` gives the one for a wanted run
        length.
    headstart
        Where both sums start, in sigma, from 0 to below h. Half of h answers faster if the level is off at the start.
    restart
        Whether a sum begins anew (at the headstart) after a signal. By default it goes on.

    Returns
    -------
    CusumChart
        `high` and `low`, the sums in the units of `values`; `limit` = h sigma; `values`, `centre` (the target),
        `sigma`; `lower` and `upper`, the values that would be a signal at each point; `signals`, one for each point
        at which a sum is beyond its limit, with the points since the sum was last 0.

    Notes
    -----
    Landmarks: a period without a value leaves the sums as they are, and is NaN. A sum exactly on its limit is not out.

    high_i = max(0, high_(i-1) + x_i - target - k sigma), low_i = max(0, low_(i-1) + target - k sigma - x_i).

    The values must be independent of each other, and target and sigma known: from a few points they are themselves a
    matter of chance, and false alarms come sooner than the run length says.

    Raises
    ------
    ValueError
        Values that are infinite or not in one dimension; target not finite; sigma, k, h or headstart out of range.

    References
    ----------
    1. E. S. Page, Biometrika 41, 1954, 100-115.
    2. J. M. Lucas and R. B. Crosier, Technometrics 24, 1982, 199-205 (fast initial response).

    Examples
    --------
    >>> chart = cusum_chart([10, 9.5, 11, 12, 12.5, 12], target=10, sigma=1, k=0.5, h=4)
    >>> chart.high.tolist(), [signal.points for signal in chart.signals]
    ([0.0, 0.0, 0.5, 2.0, 4.0, 5.5], [(2, 3, 4, 5)])

    No value is far out, but together the last four are: the level went up at the third point.
    """
    x = arguments.measurements("values", values)
    if x.ndim != 1:
        raise ValueError(f"values must be one number a period, in one dimension: shape {x.shape}")
    target, sigma = arguments.number("target", target), arguments.positive("sigma", sigma)
    k = arguments.amount("k", k)
    h, headstart = check_limit(h, headstart)
    allowance, limit, start = k * sigma, h * sigma, headstart * sigma
    off = x - target
    up = climb(off - allowance, start=start, limit=limit, restart=restart, slack=TIE * sigma)
    down = climb(-off - allowance, start=start, limit=limit, restart=restart, slack=TIE * sigma)
    return CusumChart(
        values=arguments.frozen(x),
        centre=arguments.frozen(np.full(len(x), float(target))),
        lower=arguments.frozen(target - allowance - (limit - down.before)),
        upper=arguments.frozen(target + allowance + (limit - up.before)),
        sigma=arguments.frozen(np.where(np.isnan(x), np.nan, sigma)),
        signals=tuple(
            sorted((*calls(up, "above", up.out), *calls(down, "below", down.out)), key=lambda signal: signal.index)
        ),
        method=METHOD.format(k=k, h=h, head=f", started at {headstart:g} sigma" if headstart else ""),
        source=SOURCE,
        high=arguments.frozen(up.after),
        low=arguments.frozen(down.after),
        limit=float(limit),
        headstart=float(start),
    )


def check_limit(h: float, headstart: float) -> tuple[float, float]:
    """The limit and the headstart; refuse a limit that is not above 0, and a headstart that is not below it."""
    limit, start = arguments.positive("h", h), arguments.number("headstart", headstart)
    if not 0.0 <= start < limit:
        raise ValueError(f"headstart must be at least 0 and below h = {limit:g}: {headstart!r}")
    return limit, start


def climb(steps: Numbers, *, start: float, limit: float, restart: bool, slack: float) -> Arm:
    """Sum the steps, never under 0; a step that is NaN leaves the sum as it is.

    The sum is out where it is above `limit` + `slack`; a negative slack so lets a sum on its limit be out. With
    `restart` the point after one that is out begins anew at `start`.
    """
    size = len(steps)
    after, before = np.empty(size), np.empty(size)
    begun = np.empty(size, dtype=np.int64)
    out = np.zeros(size, dtype=np.bool_)
    moves = np.where(np.isnan(steps), 0.0, steps)
    first, stretch = 0, 256
    while first < size:
        # In stretches that grow, so that many restarts do not each cost the whole of what follows.
        last = size if not restart else min(size, first + stretch)
        level = start if first == 0 or out[first - 1] else after[first - 1]
        begin = first if first == 0 or out[first - 1] or after[first - 1] == 0.0 else int(begun[first - 1])
        part = slice(first, last)
        total = np.cumsum(moves[part])
        floor = np.minimum(np.minimum.accumulate(total), -level)
        after[part] = total - floor
        before[part] = np.concatenate(([level], after[first : last - 1]))
        at_zero = np.where(after[part] == 0.0, np.arange(first + 1, last + 1), begin)
        begun[part] = np.concatenate(([begin], np.maximum.accumulate(at_zero)[:-1]))
        out[part] = after[part] > limit + slack
        hits = np.flatnonzero(out[part])
        if restart and len(hits):
            out[first + int(hits[0]) + 1 : last] = False
            first, stretch = first + int(hits[0]) + 1, 256
        else:
            first, stretch = last, 2 * stretch
    there = ~np.isnan(steps)
    return Arm(
        after=np.where(there, after, np.nan), before=np.where(there, before, np.nan), begun=begun, out=out & there
    )


def calls(arm: Arm, side: Side, where: NDArray[np.bool_]) -> list[Signal]:
    """A signal at each place, with the points since the sum was last 0."""
    return [
        Signal(index=i, rule=BEYOND_DECISION, side=side, points=tuple(range(int(arm.begun[i]), i + 1)))
        for i in map(int, np.flatnonzero(where))
    ]
