"""Findings of invented depots against what was planted in them: `python tests/bench/planted.py --seeds 200`.

Each seed makes one depot and reads the findings of its last month. A finding belongs to a planted effect when its scope
names the effect's own place; it is an echo when it names a place that an effect weighs on (the procedure of the pinched
cable, the site of the bad bench); all others are due to chance. Printed are the share of depots in which each effect is
found, and of all findings the share that is due to chance, with the same for depots in which nothing is planted
(`--quiet`). With `--site Birch` more first checks fail at one site; with `--bad-units` a few units fail many checks, at
every site alike, so that the checks of a job go together.
"""

import argparse
import dataclasses
import multiprocessing
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import polars as pl

import rqa
from rqa.answers.core.finding import Finding, judged
from rqa.answers.improve.findings import newest_month, stated_in
from rqa.demo import effects, jobs, logs, stations, write
from rqa.demo.catalogue import PER_SITE, SITES, TECHNICIANS
from rqa.stats import proportion_interval

QUIET = {
    "PINCH": {"pinched": 0.0, "pinched_after_action": 0.0},
    "EARLY": {"early_at_the_bench": 0.01, "comes_back_if_early": 0.0},
    "LOT": {"share_of_the_lot": 0.0},
    "FLAKY": {"fails_for_no_reason": 0.0},
    "DRIFT": {"rise_a_month": 0.0},
}
"""The effects' sizes in a depot in which nothing is planted but the two studies, which are left out."""
MORE_AT_THE_SITE = 0.012
"""First checks that fail at the site, beside those that fail anyway (2 in 100)."""
BAD_UNITS, FAILS_AT_A_BAD_UNIT = 0.03, 0.4
CABLE = {"model": "Marl-10", "procedure": "main board"}


def effect_of(f: Finding) -> str:
    """The planted effect that a finding belongs to, "echo of …" for what it weighs on, or "chance"."""
    s = dict(f.scope)
    step = s.get("step", "")
    if "study" in s:
        return "study"
    if s.get("lot") == effects.LOT.lot:
        return "lot"
    if s.get("bench") == effects.EARLY.bench or "final tightening" in s.get("breach", ""):
        return "bench"
    if effects.PINCH.step in step or CABLE.items() <= s.items():
        return "cable"
    if s.get("test") == effects.FLAKY.test:
        return "flaky test"
    if s.get("test") == effects.DRIFT.test and s.get("station") == effects.DRIFT.station:
        return "drift"
    if s.get("station") == effects.DRIFT.station:
        return "luck"
    if not s or s.get("procedure") == effects.PINCH.procedure or s.get("model") == effects.PINCH.model:
        return "echo"
    if s.get("site") == "Cedar" or s.get("technician", "") >= "T17" or s.get("test") == effects.LOT.test:
        return "echo"
    if effects.EARLY.step in step or effects.EARLY.should_follow in step or "part_no" in s:
        return "echo"
    return "luck"


def silence() -> None:
    for name, sizes in QUIET.items():
        changed = dataclasses.replace(getattr(effects, name), **sizes)
        for room in (effects, jobs, logs, stations):
            if hasattr(room, name):
                setattr(room, name, changed)


def more_failed_checks(place: Path, seed: int, site: str, bad_units: bool) -> None:
    """Let more first checks fail, and pass at a second attempt: at one site, or on a few units wherever they are."""
    rng = np.random.default_rng([seed, 13])
    jobs = pl.read_csv(place / "jobs.csv", infer_schema=False)
    steps = pl.read_csv(place / "steps.csv", infer_schema=False)
    bad = jobs.filter(pl.Series(rng.random(jobs.height) < BAD_UNITS * bad_units))["job_id"]
    there = jobs.filter(pl.col("site") == site)["job_id"]
    chance = steps.select(
        pl.when(pl.col("job_id").is_in(bad.implode())).then(FAILS_AT_A_BAD_UNIT)
        .when(pl.col("job_id").is_in(there.implode())).then(MORE_AT_THE_SITE).otherwise(0.0)
    ).to_series()
    first = (pl.col("attempt") == "1") & (pl.col("outcome") == "pass")
    fails = steps.select(first & pl.Series(rng.random(steps.height)).lt(chance)).to_series()
    again = steps.filter(fails).with_columns(pl.lit("2").alias("attempt"))
    failed = steps.with_columns(pl.when(fails).then(pl.lit("fail")).otherwise(pl.col("outcome")).alias("outcome"))
    pl.concat([failed, again]).write_csv(place / "steps.csv")


