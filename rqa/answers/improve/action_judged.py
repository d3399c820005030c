"""The verdict on one action, from counts by month: looked at on month ends, with bounds that hold over all looks."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.scope import month_end
from rqa.answers.improve.action_work import BEFORE_DAYS, KINDS, RECENT_DAYS, tables
from rqa.words import count, counted, month_name, percent

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import ChangePlan, NetChange, OtherWork, RateChange

WORKED, WORSE, NO_SIGN, TOO_EARLY = "worked", "made it worse", "no sign yet", "too early"
FADED, PASSED = "worked, has faded", "made it worse, has passed"
"""A change that was told, and more than half of which is gone in the work after that."""
UNTOLD = "cannot be told"
"""Where waiting does not help: something that a verdict rests on is absent."""
TOLD = (WORKED, WORSE, FADED, PASSED)
"""Verdicts that say that something has changed; without one nothing is known to be spared."""
EXPECTED = 0.5
"""The factor planned for where an action states none."""
POWER = 0.8
MONTHS_AHEAD = 12
"""Months of work after which the last look is taken, if the expected change has not asked for it before."""
LEAST_GAIN = 0.01
"""A look counts when it adds this share of what is planned to be known."""
BAD_SPELL = 0.1
"""The days just before the start stand out if chance alone makes them as bad as often as this, or less often."""
PLANNED_SHARE = 0.8
"""So much of the allowed error is for the looks up to the planned one, the rest for those after it."""
LATER_LOOKS = (1.5, 2.0, 3.0, 4.0)
"""After the planned look further ones are taken when so many times as much is known."""
SAID_FROM = 1.2
"""A dispersion of the months from which on it is told."""
BACK = 3.0
"""A normal score from which on the work from some month on is called unlike that before it, looked at every month."""
FEWEST_MONTHS = 4
"""Months before the start from which on it can be said how they vary."""
DAYS_A_MONTH = BEFORE_DAYS / 12
"""So that twelve months of work are the jobs of the year before an action."""


@dataclass(frozen=True)
class BeforeAndAfter:
    """Jobs and come-backs on both sides of the start, and the change on comparable work by column name."""

    jobs_before: int
    returned_before: int
    jobs_after: int
    returned_after: int
    change: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class ActionJudgement:
    """What is to be told of one action."""

    verdict: str
    own: BeforeAndAfter
    other: BeforeAndAfter | None
    net: Mapping[str, float]
    p_value: float
    under_way: int
    jobs_needed: int | None
    seen_on: date | None
    expected_on: date | None
    warnings: tuple[str, ...]


def judge(
    own: "pl.DataFrame",
    beside: "pl.DataFrame | None",
    *,
    first_on: date,
    started_on: date,
    today: date,
    window: int,
    level: float,
    expected: float | None,
) -> ActionJudgement:
    """Judge an action by the counts of its work and of the work beside it (see `rqa.answers.improve.action_work`).

    `first_on` is the first day of closing before the start; the work of a month is planned from the days since then.
    The verdict looks at each month end since the start. It asks whether the exact test on comparable work lies beyond
    the bound of that look, and on the same side the difference in differences, where there is work beside it; after a
    bad spell, with it and without it. Where the months before the start differ more than their counts alone would,
    scores are made smaller by the square root of that (a quasi-binomial dispersion), and more work is planned. A
    verdict can be taken back: the work after the start is searched for a month from which on more than half of the
    change is gone.
    """
    spare, spell = _bad_spell(own)
    change = _change(own, None, spare, level)
    other = _change(beside, None, spare, level) if beside is not None else None
    plan, serves = plan_before(
        own, beside, days=max(1, (started_on - first_on).days - RECENT_DAYS * spare),
        ratio=EXPECTED if expected is None else expected, level=level, spare=spare,
    )
    spread = _dispersion(own, spare)
    needed = 0 if plan is None else ceil(plan.after[(plan.looks or len(plan.after)) - 1])
    if plan is not None and spread > 1.0:
        needed = max(needed, min(ceil(needed * spread), ceil(plan.after[-1])))
    warnings = [spell] if spell else []
    if spread > SAID_FROM:
        warnings.append(
            f"The months before the start vary {spread:.1f} times as much as their counts alone would: a change takes "
            "more work to be told."
        )
    seen: date | None = None
    verdict, expected_on = TOO_EARLY, None
    if plan is None:
        # What was closed before the start has matured by then: none is to come.
        verdict = UNTOLD if today >= started_on + timedelta(days=window) else TOO_EARLY
        warnings.append(
            f"There is no matured work in the scope from the {BEFORE_DAYS} days before the start to set the work after "
            "it beside."
        )
    else:
        sign, seen, done = _looked(
            own, beside if serves else None, spare, plan, needed, started_on, today, level, spread
        )
        verdict = WORKED if sign < 0 else WORSE if sign > 0 else NO_SIGN if done else TOO_EARLY
        if seen is not None and (back := _gone_back(own, spare, sign, spread)):
            verdict = FADED if sign < 0 else PASSED
            warnings.append(back)
        if verdict == TOO_EARLY:
            expected_on = _due(own, plan, needed, started_on, today, window)
        warnings += _of_plan(plan, needed, expected, verdict, change)
    if other is not None and not serves:
        warnings.append("The work beside it is too little to decide with it.")
    net = _net(change, other) if other is not None else None
    return ActionJudgement(
        verdict=verdict,
        own=_side(own, change),
        other=None if other is None or beside is None else _side(beside, other),
        net=_named(net, "net", "net_low", "net_high") if net is not None else {},
        p_value=float(net.p_value) if net is not None and serves else float(change.p_value),
        under_way=int(_jobs(own, "under way")),
        jobs_needed=needed if plan is not None else None,
        seen_on=seen,
        expected_on=expected_on,
        warnings=tuple(warnings),
    )


def plan_before(
    own: "pl.DataFrame",
    beside: "pl.DataFrame | None",
    *,
    days: int,
    ratio: float,
    power: float = POWER,
    level: float,
    months: int = MONTHS_AHEAD,
    spare: bool = False,
) -> tuple["ChangePlan | None", bool]:
    """What a change takes to be seen, from the work of so many days before it (None: there was none), and whether the
    work beside it decides with it. `spare` leaves out the days just before the start."""
    from rqa.stats import plan_change

    jobs = _jobs(own, "before", spare=spare)
    if jobs == 0:
        return None, False
    serves = beside is not None and _tells_enough(own, beside, spare)
    plan = plan_change(
        rate=_guarded(_jobs(own, "before", "returned", spare), jobs), ratio=ratio, before=jobs,
        jobs_per_look=jobs / days * DAYS_A_MONTH, looks=months, power=power, level=level,
        other=_other(beside if serves else None, jobs, spare),
    )
    return plan, serves


def _tells_enough(own: "pl.DataFrame", beside: "pl.DataFrame", spare: bool) -> bool:
    """Whether the rate of the work beside it is known at least as well as its own, from what was before."""
    known = []
    for frame in (own, beside):
        jobs = _jobs(frame, "before", spare=spare)
        rate = _guarded(_jobs(frame, "before", "returned", spare), jobs)
        known.append(jobs / (rate * (1.0 - rate)))
    return known[1] >= known[0] > 0


def _guarded(returned: int, jobs: int) -> float:
    """A rate that is never 0 or 1: half a come-back more, half a job not."""
    return (returned + 0.5) / (jobs + 1.0)


def _other(beside: "pl.DataFrame | None", jobs: int, spare: bool) -> "OtherWork | None":
    from rqa.stats import OtherWork

    if beside is None:
        return None
    others = _jobs(beside, "before", spare=spare)
    return OtherWork(_guarded(_jobs(beside, "before", "returned", spare), others), others, others / jobs)


def _jobs(frame: "pl.DataFrame | None", side: str, column: str = "matured", spare: bool = False) -> int:
    import polars as pl

    if frame is None:
        return 0
    kept = frame.filter(pl.col("side") == side)
    return int((kept.filter(~pl.col("recent")) if spare else kept)[column].sum())


def _bad_spell(own: "pl.DataFrame") -> tuple[bool, str]:
    """Whether the days just before the start were worse than the year before them, and what to say of it."""
    import polars as pl

    from rqa.stats import proportion_test

    before = own.filter(pl.col("side") == "before")
    late = before.filter("recent")
    n, x = int(late["matured"].sum()), int(late["returned"].sum())
    others, back = int(before["matured"].sum()) - n, int(before["returned"].sum()) - x
    if not n or not others or x / n <= back / others:
        return False, ""
    p = float(proportion_test(successes1=x, trials1=n, successes2=back, trials2=others).p_value)
    if p > BAD_SPELL:
        return False, ""
    with_it = _change(own, None, False, 0.95)
    return True, (
        f"The {RECENT_DAYS} days before the start were bad: {percent(x / n)} of {counted(n, 'job')} came back, "
        f"{percent(back / others)} of {count(others)} before them. What follows a bad spell is better by itself, so "
        "they are left out, and a verdict must hold with and without them; with them the rate changed by "
        f"{with_it.difference * 100:+.1f} points."
    )


def _change(frame: "pl.DataFrame | None", known_by: date | None, spare: bool, level: float) -> "RateChange":
    from rqa.stats import rate_change

    b, n0, a, n1 = tables(frame, known_by=known_by, spare_recent=spare)
    return rate_change(returned_before=b, before=n0, returned_after=a, after=n1, level=level)


def _net(own: "RateChange", other: "RateChange") -> "NetChange":
    from rqa.stats import net_change

    return net_change(own=own, other=other)


def _looked(
    own: "pl.DataFrame",
    beside: "pl.DataFrame | None",
    spare: bool,
    plan: "ChangePlan",
    needed: int,
    started_on: date,
    today: date,
    level: float,
    spread: float,
) -> tuple[int, date | None, bool]:
    """The side on which a look passed its bound (-1 fewer, 1 more, 0 none), its day, and whether the planned one was
    taken."""
    from scipy import special

    from rqa.stats import beyond_both, known_after, spending_bounds

    jobs = _jobs(own, "before", spare=spare)
    other = _other(beside, jobs, spare)

    def known(before: int, after: int) -> float:
        return float(known_after(rate=plan.rate, before=before, after=after, other=other))

    planned = known(jobs, needed)
    days: list[date] = []
    information: list[float] = []
    scores: list[float] = []
    for day in _month_ends(started_on, today):
        change = _change(own, day, spare, level)
        before, after = int(change.before), int(change.after)
        if not before or not after:
            continue
        here = known(before, after)
        if here < (information[-1] if information else 0.0) + LEAST_GAIN * planned:
            continue
        score = _score(change, beside, day, spare, level)
        if spare:
            # Left out, a bad spell makes the year before look good; left in, it makes what follows look good.
            score = float(beyond_both(score, _score(_change(own, day, False, level), beside, day, False, level)))
        days.append(day)
        information.append(here)
        scores.append(score / spread**0.5)
    if not days:
        return 0, None, False
    error = 1.0 - level
    bounds = spending_bounds(information=information, planned=planned, level=1.0 - PLANNED_SHARE * error).bound.copy()
    later = float(-special.ndtri((1.0 - PLANNED_SHARE) * error / len(LATER_LOOKS) / 2.0))
    for times in LATER_LOOKS:
        reached = int(np.searchsorted(information, times * planned))
        if reached < len(days):
            bounds[reached] = min(bounds[reached], later)
    passed = np.flatnonzero(np.abs(scores) > bounds)
    if passed.size:
        first = int(passed[0])
        return (-1 if scores[first] < 0 else 1), days[first], True
    return 0, None, information[-1] >= planned


def _dispersion(own: "pl.DataFrame", spare: bool) -> float:
    """How many times as much the months before the start vary as their counts alone would; 1 at least.

    Pearson's statistic of the months over its degrees of freedom, each month's come-backs against those of its mix of
    work (McCullagh and Nelder 1989, section 4.5).
    """
    import polars as pl

    before = own.filter((pl.col("side") == "before") & ~(pl.col("recent") & spare))
    rates = before.group_by(KINDS).agg(rate=pl.col("returned").sum() / pl.col("matured").sum())
    months = (
        before.join(rates, on=KINDS, nulls_equal=True)
        .group_by("closed_month")
        .agg(
            seen=pl.col("returned").sum(), usual=(pl.col("matured") * pl.col("rate")).sum(),
            luck=(pl.col("matured") * pl.col("rate") * (1.0 - pl.col("rate"))).sum(),
        )
        .filter(pl.col("luck") > 0)
    )
    if months.height < FEWEST_MONTHS:
        return 1.0
    squares = ((months["seen"] - months["usual"]) ** 2 / months["luck"]).sum()
    return max(1.0, float(squares) / (months.height - 1))


def _gone_back(own: "pl.DataFrame", spare: bool, sign: int, spread: float) -> str:
    """What to say where more than half of a change is gone again from some month on; else nothing."""
    import polars as pl

    after = own.filter(pl.col("side") == "after").group_by("known_month").agg(pl.col("matured", "returned").sum())
    after = after.filter(pl.col("matured") > 0).sort("known_month")
    jobs = _jobs(own, "before", spare=spare)
    if after.height < 2 or not jobs:
        return ""
    n, x = (np.cumsum(after[name].to_numpy()) for name in ("matured", "returned"))
    m, y = n[-1] - n[:-1], x[-1] - x[:-1]
    then, now, pooled = x[:-1] / n[:-1], y / m, x[-1] / n[-1]
    before = _jobs(own, "before", "returned", spare) / jobs
    luck = pooled * (1.0 - pooled) * (1.0 / n[:-1] + 1.0 / m) * spread
    if not pooled or pooled == 1.0:
        return ""
    scores = np.where((now - (before + then) / 2.0) * -sign >= 0, (now - then) / luck**0.5 * -sign, 0.0)
    cut = int(scores.argmax())
    if scores[cut] < BACK:
        return ""
    return (
        f"More than half of the change is gone: {percent(float(then[cut]))} of {counted(int(n[cut]), 'job')} known up "
        f"to {month_name(after['known_month'][cut])} came back, {percent(float(now[cut]))} of {count(int(m[cut]))} "
        f"since, against {percent(before)} before the start."
    )


def _score(change: "RateChange", beside: "pl.DataFrame | None", day: date, spare: bool, level: float) -> float:
    """How far a change lies out, in normal scores, alone and beside other work; 0 where it cannot be told."""
    from rqa.stats import beyond_both

    score = float(change.z)
    if beside is not None:
        score = float(beyond_both(score, _net(change, _change(beside, day, spare, level)).z))
    return 0.0 if np.isnan(score) else score


def _month_ends(started_on: date, today: date) -> list[date]:
    made, day = [], month_end(started_on.replace(day=1))
    while day <= today:
        made.append(day)
        day = month_end(day + timedelta(days=1))
    return made


def _due(
    own: "pl.DataFrame", plan: "ChangePlan", needed: int, started_on: date, today: date, window: int
) -> date | None:
    """The month end by which the last look's jobs will have matured, at the volume there is now."""
    after = _jobs(own, "after")
    out = (today - started_on).days - window
    daily = after / out if out >= RECENT_DAYS and after else float(plan.after[0]) / DAYS_A_MONTH
    start = max(today, started_on + timedelta(days=window))
    wait = max(0, ceil((needed - after) / daily)) if daily > 0 else None
    if wait is None or wait > 365 * 20:
        return None
    day = start + timedelta(days=wait)
    return month_end(day.replace(day=1))


def _of_plan(plan: "ChangePlan", needed: int, expected: float | None, verdict: str, change: "RateChange") -> list[str]:
    said = []
    if plan.looks is None and verdict in (TOO_EARLY, NO_SIGN):
        said.append(
            f"Low volume: with {counted(needed, 'job')} in {MONTHS_AHEAD} months the chance of detecting the "
            f"{'planned halving' if expected is None else 'expected change'} is "
            f"{percent(float(plan.chance[-1]), decimals=0)}."
        )
    if verdict in TOLD and (change.difference > 0) == (verdict in (WORKED, FADED)):
        said.append("Since the verdict was given the rate has gone the other way: look at the months.")
    return said


def _side(frame: "pl.DataFrame", change: "RateChange") -> BeforeAndAfter:
    names = ("comparable", "difference", "low", "high", "ratio", "ratio_low", "ratio_high")
    return BeforeAndAfter(
        _jobs(frame, "before"), _jobs(frame, "before", "returned"), _jobs(frame, "after"),
        _jobs(frame, "after", "returned"), {name: float(getattr(change, name)) for name in names},
    )


def _named(net: "NetChange", *names: str) -> dict[str, float]:
    return dict(zip(names, (float(net.difference), float(net.low), float(net.high)), strict=True))
