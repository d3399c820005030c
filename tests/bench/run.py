"""Speed and memory, as ratios measured side by side in one run: `python tests/bench/run.py --jobs 100000`.

Each pair is timed in turns (ours, the other, ours, the other, …) in a process of its own, and medians are printed, with
the target beside them. Machines differ and are shared: read the ratios, not the seconds.
"""

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb

import rqa
from rqa.contract import TABLES
from rqa.demo import write
from rqa.depot import Depot
from rqa.intake.values import SQL_TYPES
from rqa.measures.keep import WORKING, keep_sql

LOGS = ("jobs", "steps", "diagnostics", "parts")
DAY_TO_DAY = 1000
"""Jobs of a nightly load."""


SAME_LINKS = """
select
    j.*, cast(date_diff('day', closed_on, next_opened_on) as bigint) as elapsed_days,
    case
        when next_job_id is null then null
        when next_disposition = 'no_fault_found' then 'no_fault_found'
        when next_found is null then 'unknown'
        when next_found = coalesce(found, complaint) then 'repeat'
        when exists (
            select 1 from steps as s join procedures as p on p.step = s.step and p.procedure = j.procedure
            where s.job_id = j.job_id and s.outcome <> 'skipped' and list_contains(p.subsystems, j.next_found)
        ) then 'workmanship'
        else 'new_fault'
    end as class
from (
    select
        job_id, unit_id, model, site, procedure, technician, billing, disposition, complaint, found, closed_on,
        lead(job_id) over unit_order as next_job_id, lead(opened_on) over unit_order as next_opened_on,
        lead(disposition) over unit_order as next_disposition, lead(found) over unit_order as next_found
    from jobs
    where disposition <> 'cancelled'
    window unit_order as (partition by unit_id order by opened_at, closed_at nulls last, job_id)
) as j
where disposition in ('repaired', 'no_fault_found') and closed_on is not null
"""
"""Linking as one would write it in one go: without a look at overlapping jobs, else with the columns of `links`."""


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def anew(depot: Depot) -> Depot:
    """The depot, without what it has counted so far: its questions are timed as if asked for the first time."""
    depot._store.forget()
    return depot


def in_turns(repeat: int, **works: Callable[[], object]) -> dict[str, float]:
    """The median seconds of each piece of work, all run in turns."""
    seen: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(repeat):
        for name, work in works.items():
            seen[name].append(timed(work))
    return {name: statistics.median(s) for name, s in seen.items()}


def peak_mb() -> float:
    """This process's own peak; `getrusage` would also tell that of the process it was forked from."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def connect(path: Path | None = None, *, read_only: bool = False) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect(str(path) if path else ":memory:", read_only=read_only)
    connection.execute("set TimeZone = 'UTC'")
    return connection


def bare_read(folder: Path) -> None:
    """DuckDB's own typed reading of the same files into tables of a file; no row is judged."""
    target = folder / "bare.duckdb"
    target.unlink(missing_ok=True)
    with connect(target) as c:
        for name in LOGS:
            header = (folder / f"{name}.csv").open(encoding="utf-8").readline().strip().split(",")
            kinds = {col.name: SQL_TYPES[col.kind] for col in TABLES[name].columns}
            types = ", ".join(f"'{h}': '{kinds[h]}'" for h in header)
            c.execute(
                f"create table {name} as select * from read_csv('{folder}/{name}.csv', auto_detect=false, header=true, "
                f"nullstr='', columns={{{types}}})"
            )
        c.execute("checkpoint")
    target.unlink()


def whole_load(folder: Path, memory: str | None) -> None:
    (folder / "depot.duckdb").unlink(missing_ok=True)
    rqa.load(folder, **({"memory": memory} if memory else {}))


def scan(c: duckdb.DuckDBPyConnection, table: str, columns: str) -> Callable[[], object]:
    """The floor: one SELECT that really reads the columns."""
    return lambda: c.execute(f"select {', '.join(f'sum(hash({x}))' for x in columns.split())} from {table}").fetchall()


