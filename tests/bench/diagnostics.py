"""The questions about the diagnostics at the size of a given store, beside the bare scan of the columns they need.

    python tests/bench/diagnostics.py WORKSPACE [--repeat 3]

The store is opened read-only and each question is asked as a notebook asks it. Question and scan are timed in turns,
and medians are printed: seconds on the clock, seconds of all cores, and how many times the scan's they are. The scan is
one SELECT a table that hashes every column the question's measures read, as in run.py. The cores' seconds bear a busy
machine better; read the ratios, not the seconds. Last come the findings of each and the subsystems that no
test covers, to hold against the truth file.

Seen with 1,000,000 jobs (12.5 million runs, 23.9 million step rows; one turn on two busy cores), from what is kept:
diagnostics 0.05 seconds of cores, retests 0.23, escapes 0.17, coverage gap 0.13, releases 0.25, drift 0.21, readings
0.96; from the rows it was 0.6 to 5.6. The flaky test, the drifting station and the uncovered subsystem are named, and
nothing else.
"""

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
from run import anew, connect, peak_mb, scan

import rqa
from rqa.answers.core.result import Answer
from tests.odd_depots.questions import asked_of

RUNS = "job_id test run run_on outcome"
ATTEMPTS = "job_id outcome started_at ended_at"
NEEDED: dict[str, dict[str, str]] = {
    "tests.outcomes": {"diagnostics": RUNS},
    "tests.retests": {"diagnostics": f"{RUNS} run_at station", "steps": ATTEMPTS},
    "tests.escapes": {
        "diagnostics": f"{RUNS} run_at", "steps": f"{ATTEMPTS} step", "jobs": "job_id found procedure",
        "links": "job_id return_job_id disposition closed_on elapsed_days class procedure",
    },
    "tests.coverage_gap": {
        "diagnostics": RUNS, "jobs": "job_id found",
        "links": "job_id return_job_id disposition closed_on elapsed_days class",
    },
    "tests.releases": {
        "diagnostics": f"{RUNS} run_at", "steps": f"{ATTEMPTS} done_on",
        "jobs": "job_id model procedure disposition closed_on", "links": "job_id closed_on elapsed_days",
    },
    "tests.drift": {
        "diagnostics": f"{RUNS} value unit station", "jobs": "job_id model procedure",
    },
    "tests.readings": {"diagnostics": "test run run_on outcome value unit lower_limit upper_limit"},
}
"""The columns that each question's measures read, by table."""


def took(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds on the clock, and of all cores of this process."""
    clock, cores = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - clock, time.process_time() - cores


def floor(c: duckdb.DuckDBPyConnection, needed: dict[str, str]) -> Callable[[], object]:
    scans = [scan(c, table, columns) for table, columns in needed.items()]
    return lambda: [one() for one in scans]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workspace", type=Path)
    parser.add_argument("--repeat", type=int, default=3)
    args = parser.parse_args()
    path = args.workspace / "depot.duckdb" if args.workspace.is_dir() else args.workspace
    with rqa.open(path) as depot, connect() as c:
        c.execute(f"attach '{path}' as depot (read_only)")
        c.execute("use depot")
        sizes = [
            f"{c.sql(f'select count(*) from {t}').fetchall()[0][0]:,} {t}" for t in ("jobs", "steps", "diagnostics")
        ]
        print(f"{', '.join(sizes)}; medians of {args.repeat}")
        print(f"  {'':<12} {'clock':>8} {'scan':>8} {'ratio':>6}   {'cores':>8} {'scan':>8} {'ratio':>6}", flush=True)
        found: dict[str, Answer] = {}
        for question, needed in NEEDED.items():

            def ours(question: str = question) -> None:
                found[question] = asked_of(anew(depot), question)()

            bare = floor(c, needed)
            turns = [(*took(ours), *took(bare)) for _ in range(args.repeat)]
            clock, cores, clock_scan, cores_scan = (statistics.median(column) for column in zip(*turns, strict=True))
            print(
                f"  {question:<12} {clock:8.2f} {clock_scan:8.2f} {clock / clock_scan:6.2f}   "
                f"{cores:8.2f} {cores_scan:8.2f} {cores / cores_scan:6.2f}",
                flush=True,
            )
        print(f"peak memory of all together: {peak_mb():,.0f} MB")
        for question, answer in found.items():
            for f in answer.findings:
                print(f"  {question} names {f.kind} {dict(f.scope)}, p {f.p_value:.1g}")
        gap = found["tests.coverage_gap"].table.select("subsystem", "uncovered", "returned").rows()
        print(f"  no test covers {[row for row in gap if row[1]]}: subsystem, come-backs uncovered, and in all")


if __name__ == "__main__":
    main()
