"""What the jobs that were drawn and opened again say of all: how many leave with a fault."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import CaseList, marked
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import HorvitzThompson

QUESTION = "rechecked"
BY = ("month", "site", "model", "procedure", "billing")
FAULT, GOOD = "fault", "good"
"""What the outcome of a job that was opened again may be."""
ENDS = ("estimate", "low", "high")
SHARES = {"estimate": "share", "low": "share_low", "high": "share_high"}


@dataclass(frozen=True, eq=False, repr=False)
class Rechecked(Answer):
    """Jobs opened again by group: jobs, drawn, looked_at, faulty, estimate, low, high, share, share_low, share_high."""

    question = "What jobs opened again say of all"
    needs = ("closed_jobs", "studies")
    nothing_found = (
        "No job of a plan is on record: map the filled-in plans of recheck_plan as the study “recheck” "
        "(columns unit, value = the chance, outcome = fault or good)."
    )
    lists = CaseList("listed_rechecked", marked("drawn", "looked_at", "faulty"))


def rechecked(
    snapshot: Snapshot, by: By = (), *, where: Where | None = None, months: Months | None = None, level: float = 0.95
) -> Rechecked:
    """Estimate from the jobs that were drawn and opened again how many of all jobs leave with a fault.

    `by`, `where`: month, site, model, procedure, billing. What was found is read from the table `studies`: rows of
    study "recheck" with the job in unit, the chance of the draw in value, and outcome "fault" or "good"; a job that was
    drawn and not opened has no outcome. `recheck_plan` makes such rows.

    A row a group: jobs (repairs closed on the days that were drawn from), drawn, looked_at, faulty (of these), estimate
    of faulty ones among all jobs with low and high, and the same as a share of the jobs. The estimate adds 1 / chance
    of each faulty job (Horvitz and Thompson 1952), limits are those of a sum of weighted Poisson counts (see
    `rqa.stats.horvitz_thompson`). Where some of a day's draws were not opened, the others stand for them, which holds
    only if they were left by chance; days of which none was opened are left out.

    >>> depot.actions.rechecked().table.is_empty()
    True

    The demo depot has no such study.
    """
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=BY)
    check_values(snapshot.store, QUESTION, asked.where)
    table = counts(
        snapshot.store, "rechecked_jobs", by=asked.by, where=asked.where, months=asked.months,
        values={"as_of": snapshot.day, "disposition": "repaired"},
    )
    settings = {**asked.settings(), "as_of": snapshot.day, "level": level, "method": "Horvitz-Thompson"}
    table, left_out = _opened_days(table)
    made, left = _told(table, asked, level)
    notes = [*snapshot.notes]
    if left:
        notes.append(
            f"{counted(left, 'job')} drawn and not opened: the others of their day stand for them, which holds only if "
            "they were left by chance, and not for what they looked like."
        )
    if left_out:
        notes.append(f"{counted(left_out, 'day')} left out of which no drawn job was opened.")
    return Rechecked(made, settings, tuple(notes))


def _opened_days(table: "pl.DataFrame") -> "tuple[pl.DataFrame, int]":
    """The rows of the days of which a job was opened, with the share of a day's draws that were; how many were not."""
    import polars as pl

    jobs, drawn = pl.col("jobs"), pl.col("chance").is_not_null()
    days = table.group_by("closed_on").agg(
        (jobs.filter(pl.col("outcome").is_not_null()).sum() / jobs.filter(drawn).sum()).alias("opened")
    )
    there = days.filter(pl.col("opened") > 0)
    return table.join(there, on="closed_on", how="inner", maintain_order="left"), days.height - there.height


def _told(table: "pl.DataFrame", asked: Scope, level: float) -> "tuple[pl.DataFrame, int]":
    """A row a group with its counts and estimate; and how many jobs were drawn and not opened."""
    import polars as pl

    jobs, drawn, looked = pl.col("jobs"), pl.col("chance").is_not_null(), pl.col("outcome").is_not_null()
    counted_by = (
        jobs.sum().cast(pl.Int64), jobs.filter(drawn).sum().cast(pl.Int64).alias("drawn"),
        jobs.filter(looked).sum().cast(pl.Int64).alias("looked_at"),
        jobs.filter(pl.col("outcome") == FAULT).sum().cast(pl.Int64).alias("faulty"),
    )
    if asked.by:
        made = table.group_by(asked.by, maintain_order=True).agg(counted_by).sort(asked.by)
    else:
        made = table.select(counted_by).filter(jobs > 0)
    found: list[HorvitzThompson | None] = []
    seen = table.filter(looked).with_columns(chance=pl.col("chance") * pl.col("opened"))
    least = seen["chance"].min()
    for row in made.iter_rows(named=True):
        here = seen.filter(*(pl.col(name).eq_missing(pl.lit(row[name])) for name in asked.by))
        found.append(_estimated(here, row, least, level))  # type: ignore[arg-type]
    sizes = made["jobs"].to_list()
    ends = {e: [float("nan") if r is None else float(getattr(r, e)) for r in found] for e in ENDS}
    shares = {SHARES[e]: [v / n for v, n in zip(ends[e], sizes, strict=True)] for e in ENDS}
    left = sum(made["drawn"].to_list()) - sum(made["looked_at"].to_list())
    return made.with_columns(rounded(v).alias(name) for name, v in {**ends, **shares}.items()), left


def _estimated(
    seen: "pl.DataFrame", row: "dict[str, int]", least: float, level: float
) -> "HorvitzThompson | None":
    """The estimate of one group; None where none of its jobs was opened."""
    from rqa.stats import horvitz_thompson

    if seen.is_empty():
        return None
    one = seen.select("chance", "outcome", "jobs")
    chance = one["chance"].to_numpy().repeat(one["jobs"].to_numpy())
    faulty = (one["outcome"] == FAULT).to_numpy().repeat(one["jobs"].to_numpy())
    good = row["looked_at"] - row["faulty"]
    return horvitz_thompson(
        found=faulty.astype(float), chance=chance, least_chance=least, most=float(row["jobs"] - good), level=level
    )
