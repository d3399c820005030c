"""Questions about risky steps, beside the bare scan of the step columns that each needs.

`python tests/bench/risky.py /path/to/depot.duckdb` opens a store that is there, read-only. Each question is asked in
turns with one SELECT that hashes the columns of the step log it reads, and medians are printed, of the wall clock and
of the processor; then the peak memory of a process that asks this question alone. Read the ratios, not the seconds.
"""

import argparse
import multiprocessing
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from run import anew, connect, peak_mb, scan

import rqa

ASKED: dict[str, tuple[Callable[[Any], object], str]] = {
    "attribution": (lambda depot: depot.steps.attribution(), "job_id step outcome"),
    "attribution by bench": (lambda depot: depot.steps.attribution(per="bench"), "job_id step outcome bench"),
    "conformance": (
        lambda depot: depot.steps.conformance(),
        "job_id step_seq step outcome started_at ended_at done_on",
    ),
    "breaches": (
        lambda depot: depot.steps.breaches(),
        "job_id step_seq step outcome started_at ended_at done_on bench",
    ),
    "bursts of come-backs": (lambda depot: depot.steps.bursts(), "job_id bench tool"),
    "bursts of failed checks": (
        lambda depot: depot.steps.bursts(what="failed_checks"),
        "job_id step_seq attempt step outcome technician bench tool done_on",
    ),
}
"""What is asked, and the columns of the step log that it cannot do without."""


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of the wall clock and of the processor."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - processor


def in_turns(repeat: int, *works: Callable[[], object]) -> list[tuple[float, float]]:
    """The medians of each piece of work, all run in turns."""
    seen = [[timed(work) for work in works] for _ in range(repeat)]
    return [
        (statistics.median(w for w, _ in one), statistics.median(p for _, p in one)) for one in zip(*seen, strict=True)
    ]


def alone(path: Path, name: str) -> float:
    """Peak megabytes of this process, in which nothing else was asked."""
    with rqa.open(path) as depot:
        ASKED[name][0](anew(depot))
    return peak_mb()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("store", type=Path)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--only", choices=ASKED, action="append")
    args = parser.parse_args()
    own = multiprocessing.get_context("spawn")
    with rqa.open(args.store) as depot:
        jobs, steps = (depot.query(f"select count(*) as rows from {t}")["rows"][0] for t in ("jobs", "steps"))
    print(f"{jobs:,} jobs, {steps:,} attempts at steps", flush=True)
    for name in args.only or ASKED:
        ask, columns = ASKED[name]
        with rqa.open(args.store) as depot, connect() as c:
            c.execute(f"attach '{args.store}' as depot (read_only)")
            c.execute("use depot")
            ours, bare = in_turns(args.repeat, lambda: ask(anew(depot)), scan(c, "steps", columns))  # noqa: B023
        with own.Pool(1) as one:
            peak = one.apply(alone, (args.store, name))
        print(
            f"{name}: {ours[0]:.2f} s, processor {ours[1]:.2f} s; scan {bare[0]:.2f} s, processor {bare[1]:.2f} s; "
            f"{ours[0] / bare[0]:.1f} x the scan, processor {ours[1] / bare[1]:.1f} x; peak {peak:,.0f} MB",
            flush=True,
        )


if __name__ == "__main__":
    main()
