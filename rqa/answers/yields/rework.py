"""The work done again: attempts beyond the first, the time they take, and where a failed check sends the job."""

from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import ATTEMPTS, CHECKS, CaseList, Count, marked
from rqa.answers.core.job_clusters import AGAIN, TOLD_FROM, effects_of_groups, groups_of, said_of
from rqa.answers.core.result import Answer, rounded, with_shares
from rqa.answers.core.scope import PERIODS, By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, STEP_LOG
from rqa.measures.run import counts
from rqa.words import counted, plural

if TYPE_CHECKING:
    import polars as pl

GROUPINGS = (*PERIODS, *JOB_NAMES, *STEP_LOG)
TOGETHER = (
    "Steps of one job are done again together: shares vary up to {:.2f} times as much as those of single steps would. "
    "The limits allow for that; the job is what is sampled (Rao and Scott 1992)."
)
OF_FAILURES = " The factor is that of failed first checks, which stand for steps done again where these are 0."


class Rework(Answer):
    """Work done again: executed, reworked, share, low, high, attempts, attempts_per_step, max_attempts, later,
    later_timed, minutes, labour_minutes."""

    question = "Rework"
    in_table_only = ("max_attempts", "later", "later_timed")
    needs = ("steps",)
    lists = CaseList(
        "listed_attempts", {"attempts": Count(("worked",)), **marked("executed", "reworked", "later", "later_timed")},
        rows=ATTEMPTS,
    )


class ReworkRoutes(Answer):
    """Where failed checks sent the job: way, to_step, failures, share, low, high."""

    question = "Where a failed check sends the job"
    needs = ("checks", "step_times")
    lists = CaseList("listed_failures", {"failures": Count()}, rows=CHECKS, keys={"way": "way", "to_step": "to_step"})


def rework(
    snapshot: Snapshot, by: By = ("step",), *, where: Where | None = None, months: Months | None = None,
    level: float = 0.95,
) -> Rework:
    """Say how often steps are done again, and what time and labour goes into attempts beyond the first.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, step, bench,
    tool, phase. Columns: executed (first attempts), reworked (second attempts: steps done again), share = reworked /
    executed with its Wilson interval low, high, widened where several steps of a job are added up, as jobs are what
    is sampled (by as much as the steps of a job are done again together); attempts (all),
    attempts_per_step (attempts / executed), max_attempts (attempts at one step), later (attempts beyond the first),
    later_timed (those with a start and an end), minutes (logged on these), labour_minutes (what is booked for so
    much logged time). Skipped steps do not count.

    >>> depot.yields.rework().table.select("step", "reworked", "executed", "share").row(0)
    ('align button', 172, 2728, 0.06305)

    The button is aligned anew in one job of sixteen.
    """
    import polars as pl

    table, notes, settings, asked = _asked("rework", snapshot, by, where, months, level)
    # Where no step was done again nothing varies; the failed first checks, which are what is done again, stand for it.
    log, together = (AGAIN, TOGETHER) if table["reworked"].sum() else ("steps", TOGETHER + OF_FAILURES)
    effects = effects_of_groups(snapshot, groups_of(table, asked.by), asked, log=log, level=level)
    table = with_shares(table, part="reworked", whole="executed", share="share", level=level, design_effect=effects)
    settings |= said_of(effects)
    largest = float(effects.max(initial=1.0))
    notes += [together.format(largest)] * (largest >= TOLD_FROM)
    rate, jobs = _booked(snapshot, asked)
    later, timed = int((table["attempts"] - table["executed"]).sum()), int(table["later_timed"].sum())
    executed = table["executed"].to_numpy()
    attempts_per_step = table["attempts"].to_numpy() / executed.astype(float).clip(min=1.0)
    minutes = table["later_seconds"].to_numpy() / 60.0
    nothing = float("nan")
    made = table.select(
        *asked.by, "executed", "reworked", "share", "low", "high", "attempts",
        rounded(
            e if n else nothing for e, n in zip(attempts_per_step, executed, strict=True)
        ).alias("attempts_per_step"), "max_attempts",
        (pl.col("attempts") - pl.col("executed")).alias("later"), "later_timed",
        rounded(m if n else nothing for m, n in zip(minutes, table["later_timed"], strict=True)).alias("minutes"),
        rounded(
            m * rate if n and rate else nothing for m, n in zip(minutes, table["later_timed"], strict=True)
        ).alias("labour_minutes"),
    )
    if later:
        notes.append(
            f"{timed:,} of {counted(later, 'attempt')} beyond the first {plural(timed, 'has', 'have')} a start and an "
            "end: minutes are of these alone."
        )
    if timed and rate:
        notes.append(
            f"labour_minutes takes {rate:.2f} booked minutes for each minute logged at steps, as on the "
            f"{counted(jobs, 'job that has', 'jobs that have')} both: labour is booked on jobs, so its part in "
            "rework is an estimate."
        )
    elif timed:
        notes.append("No job has both booked labour and logged step times: no estimate of labour.")
    if later:
        notes.append("The time in which a job waits to be done again is in none of these figures.")
    return Rework(made, settings, tuple(notes))


