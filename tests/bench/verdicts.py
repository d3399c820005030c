"""How often verdicts on actions are wrong, and how often they see what they should: many simulated depots of counts.

    python tests/bench/verdicts.py [--depots 2000]

Each depot has twelve months before an action and fifteen after, in four kinds of work; verdicts are read at every
month end by the rule of `depot.verdicts()` itself (`rqa.answers.improve.action_judged.judge`). Printed for each
scenario: the share of depots with each verdict at the end, and for a true change what `plan_change` had promised.

Seen where each month has a true rate of its own (200 depots each): without effect a verdict in 5 % at 200 jobs a month
and a spread of 15 or 20 %, in 10 % at 800 and 20 %; a halving for three months is "worked, has faded" in 89 % and still
"worked" in 9 %, one for good "worked" in 99 %.

Seen (seed by scenario, 400 to 1,000 depots each, standard error about 1 point): without effect "worked" and "made it
worse" together 3.6 to 4.9 %, 1.4 % beside other work, 4.3 % where the worst two months led to the action; a halving
seen in 66 to 92 % where 63 to 84 % were promised, as the promise is for the last look alone and on the safe side. A
rate that falls by itself looks like an action that worked in 23 %, and in 1.5 % with work beside it.
"""

import argparse
from datetime import date, timedelta

import numpy as np
import polars as pl

from rqa.answers.core.scope import month_end, next_month
from rqa.answers.improve.action_judged import judge, plan_before
from rqa.answers.improve.action_work import KINDS

START = date(2026, 1, 1)
WINDOW = 30
MIX = np.array([0.4, 0.3, 0.2, 0.1])
RISK = np.array([0.7, 1.0, 1.3, 1.6])
BEFORE, AFTER = 12, 15
PLANS = 200
"""Depots whose plan is averaged."""


def months():
    first = date(2025, 1, 1)
    found = []
    for _ in range(BEFORE + AFTER):
        found.append(first)
        first = next_month(first)
    return found


MONTHS = months()
TODAY = month_end(next_month(MONTHS[-1]))


def frame(rng, *, monthly, rates):
    """One depot's work as `rqa.answers.improve.action_work` counts it; `rates`: the rate of each month."""
    rows = []
    for number, (month, rate) in enumerate(zip(MONTHS, rates, strict=True)):
        jobs = rng.poisson(monthly * MIX)
        back = rng.binomial(jobs, np.minimum(rate * RISK / (MIX * RISK).sum(), 1.0))
        side = "before" if number < BEFORE else "after"
        recent = BEFORE - 2 <= number < BEFORE
        rows += [
            ("Alder", f"M{kind}", "board", "paid", side, month, next_month(month), recent, int(n), int(x))
            for kind, (n, x) in enumerate(zip(jobs, back, strict=True))
            if n
        ]
    names = [*KINDS, "side", "closed_month", "known_month", "recent", "matured", "returned"]
    return pl.DataFrame(rows, schema=names, orient="row")


def judged(own, beside, expected):
    return judge(
        own, beside, first_on=START - timedelta(days=365), started_on=START, today=TODAY, window=WINDOW, level=0.95,
        expected=expected,
    )


def constant(rate, factor=1.0, drift=0.0):
    """A rate that changes by a factor at the start, and by so many points a month all along."""
    return np.array([max(rate + drift * m, 0.0) * (factor if m >= BEFORE else 1.0) for m in range(BEFORE + AFTER)])


SCENARIOS = {
    # name: monthly jobs, rate, factor, drift a month, work beside (times own; 0 none), expected, triggered
    "no effect, 40 a month at 8 %": (40, 0.08, 1.0, 0.0, 0, 0.5, False),
    "no effect, 200 a month at 5 %": (200, 0.05, 1.0, 0.0, 0, 0.5, False),
    "no effect, 200 a month at 1 %": (200, 0.01, 1.0, 0.0, 0, 0.5, False),
    "no effect, 1000 a month at 4 %": (1000, 0.04, 1.0, 0.0, 0, 2 / 3, False),
    "no effect, 10 a month at 10 %": (10, 0.10, 1.0, 0.0, 0, 0.5, False),
    "no effect, twice the work beside it": (200, 0.05, 1.0, 0.0, 2, 0.5, False),
    "no effect, both fall 0.15 points a month": (200, 0.06, 1.0, -0.0015, 2, 0.5, False),
    "no effect, falls alike, nothing beside": (200, 0.06, 1.0, -0.0015, 0, 0.5, False),
    "no effect, begun after the worst two months": (100, 0.06, 1.0, 0.0, 0, 0.5, True),
    "halved, 100 a month at 8 %": (100, 0.08, 0.5, 0.0, 0, 0.5, False),
    "halved, 200 a month at 5 %": (200, 0.05, 0.5, 0.0, 0, 0.5, False),
    "halved, 200 a month at 5 %, twice beside": (200, 0.05, 0.5, 0.0, 2, 0.5, False),
    "by a third, 400 a month at 5 %": (400, 0.05, 2 / 3, 0.0, 0, 2 / 3, False),
    "halved, 40 a month at 8 %": (40, 0.08, 0.5, 0.0, 0, 0.5, False),
    "doubled, 100 a month at 5 %": (100, 0.05, 2.0, 0.0, 0, 0.5, False),
}


