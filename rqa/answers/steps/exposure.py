"""How often steps were done, how often they were checked, and how many chances to make a defect that was."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import ATTEMPTS as OF_ATTEMPTS
from rqa.answers.core.case_lists import CaseList, Count, marked
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import PERIODS, By, Months, Snapshot, Where, check_values, scope
from rqa.answers.steps.declared_steps import declared_steps, hazards_of
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, PARTS_LIST, STEP_LOG
from rqa.measures.run import counts
from rqa.words import counted, spoken

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.steps.declared_steps import DeclaredStep

QUESTION = "step_exposure"
SAID = {"esd": "ESD"}
ATTEMPTS: Mapping[str, object] = {"last_attempt": 2}
"""What is counted: first and second attempts, whatever came of them."""
GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG, *PARTS_LIST)


class StepExposure(Answer):
    """How often steps were done: jobs, logged, done, checked, failed, skipped, reworked, opportunities, per_job; with
    step among the groupings also subsystems, hazards."""

    question = "Exposure"
    in_table_only = ("logged", "per_job")
    needs = ("steps",)
    lists = CaseList(
        "listed_attempts",
        {
            "logged": Count(("first_attempt",)), "done": Count(("executed",)), "checked": Count(("exposure",)),
            **marked("failed", "skipped", "reworked"),
        },
        rows=OF_ATTEMPTS,
    )


def step_exposure(
    snapshot: Snapshot, by: By = ("step",), *, where: Where | None = None, months: Months | None = None
) -> StepExposure:
    """Say how often steps were done, over all jobs whatever became of them.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, step, bench,
    tool, phase, and part_no, lot of the parts fitted in the job.

    Columns: jobs (with a logged step in the group), logged (first attempts), done (not skipped), checked (passed or
    failed), failed, skipped, reworked (second attempts), opportunities (of the steps done, as declared), per_job
    (done / jobs). With step among the groupings also the subsystems it touches and its hazards, in words.

    >>> depot.steps.exposure().table.select("step", "done", "failed", "skipped", "reworked").row(0)
    ('align button', 2728, 136, 10, 172)

    The button was aligned in 2,728 jobs, skipped in 10, and aligned again in 172.
    """
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    parts = asked.named & set(PARTS_LIST)
    found = counts(
        snapshot.store, QUESTION, by=asked.by, where=asked.where, months=asked.months,
        values={"as_of": snapshot.day, **ATTEMPTS},
    )
    table, undated = dated(found, asked)
    notes = list(snapshot.notes)
    if undated:
        notes.append(f"The steps of {counted(undated, 'job')} have no date, nor has the job: in no month.")
    undeclared = int(table["undeclared"].sum())
    if undeclared:
        notes.append(
            f"{counted(undeclared, 'first attempt is', 'first attempts are')} at steps that their procedure does not "
            "declare: one chance each."
        )
    if parts:
        notes.append("An attempt counts under each part and lot fitted in its job, so the rows do not add up.")
    per_job = [done / jobs if jobs else float("nan") for done, jobs in table.select("done", "jobs").iter_rows()]
    table = table.drop("undeclared").with_columns(rounded(per_job).alias("per_job"))
    if "step" in asked.by:
        table = _described(table, declared_steps(snapshot.store))
    return StepExposure(table, {"as_of": snapshot.day, **asked.settings()}, tuple(notes))


def _described(table: "pl.DataFrame", declared: "tuple[DeclaredStep, ...]") -> "pl.DataFrame":
    import polars as pl

    touched: dict[str, dict[str, None]] = {}
    for s in declared:
        touched.setdefault(s.step, {}).update(dict.fromkeys(s.subsystems))
    hazards = hazards_of(declared)
    steps = table["step"].to_list()
    return table.with_columns(
        pl.Series("subsystems", [in_words(touched.get(s, ())) for s in steps], dtype=pl.String),
        pl.Series("hazards", [in_words(hazards.get(s, ())) for s in steps], dtype=pl.String),
    )


def in_words(names: "dict[str, None] | tuple[str, ...]") -> str:
    """Names as said, "mixed fasteners, pinch"; empty where there are none."""
    return ", ".join(SAID.get(name, spoken(name)) for name in names)