def rework_routes(
    snapshot: Snapshot, by: By = ("step",), *, where: Where | None = None, months: Months | None = None,
    level: float = 0.95,
) -> ReworkRoutes:
    """Say what was logged next after a failed check: the same step again, an earlier one, a later one, or nothing.

    Groupings as for `rework`. Columns: way ("again", "back", "on", "ended", "unknown" for failed attempts without a
    time), to_step (the other step that came next), failures (failed attempts, first and later ones), share of the
    group's failures with its Wilson interval low, high.

    >>> depot.yields.rework_routes().table.select("step", "way", "failures", "share").row(0)
    ('align button', 'again', 146, 1.0)

    Whenever the button was found wrong, the step itself was done again.
    """
    import polars as pl

    table, notes, settings, asked = _asked("rework_routes", snapshot, by, where, months, level)
    order = {"again": 0, "back": 1, "on": 2, "ended": 3, "unknown": 4}
    whole = pl.col("failures").sum().over(list(asked.by)) if asked.by else pl.col("failures").sum()
    table = table.with_columns(whole.alias("of"))
    table = with_shares(table, part="failures", whole="of", share="share", level=level)
    table = table.sort(*asked.by, pl.col("way").replace_strict(order, return_dtype=pl.Int64), "to_step")
    on = int(table.filter(pl.col("way") == "on")["failures"].sum())
    if on:
        notes.append(
            f"After {counted(on, 'failed check')} a later step was logged next: the check was left open, or put right "
            "unlogged."
        )
    unknown = int(table.filter(pl.col("way") == "unknown")["failures"].sum())
    if unknown:
        notes.append(
            f"{counted(unknown, 'failed attempt has', 'failed attempts have')} no time, so what came next is not known."
        )
    return ReworkRoutes(table.drop("of"), settings, tuple(notes))


def _asked(
    question: str, snapshot: Snapshot, by: By, where: Where | None, months: Months | None, level: float
) -> "tuple[pl.DataFrame, list[str], dict[str, object], Scope]":
    check_level(question, level)
    asked = scope(question, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, question, asked.where)
    found = counts(
        snapshot.store, question, by=asked.by, where=asked.where, months=asked.months, values={"as_of": snapshot.day}
    )
    table, undated = dated(found, asked)
    notes = list(snapshot.notes)
    if undated:
        notes.append(f"{counted(undated, 'attempt has', 'attempts have')} no date and no dated job: in no month.")
    settings = {"as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    return table, notes, settings, asked


def _booked(snapshot: Snapshot, asked: Scope) -> tuple[float | None, int]:
    """Booked minutes for each minute logged at steps, and the jobs that say so."""
    kept = {name: values for name, values in asked.where.items() if name in JOB_NAMES and name != "technician"}
    row = counts(snapshot.store, "booked_labour", where=kept, values={"as_of": snapshot.day}).row(0, named=True)
    return (row["labour_minutes"] * 60.0 / row["seconds"] if row["seconds"] else None), int(row["jobs"])