def task_load(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    return in_turns(repeat, ours=lambda: whole_load(folder, memory), bare=lambda: bare_read(folder))


def task_load_memory(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    whole_load(folder, memory)
    return {"peak_mb": peak_mb()}


def task_bare_memory(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    bare_read(folder)
    return {"peak_mb": peak_mb()}


def task_link(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    with connect() as c:
        if memory:
            c.execute(f"set memory_limit = '{memory}'")
        c.execute(f"attach '{folder}/depot.duckdb' as depot (read_only)")
        c.execute("use depot")

        def ours() -> None:
            for name in (*WORKING, "overlapping_jobs", "links"):
                c.execute(f"create or replace temp table {name} as {keep_sql(name)}")

        def one_statement() -> None:
            c.execute(
                "create or replace temp table plain as select job_id, lead(job_id) over w as next_job_id, "
                "lead(opened_on) over w - closed_on as days from jobs where disposition <> 'cancelled' "
                "window w as (partition by unit_id order by opened_at, closed_at nulls last, job_id)"
            )

        def same_result() -> None:
            c.execute(f"create or replace temp table plain as {SAME_LINKS}")

        result = in_turns(
            repeat,
            ours=ours,
            same_result=same_result,
            one_statement=one_statement,
            scan=scan(c, "jobs", "job_id unit_id opened_at closed_at"),
        )
    return result | {"peak_mb": peak_mb()}


def task_yield(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    """First-pass yield from rows, through the library (a day before the end, so that kept counts do not serve)."""
    with rqa.open(folder) as depot:
        day = depot.query("select max(done_on) - 1 as d from steps")["d"][0]
    with rqa.open(folder, as_of=day) as rows, rqa.open(folder) as kept, connect() as c:
        c.execute(f"attach '{folder}/depot.duckdb' as depot (read_only)")
        c.execute("use depot")
        result = in_turns(
            repeat,
            by_step_technician=lambda: anew(rows).first_pass_yield(by=("step", "technician")),
            by_month_too=lambda: anew(rows).first_pass_yield(by=("month", "step", "technician")),
            clean=lambda: anew(rows).yields.clean(by=("model",)),
            kept_by_step_technician=lambda: anew(kept).first_pass_yield(by=("step", "technician")),
            scan=scan(c, "steps", "step technician attempt outcome"),
            scan_clean=scan(c, "steps", "job_id attempt outcome"),
        )
    return result | {"peak_mb": peak_mb()}


def task_cross(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    """Step outcome against come-back: only the failed attempts are joined; the passed ones follow by subtraction."""
    with connect() as c:
        c.execute(f"attach '{folder}/depot.duckdb' as depot (read_only)")
        c.execute("use depot")
        joined = (
            "select step, cast(count(*) as bigint) as failed, "
            "cast(count(*) filter (where l.elapsed_days <= 30) as bigint) as returned "
            "from steps as s join links as l on l.job_id = s.job_id "
            "where s.attempt = 1 and s.outcome = 'fail' group by step"
        )
        return in_turns(
            repeat,
            ours=lambda: c.execute(joined).fetchall(),
            scan=scan(c, "steps", "job_id step attempt outcome"),
        )


def task_frames(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    """The straightforward pandas and polars scripts, on frames already in memory, against ours from disk."""
    import polars as pl

    with connect(folder / "depot.duckdb", read_only=True) as c:
        jobs = c.sql("select job_id, unit_id, disposition, opened_at, closed_at, opened_on, closed_on from jobs").pl()
        steps = c.sql("select step, technician, attempt, outcome from steps").pl()
    jobs_pd, steps_pd = jobs.to_pandas(), steps.to_pandas()

    def link_pandas() -> object:
        s = jobs_pd[jobs_pd.disposition != "cancelled"].sort_values(["unit_id", "opened_at", "closed_at", "job_id"])
        return s.assign(
            next_job=s.groupby("unit_id")["job_id"].shift(-1), next_on=s.groupby("unit_id")["opened_on"].shift(-1)
        )

    def link_polars() -> object:
        s = jobs.filter(pl.col("disposition") != "cancelled").sort("unit_id", "opened_at", "closed_at", "job_id")
        return s.with_columns(
            next_job=pl.col("job_id").shift(-1).over("unit_id"), next_on=pl.col("opened_on").shift(-1).over("unit_id")
        )

    def yield_pandas() -> object:
        first = steps_pd[(steps_pd.attempt == 1) & steps_pd.outcome.isin(["pass", "fail"])]
        return first.assign(ok=first.outcome == "pass").groupby(["step", "technician"])["ok"].agg(["size", "sum"])

    def yield_polars() -> object:
        first = steps.filter((pl.col("attempt") == 1) & pl.col("outcome").is_in(["pass", "fail"]))
        return first.group_by("step", "technician").agg(pl.len(), (pl.col("outcome") == "pass").sum())

    with connect() as c:
        c.execute(f"attach '{folder}/depot.duckdb' as depot (read_only)")
        c.execute("use depot")

        def link_ours() -> None:
            for name in (*WORKING, "overlapping_jobs", "links"):
                c.execute(f"create or replace temp table {name} as {keep_sql(name)}")

        def yield_ours() -> object:
            return c.execute(
                "select step, technician, count(*) filter (where outcome = 'pass'), count(*) from steps "
                "where attempt = 1 and outcome in ('pass', 'fail') group by all"
            ).fetchall()

        return in_turns(
            repeat, link_ours=link_ours, link_pandas=link_pandas, link_polars=link_polars,
            yield_ours=yield_ours, yield_pandas=yield_pandas, yield_polars=yield_polars,
        )


def task_answers(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    from rqa.review import write_page

    with rqa.open(folder) as depot, tempfile.TemporaryDirectory() as out:
        depot.comebacks()
        return in_turns(
            repeat,
            comebacks=lambda: anew(depot).comebacks(window=30, by=("month", "model")),
            first_pass_yield=lambda: anew(depot).first_pass_yield(by=("month", "step")),
            rolled_yield=lambda: anew(depot).yields.rolled(),
            clean_jobs=lambda: anew(depot).yields.clean(by=("month",)),
            control_chart=lambda: anew(depot).control_chart("comebacks"),
            page=lambda: write_page(anew(depot), Path(out)),
        )


def task_nightly(folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    """A night's jobs into the loaded store; the rest of the workspace is unchanged and not read again."""
    source = (folder / "sources.toml").read_text(encoding="utf-8")
    for name in LOGS:
        source = source.replace(f'"{name}.csv"', f'["{name}.csv", "{name}_night_*.csv"]')
    (folder / "sources.toml").write_text(source, encoding="utf-8")
    rqa.load(folder)
    seconds, copies = [], []
    for night in range(repeat):
        with tempfile.TemporaryDirectory() as scratch:
            write(Path(scratch), jobs=DAY_TO_DAY, seed=1000 + night, plain=True)
            for name in LOGS:
                lines = (Path(scratch) / f"{name}.csv").read_text(encoding="utf-8").splitlines(keepends=True)
                (folder / f"{name}_night_{night}.csv").write_text(
                    lines[0] + "".join(f"N{night}-{line}" for line in lines[1:]), encoding="utf-8"
                )
        copies.append(timed(lambda: shutil.copyfile(folder / "depot.duckdb", folder / "copy.tmp")))
        (folder / "copy.tmp").unlink()
        seconds.append(timed(lambda: rqa.load(folder)))
    return {"load": statistics.median(seconds), "copy": statistics.median(copies)}


TASKS: dict[str, Callable[[Path, int, str | None], dict[str, float]]] = {
    name.removeprefix("task_"): work for name, work in list(globals().items()) if name.startswith("task_")
}


def child(task: str, folder: Path, repeat: int, memory: str | None) -> dict[str, float]:
    """Run one task in a process of its own, so that its peak memory is its own."""
    command = [sys.executable, __file__, "--task", task, "--folder", str(folder), "--repeat", str(repeat)]
    if memory:
        command += ["--memory", memory]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{task} failed:\n{done.stderr}")
    return json.loads(done.stdout.splitlines()[-1])


def line(what: str, figure: str, target: str = "") -> None:
    print(f"  {what:<58} {figure:>24}   {target}", flush=True)


def measure(folder: Path, jobs: int, repeat: int, memory: str | None) -> dict[str, dict[str, float]]:
    folder.mkdir(parents=True, exist_ok=True)
    print(f"\n{jobs:,} jobs", flush=True)
    line("generated in", f"{timed(lambda: write(folder, jobs=jobs, plain=True)):.1f} s")
    r = {}
    for task in TASKS:
        r[task] = child(task, folder, repeat, memory)
        report(task, r[task])
    return r


def report(task: str, t: dict[str, float]) -> None:
    if task == "load":
        line(
            "load / bare typed read of the same files", f"{t['ours'] / t['bare']:.2f} x ({t['ours']:.2f} s)", "<= 1.3 x"
        )
    elif task in ("load_memory", "bare_memory"):
        line(f"peak memory, {task.split('_')[0]}", f"{t['peak_mb']:,.0f} MB", "<= 2,000 MB" if task[0] == "l" else "")
    elif task == "link":
        line(
            "linking / one statement with the same columns and classes",
            f"{t['ours'] / t['same_result']:.2f} x ({t['ours']:.2f} s)",
            "<= 1.2 x",
        )
        line("linking / one statement for the next job alone", f"{t['ours'] / t['one_statement']:.2f} x")
        line("linking / scan of its columns", f"{t['ours'] / t['scan']:.1f} x")
        line("peak memory, linking", f"{t['peak_mb']:,.0f} MB", "<= 1,500 MB")
    elif task == "yield":
        line("first-pass yield by step, technician / scan", f"{t['by_step_technician'] / t['scan']:.2f} x", "<= 1.7 x")
        line("  … by month too / scan", f"{t['by_month_too'] / t['scan']:.2f} x", "<= 2.6 x")
        line("  … from kept counts", f"{t['kept_by_step_technician'] * 1000:.0f} ms", "<= 100 ms")
        line("clean-job share / scan", f"{t['clean'] / t['scan_clean']:.2f} x", "<= 1.5 x")
        line("peak memory, yields", f"{t['peak_mb']:,.0f} MB", "<= 1,500 MB")
    elif task == "cross":
        line("step outcome x come-back / scan", f"{t['ours'] / t['scan']:.2f} x", "<= 1 x")
    elif task == "frames":
        for what in ("link", "yield"):
            for other in ("pandas", "polars"):
                target = ">= 12 x" if other == "pandas" else ""
                line(f"{what}: {other} / ours", f"{t[f'{what}_{other}'] / t[f'{what}_ours']:.1f} x", target)
    elif task == "answers":
        for name, seconds in t.items():
            line(f"answer: {name}", f"{seconds * 1000:.0f} ms", "<= 10 s" if name == "page" else "<= 100 ms")
    elif task == "nightly":
        line(f"nightly load of {DAY_TO_DAY:,} jobs, without the copy", f"{t['load'] - t['copy']:.2f} s", "<= 2 s")


def growth(small: dict[str, dict[str, float]], large: dict[str, dict[str, float]]) -> None:
    print("\ngrowth from a tenth of the jobs", flush=True)
    for task, name in (("load", "ours"), ("link", "ours"), ("yield", "by_step_technician"), ("yield", "clean")):
        line(f"{task}: {name}", f"{large[task][name] / small[task][name]:.1f} x", "<= 11 x")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--folder", type=Path, default=None, help="where to work; a temporary folder by default")
    parser.add_argument("--memory", default=None, help="limit of the engine's memory, e.g. 1GB")
    parser.add_argument("--task", default=None, choices=[*TASKS], help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.task:
        print(json.dumps(TASKS[args.task](args.folder, args.repeat, args.memory)))
        return
    with tempfile.TemporaryDirectory() as scratch:
        base = args.folder or Path(scratch)
        small = measure(base / "tenth", args.jobs // 10, args.repeat, args.memory)
        large = measure(base / "whole", args.jobs, args.repeat, args.memory)
        growth(small, large)


if __name__ == "__main__":
    main()
