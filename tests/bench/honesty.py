"""How often what rqa promises holds, in workshops unlike the demo: `python tests/bench/honesty.py [NAME …]`.

Each simulation makes many workshops by a generator of its own (`made_workshops.py`: technicians, benches, stations and
months that differ, a season, frail units, checks of a job that go together, a drifting mix, missing names, late
records) and counts how often a promise is kept, or a planted effect is seen. Printed are the figure promised, and the
figure measured ± one standard error. `--replicates` says how many, `--shard 2/4` makes the second quarter of them.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from rqa.answers.charts.chart_basis import ChartSettings
from rqa.answers.charts.chart_rules import rules_named
from rqa.answers.charts.chart_series import Series
from rqa.answers.charts.chart_types import make
from rqa.answers.compare.own_work_words import SAME as SAME_WORK
from rqa.answers.core.finding import Finding, judged
from rqa.answers.improve.findings import newest_month, stated_in
from rqa.depot import Depot
from rqa.stats import proportion_interval
from tests.answers.improve.test_recheck import AS_OF, made_rows
from tests.bench.made_workshops import Workshop, made, workshop
from tests.bench.pages_from_counts import a_quiet_year, is_named
from tests.depots import depot_of
from tests.stats.test_unequal_draws import held

STEADY = Workshop(jobs=80)
PEOPLE = replace(STEADY, sd_technician=0.5, mostly=0.8)
JOBS_ALIKE = replace(STEADY, sd_job=1.5, months=6)
ALL = replace(STEADY, sd_technician=0.3, mostly=0.5, sd_job=0.8, sd_month=0.1, frailty=0.5, drift=0.3)
WATCHED = replace(STEADY, sd_technician=0.3, mostly=0.5, sd_month=0.1, sd_job=0.8)
MONTHS = tuple(date(2024 + i // 12, i % 12 + 1, 1) for i in range(24))
STAND_OUT = {"above expectation", "below expectation"}
OF_PEOPLE = {"technician", "site"}
"""Sites differ as their people do."""


@dataclass(frozen=True)
class Simulation:
    """One line of the table: what is counted, how often it is promised at most (or at least), and how to try it once.

    `once` takes a generator and says whether it happened, or which share of what was told; None where nothing was told.
    """

    says: str
    promised: float | None
    at_least: bool
    once: Callable[[np.random.Generator], float | None]


def asked(w: Workshop, ask: Callable[[Depot], float | None]) -> Callable[[np.random.Generator], float | None]:
    """A question to one workshop of this kind."""

    def once(rng: np.random.Generator) -> float | None:
        with workshop(made(rng, w)) as depot:
            return ask(depot)

    return once


def any_stands_out(who: str, outcome: str) -> Callable[[Depot], float]:
    return lambda depot: float(bool(STAND_OUT & set(depot.compare(who, outcome=outcome).table["verdict"])))


def first_bench_is_named(depot: Depot) -> float:
    return float(any(f.scope.get("bench") == "B01" for f in depot.compare("bench").findings))


def yield_is_held(rng: np.random.Generator) -> float:
    tables = made(rng, JOBS_ALIKE)
    with workshop(tables) as depot:
        row = depot.first_pass_yield(by=()).table.row(0, named=True)
    return float(row["low"] <= tables.true_yield <= row["high"])


def month_differs(measure: str) -> Callable[[Depot], float | None]:
    def ask(depot: Depot) -> float | None:
        found = depot.charts.month_against_before(measure)
        return None if found is None else float(found.more_than_luck)

    return ask


def found_in(depot: Depot) -> tuple[Finding, ...]:
    month = newest_month(depot._snapshot)
    return tuple(f for f, _ in judged(stated_in(depot._snapshot, month)[0])) if month else ()


def any_finding(depot: Depot) -> float:
    return float(bool(found_in(depot)))


def share_false(depot: Depot) -> float:
    """Of the findings those about neither people nor sites, where only people differ; 0 where there are none."""
    found = found_in(depot)
    false = [f for f in found if not OF_PEOPLE & set(f.scope) and "or its people" not in f.what]
    return len(false) / len(found) if found else 0.0


def quiet_chart(jobs: int, spread: float, wave: float, *, unsaid: bool) -> Callable[[np.random.Generator], float]:
    """Whether 24 months in which nothing happens raise a signal on the chart; `unsaid`: one without the caution."""

    def once(rng: np.random.Generator) -> float:
        true = 0.09 * (1.0 + wave * np.sin(2.0 * np.pi * (np.arange(24) + rng.integers(12)) / 12.0))
        if spread:
            true = true * rng.gamma(spread**-2, spread**2, 24)
        size = np.maximum(rng.poisson(jobs, 24), 1)
        series = Series((), MONTHS, size, np.ones(24, dtype=bool), {"count": rng.binomial(size, true), "size": size})
        few = rules_named("control_chart", "few")
        chart = make(series, "share", chart="auto", limits=None, rules=few, basis=ChartSettings())
        return float(any(chart.signal) and not (unsaid and not chart.promised))

    return once


def alarms_of_a_year(depot: Depot) -> float:
    """Signals that a quiet year raised, all series together."""
    found = depot.charts.watch().watched
    return float(found["raised"].sum()) if found is not None else 0.0


def doubled_bench_is_seen(depot: Depot) -> float:
    """Whether the bench at which twice as many checks fail since half a year has signalled by now."""
    found = depot.charts.watch().watched
    return float(found is not None and found.filter(series="bench B01")["raised"].sum() > 0)


def forecasts_held(depot: Depot) -> float | None:
    """The share of past forecasts by site that held what came."""
    tried = depot.returns.forecast(by="site").backtest
    return None if tried is None or tried.is_empty() else float(tried["held"].mean())  # type: ignore[arg-type]


def mix_differs(depot: Depot) -> float | None:
    """Whether the mix of come-backs is said to differ between the sites."""
    p = depot.returns.mix(by="site").p_value
    return None if p is None else float(p < 0.05)


def own_work_stands_out(depot: Depot) -> float:
    """The share of the rows of one technician's sheet that say above or below."""
    verdicts = depot.technician("W00").table["verdict"]
    return float((verdicts != SAME_WORK).mean())


