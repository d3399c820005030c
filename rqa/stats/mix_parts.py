"""Two periods compared: how much of a difference of shares is another mix of work, how much the work itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import proportion_interval

Interaction = Literal["shared", "apart"]


@dataclass(frozen=True, eq=False)
class MixAndRate:
    """A difference of two shares and its parts, each with limits; NaN where either period has no cases.

    By group: `change`, its rate in the second period less that in the first; `rate`, `mix` and `interaction`, what it
    adds to each part. Over all groups: `difference`, `rate_total`, `mix_total`, `interaction_total`, whose
    sum is the difference.
    """

    rate1: Numbers
    rate2: Numbers
    share1: Numbers
    share2: Numbers
    level: float
    change: Numbers
    change_low: Numbers
    change_high: Numbers
    rate: Numbers
    rate_low: Numbers
    rate_high: Numbers
    mix: Numbers
    mix_low: Numbers
    mix_high: Numbers
    interaction: Numbers
    interaction_low: Numbers
    interaction_high: Numbers
    difference: Numbers
    difference_low: Numbers
    difference_high: Numbers
    rate_total: Numbers
    rate_total_low: Numbers
    rate_total_high: Numbers
    mix_total: Numbers
    mix_total_low: Numbers
    mix_total_high: Numbers
    interaction_total: Numbers
    interaction_total_low: Numbers
    interaction_total_high: Numbers


def mix_and_rate(
    *,
    events1: ArrayLike,
    cases1: ArrayLike,
    events2: ArrayLike,
    cases2: ArrayLike,
    interaction: Interaction = "shared",
    squares1: ArrayLike | None = None,
    squares2: ArrayLike | None = None,
    effect1: ArrayLike = 1.0,
    effect2: ArrayLike = 1.0,
    level: float = 0.95,
) -> MixAndRate:
    """Take a difference of two shares apart: other rates on the same mix of work, and another mix at the same rates.

    Parameters
    ----------
    events1, cases1
        The first period by group: come-backs and jobs, whole numbers, events from 0 to cases. Groups on the last axis.
    events2, cases2
        The second period, of the same shape.
    interaction
        "shared": the part that belongs to both is given to rate and mix half and half, and `interaction` is 0. "apart":
        it stands for itself; rate and mix are then those at the first period's mix and rates.
    squares1, squares2
        Where cases come in bunches (checks of a job), the sum over the bunches of a group of their squared sizes; left
        out: each case stands alone, and the sum is the cases.
    effect1, effect2
        How many times as much the group's rates vary as those of independent cases: 1 or more.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    MixAndRate
        See its fields: by group and over all, in the shape of the counts, and of the counts without their last axis.

    Notes
    -----
    With w the groups' shares of the cases, r their rates and R the mean of both periods' rates over all: rate is
    (w1 + w2) / 2 x (r2 - r1), mix is ((r1 + r2) / 2 - R) x (w2 - w1), and the sums of both are Kitagawa's two parts
    (taking R off changes no sum, and says whether a group that grew is better or worse than the others). "apart": rate
    is w1 (r2 - r1), mix (r1 - R) (w2 - w1), interaction (w2 - w1) (r2 - r1).

    A group with cases in one period alone has one rate, taken for both: all it brings is mix.

    Limits: Wilson's distances of each rate, joined as a root of a sum of squares (MOVER), and with them what the shares
    of a multinomial draw vary by, at first order. With one group they are Newcombe's. R is taken as known for a group.
    The periods must be independent. Parts say where a difference lies in the counts, not what caused it; other
    groupings give other parts.

    Landmarks: the same mix has no mix part; the same rates have no rate part; one group has all in the rate part.

    Raises
    ------
    ValueError
        A count that is missing, negative or not whole; events above cases; squares below cases; shapes that do not fit;
        an unknown interaction; an effect below 1; a level outside (0, 1).

    References
    ----------
    1. E. M. Kitagawa, Journal of the American Statistical Association 50, 1955, 1168-1194.
    2. G. Y. Zou and A. Donner, Statistics in Medicine 27, 2008, 1693-1702 (MOVER).

    Examples
    --------
    >>> r = mix_and_rate(events1=[4, 20], cases1=[100, 100], events2=[12, 30], cases2=[200, 150])
    >>> f"{r.rate_total:+.4f} by rate, {r.mix_total:+.4f} by mix"
    '+0.0107 by rate, -0.0107 by mix'

    The first group got worse, yet the whole did not: more of the work is of the better kind.
    """
    x1, n1 = arguments.part_and_whole("events1", events1, "cases1", cases1)
    x2, n2 = arguments.part_and_whole("events2", events2, "cases2", cases2)
    x1, n1, x2, n2 = (np.atleast_1d(each) for each in arguments.same_shape(
        {"events1": x1, "cases1": n1, "events2": x2, "cases2": n2}
    ))
    arguments.countable(n1.sum(axis=-1), "cases1")
    arguments.countable(n2.sum(axis=-1), "cases2")
    arguments.one_of("interaction", interaction, get_args(Interaction))
    level = arguments.share("level", level)
    one = _period(x1, n1, _squares("squares1", squares1, n1), _effect("effect1", effect1, n1), level)
    two = _period(x2, n2, _squares("squares2", squares2, n2), _effect("effect2", effect2, n2), level)
    one, two = _with_rates_of(one, two), _with_rates_of(two, one)
    z = -float(special.ndtri((1.0 - level) / 2.0))
    grown, change = two.share - one.share, two.rate - one.rate
    middle = ((one.all_rate + two.all_rate) / 2.0)[..., np.newaxis]
    half = 0.5 if interaction == "shared" else 0.0
    weight = one.share + half * grown
    base = one.rate + half * change - middle
    zero = np.zeros_like(change)
    parts = {
        "change": _Part(zero - 1.0, zero + 1.0, zero, zero),
        "difference": _Part(-one.share, two.share, -(one.rate - middle), two.rate - middle),
        "rate": _Part(-weight, weight, (1.0 - half) * change, half * change),
        "mix": _Part((1.0 - half) * grown, half * grown, -base, base),
        "interaction": _Part(zero - grown, grown, -change, change) if not half else _Part(zero, zero, zero, zero),
    }
    values = {
        "change": change, "rate": weight * change, "mix": base * grown,
        "interaction": zero if half else grown * change, "difference": two.share * two.rate - one.share * one.rate,
    }
    made: dict[str, Numbers] = {}
    none = (n1.sum(axis=-1) == 0) | (n2.sum(axis=-1) == 0)
    alone = (n1 == 0) | (n2 == 0)
    for name, part in parts.items():
        if name != "difference":
            own = none[..., np.newaxis] | (alone if name == "change" else False)
            below, above = _reach(part, one, two, z)
            made |= _limited(name, values[name], below, above, own)
        if name != "change":
            below, above = _reach_of_all(part, one, two, z)
            total = name if name == "difference" else f"{name}_total"
            made |= _limited(total, values[name].sum(axis=-1), below, above, none)
    return MixAndRate(
        rate1=_told(x1 / np.maximum(n1, 1), n1 == 0), rate2=_told(x2 / np.maximum(n2, 1), n2 == 0),
        share1=_told(one.share, none[..., np.newaxis]), share2=_told(two.share, none[..., np.newaxis]),
        level=level, **made,
    )


@dataclass(frozen=True)
class _Period:
    """One period by group: its rate with Wilson's distances, its share, and what that varies by."""

    cases: Counts
    rate: Numbers
    below: Numbers
    above: Numbers
    share: Numbers
    squares: Numbers
    """The bunches' squared sizes, over the square of all cases."""
    all_rate: Numbers


