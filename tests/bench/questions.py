"""Every public question by name, at several sizes: `python tests/bench/questions.py --jobs 100000 1000000`.

For each question: CPU seconds and wall seconds of asking it as if for the first time, the peak of memory while it was
asked, and its floor: one SELECT that reads every column which its queries read, each once (`sum(hash(column))`). The
columns are read off the engine's own plans. Between two sizes the growth is printed, per ten times the jobs. A
workspace that a folder holds already is used as it is. Machines are shared: read CPU seconds and ratios.
"""

import argparse
import json
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

import duckdb

import rqa
from rqa.demo import write
from rqa.depot import Depot
from tests.odd_depots.questions import asked_of, every_question

AIM = {1_000_000: 0.1, 10_000_000: 0.3}
"""CPU seconds that a question may take, by the number of jobs."""
Told = dict[str, Any]


def clocked(work: Any) -> tuple[float, float]:
    """CPU seconds of all threads, and wall seconds, of one piece of work."""
    cpu, wall = time.process_time(), time.perf_counter()
    work()
    return time.process_time() - cpu, time.perf_counter() - wall


def forget_peak() -> None:
    """Let the kernel count this process's peak of memory anew."""
    Path("/proc/self/clear_refs").write_text("5", encoding="utf-8")


def peak_mb() -> float:
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


class Overheard:
    """The queries that a store is asked."""

    def __init__(self, depot: Depot) -> None:
        self._store: Any = depot._store
        self._counts = self._store.counts
        self._store.counts = self._heard
        self.queries: list[tuple[str, Mapping[str, object]]] = []

    def _heard(self, name: str, sql: str, params: Mapping[str, object] | None = None) -> Any:
        self.queries.append((sql, dict(params or {})))
        return self._counts(name, sql, params)

    def floor(self) -> float:
        """CPU seconds of one scan of the columns that the queries read."""
        cursor: duckdb.DuckDBPyConnection = self._store._cursor()
        read: dict[str, set[str]] = {}
        for sql, params in self.queries:
            ((_, plan),) = cursor.execute("explain (format json) " + sql, params or None).fetchall()
            for table, columns in _scans(json.loads(plan)):
                read.setdefault(table, set()).update(columns)
        scans = [
            f"select {', '.join(f'sum(hash({column}))' for column in sorted(columns)) or 'count(*)'} from {table}"
            for table, columns in read.items()
        ]
        return clocked(lambda: [cursor.execute(scan).fetchall() for scan in scans])[0]


def _scans(nodes: list[Told]) -> Iterator[tuple[str, list[str]]]:
    """Each table that a plan scans, with the columns it reads there."""
    for node in nodes:
        told = node.get("extra_info", {})
        if "Table" in told:
            columns = told.get("Projections", [])
            named = [columns] if isinstance(columns, str) else columns
            yield told["Table"], [column for column in named if column.isidentifier()]
        yield from _scans(node.get("children", []))


def named(question: str, given: Mapping[str, Any]) -> str:
    """A question as one would write it, without what only names a unit or a group of this store."""
    told = ", ".join(f"{k}={v!r}" for k, v in given.items() if k not in ("unit_id", "groups"))
    return f"{question}({told})"


def measured(folder: Path, repeat: int) -> Iterator[Told]:
    """Each question's figures, the least of so many repetitions, in a store that is open."""
    with rqa.open(folder) as depot:
        depot.comebacks()
        overheard = Overheard(depot)
        for question, given in every_question(depot):
            seen, peak = [], 0.0
            for _ in range(repeat):
                overheard.queries.clear()
                depot._store.forget()
                forget_peak()
                seen.append(clocked(lambda q=question, g=given: asked_of(depot, q)(**g)))
                peak = max(peak, peak_mb())
            cpu, wall = min(seen)
            yield {
                "question": named(question, given), "cpu": cpu, "wall": wall, "peak": peak, "floor": overheard.floor(),
                "queries": len(overheard.queries),
            }


def child(folder: Path, repeat: int) -> dict[str, Told]:
    """All questions in a process of its own, told as they come."""
    command = [sys.executable, __file__, "--child", str(folder), "--repeat", str(repeat)]
    told: dict[str, Told] = {}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout
        for text in run.stdout:
            one = json.loads(text)
            told[one["question"]] = one
    if run.returncode:
        raise SystemExit(f"{folder}: the questions failed")
    return told


def report(told: dict[str, Told], jobs: int, before: tuple[int, dict[str, Told]] | None) -> None:
    """One line a question, the dear ones first."""
    aim = next((seconds for size, seconds in AIM.items() if jobs <= size), math.inf)
    print(f"\n{jobs:,} jobs{'':<54}{'CPU s':>8}{'wall s':>8}{'floor s':>8}{'ratio':>7}{'MB':>7}{'growth':>8}")
    for one in sorted(told.values(), key=lambda t: -t["cpu"]):
        grown = ""
        if before and one["question"] in before[1]:
            tenfold = math.log10(jobs / before[0])
            grown = f"{(one['cpu'] / before[1][one['question']]['cpu']) ** (1 / tenfold):.1f} x"
        print(
            f"  {one['question'][:62]:<62}{one['cpu']:>8.2f}{one['wall']:>8.2f}{one['floor']:>8.2f}"
            f"{one['cpu'] / max(one['floor'], 0.001):>7.1f}{one['peak']:>7.0f}{grown:>8}"
            f"{'' if one['cpu'] <= aim else '  over ' + format(aim, 'g')}"
        )
    over = sum(one["cpu"] > aim for one in told.values())
    together = sum(one["cpu"] for one in told.values())
    print(f"  {len(told)} questions, {over} over {aim:g} CPU s; together {together:.1f} CPU s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, nargs="+", default=[100_000], help="sizes, smallest first")
    parser.add_argument("--folder", type=Path, default=None, help="where the workspaces are kept; else a temporary one")
    parser.add_argument("--repeat", type=int, default=1)
    parser.add_argument("--out", type=Path, default=None, help="a file for the figures as JSON")
    parser.add_argument("--child", type=Path, default=None, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        for one in measured(args.child, args.repeat):
            print(json.dumps(one), flush=True)
        return
    kept: dict[str, dict[str, Told]] = {}
    before = None
    with tempfile.TemporaryDirectory() as scratch:
        for jobs in args.jobs:
            folder = (args.folder or Path(scratch)) / f"w{jobs}"
            if not (folder / "depot.duckdb").exists():
                folder.mkdir(parents=True, exist_ok=True)
                written = clocked(lambda f=folder, j=jobs: write(f, jobs=j, plain=True))[0]
                loaded = clocked(lambda f=folder: rqa.load(f))[0]
                print(f"{jobs:,} jobs written in {written:.0f} CPU s, loaded in {loaded:.0f}", flush=True)
            told = child(folder, args.repeat)
            report(told, jobs, before)
            kept[str(jobs)], before = told, (jobs, told)
    if args.out:
        args.out.write_text(json.dumps(kept, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
