"""Which jobs went through without one failed check."""

from rqa.answers.core.case_lists import CaseList, Count, marked
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import PERIODS, By, Months, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import counted

QUESTION = "clean_jobs"
GROUPINGS = (*PERIODS, *JOB_NAMES)
"""month and week are those of the job's closing, else of its opening."""


class CleanJobs(Answer):
    """Clean-job share: jobs, clean, share, low, high."""

    question = "Clean-job share"
    needs = ("logs",)
    lists = CaseList("listed_clean_jobs", {"jobs": Count(), **marked("clean", "unclean")})


def clean_jobs(
    snapshot: Snapshot,
    by: By = (),
    *,
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> CleanJobs:
    """Say what share of jobs passed every check and every diagnostic first time.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing. Columns: jobs
    (with at least one checked first attempt at a step, or one first diagnostic run), clean (all of these passed),
    share = clean / jobs with its Wilson interval low, high. An aborted first run did not pass. Without jobs there is no
    data.

    >>> depot.yields.clean().table.select("clean", "jobs", "share").row(0)
    (1506, 2918, 0.516107)

    A good half of the jobs went through without any failed check.
    """
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    rows = snapshot.from_rows or not snapshot.latest or "week" in asked.by
    found = counts(
        snapshot.store,
        "clean_jobs_rows" if rows else "clean_jobs",
        by=asked.by,
        where=asked.where,
        months=asked.months,
        values={"as_of": snapshot.day} if rows else {},
    )
    table, undated = dated(found, asked)
    notes = list(snapshot.notes)
    if undated:
        notes.append(
            f"{counted(undated, 'job is known from its log', 'jobs are known from their logs')} alone: in no month."
        )
    settings = {"as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    return CleanJobs(with_shares(table, part="clean", whole="jobs", share="share", level=level), settings, tuple(notes))
