"""Come-back curves of many jobs by twenty groups, against a row-wise library.

`python tests/bench/curves.py --jobs 1000000`. The store holds invented jobs alone, made in the engine, so that counting
is timed and not loading. The curve from kept counts, the same curve from rows by statsmodels (frames already in memory,
one estimate a group), and one SELECT that hashes the columns the curve needs are timed in turns and medians printed, as
in run.py; read the ratios, not the seconds.
"""

import argparse
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from run import anew, connect, in_turns, scan
from statsmodels.duration.survfunc import SurvfuncRight

import rqa
from rqa.measures.keep import keep
from rqa.store.ddl import FORMAT_VERSION, create_statements
from rqa.store.engine import connect as store_connection

BY = ("model", "procedure")
UPTO = 180
JOBS = """
insert into jobs by name
with drawn as (
    select i, hash(i, 1) % 1000000 / 1000000.0 as u, hash(i, 2) as h, hash(i, 3) as k
    from range(cast($jobs as bigint)) as t(i)
), placed as (
    select i, u, h, k, 'U' || (h % greatest(cast($jobs as bigint) * 3 // 4, 1)) as unit_id,
           timestamp '2024-01-01' + to_minutes(cast(u * 1051200 as bigint)) as opened_at
    from drawn
)
select 'J' || i as job_id, unit_id, opened_at, opened_at + to_hours(cast(1 + k % 60 as integer)) as closed_at,
       cast(opened_at as date) as opened_on,
       cast(opened_at + to_hours(cast(1 + k % 60 as integer)) as date) as closed_on,
       'M' || (h % 4) as model, 'S' || (k % 3) as site, 'P' || (k % 5) as procedure, 'T' || (k % 40) as technician,
       case k % 3 when 0 then 'warranty' when 1 then 'paid' else 'goodwill' end as billing, 'repaired' as disposition,
       case k % 4 when 0 then null else 'F' || (k % 6) end as found, 'F' || (h % 6) as complaint,
       'made' as source_file, i + 2 as source_row
from placed
"""


def made_store(folder: Path, jobs: int) -> Path:
    path = folder / "depot.duckdb"
    with store_connection(path, read_only=False) as c:
        for statement in create_statements():
            c.execute(statement)
        c.execute(JOBS, {"jobs": jobs})
        c.execute(
            "insert into retirements by name select distinct unit_id, timestamp '2025-12-01' as retired_at, "
            "date '2025-12-01' as retired_on, 'made' as source_file, 1 as source_row from jobs "
            "where hash(unit_id) % 50 = 0"
        )
        keep(c)
        about = {"format_version": FORMAT_VERSION, "rqa_version": "0", "title": "bench", "currency": "EUR"}
        c.executemany("insert into about values (?, ?)", list(about.items()))
    return path


ROWS = """
select l.model || ' ' || l.procedure as named,
       case when l.elapsed_days is not null then l.elapsed_days
            when r.retired_on >= l.closed_on then date_diff('day', l.closed_on, r.retired_on)
            else date_diff('day', l.closed_on, $day) end as day,
       cast(l.elapsed_days is not null as integer) as back
from links as l left join retirements as r using (unit_id)
"""
"""How long each job was followed and whether it came back: what the row-wise library takes."""


def row_wise(named: Any, day: Any, back: Any) -> dict[str, Any]:
    return {one: SurvfuncRight(day[named == one], back[named == one]) for one in np.unique(named)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=5)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        path = made_store(Path(scratch), args.jobs)
        with rqa.open(path) as depot, connect() as c:
            c.execute(f"attach '{path}' as depot (read_only)")
            c.execute("use depot")
            frame = c.sql(ROWS, params={"day": depot.as_of.date()}).pl()
            named, day, back = (frame[name].to_numpy() for name in ("named", "day", "back"))
            seconds = in_turns(
                args.repeat,
                curve=lambda: anew(depot).returns.curve(by=BY, upto=UPTO),
                cause=lambda: anew(depot).returns.curve(by=BY, upto=UPTO, cause="repeat"),
                rows=lambda: row_wise(named, day, back),
                scan=scan(c, "links", "model procedure closed_on elapsed_days class unit_id"),
                scan_counts=scan(c, "comeback_counts", "model procedure closed_on elapsed_days class jobs"),
                projection=lambda: anew(depot).projection(90),
                backtest=lambda: anew(depot).returns.projection_backtest(90),
                recurrences=lambda: anew(depot).returns.recurrences(by="model"),
                cohorts=lambda: anew(depot).returns.cohorts(by="model"),
                causes=lambda: anew(depot).returns.classes(by="model"),
            )
            worst = furthest(depot.returns.curve(by=BY, upto=UPTO).table, row_wise(named, day, back))
    groups = len(np.unique(named))
    print(f"{args.jobs:,} jobs, {len(named):,} of them index jobs, {int(back.sum()):,} come-backs, {groups} groups")
    print(f"curve to day {UPTO} by {' and '.join(BY)}: {seconds['curve'] * 1000:.0f} ms")
    print(f"  row-wise library, frames in memory: {seconds['rows'] / seconds['curve']:.1f} times as long")
    print(f"  scan of the links' columns: curve takes {seconds['curve'] / seconds['scan']:.2f} x")
    print(f"  scan of the kept counts' columns: curve takes {seconds['curve'] / seconds['scan_counts']:.2f} x")
    print(f"  furthest from the library: {worst:.1e} (six digits are kept)")
    for name in ("cause", "causes", "projection", "backtest", "recurrences", "cohorts"):
        print(f"{name}: {seconds[name] * 1000:.0f} ms")


def furthest(table: Any, curves: dict[str, Any]) -> float:
    """The largest difference of a share from the library's."""
    worst = 0.0
    for one, curve in curves.items():
        model, procedure = one.split(" ")
        own = table.filter((table["model"] == model) & (table["procedure"] == procedure))
        place = np.searchsorted(curve.surv_times, own["day"].to_numpy(), side="right")
        share = 1 - np.concatenate(([1.0], curve.surv_prob))[place]
        worst = max(worst, float(np.abs(share - own["share"].to_numpy()).max()))
    return worst


if __name__ == "__main__":
    main()
