"""The three sites' exports, with their mess, and the truth beside them."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
from polars import selectors

from rqa.demo.alder import write_alder
from rqa.demo.birch import write_birch
from rqa.demo.catalogue import PAIRINGS, SITES, SUBSYSTEMS
from rqa.demo.cedar import write_cedar
from rqa.demo.chunk import Chunk
from rqa.demo.clock import day_number, in_changed_hour, last_day
from rqa.demo.course import Course
from rqa.demo.effects import FLAKY, UNCOVERED, planted
from rqa.demo.jobs import CAUSES, NONE
from rqa.demo.mess import KINDS, Account
from rqa.demo.overlaps import plant_overlaps, quiet_jobs, true_comebacks
from rqa.demo.plain import instant
from rqa.demo.reference import REFERENCE
from rqa.demo.sources import sources

WRITERS = {"Alder": write_alder, "Birch": write_birch, "Cedar": write_cedar}


@dataclass(frozen=True)
class SiteLogs:
    """What one site exports of one chunk; `quiet` holds the jobs that may be spoiled; times are wall minutes."""

    number: int
    zone: str
    jobs: pl.DataFrame
    steps: pl.DataFrame
    diagnostics: pl.DataFrame
    parts: pl.DataFrame
    quiet: pl.Series


def write_exports(
    folder: Path, chunks: Iterable[Chunk], *, jobs: int, months: int, seed: int, title: str, course: Course
) -> None:
    """Write the sites' exports, the reference tables, `sources.toml` and `truth.json`; `course` is told of each."""
    account, sums = Account(), Sums()
    reference = folder / "reference"
    for name in ("alder", "birch", "cedar", "reference"):
        (folder / name).mkdir(exist_ok=True)
    with (reference / "retirements.csv").open("wb") as retirements:
        for chunk in chunks:
            rng = np.random.default_rng([seed, 2, chunk.number])
            quiet = quiet_jobs(chunk)
            table, overlapping = plant_overlaps(rng, chunk.jobs, quiet)
            sums.add(chunk, table, overlapping, months)
            for number, site in enumerate(SITES):
                course.writing(site.name, number, len(SITES))
                logs = _site_logs(chunk, table, number, quiet & ~overlapping)
                WRITERS[site.name](rng, logs, folder, account)
                course.written(sum(f.height for f in (logs.jobs, logs.steps, logs.diagnostics, logs.parts)))
            retired = chunk.retirements.with_columns(instant(chunk.retirements["retired_at"]))
            retired.write_csv(retirements, include_header=chunk.number == 0)
            account.count("reference/retirements.csv", "retirements", _clean(retired.height))
    for name, make in REFERENCE.items():
        frame = make()
        frame.write_csv(reference / f"{name}.csv")
        account.count(f"reference/{name}.csv", name, _clean(frame.height))
    (folder / "sources.toml").write_text(sources(title), encoding="utf-8", newline="\n")
    truth = {
        "scenario": {"jobs": jobs, "months": months, "seed": seed, "invented": True},
        **planted(),
        "realised": sums.as_data(),
        "kinds_of_mess": {k: {"verdict": v.verdict, "said": v.said} for k, v in KINDS.items()},
        "files": account.as_data(),
    }
    text = json.dumps(truth, indent=1, default=date.isoformat, ensure_ascii=False)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")


def _clean(rows: int) -> pl.Series:
    return pl.Series([None] * rows, dtype=pl.String)


def _site_logs(chunk: Chunk, jobs: pl.DataFrame, number: int, quiet: np.ndarray) -> SiteLogs:
    here = pl.Series(chunk.drawn.site == number)
    zone = SITES[number].zone
    ids = jobs.select("at", "job_id", pl.col("opened_at").alias("~opened"))
    mine = jobs.filter(here)

    def of(frame: pl.DataFrame) -> pl.DataFrame:
        kept = frame.filter(here.gather(frame["at"])).with_columns(selectors.enum().cast(pl.String))
        return kept.join(ids, on="at", how="left", maintain_order="left")

    tests = of(chunk.diagnostics)
    tests = tests.with_columns(pl.Series("~clock", in_changed_hour(tests["run_at"].to_numpy(), zone)))
    return SiteLogs(
        chunk.number, zone, mine.with_columns(pl.col("opened_at").alias("~opened")), of(chunk.steps), tests,
        of(chunk.parts), pl.Series(np.flatnonzero(quiet)),
    )


class Sums:
    """What the draw really held, added up over the chunks."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.windows: dict[str, dict[str, int]] = {}

    def add(self, chunk: Chunk, jobs: pl.DataFrame, overlapping: np.ndarray, months: int) -> None:
        """Add one chunk."""
        drawn = chunk.drawn
        pinch_jobs = drawn.pinched & (drawn.disposition == 0)
        counts = {
            "jobs": len(drawn),
            "overlapping_jobs": int(overlapping.sum()),
            "pinched": int(pinch_jobs.sum()),
            "pinched_and_caught": int((pinch_jobs & drawn.caught).sum()),
            "aligned_early": int(drawn.early.sum()),
            "bad_lot_fitted": int(drawn.bad_lot.sum()),
            "first_runs_failed_of_the_flaky_test": chunk.diagnostics.filter(
                test=FLAKY.test, run=1, outcome="fail"
            ).height,
            "returns_with_the_uncovered_subsystem": int(
                ((drawn.parent != NONE) & (drawn.found == SUBSYSTEMS.index(UNCOVERED.subsystem))).sum()
            ),
        }
        counts |= chunk.slips
        fitted = [set(chunk.parts.filter(part_no=no)["at"]) for no in PAIRINGS[0]]
        counts["paired_part_not_fitted"] = len(fitted[0] - fitted[1])
        for code, cause in enumerate(CAUSES):
            if cause:
                counts[f"returns_by_{cause}"] = int(((drawn.cause == code) & (drawn.parent != NONE)).sum())
        for name, value in counts.items():
            self.counts[name] = self.counts.get(name, 0) + value
        for window, found in true_comebacks(jobs, overlapping, day_number(last_day(months)) + 1).items():
            for name, value in found.items():
                entry = self.windows.setdefault(window, {})
                entry[name] = entry.get(name, 0) + value

    def as_data(self) -> dict[str, object]:
        """The sums as plain data."""
        return {**self.counts, "comebacks_before_mess": self.windows}