def faulty_jobs_held(rng: np.random.Generator) -> float:
    """Whether the limits of a month of draws hold the number of faulty jobs."""
    return float(held(rng))


def risk_is_seen(rng: np.random.Generator) -> float | None:
    """Of the tenths of later jobs, the share of which the predicted risk lies in 95 % limits of what was seen."""
    with depot_of(made_rows(rng), as_of=AS_OF.isoformat()) as depot:
        tenths = depot.actions.recheck_plan().tenths
    if tenths is None:
        return None
    seen = proportion_interval(successes=tenths["returned"].to_numpy(), trials=tenths["jobs"].to_numpy())
    told = tenths["predicted"].to_numpy()
    return float(((seen.low <= told) & (told <= seen.high)).mean())


SIMULATIONS: dict[str, Simulation] = {
    "yield limits": Simulation("95 % limits of a yield hold the true one, checks of a job alike", 0.95, True,
                               yield_is_held),
    "benches": Simulation("a bench stands out by first checks, people differ, benches do not", 0.05, False,
                          asked(PEOPLE, any_stands_out("bench", "first_pass"))),
    "benches, come-backs": Simulation("a bench stands out by come-backs, people differ, benches do not", 0.05, False,
                                      asked(PEOPLE, any_stands_out("bench", "comeback"))),
    "stations": Simulation("a station stands out by first runs, checks of a job alike", 0.05, False,
                           asked(replace(STEADY, sd_job=1.0), any_stands_out("station", "first_run"))),
    "technicians": Simulation("a technician stands out by first checks, none differs, checks of a job alike", 0.05,
                              False, asked(replace(STEADY, sd_job=1.0), any_stands_out("technician", "first_pass"))),
    "bad bench": Simulation("the bench at which 1.8 times as many checks fail is named, people differ", None, True,
                            asked(replace(PEOPLE, bad_bench=1.8), first_bench_is_named)),
    "month, come-backs": Simulation("the month differs from the year before, months alike", 0.05, False,
                                    asked(STEADY, month_differs("comebacks"))),
    "month, yield": Simulation("the month's yield differs, months alike, checks of a job alike", 0.05, False,
                               asked(replace(STEADY, sd_job=1.0), month_differs("first_pass_yield"))),
    "month, months vary": Simulation("the month's yield differs, months vary by 0.1 (log-odds)", 0.05, False,
                                     asked(replace(STEADY, sd_month=0.1), month_differs("first_pass_yield"))),
    "quiet chart": Simulation("24 quiet months of 300 jobs raise a signal", 0.128, False,
                              quiet_chart(300, 0.0, 0.0, unsaid=False)),
    "quiet chart, months vary": Simulation("24 quiet months of 800 jobs that vary by 15 % raise a signal", 0.128, False,
                                           quiet_chart(800, 0.15, 0.0, unsaid=False)),
    "quiet chart, season": Simulation("24 months of 800 jobs with a season of 20 % raise one without the caution",
                                      0.128, False, quiet_chart(800, 0.0, 0.2, unsaid=True)),
    "findings": Simulation("a workshop in which nothing is planted has any finding", 0.05, False,
                           asked(replace(STEADY, jobs=50), any_finding)),
    "findings, a quiet year": Simulation("any of twelve pages in a row lists a finding, nothing is planted", 0.1, False,
                                         a_quiet_year),
    "new bench": Simulation("a bench of 12 from which 3 times as many come back for six months is named", None, True,
                            is_named("bench")),
    "new kind": Simulation("a kind of work of 12 of which 3 times as many come back for six months is named", None,
                           True, is_named("kind")),
    "new step of a person": Simulation("a step at which one of 8 people fails twice as often for six months is named",
                                       None, True, is_named("step")),
    "findings, people differ": Simulation("share of false findings, all at once but only people truly differ", 0.05,
                                          False, asked(replace(ALL, jobs=50), share_false)),
    "watch": Simulation("false alarms of a watch in a quiet year, of one that is allowed", 1.0, False,
                        asked(STEADY, alarms_of_a_year)),
    "watch, all vary": Simulation("the same where people and months (0.1 log-odds) differ and checks of a job go "
                                  "together", 1.0, False, asked(WATCHED, alarms_of_a_year)),
    "watch, doubled bench": Simulation("a bench at which checks fail twice as often for 6 months has signalled, people "
                                       "and months differ", None, True,
                                       asked(replace(WATCHED, bad_bench=2.0, bad_from=6), doubled_bench_is_seen)),
    "forecast": Simulation("95 % limits of come-backs in the next 4, 8 and 13 weeks hold what came, months alike", 0.95,
                           True, asked(STEADY, forecasts_held)),
    "forecast, all vary": Simulation("the same where people and months (0.1 log-odds) differ", 0.95, True,
                                     asked(WATCHED, forecasts_held)),
    "recheck": Simulation("95 % limits of jobs that leave with a fault hold their number, 5 drawn on 20 days", 0.95,
                          True, faulty_jobs_held),
    "recheck, risk": Simulation("the predicted risk of a tenth of later jobs lies in 95 % limits of what came back",
                                None, True, risk_is_seen),
    "mix": Simulation("the mix of come-backs is said to differ by site, sites alike", 0.05, False,
                      asked(STEADY, mix_differs)),
    "own sheet": Simulation("a row of a technician's own sheet is not as expected, none differs, checks of a job alike",
                            0.05, False, asked(replace(STEADY, sd_job=1.0), own_work_stands_out)),
}
"""Every simulation by name; `promises.py` says which promise each is of."""


