"""How many defects a unit of work had, and how many in a million chances to make one."""

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import CHECKS, CaseList, Count, marked
from rqa.answers.core.job_clusters import by_job_note, effects_of_groups, groups_of, said_of, widened_ratio
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import PERIODS, By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, STEP_LOG
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

    from rqa.store.engine import Store

QUESTION = "defects"
GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG)
SHIFT = 1.5


class Defects(Answer):
    """Defects per unit and per million opportunities: jobs, exposures, failed, opportunities, dpu, dpu_low, dpu_high,
    dpmo, dpmo_low, dpmo_high, sigma, sigma_shifted."""

    question = "Defects"
    in_table_only = ("jobs", "dpu_low", "dpu_high", "sigma_shifted")
    needs = ("checks",)
    lists = CaseList("listed_attempts", {"exposures": Count(("exposure",)), **marked("failed")}, rows=CHECKS)


def defects(
    snapshot: Snapshot, by: By = ("step",), *, where: Where | None = None, months: Months | None = None,
    level: float = 0.95,
) -> Defects:
    """Say how many first checks failed for each unit (DPU) and in a million opportunities (DPMO).

    A defect is a first attempt that failed its check; a unit is a job with a checked first attempt in the group; the
    opportunities of a step are those that its procedure declares. `by` and `where` take month and week (in `by` alone),
    site, model, procedure, technician, billing, step, bench, tool, phase.

    Columns: jobs, exposures (checked first attempts), failed, opportunities (in them), dpu = failed / jobs and
    dpmo = failed / opportunities x 10^6, each with exact Poisson limits, wider where checks of one job fail together
    (`settings["by_job"]`: how many times as much the failures vary, at most); sigma, the distance on the normal curve
    that so many defects pass, and sigma_shifted, the same with 1.5 added by custom. Without a defect there is no sigma
    level (null); the limits still say what could be.

    >>> depot.yields.defects().table.select("step", "failed", "opportunities", "dpmo").row(0)
    ('align button', 136, 2728, 49853.372434)

    136 of 2,728 checks failed, which is 49,853 in a million.
    """
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    table, undated = dated(defect_counts(snapshot.store, snapshot.day, asked), asked)
    notes = list(snapshot.notes)
    if undated:
        notes.append(
            f"{counted(undated, 'first check has', 'first checks have')} no date and no dated job: in no month."
        )
    undeclared = int(table["undeclared"].sum())
    if undeclared:
        notes.append(
            f"{counted(undeclared, 'first check is', 'first checks are')} at steps that the job's procedure does not "
            "declare: one opportunity each."
        )
    if table["failed"].sum():
        notes.append(
            "sigma is what the counts show; sigma_shifted adds 1.5 by custom, for a drift that they did not see: a "
            "convention, not a finding. Compare a figure only with one made the same way."
        )
    if not set(asked.by) <= {*PERIODS, *JOB_NAMES} - {"technician"}:
        notes.append("A job counts as a unit in each group that worked on it, so jobs do not add up.")
    effects = effects_of_groups(snapshot, groups_of(table, asked.by), asked, log="steps", level=level)
    settings = {
        "as_of": snapshot.day, **asked.settings(), "level": level, "method": "exact Poisson", **said_of(effects),
    }
    return Defects(_rates(table, level, effects), settings, (*notes, *by_job_note(effects)))


def defect_counts(store: "Store", day: date, asked: Scope) -> "pl.DataFrame":
    """The counts by group, of checked first attempts: jobs, exposures, failed, opportunities, undeclared."""
    found = counts(
        store, "step_exposure", by=asked.by, where=asked.where, months=asked.months, values={"as_of": day}
    )
    return found.rename({"checked": "exposures"})


def _rates(table: "pl.DataFrame", level: float, effects: NDArray[np.float64]) -> "pl.DataFrame":
    from rqa.stats import defect_rate, sigma_level

    jobs, failed, opportunities = (table[name].to_numpy() for name in ("jobs", "failed", "opportunities"))
    per_job = np.where(jobs > 0, opportunities / np.maximum(jobs, 1), 1.0)
    r = defect_rate(defects=failed, exposures=jobs, opportunities=np.where(per_job > 0, per_job, 1.0), level=level)
    # A step can fail once for each attempt and no more than it has opportunities, so dpmo stays below a million.
    seen = np.where(failed > 0, np.minimum(r.dpmo, 1e6), np.nan)
    dpu_low, dpu_high = widened_ratio(r.dpu, r.dpu_low, r.dpu_high, effects)
    dpmo_low, dpmo_high = widened_ratio(r.dpmo, r.dpmo_low, r.dpmo_high, effects)
    made = {
        "dpu": r.dpu, "dpu_low": dpu_low, "dpu_high": dpu_high,
        "dpmo": r.dpmo, "dpmo_low": dpmo_low, "dpmo_high": dpmo_high,
        "sigma": _finite(sigma_level(dpmo=seen, shift=0.0).sigma),
        "sigma_shifted": _finite(sigma_level(dpmo=seen, shift=SHIFT).sigma),
    }
    return table.drop("undeclared").with_columns(rounded(values).alias(name) for name, values in made.items())


def _finite(values: np.ndarray) -> np.ndarray:
    return np.where(np.isfinite(values), values, np.nan)