VARY = {
    # name: monthly jobs, rate, spread of the months, factor after the start, factor from the fourth month on
    "no effect, 200 a month at 8 %, months vary by 15 %": (200, 0.08, 0.15, 1.0, 1.0),
    "no effect, 200 a month at 8 %, months vary by 20 %": (200, 0.08, 0.2, 1.0, 1.0),
    "no effect, 800 a month at 8 %, months vary by 20 %": (800, 0.08, 0.2, 1.0, 1.0),
    "halved, 200 a month at 8 %, months vary by 20 %": (200, 0.08, 0.2, 0.5, 1.0),
    "halved for three months, then as before, 300 a month at 8 %": (300, 0.08, 0.0, 0.5, 2.0),
    "halved for good, 300 a month at 8 %": (300, 0.08, 0.0, 0.5, 1.0),
}


def vary(rng, depots, monthly, rate, spread, factor, later):
    """Verdicts where each month has a true rate of its own, or a change does not last."""
    words = []
    for _ in range(depots):
        rates = constant(rate, factor)
        rates[BEFORE + 3 :] *= later
        if spread:
            rates = rates * rng.gamma(spread**-2, spread**2, rates.size)
        words.append(judged(frame(rng, monthly=monthly, rates=rates), None, 0.5).verdict)
    return words


def scenario(rng, depots, monthly, rate, factor, drift, times, expected, triggered):
    words, promised, planned = [], [], []
    for number in range(depots):
        own = frame(rng, monthly=monthly, rates=constant(rate, factor, drift))
        while triggered and not worst_last(own):
            own = frame(rng, monthly=monthly, rates=constant(rate, factor, drift))
        beside = frame(rng, monthly=monthly * times, rates=constant(rate, 1.0, drift)) if times else None
        words.append(judged(own, beside, expected).verdict)
        if number >= PLANS:
            continue
        plan, _ = plan_before(own, beside, days=365, ratio=expected, level=0.95)
        if plan is not None:
            promised.append(float(plan.chance[(plan.looks or len(plan.chance)) - 1]))
            planned.append(plan.looks or len(plan.chance))
    return words, promised, planned


def worst_last(own):
    """Whether the last two months before are the worst pair of the year: such an action is begun for a bad spell."""
    before = own.filter(pl.col("side") == "before").group_by("closed_month").agg(
        pl.col("matured").sum(), pl.col("returned").sum()
    ).sort("closed_month")
    n, x = before["matured"].to_numpy(), before["returned"].to_numpy()
    pairs = (x[1:] + x[:-1]) / np.maximum(n[1:] + n[:-1], 1)
    return pairs.size == BEFORE - 1 and int(pairs.argmax()) == pairs.size - 1


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--depots", type=int, default=2000)
    asked.add_argument("--only", default="")
    given = asked.parse_args()
    for number, (name, how) in enumerate(SCENARIOS.items()):
        if given.only not in name:
            continue
        words, promised, planned = scenario(np.random.default_rng(number), given.depots, *how)
        shares = {w: words.count(w) / len(words) for w in ("worked", "made it worse", "no sign yet", "too early")}
        print(f"{name}: " + ", ".join(f"{w} {s:.1%}" for w, s in shares.items()), end="")
        print(f"; promised chance {np.mean(promised):.0%} after {np.mean(planned):.1f} months", flush=True)
    for number, (name, how) in enumerate(VARY.items(), len(SCENARIOS)):
        if given.only in name:
            words = vary(np.random.default_rng(number), given.depots, *how)
            shares = (f"{w} {words.count(w) / len(words):.1%}" for w in dict.fromkeys(words))
            print(f"{name}: {', '.join(shares)}", flush=True)


if __name__ == "__main__":
    main()
