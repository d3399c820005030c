"""Workshops made for the promises: a generator of its own, with the ways in which real work is not independent.

It shares nothing with `rqa.demo`. Technicians, benches, stations and months differ at random; there is a season; units
have a frailty; the checks of a job go together; the mix of work drifts; names are missing; records come late. What is
planted is an argument; all else is a workshop in which nothing is to be found.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from rqa.depot import Depot
from rqa.measures.keep import keep
from tests.depots import depot_of

FIRST = datetime(2024, 1, 1)
DAYS_A_MONTH = 30.4375
MODELS = ("Teal", "Umber", "Vermeil", "Ochre", "Sienna", "Cobalt")
PROCEDURES, SUBSYSTEMS = ("board", "panel"), ("board", "panel", "cell", "hinge")
STEPS = {
    "board": ("open lid", "lift board", "seat board", "reseat cable", "close lid", "clean contacts"),
    "panel": ("open frame", "lift panel", "bond panel", "reseat ribbon", "align panel", "close frame"),
}
TOUCHES = {"board": "board", "panel": "panel"}
TESTS = ("boot", "picture", "charge")
LONGEST_LAG = 200


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """What a workshop is like. `sd_…` are standard deviations of effects on the log-odds; a job has one `sd_job`."""

    jobs: int = 150
    months: int = 24
    technicians: int = 8
    benches: int = 4
    stations: int = 3
    fails: float = 0.06
    test_fails: float = 0.05
    comes_back: float = 0.09
    new_faults: float = 0.4
    sd_technician: float = 0.0
    sd_bench: float = 0.0
    sd_station: float = 0.0
    sd_month: float = 0.0
    sd_model: float = 0.0
    season: float = 0.0
    sd_job: float = 0.0
    frailty: float = 0.0
    drift: float = 0.0
    own_bench: bool = False
    """Whether a technician works at one bench, else at any."""
    mostly: float = 0.0
    """Share of the jobs that a technician does at a bench of their own; the others are done at any."""
    missing: float = 0.02
    late: float = 0.01
    bad_bench: float = 1.0
    """Times as many checks fail, and jobs come back, at bench B01 in the last `bad_from` months."""
    bad_technician: float = 1.0
    bench_returns: float = 1.0
    """Times as many jobs come back from bench B01; `kind_returns`: of the first kind of work; `person_step`: times as
    many first checks of the first step of a board fail with W00. All in the last `bad_from` months."""
    kind_returns: float = 1.0
    person_step: float = 1.0
    models: int = 3
    bad_from: int = 10_000


@dataclass(frozen=True, eq=False)
class Made:
    """The tables of a workshop, as frames."""

    jobs: pl.DataFrame
    steps: pl.DataFrame
    diagnostics: pl.DataFrame
    true_yield: float
    """The share of first checks that pass, over all that the job's own effect may be."""


def _odds(share: float, effect: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + (1.0 - share) / share * np.exp(-effect))


