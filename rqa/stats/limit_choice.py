"""Where to set a test's limit: what another limit would have let through, and what it would have held back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from rqa import arguments
from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import proportion_interval

Side = Literal["upper", "lower"]


@dataclass(frozen=True, eq=False)
class LimitsTradeoff:
    """For each limit, faulty units it would have caught or missed and sound units it would have held back."""

    side: str
    level: float
    limit: Numbers
    caught: Counts
    missed: Counts
    held: Counts
    passed: Counts
    caught_share: Numbers
    caught_low: Numbers
    caught_high: Numbers
    held_share: Numbers
    held_low: Numbers
    held_high: Numbers
    area: float


def limits_tradeoff(
    *, value: ArrayLike, faulty: ArrayLike, sound: ArrayLike, side: Side = "upper", level: float = 0.95
) -> LimitsTradeoff:
    """Say, limit by limit, how many faulty units a measured test would have caught, and at what extra work.

    Parameters
    ----------
    value
        Measured values, or the middles of bins: finite numbers, one row, in any order; equal ones are taken together.
    faulty
        Units with that value that proved faulty: they came back for it, or failed and a fault was found.
    sound
        Units with that value that did not; both whole numbers of the same shape.
    side
        "upper": units above the limit fail. "lower": units below it.
    level
        Confidence level of the shares, strictly between 0 and 1.

    Returns
    -------
    LimitsTradeoff
        `limit`, every value seen, from the loosest limit (nothing fails) to the tightest, and in the same order
        `caught` and `missed` faulty units, `held` and `passed` sound ones, with shares and Wilson's limits; `area`, the
        chance that a faulty unit lies further out than a sound one, ties half.

    Notes
    -----
    A unit at the limit itself passes. Landmarks of `area`: 1, the value tells faulty from sound in all cases; 0.5, it
    says nothing and no limit will help; below, the limit is on the wrong side. No faulty or no sound unit: NaN.

    The best limit of past jobs looks better than it will be; look at the limits of the shares. Units not followed up
    for long enough are not yet sound: leave them out.

    Raises
    ------
    ValueError
        Shapes that do not fit, values missing, counts that are no counts; an unknown side; a level outside (0, 1).

    References
    ----------
    1. D. Bamber, Journal of Mathematical Psychology 12, 1975, 387-415 (area).

    Examples
    --------
    >>> r = limits_tradeoff(value=[1, 2, 3, 4], faulty=[1, 1, 4, 6], sound=[200, 90, 10, 1])
    >>> list(zip(r.limit.tolist(), r.caught.tolist(), r.held.tolist()))
    [(4.0, 0, 0), (3.0, 6, 1), (2.0, 10, 11), (1.0, 11, 101)]

    A limit of 2 would have caught ten of twelve faulty units and held back eleven sound ones.
    """
    v = arguments.measurements("value", value)
    arguments.one_of("side", side, get_args(Side))
    level = arguments.share("level", level)
    bad, good = arguments.same_shape(
        {"faulty": arguments.counts("faulty", faulty), "sound": arguments.counts("sound", sound)}
    )
    if v.ndim != 1 or bad.shape != v.shape or np.isnan(v).any():
        raise ValueError(f"value, faulty and sound must be one row of one length, none missing: {v.shape}, {bad.shape}")
    arguments.countable(bad.sum() + good.sum(), "faulty", "sound")
    limit, place = np.unique(v, return_inverse=True)
    bad = np.bincount(place, weights=bad, minlength=len(limit)).astype(np.int64)
    good = np.bincount(place, weights=good, minlength=len(limit)).astype(np.int64)
    if side == "upper":
        limit, bad, good = limit[::-1], bad[::-1], good[::-1]
    caught, held = np.cumsum(bad) - bad, np.cumsum(good) - good
    all_bad, all_good = int(bad.sum()), int(good.sum())
    pairs = float(all_bad) * float(all_good)
    further = float((bad * (all_good - held - good / 2.0)).sum())
    found = proportion_interval(successes=caught, trials=all_bad, level=level)
    extra = proportion_interval(successes=held, trials=all_good, level=level)
    return LimitsTradeoff(
        side=side,
        level=level,
        limit=arguments.frozen(limit),
        caught=arguments.frozen_counts(caught),
        missed=arguments.frozen_counts(all_bad - caught),
        held=arguments.frozen_counts(held),
        passed=arguments.frozen_counts(all_good - held),
        caught_share=found.estimate,
        caught_low=found.low,
        caught_high=found.high,
        held_share=extra.estimate,
        held_low=extra.low,
        held_high=extra.high,
        area=further / pairs if pairs else float("nan"),
    )