def measured(name: str, replicates: Sequence[int], seed: int = 1) -> tuple[float, float, int]:
    """The mean over these replicates, its standard error, and of how many it is; each has a generator of its own."""
    of = list(SIMULATIONS).index(name)
    seen = [SIMULATIONS[name].once(np.random.default_rng([seed, of, one])) for one in replicates]
    told = np.array([x for x in seen if x is not None], dtype=np.float64)
    n = max(len(told), 1)
    # A share of 0 or 1 is no surer than one case on the other side makes it.
    spread = max(float(told.std()) if len(told) else 0.0, (1.0 / (n + 2)) ** 0.5)
    return float(told.mean()) if len(told) else float("nan"), spread / n**0.5, len(told)


def line(name: str, figure: tuple[float, float, int]) -> str:
    """One line of the table."""
    s, (value, error, n) = SIMULATIONS[name], figure
    promised = "" if s.promised is None else f"{'at least' if s.at_least else 'at most'} {s.promised:.1%}"
    return f"| {name} | {s.says} | {promised} | {value:.1%} ± {error:.1%} | {n} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help="; ".join(SIMULATIONS))
    parser.add_argument("--replicates", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--shard", default="1/1")
    args = parser.parse_args()
    part, of = (int(x) for x in args.shard.split("/"))
    print("| simulation | counted | promised | measured | of |\n|---|---|---|---|---|", flush=True)
    for name in args.names or SIMULATIONS:
        print(line(name, measured(name, range(part - 1, args.replicates, of), args.seed)), flush=True)


if __name__ == "__main__":
    main()