def one(asked: tuple[int, int, int, bool, str, bool]) -> tuple[int, Counter[str], list[str]]:
    """Findings of one seed by effect, and what was chance."""
    seed, size, months, quiet, site, bad_units = asked
    if quiet:
        silence()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        write(place, jobs=size, months=months, seed=seed, plain=True)
        if site or bad_units:
            more_failed_checks(place, seed, site, bad_units)
        rqa.load(place)
        with rqa.open(place) as depot:
            month = newest_month(depot._snapshot)
            # As `depot.findings()`, which also looks at the month before to say what is new.
            found = [f for f, _ in judged(stated_in(depot._snapshot, month)[0])] if month else []
    named = [(f, "site" if site and at_the_site(f, site) else effect_of(f)) for f in found]
    wrong = [f"{f.kind} | {f.where} | p {f.p_value:.2g}" for f, of in named if of == "luck" or quiet]
    return seed, Counter(of for _, of in named), wrong


def at_the_site(f: Finding, site: str) -> bool:
    """Whether a finding is about first checks at the site, at one of its benches or of one of its people."""
    place = [s.name for s in SITES].index(site)
    own = TECHNICIANS[place * PER_SITE : (place + 1) * PER_SITE]
    here = f.scope.get("site") == site or f.scope.get("bench", "").startswith(site[0])
    return f.kind.startswith("first checks") and (here or f.scope.get("technician") in own)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=3000)
    parser.add_argument("--months", type=int, default=18)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--quiet", action="store_true", help="depots in which nothing is planted")
    parser.add_argument("--site", default="", help="a site at which more first checks fail")
    parser.add_argument("--bad-units", action="store_true", help="a few units fail many checks, at every site alike")
    asked = parser.parse_args()
    more = (asked.jobs, asked.months, asked.quiet, asked.site, asked.bad_units)
    work = [(asked.first + n, *more) for n in range(asked.seeds)]
    depots, sums, shares = Counter[str](), Counter[str](), []
    with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
        for number, (seed, told, luck) in enumerate(pool.imap_unordered(one, work), 1):
            sums.update(told)
            depots.update(told.keys())
            real = told.total() - told["study"] - told["site"]
            wrong = real if asked.quiet else told["luck"]
            shares.append(wrong / real if real else 0.0)
            print(f"{number} seed {seed}: {dict(told)} {'; '.join(luck)}", flush=True)
    n = asked.seeds
    print(f"\n{n} depots of {asked.jobs:,} jobs in {asked.months} months{', nothing planted' if asked.quiet else ''}")
    for effect in sorted(depots):
        share = proportion_interval(successes=depots[effect], trials=n)
        print(f"{effect:12} in {depots[effect]:4} depots: {share.estimate:.1%} ({share.low:.1%} to {share.high:.1%})")
    with_luck = sum(s > 0 for s in shares)
    any_luck = proportion_interval(successes=with_luck, trials=n)
    print(f"any by chance in {with_luck} depots: {any_luck.estimate:.1%} ({any_luck.low:.1%} to {any_luck.high:.1%})")
    print(f"mean share of chance among a depot's findings: {sum(shares) / n:.1%}; findings {sums.total()}: {sums}")


if __name__ == "__main__":
    sys.exit(main())
