"""How the tests of jobs end: passed at the first run, passed at the last, and how many runs it took."""

from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import CaseList, Count, marked
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import PERIODS, By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, TEST_LOG
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "diagnostics"
GROUPINGS = (*PERIODS, *JOB_NAMES, *TEST_LOG)
"""month, week: those of the first run; technician: who answers for the job."""


class DiagnosticOutcomes(Answer):
    """How tests ended: jobs, tests, first_judged, first_passed, first_pass_share, low, high, final_passed,
    final_pass_share, final_low, final_high, aborted, runs, runs_per_job."""

    question = "Outcomes of diagnostics"
    in_table_only = ("tests", "final_passed", "final_low", "final_high", "runs_per_job")
    needs = ("diagnostics",)
    lists = CaseList(
        "listed_tests",
        {"tests": Count(), "first_judged": Count(("judged",)), **marked("first_passed", "final_passed")},
        rows=("test of a job", "tests of jobs"),
    )


def diagnostics(
    snapshot: Snapshot, by: By = ("test",), *, where: Where | None = None, months: Months | None = None,
    level: float = 0.95,
) -> DiagnosticOutcomes:
    """Say what share of tests passed at the first run and in the end, and how many runs that took.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, test, station. A
    test of a job counts once, under the station and the day of its first run, wherever it was run again.

    Columns: jobs; tests (tests of jobs); first_judged (first runs that passed or failed), first_passed,
    first_pass_share = first_passed / first_judged with its Wilson interval low, high; final_passed (tests whose last
    run passed), final_pass_share = final_passed / tests with final_low, final_high: a test whose last run was aborted
    did not pass; aborted (runs), runs, runs_per_job. Shares without cases are null.

    >>> depot.tests.outcomes().table.select("test", "first_passed", "first_judged", "first_pass_share").row(0)
    ('button cycle', 2686, 2726, 0.985326)

    2,686 of 2,726 first runs of the button cycle passed.
    """
    import polars as pl

    from rqa.stats import proportion_interval

    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    table, _ = dated(_counted(snapshot, asked), asked)
    first = proportion_interval(
        successes=table["first_passed"].to_numpy(), trials=table["first_judged"].to_numpy(), level=level
    )
    final = proportion_interval(
        successes=table["final_passed"].to_numpy(), trials=table["tests"].to_numpy(), level=level
    )
    each = pl.when(pl.col("jobs") > 0).then(pl.col("runs") / pl.col("jobs")).round(6)
    made = table.select(
        *asked.by, "jobs", "tests", "first_judged", "first_passed",
        rounded(first.estimate).alias("first_pass_share"), rounded(first.low).alias("low"),
        rounded(first.high).alias("high"), "final_passed", rounded(final.estimate).alias("final_pass_share"),
        rounded(final.low).alias("final_low"), rounded(final.high).alias("final_high"),
        "aborted", "runs", each.alias("runs_per_job"),
    )
    settings = {"as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    return DiagnosticOutcomes(made, settings, (*snapshot.notes, *_notes(table, asked)))


def _counted(snapshot: Snapshot, asked: Scope) -> "pl.DataFrame":
    """Counts by group with the number of jobs, which is that of tests where every row is about one test."""
    import polars as pl

    values = {"as_of": snapshot.day}
    table = kept_counts(snapshot, "diagnostic_outcomes", asked, values)
    if "test" in asked.by or len(asked.where.get("test", ())) == 1:
        return table.with_columns(pl.col("tests").alias("jobs"))
    jobs = kept_counts(snapshot, "diagnostic_jobs", asked, values)
    if not asked.by:
        return table.with_columns(jobs["jobs"])
    return table.join(jobs, on=list(asked.by), how="left", nulls_equal=True, maintain_order="left")


def _notes(table: "pl.DataFrame", asked: Scope) -> list[str]:
    notes = []
    stopped = int((table["tests"] - table["first_judged"]).sum())
    if stopped:
        notes.append(
            f"{counted(stopped, 'first run was', 'first runs were')} aborted: not in the first-pass share; run again "
            "they count in the final."
        )
    if "test" not in asked.by and int((table["tests"] > table["jobs"]).sum()):
        notes.append("Tests of one job are not independent of each other, so the intervals are somewhat too narrow.")
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
