"""Pages from counts alone: `python tests/bench/pages_from_counts.py --years 40 [--plant bench] [--shard 1/4]`.

Workshops of `made_workshops.py`, counted here and not by the engine, so that a page costs half a second. A page makes
the comparisons over windows of months that the findings make (people, places, steps, tests, kinds of work) and judges
them as a page does. Without `--plant`: in how many years of twelve pages any lists a finding or a first sign, and how
the p-values of the newest page lie. With it: how often what is planted in the last six months at 500 jobs a month is
named by the newest page, beside how often a test of its own that knows where and since when calls it at 5 %. The other
comparisons of a page (breaches, retests, readings, bursts, attribution) are not made here; for power they are counted
among the comparisons as if none showed anything.
"""

import argparse
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
import polars as pl

from rqa.answers.compare.allowances import enough_of, spread_of, usual_spread
from rqa.answers.compare.comparison import LEAST, PLACES
from rqa.answers.compare.expected_counts import expected_of, matrix, set_within_people
from rqa.answers.compare.recent import stated_of_cells
from rqa.answers.core.finding import ALLOWED, IN_A_YEAR, PAGES, Finding, _judged_by, judged, judged_for_page
from rqa.answers.core.scope import months_back
from rqa.answers.core.windows import Span, level_of_each, nested, surest
from rqa.answers.improve import contrast_families as families
from rqa.answers.improve.people_steps import BY, people_at_steps
from tests.bench.made_workshops import Made, Workshop, made

WINDOW = 30
KINDS = ("model", "procedure", "billing")
COMPARED = {
    "comeback": ("bench", "technician", "site"), "first_pass": ("technician", "bench", "site"),
    "first_run": ("station", "site"),
}

NEW = Workshop(jobs=500, models=6, benches=12, fails=0.08, bad_from=6)
"""500 jobs a month of 12 kinds of work by 8 people at 12 benches; what is planted began six months ago."""
PLANTED: dict[str, tuple[dict[str, float], dict[str, str]]] = {
    "bench": ({"bench_returns": 3.0}, {"bench": "B01"}),
    "kind": ({"kind_returns": 3.0}, {"model": "Teal", "procedure": "board"}),
    "step": ({"person_step": 2.0}, {"technician": "W00", "step": "open lid"}),
}
"""What is planted, and what names it."""
OTHERS = 0.4
"""Comparisons that are not made here, for each that is."""


def cells_of(tables: Made) -> dict[str, pl.DataFrame]:
    """Events and cases of first checks, first runs and matured jobs, with all their names and the month."""
    jobs = tables.jobs.with_columns(billing=pl.lit("unknown"), technician=pl.col("technician").fill_null("unknown"))
    again = jobs.filter(pl.col("job_id").str.ends_with("R")).select(
        pl.col("unit_id"), back=pl.col("opened_on"), back_found=pl.col("found")
    )
    first = jobs.filter(~pl.col("job_id").str.ends_with("R"))
    bench = tables.steps.group_by("job_id").agg(pl.col("bench").first())
    day = jobs["closed_on"].max()
    returned = (
        first.join(again, on="unit_id", how="left").join(bench, on="job_id")
        .with_columns(after=(pl.col("back") - pl.col("closed_on")).dt.total_days())
        .filter((pl.lit(day) - pl.col("closed_on")).dt.total_days() >= WINDOW)
        .with_columns(bad=((pl.col("after") <= WINDOW) & (pl.col("back_found") == pl.col("found"))).fill_null(False))
        .with_columns(month=pl.col("closed_on").dt.truncate("1mo"))
    )
    kind = first.select("job_id", "model", "procedure", "billing", "site")
    checks = tables.steps.join(kind, on="job_id").with_columns(
        bad=pl.col("outcome") == "fail", month=pl.col("done_on").dt.truncate("1mo")
    )
    done_by = kind.join(first.select("job_id", "technician"), on="job_id")
    runs = tables.diagnostics.join(done_by, on="job_id").with_columns(
        bad=pl.col("outcome") == "fail", month=pl.col("run_on").dt.truncate("1mo")
    )
    return {"comeback": returned, "first_pass": checks, "first_run": runs}


def counted(cells: pl.DataFrame, names: tuple[str, ...], months: Span) -> pl.DataFrame:
    """Events and cases by these names in some months."""
    inside = cells.filter(pl.col("month").is_between(*months))
    return inside.group_by(*names, maintain_order=True).agg(events=pl.col("bad").sum(), trials=pl.len())


def totals(cells: pl.DataFrame, names: tuple[str, ...], passed: bool, months: Span) -> families.Totals:
    """The same as the findings take them: passed (or events) and cases by names."""
    rows = counted(cells, names, months).rows()
    return {r[:-2]: (r[-1] - r[-2] if passed else r[-2], r[-1]) for r in rows}


def spread(cells: pl.DataFrame, who: str, named: tuple[str, ...]) -> float:
    """How much the groups of a comparison vary over all months, as `compare` has it where checks are independent."""
    plain = [name for name in named if name != "technician" or who == "technician"]
    summed = cells.group_by(plain, maintain_order=True).agg(pl.col("events", "trials").sum())
    groups = matrix(summed, who, plain[1:], pl.col("events"), pl.col("trials"), ())
    found = expected_of(groups, "stratified")
    if who in PLACES and groups.known > 1:
        found, _ = set_within_people(found, groups, cells.select(*named, "events", "trials").rows())
    return usual_spread(spread_of(found, enough_of(groups, found, LEAST)), np.ones(groups.known))