@dataclass(frozen=True)
class _Part:
    """How a part moves with the rates (`r1`, `r2`) and the shares (`w1`, `w2`) of each group."""

    r1: Numbers
    r2: Numbers
    w1: Numbers
    w2: Numbers


def _squares(name: str, given: ArrayLike | None, cases: Counts) -> Numbers:
    if given is None:
        return cases.astype(np.float64)
    squares = np.atleast_1d(arguments.amounts(name, given))
    if squares.shape != cases.shape or (squares < cases).any():
        raise ValueError(f"{name} must be of the cases' shape, and none below its cases")
    return squares


def _effect(name: str, given: ArrayLike, cases: Counts) -> Numbers:
    effect = arguments.above_zero(name, given)
    if (effect < 1.0).any() or (effect.ndim and effect.shape != cases.shape):
        raise ValueError(f"{name} must be at least 1, one number or one for each of the cases")
    return np.broadcast_to(effect, cases.shape).copy()


def _period(x: Counts, n: Counts, squares: Numbers, effect: Numbers, level: float) -> _Period:
    found = proportion_interval(successes=x, trials=n, level=level, design_effect=effect)
    rate, low, high = (np.nan_to_num(each) for each in (found.estimate, found.low, found.high))
    everything = np.maximum(n.sum(axis=-1, keepdims=True), 1).astype(np.float64)
    return _Period(
        n, rate, rate - low, high - rate, n / everything, squares / everything**2, x.sum(axis=-1) / everything[..., 0],
    )


