"""How much work must be seen before a changed rate shows: power and sample size for two shares, looked at monthly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rqa import arguments
from rqa.arguments import Numbers
from rqa.stats.group_sequential import spending_bounds


@dataclass(frozen=True)
class OtherWork:
    """Comparable work that is left as it is: its rate, its jobs before, and its jobs after for each job after here."""

    rate: float
    before: float
    per_job: float

    def __post_init__(self) -> None:
        arguments.shares("rate", arguments.number("rate", self.rate))
        arguments.positive("before", self.before)
        arguments.positive("per_job", self.per_job)


@dataclass(frozen=True, eq=False)
class ChangePlan:
    """One element a number of looks: jobs seen by then, bound at the last of them, chance to see the change by then,
    and the smallest change that is seen with the chance asked for (NaN where none is)."""

    rate: float
    ratio: float
    power: float
    level: float
    after: Numbers
    bound: Numbers
    chance: Numbers
    smallest_ratio: Numbers

    @property
    def looks(self) -> int | None:
        """The number of looks that suffices; None if none of them does."""
        enough = np.flatnonzero(self.chance >= self.power)
        return int(enough[0]) + 1 if enough.size else None


def chance_to_see(
    *,
    rate: ArrayLike,
    ratio: ArrayLike,
    before: ArrayLike,
    after: ArrayLike,
    bound: float | None = None,
    level: float = 0.95,
    other: OtherWork | None = None,
    corrected: bool = True,
) -> Numbers:
    """Say with what chance a rate that changes by a factor is told from one that did not.

    Parameters
    ----------
    rate, ratio
        The rate before, and the factor on it: 0.5 is a halving. The rate after must not be above 1.
    before, after
        Jobs on each side, above 0; with rate and ratio of one shape or single numbers.
    bound
        The normal score that must be passed; by default the two-sided one of `level`.
    level
        Confidence level of the verdict.
    other
        Comparable work that the change is compared with, if any.
    corrected
        Allow for counts being whole, as the exact test does: the difference is taken half a job smaller on each side.
        The other work's part is not corrected.

    Returns
    -------
    numpy.ndarray
        The chance, in the shape of the inputs.

    Notes
    -----
    Landmarks: without a change it is about half the chance of error, as only the side of the change is counted; a rate
    of 0 cannot fall and gives 0.

    With shares p0 before and p1 after, p = pooled share, the normal approximation is Phi((|p1 - p0| - c - bound s0) /
    s1): s0^2 = p (1 - p) (1/n0 + 1/n1), s1^2 = p0 (1 - p0) / n0 + p1 (1 - p1) / n1, c = (1/n0 + 1/n1) / 2. Beside
    other work both variances grow by q (1 - q) (1/m0 + 1/m1); the change must pass both alone and beside it, and the
    smaller chance is told. It is poor where fewer than about five come-backs are expected on a side.

    Raises
    ------
    ValueError
        A rate outside 0 to 1, a rate after above 1, jobs not above 0, shapes that differ.

    References
    ----------
    1. J. L. Fleiss, B. Levin and M. C. Paik, Statistical Methods for Rates and Proportions, 3rd ed., 2003, chapter 4.

    Examples
    --------
    >>> round(float(chance_to_see(rate=0.08, ratio=0.5, before=600, after=400)), 2)
    0.68

    Four hundred jobs after a halving show it about twice in three times.
    """
    p0 = arguments.shares("rate", rate)
    p0, factor, n0, n1 = arguments.same_shape(
        {
            "rate": p0,
            "ratio": arguments.amounts("ratio", ratio),
            "before": arguments.above_zero("before", before),
            "after": arguments.above_zero("after", after),
        }
    )
    p1 = p0 * factor
    if (p1 > 1).any():
        raise ValueError(f"rate x ratio must not be above 1: {float(np.max(p1)):g}")
    level = arguments.share("level", level)
    score = -float(special.ndtri((1.0 - level) / 2.0)) if bound is None else arguments.number("bound", bound)
    each = 1.0 / n0 + 1.0 / n1
    pooled = (n0 * p0 + n1 * p1) / (n0 + n1)
    still, moved = pooled * (1.0 - pooled) * each, p0 * (1.0 - p0) / n0 + p1 * (1.0 - p1) / n1
    gap = np.abs(p1 - p0)
    chance = _chance(gap - (each / 2.0 if corrected else 0.0), score, still, moved)
    if other is not None:
        arguments.instance("other", other, OtherWork)
        beside = other.rate * (1.0 - other.rate) * (1.0 / other.before + 1.0 / (other.per_job * n1))
        chance = np.minimum(chance, _chance(gap, score, still + beside, moved + beside))
    return np.asarray(chance, dtype=np.float64)


def jobs_to_see(
    *, rate: float, ratio: float, before_per_after: float = 1.0, power: float = 0.8, level: float = 0.95
) -> float:
    """Say how many jobs after a change show it, when both sides are still to be gathered.

    Parameters
    ----------
    rate, ratio
        The rate before, above 0, and the factor on it, not 1.
    before_per_after
        Jobs before for each job after.
    power
        The chance with which the change is to be seen.
    level
        Confidence level of the verdict, judged once.

    Returns
    -------
    float
        Jobs after, not rounded, without correction for whole counts. For a past that is given use `plan_change`.

    Notes
    -----
    n = (z_a sqrt(p (1 - p) (1 + 1/r)) + z_b sqrt(p1 (1 - p1) + p0 (1 - p0) / r))^2 / (p1 - p0)^2, r jobs before for
    each after, p the share of both together.

    Raises
    ------
    ValueError
        A rate or power outside (0, 1), a ratio of 1, a rate after above 1.

    References
    ----------
    1. J. L. Fleiss, B. Levin and M. C. Paik, Statistical Methods for Rates and Proportions, 3rd ed., 2003, chapter 4.

    Examples
    --------
    >>> round(jobs_to_see(rate=0.08, ratio=0.5))
    552

    To see a halving of eight in a hundred takes some 550 jobs on each side.
    """
    p0, chance = arguments.share("rate", rate), arguments.share("power", power)
    p1 = p0 * arguments.amount("ratio", ratio)
    r = arguments.positive("before_per_after", before_per_after)
    if p1 > 1 or p1 == p0 or (p1 - p0) ** 2 == 0.0:
        raise ValueError(f"ratio must change the rate, to at most 1: {ratio!r} x {rate!r}")
    pooled = (r * p0 + p1) / (1.0 + r)
    z_a, z_b = -float(special.ndtri((1.0 - arguments.share("level", level)) / 2.0)), float(special.ndtri(chance))
    still, moved = pooled * (1.0 - pooled) * (1.0 + 1.0 / r), p1 * (1.0 - p1) + p0 * (1.0 - p0) / r
    return float((z_a * still**0.5 + z_b * moved**0.5) ** 2 / (p1 - p0) ** 2)


def known_after(*, rate: float, before: float, after: ArrayLike, other: OtherWork | None = None) -> Numbers:
    """What is known of a change when so many jobs after it are seen: 1 / variance of its estimate if there is none.

    `rate` is the rate before and must lie between 0 and 1; for `spending_bounds`.
    """
    n1 = arguments.above_zero("after", after)
    p = arguments.share("rate", rate)
    variance = p * (1.0 - p) * (1.0 / arguments.positive("before", before) + 1.0 / n1)
    if other is not None:
        arguments.instance("other", other, OtherWork)
        variance = variance + other.rate * (1.0 - other.rate) * (1.0 / other.before + 1.0 / (other.per_job * n1))
    return np.asarray(1.0 / variance, dtype=np.float64)


def plan_change(
    *,
    rate: float,
    ratio: float,
    before: float,
    jobs_per_look: float,
    looks: int = 12,
    power: float = 0.8,
    level: float = 0.95,
    other: OtherWork | None = None,
) -> ChangePlan:
    """Say how many looks, each with so many more jobs, it takes to see a change beside a past that is given.

    Parameters
    ----------
    rate, ratio
        The rate before, between 0 and 1, and the factor expected on it.
    before
        Jobs before.
    jobs_per_look
        Jobs that come to be known from one look to the next.
    looks
        The most looks considered.
    power
        The chance with which the change is to be seen by the last look.
    level
        Confidence level over all looks together.
    other
        Comparable work that the change is compared with, if any.

    Returns
    -------
    ChangePlan
        One element for each number of looks planned, 1 up to `looks`; `.looks` is the least that suffices.

    Notes
    -----
    The bound is that of `spending_bounds` at the last look, the chance that of `chance_to_see` with this bound; to
    have seen the change earlier adds hardly anything.

    Raises
    ------
    ValueError
        As `chance_to_see` and `spending_bounds`.

    Examples
    --------
    >>> r = plan_change(rate=0.08, ratio=0.5, before=600, jobs_per_look=100)
    >>> r.looks, round(float(r.chance[r.looks - 1]), 2)
    (8, 0.82)

    With a hundred jobs a month a halving is seen after eight months, very likely.
    """
    rate, level = arguments.share("rate", rate), arguments.share("level", level)
    most, wanted = arguments.whole("looks", looks, 1), arguments.share("power", power)
    if most > MOST_LOOKS:
        raise ValueError(f"looks must be at most {MOST_LOOKS}: {looks!r}")
    ratio, before = arguments.amount("ratio", ratio), arguments.positive("before", before)
    jobs_per_look = arguments.positive("jobs_per_look", jobs_per_look)
    after = jobs_per_look * np.arange(1.0, most + 1.0)
    known = known_after(rate=rate, before=before, after=after, other=other)
    try:
        bound = np.array(
            [spending_bounds(information=known[: k + 1], planned=known[k], level=level).bound[k] for k in range(most)]
        )
    except ValueError as cause:
        raise ValueError(f"before, jobs_per_look, looks and level give no bounds: {cause}") from cause
    how: dict[str, object] = {"rate": rate, "before": before, "other": other}
    chance = [_at(ratio, n, b, how) for n, b in zip(after, bound, strict=True)]
    smallest = [_smallest(n, b, wanted, ratio > 1, how) for n, b in zip(after, bound, strict=True)]
    return ChangePlan(
        rate=rate,
        ratio=float(ratio),
        power=wanted,
        level=level,
        after=arguments.frozen(after),
        bound=arguments.frozen(bound),
        chance=arguments.frozen(chance),
        smallest_ratio=arguments.frozen(smallest),
    )


MOST_LOOKS = 1_000
"""Looks that are planned; each has a bound of its own, which rests on all looks before it."""


def _chance(gap: Numbers, score: float, still: Numbers, moved: Numbers) -> Numbers:
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(moved > 0, (gap - score * np.sqrt(still)) / np.sqrt(moved), -np.inf)
    return np.asarray(special.ndtr(z), dtype=np.float64)


def _at(ratio: float, after: float, bound: float, how: dict[str, object]) -> float:
    return float(chance_to_see(ratio=ratio, after=after, bound=bound, **how))  # type: ignore[arg-type]


def _smallest(after: float, bound: float, power: float, rises: bool, how: dict[str, object]) -> float:
    """The factor nearest to 1 that is seen with this chance, which grows with the change."""
    from scipy import optimize  # a third of a second to import, so only when it is asked for

    def above(ratio: float) -> float:
        return _at(ratio, after, bound, how) - power

    far = 1.0 / float(str(how["rate"])) if rises else 0.0
    if above(far) < 0:
        return float("nan")
    return 1.0 if above(1.0) >= 0 else float(optimize.brentq(above, 1.0, far))
