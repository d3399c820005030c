"""One store against a lake: `python tests/bench/lake.py --jobs 100000 --buckets 4 --folder out [--engine processes=2]`.

For files that read rows: CPU seconds of the store and of the lake in this process, wall seconds on an engine, and the
bytes that tasks gave back. Then what it would take for more jobs, in proportion to the jobs. A workspace that a folder
holds is used as it is.
"""

import argparse
import os
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

import rqa
from rqa.demo import write
from rqa.lake import store as lake_store
from rqa.lake.engines import engine_of
from rqa.lake.store import LakeStore
from rqa.lake.writing import write_lake
from rqa.measures.run import counts
from rqa.store.engine import open_store
from tests.measures.test_files import values_for

FILES = ("first_pass_steps_rows", "clean_jobs_rows", "escapes", "step_exposure", "conformance", "comebacks_rows",
         "follow_up", "release_checks_kept", "practice")
LARGER = (100_000_000, 1_000_000_000)
CORES = 128


def clocked(work: Callable[[], Any]) -> tuple[float, float]:
    """CPU seconds of this process and of its children that have ended, and wall seconds."""
    before, wall = os.times(), time.perf_counter()
    work()
    after = os.times()
    return sum(after[:4]) - sum(before[:4]), time.perf_counter() - wall


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--buckets", type=int, default=4)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--engine")
    asked = parser.parse_args()
    store, lake = asked.folder / "depot.duckdb", asked.folder / f"lake-{asked.buckets}"
    load = 0.0
    if not store.exists():
        write(asked.folder, jobs=asked.jobs, plain=True)
        load, _ = clocked(lambda: rqa.load(asked.folder))
    shutil.rmtree(lake, ignore_errors=True)
    written, wall = clocked(lambda: write_lake(store, lake, buckets=asked.buckets))
    size = sum(f.stat().st_size for f in lake.rglob("*.parquet"))
    print(f"{asked.jobs:,} jobs: load {load:.1f} CPU s; lake of {asked.buckets} buckets {written:.1f} CPU s, "
          f"{wall:.1f} s, {size / asked.jobs / 1e3:.2f} kB a job")
    sent: list[int] = []
    spread = lake_store.spread

    def weighed(engine: Any, tasks: Any) -> list[bytes]:
        found = spread(engine, tasks)
        sent.append(sum(map(len, found)))
        return found

    lake_store.spread = weighed  # type: ignore[assignment]
    print("\n| file | store CPU s | lake CPU s | engine wall s | bytes given back |\n|---|---:|---:|---:|---:|")
    total = 0.0
    with open_store(store) as whole, LakeStore(lake) as here, engine_of(asked.engine) as engine:
        away = LakeStore(lake, engine)
        for name in FILES:
            values = values_for(name)
            one, _ = clocked(lambda: counts(whole, name, values=values))  # noqa: B023
            sent.clear()
            by_bucket, _ = clocked(lambda: counts(here, name, values=values))  # noqa: B023
            gave, total = sum(sent), total + by_bucket
            waited = f"{clocked(lambda: counts(away, name, values=values))[1]:.2f}" if engine else ""  # noqa: B023
            print(f"| `{name}` | {one:.2f} | {by_bucket:.2f} | {waited} | {gave:,} |", flush=True)
        away.close()
    print(f"\nIn proportion, on {CORES} cores that all have work, without the time of the network or of a slow disk:")
    for jobs in LARGER:
        times = jobs / asked.jobs / 3600
        print(f"{jobs:,} jobs: lake {written * times:.1f} core-hours ({written * times / CORES * 60:.0f} min), these "
              f"{len(FILES)} files {total * times:.1f} core-hours ({total * times / CORES * 60:.0f} min)")


if __name__ == "__main__":
    main()