class _Counted:
    mark, said = "", "on what the job had worked on"


def page(cells: dict[str, pl.DataFrame], span: Span, windows: tuple[Span, ...] = ()) -> Iterator[Finding]:
    """What one page compares over windows of months, by default the usual ones."""
    windows = windows or nested(span)
    checks, runs, jobs = cells["first_pass"], cells["first_run"], cells["comeback"]
    for of, names, state in (
        (checks, ("procedure", "step", "model"), families.steps_by_model), (runs, ("test", "model"),
                                                                             families.tests_by_model),
        (checks, BY, people_at_steps),
    ):
        yield from families.over_windows(windows, partial(totals, of, names, True), state)
    kinds = partial(families.kinds_of_work, counted=_Counted())  # type: ignore[arg-type]
    yield from families.over_windows(windows, partial(totals, jobs, ("model", "procedure"), False), kinds)
    for outcome, whose in COMPARED.items():
        kind = {"comeback": (), "first_pass": ("step",), "first_run": ("test",)}[outcome]
        for who in whose:
            named = (who, *(("technician",) if who in PLACES else ()), *KINDS, *kind)
            settings = {
                "by_job": 1.0, "where": None, "window": WINDOW if outcome == "comeback" else None,
                "spread": spread(counted(cells[outcome], named, span), who, named),
            }
            level = level_of_each(windows)
            yield from surest(windows, [
                stated_of_cells(counted(cells[outcome], named, months), who, outcome, named, settings, level)
                for months in windows
            ])


def of_year(rng: np.random.Generator, jobs: int, pages: int = PAGES) -> tuple[float, tuple[Finding, ...]]:
    """The smallest adjusted p-value that a year's pages would list, nothing planted; and what the newest compared."""
    cells = cells_of(made(rng, replace(Workshop(), jobs=jobs)))
    first, last = cells["first_pass"]["month"].min(), cells["first_pass"]["month"].max()
    stated = [tuple(page(cells, (first, months_back(last, k)))) for k in range(pages)]  # type: ignore[arg-type]
    return min(p for each in stated for p in (1.0, *(p for _, p in judged(each)))), stated[0]


def a_quiet_year(rng: np.random.Generator) -> float:
    """Whether any of twelve pages lists a finding where nothing is planted, at 100 jobs a month."""
    return float(of_year(rng, 100)[0] <= IN_A_YEAR / PAGES)


def of_planted(rng: np.random.Generator, plant: str) -> tuple[bool, bool, bool]:
    """Whether the newest page names what is planted as a first sign or finding, as a finding, and whether a test does
    that knows where and since when."""
    more, where = PLANTED[plant]
    cells = cells_of(made(rng, replace(NEW, **more)))  # type: ignore[arg-type]
    first, last = cells["first_pass"]["month"].min(), cells["first_pass"]["month"].max()
    stated = tuple(page(cells, (first, last)))  # type: ignore[arg-type]
    silent = replace(stated[0], p_value=1.0, mirrored=False, worse=False)
    family = (*stated, *[silent] * round(OTHERS * len(stated)))
    since = (months_back(last, NEW.bad_from - 1), last)  # type: ignore[arg-type]
    own = [_judged_by(f) for f in page(cells, since, (since,)) if dict(f.scope).items() >= where.items()]
    named = [any(dict(f.scope).items() >= where.items() for f, _ in told) for told in (judged(family),
                                                                                       judged_for_page(family))]
    return named[0], named[1], min(own, default=1.0) <= ALLOWED


def is_named(plant: str) -> Callable[[np.random.Generator], float]:
    """Whether what is planted is named, as a finding or a first sign."""
    return lambda rng: float(of_planted(rng, plant)[0])


def _quiet(each: Iterator[np.random.Generator], jobs: int, pages: int) -> None:
    listed, signs, n = 0, 0, 0
    p_values = defaultdict[str, list[float]](list)
    for rng in each:
        smallest, newest = of_year(rng, jobs, pages)
        for f in newest:
            p_values[f.kind].append(_judged_by(f))
        n, listed, signs = n + 1, listed + (smallest <= IN_A_YEAR / PAGES), signs + (smallest <= ALLOWED)
        print(f"{n} years: a page lists a finding in {listed}, a finding or a first sign in {signs}; smallest "
              f"{smallest:.3g}; {len(newest)} comparisons", flush=True)
    for kind, seen in sorted(p_values.items()):
        below = " ".join(f"<{c:g} {np.mean(np.array(seen) < c):.4f}" for c in (0.05, 0.01, 0.001))
        print(f"{kind}: {len(seen)} {below}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=40)
    parser.add_argument("--jobs", type=int, default=100)
    parser.add_argument("--pages", type=int, default=PAGES)
    parser.add_argument("--plant", choices=PLANTED)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--shard", default="1/1")
    args = parser.parse_args()
    part, of = (int(x) for x in args.shard.split("/"))
    each = (np.random.default_rng([args.seed, 4, one]) for one in range(part - 1, args.years, of))
    if not args.plant:
        return _quiet(each, args.jobs, args.pages)
    seen = np.zeros(3)
    for n, rng in enumerate(each, 1):
        seen += of_planted(rng, args.plant)
        print(f"{args.plant}, {n}: named {seen[0]:.0f}, as a finding {seen[1]:.0f}; knowing where {seen[2]:.0f}",
              flush=True)
    return None


if __name__ == "__main__":
    main()