def made(rng: np.random.Generator, w: Workshop) -> Made:
    """One workshop: repairs in order, their first come-backs as jobs of their own, checks and test runs."""
    n = int(rng.poisson(w.jobs * w.months))
    day = np.sort(rng.uniform(0.0, w.months * DAYS_A_MONTH, n))
    month = np.minimum((day / DAYS_A_MONTH).astype(int), w.months - 1)
    mixing = 0.5 + w.drift * (month / max(w.months - 1, 1) - 0.5)
    procedure = (rng.random(n) < mixing).astype(int)
    model = rng.integers(0, w.models, n)
    technician = rng.integers(0, w.technicians, n)
    bench = rng.integers(0, w.benches, n)
    bench = np.where(rng.random(n) < (1.0 if w.own_bench else w.mostly), technician % w.benches, bench)
    site = technician % 2
    of_technician = rng.normal(0.0, w.sd_technician, w.technicians)
    of_bench = rng.normal(0.0, w.sd_bench, w.benches)
    of_month = rng.normal(0.0, w.sd_month, w.months) + w.season * np.sin(2 * np.pi * np.arange(w.months) / 12.0)
    bad = w.months - 1 - month < w.bad_from
    worse = np.log(w.bad_bench) * (bench == 0) * bad + np.log(w.bad_technician) * (technician == 0) * bad
    effect = of_technician[technician] + of_bench[bench] + of_month[month] + worse
    of_job = rng.normal(0.0, w.sd_job, n)
    frail = rng.gamma(1.0 / w.frailty**2, w.frailty**2, n) if w.frailty else np.ones(n)

    width = len(STEPS["board"])
    of_step = rng.normal(0.0, 0.5, (len(PROCEDURES), width))
    of_model = rng.normal(0.0, w.sd_model, w.models)[model]
    chance = _odds(w.fails, of_step[procedure] + (effect + of_model + of_job)[:, None])
    failed = rng.random((n, width)) < chance * np.where(
        ((technician == 0) & (procedure == 0) & bad)[:, None] & (np.arange(width) == 0), w.person_step, 1.0
    )
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)
    apart = of_step[procedure] + (effect + of_model)[:, None]
    each_effect = [_odds(w.fails, apart + w.sd_job * float(x)).mean() for x in nodes]
    fails = float(weights @ np.array(each_effect))
    of_station = rng.normal(0.0, w.sd_station, w.stations)
    station = rng.integers(0, w.stations, n)
    runs = rng.random((n, len(TESTS))) < _odds(w.test_fails, (of_station[station] + of_job)[:, None] + np.zeros(3))
    times = np.where((bench == 0) & bad, w.bench_returns, 1.0)
    times = times * np.where((model == 0) & (procedure == 0) & bad, w.kind_returns, 1.0)
    back = rng.random(n) < np.clip(_odds(w.comes_back, effect) * frail * times, 0.0, 1.0)
    lag = np.minimum(rng.exponential(35.0, n) + 1.0, LONGEST_LAG)
    new = rng.random(n) < w.new_faults
    touched = np.array([SUBSYSTEMS.index(TOUCHES[p]) for p in PROCEDURES])[procedure]
    found = np.where(new, rng.integers(0, len(SUBSYSTEMS), n), touched)

    again = np.flatnonzero(back & (day + lag < w.months * DAYS_A_MONTH))
    names, people = np.array([f"J{i:06d}" for i in range(n)]), np.array([f"W{t:02d}" for t in range(w.technicians)])
    opened = np.concatenate([day, (day + lag)[again]])
    jobs = pl.DataFrame({
        "job_id": np.concatenate([names, np.char.add(names[again], "R")]),
        "unit_id": np.concatenate([names, names[again]]),
        "model": np.array(MODELS)[np.concatenate([model, model[again]])],
        "procedure": np.array(PROCEDURES)[np.concatenate([procedure, procedure[again]])],
        "site": np.array(["Ash", "Elm"])[np.concatenate([site, site[again]])],
        "technician": people[np.concatenate([technician, technician[again]])],
        "found": np.array(SUBSYSTEMS)[np.concatenate([touched, found[again]])],
        "disposition": ["repaired"] * n + ["not_economic"] * len(again),
    }).with_columns(_times("opened_at", opened), _times("closed_at", opened + 0.5))
    jobs = jobs.with_columns(
        complaint=pl.col("found"),
        technician=pl.when(pl.Series(rng.random(len(opened)) >= w.missing)).then(pl.col("technician")),
        opened_on=pl.col("opened_at").dt.date(), closed_on=pl.col("closed_at").dt.date(),
    )
    row, place = (each.ravel() for each in np.indices((n, width)))
    kept = rng.random(n * width) >= w.late * (month[row] == w.months - 1)
    steps = pl.DataFrame({
        "job_id": names[row], "step_seq": place + 1, "attempt": 1,
        "step": np.array([STEPS[p] for p in PROCEDURES])[procedure[row], place],
        "outcome": np.where(failed.ravel(), "fail", "pass"),
        "technician": people[technician[row]],
        "bench": np.array([f"B{b + 1:02d}" for b in range(w.benches)])[bench[row]],
        "done_on": jobs["closed_on"].to_numpy()[row],
    }).filter(pl.Series(kept))
    row, place = (each.ravel() for each in np.indices((n, len(TESTS))))
    tests = pl.DataFrame({
        "job_id": names[row], "test": np.array(TESTS)[place], "run": 1,
        "outcome": np.where(runs.ravel(), "fail", "pass"),
        "station": np.array([f"S{s + 1:02d}" for s in range(w.stations)])[station[row]],
        "run_at": jobs["closed_at"].to_numpy()[row], "run_on": jobs["closed_on"].to_numpy()[row],
    })
    return Made(jobs, steps, tests, 1.0 - fails / weights.sum())


def _times(name: str, days: np.ndarray) -> pl.Series:
    at = np.datetime64(FIRST, "us") + (days * 86_400.0).astype(np.int64) * np.timedelta64(1_000_000, "us")
    return pl.Series(name, at)


PROCEDURE_ROWS = [
    {"procedure": p, "step_seq": k + 1, "step": step, "subsystems": [TOUCHES[p]], "phase": "fit"}
    for p in PROCEDURES for k, step in enumerate(STEPS[p])
]


@contextmanager
def workshop(tables: Made) -> Iterator[Depot]:
    """The workshop as an open depot, in memory."""

    def kept(connection: Any) -> None:
        for name in ("jobs", "steps", "diagnostics"):
            connection.register("given", getattr(tables, name).to_arrow())
            connection.execute(f"insert into {name} by name select * from given")
            connection.unregister("given")
        keep(connection)

    with depot_of({"procedures": PROCEDURE_ROWS}, kept=kept) as depot:
        yield depot