def _with_rates_of(own: _Period, other: _Period) -> _Period:
    """Where a group has no cases, the other period's rate, which is then one and the same."""
    empty = own.cases == 0
    below, above = (np.where(empty, 0.0, each) for each in (own.below, own.above))
    return replace(own, rate=np.where(empty, other.rate, own.rate), below=below, above=above)


def _sides(part: _Part, one: _Period, two: _Period) -> tuple[Numbers, Numbers]:
    """The squared distances below and above that the rates bring, by group."""
    below, above = np.zeros_like(part.r1), np.zeros_like(part.r1)
    for by, period in ((part.r1, one), (part.r2, two)):
        up = by > 0
        below = below + (by * np.where(up, period.below, period.above)) ** 2
        above = above + (by * np.where(up, period.above, period.below)) ** 2
    return below, above


def _reach(part: _Part, one: _Period, two: _Period, z: float) -> tuple[Numbers, Numbers]:
    """How far the limits of each group's part lie below and above it."""
    below, above = _sides(part, one, two)
    spread = np.zeros_like(below)
    for by, period in ((part.w1, one), (part.w2, two)):
        w, own = period.share, period.squares
        others = own.sum(axis=-1, keepdims=True) - own
        spread = spread + by**2 * ((1.0 - w) ** 2 * own + w**2 * others)
    return np.sqrt(below + z * z * spread), np.sqrt(above + z * z * spread)


def _reach_of_all(part: _Part, one: _Period, two: _Period, z: float) -> tuple[Numbers, Numbers]:
    """The same of the sum over the groups."""
    below, above = (each.sum(axis=-1) for each in _sides(part, one, two))
    spread = np.zeros_like(below)
    for by, period in ((part.w1, one), (part.w2, two)):
        mean = (by * period.share).sum(axis=-1, keepdims=True)
        spread = spread + (period.squares * (by - mean) ** 2).sum(axis=-1)
    return np.sqrt(below + z * z * spread), np.sqrt(above + z * z * spread)


def _limited(name: str, value: Numbers, below: Numbers, above: Numbers, untold: Numbers) -> dict[str, Numbers]:
    ends = {name: value, f"{name}_low": value - below, f"{name}_high": value + above}
    return {key: _told(each, untold) for key, each in ends.items()}


def _told(values: Numbers, untold: Numbers) -> Numbers:
    return arguments.frozen(np.where(untold, np.nan, values))
