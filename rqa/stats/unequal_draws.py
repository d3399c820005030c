"""Draws in which each case has a chance of its own, known beforehand, and what they say of all cases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa import arguments
from rqa.arguments import Numbers

ROUNDING = 1e-9


@dataclass(frozen=True)
class HorvitzThompson:
    """What cases drawn with known chances say of the total: `estimate` with its standard error and limits.

    `found` is what was seen in the cases drawn.
    """

    found: float
    estimate: float
    se: float
    low: float
    high: float
    level: float


def draw_chances(*, size: ArrayLike, draws: int, uniform: float = 0.0) -> Numbers:
    """Give each case the chance with which it is to be drawn: in proportion to its size, mixed with equal chances.

    `size`: one number above 0 a case, such as a predicted risk. `draws` cases are drawn in all (all, where there are no
    more). `uniform`: the part of the draws, 0 to 1, that goes to all cases alike, so that each has a chance of at least
    uniform × draws / cases. A chance that would be above 1 is 1, and the others share the rest.

    Raises `ValueError` for sizes not above 0, draws below 0, or a part that is no share.

    >>> draw_chances(size=[1.0, 1.0, 2.0, 16.0], draws=2, uniform=0.2).round(3)
    array([0.29 , 0.29 , 0.419, 1.   ])

    The riskiest case is drawn for sure.
    """
    x = arguments.above_zero("size", size)
    if x.ndim != 1:
        raise ValueError(f"size must be one number a case: shape {x.shape}")
    draws = arguments.whole("draws", draws, 0)
    uniform = arguments.amount("uniform", uniform)
    if uniform > 1.0:
        raise ValueError(f"uniform must be at most 1: {uniform!r}")
    n = len(x)
    if draws >= n:
        return arguments.frozen(np.ones(n))
    share = uniform / n + (1.0 - uniform) * x / x.sum()
    chance, sure = np.zeros(n), np.zeros(n, dtype=np.bool_)
    while True:
        rest = draws - int(sure.sum())
        chance = np.where(sure, 1.0, rest * share / share[~sure].sum())
        above = ~sure & (chance >= 1.0)
        if not above.any():
            return arguments.frozen(chance)
        sure |= above


def systematic_draw(*, chance: ArrayLike, seed: int = 0) -> NDArray[np.int64]:
    """Draw cases with these chances: as many as they add up to, to a whole number, and each with exactly its own.

    The cases are put in a random order, their chances laid end to end, and every whole number behind a random start
    draws the case it falls upon (Madow 1949, after Horvitz and Thompson 1952; from memory). Returned are the places of
    the cases drawn, in order; the same `seed` draws the same. Raises `ValueError` for chances not between 0 and 1.

    >>> systematic_draw(chance=[1.0, 0.5, 0.5], seed=1).size
    2
    """
    p = arguments.shares("chance", chance)
    if p.ndim != 1:
        raise ValueError(f"chance must be one number a case: shape {p.shape}")
    rng = np.random.default_rng(arguments.whole("seed", seed, 0))
    order = rng.permutation(len(p))
    ends = np.cumsum(p[order])
    if not len(p):
        return np.zeros(0, dtype=np.int64)
    start = float(rng.random())
    ticks = np.arange(int(np.floor(ends[-1] - start + ROUNDING)) + 1) + start
    # A tick at the very end belongs to the last case with a chance.
    at = np.minimum(np.searchsorted(ends, ticks, side="right"), len(p) - 1)
    return np.unique(order[at]).astype(np.int64)


def horvitz_thompson(
    *, found: ArrayLike, chance: ArrayLike, least_chance: float, most: float | None = None, level: float = 0.95
) -> HorvitzThompson:
    """Estimate a total, such as how many of all cases are bad, from cases drawn with chances of their own.

    Parameters
    ----------
    found
        What each case drawn has of it, 0 or more: 1 where it is bad, else 0; or how many faults it has.
    chance
        The chance with which each of these was drawn, above 0 up to 1.
    least_chance
        The least chance that any case had, drawn or not.
    most
        The largest total there can be, such as all cases less those seen to be good.
    level
        Confidence level, strictly between 0 and 1.

    Returns
    -------
    HorvitzThompson
        estimate = sum of found / chance.

    Notes
    -----
    Landmarks: with equal chances the estimate is the number of cases times the share found. Every case drawn for sure:
    the limits are the total itself.

    The variance is that of independent draws, the sum of (1 - chance) (found / chance)^2: a draw of a fixed number
    varies less where chances do not follow what is found, so it errs on the safe side. Limits are those of a sum of
    Poisson counts, each weighted by 1 / chance (Fay and Feuer 1997): a gamma distribution of the same mean and
    variance, the upper one with one more case of the largest weight, 1 / least_chance. So they hold where few or none
    were found. No limit lies below what was found, or above `most`.

    Raises
    ------
    ValueError
        Amounts below 0, chances out of range or below the least one, arrays of unlike lengths.

    References
    ----------
    1. D. G. Horvitz and D. J. Thompson, Journal of the American Statistical Association 47, 1952, 663-685.
    2. M. P. Fay, E. J. Feuer, Statistics in Medicine 16, 1997, 791-801.

    Examples
    --------
    >>> r = horvitz_thompson(found=[1, 0, 1, 0], chance=[0.5, 0.5, 0.1, 0.1], least_chance=0.1, most=22)
    >>> r.estimate, round(r.low, 1), round(r.high, 1)
    (12.0, 2.0, 22.0)

    A bad case that had a chance of 10 % stands for ten.
    """
    from scipy import special

    y, p = arguments.amounts("found", found), arguments.above_zero("chance", chance)
    if y.ndim != 1 or y.shape != p.shape:
        raise ValueError(f"found and chance must have one number a case drawn: {y.shape}, {p.shape}")
    least = arguments.positive("least_chance", least_chance)
    if least > 1.0 or (p > 1.0).any() or (p < least * (1.0 - ROUNDING)).any():
        raise ValueError("chance must be between least_chance and 1, and least_chance no more than 1")
    top = np.inf if most is None else arguments.amount("most", most)
    tail = (1.0 - arguments.share("level", level)) / 2.0
    seen, estimate = float(y.sum()), float((y / p).sum())
    variance = float(((1.0 - p) * (y / p) ** 2).sum())
    low = 0.0
    if estimate > 0:
        low = estimate
        if variance > 0:
            low = float(variance / estimate * special.gammaincinv(estimate**2 / variance, tail))
    weight = 1.0 / least * max(1.0, float(y.max(initial=0.0)))
    v, e = variance + (1.0 - least) * weight**2, estimate + weight
    high = estimate if least >= 1.0 else float(v / e * special.gammaincinv(e**2 / v, 1.0 - tail))
    low, high = max(low, seen), max(high, estimate)
    high = max(min(high, top), seen)
    low = min(low, high)
    return HorvitzThompson(seen, estimate, float(np.sqrt(variance)), low, high, level)
