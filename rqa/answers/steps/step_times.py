"""How long steps take, and whether units come back more often where one was rushed or slow."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import ATTEMPTS, CaseList, Count
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Snapshot,
    Where,
    check_level,
    check_values,
    is_number,
    scope,
    whole_number,
)
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

QUESTION = "step_times"
GROUPINGS = (*PERIODS, *JOB_NAMES, "step", "bench", "tool")
ALL = "all"
PACES = (ALL, "rushed", "usual", "slow")
TESTS = "Of a test the log has one time, when it was run, so how long a run takes cannot be told."


@dataclass(frozen=True, eq=False, repr=False)
class StepTimes(Answer):
    """How long steps take: attempts, minutes, low_quarter, high_quarter, matured, returned, rate, low, high.

    `paces` has the same for "rushed", "usual" and "slow" attempts: group, pace, then these columns.
    """

    paces: "pl.DataFrame | None" = field(default=None, kw_only=True)

    question = "How long steps take"
    needs = ("steps", "step_times")
    looks_at = ("closed_there", "logged_there")
    of_comebacks = ("rate", "low", "high")
    nothing_found = "No first attempt has a start and an end."
    lists = CaseList("listed_attempts", {"attempts": Count(("first_timed",))}, rows=ATTEMPTS)


def step_times(
    snapshot: Snapshot,
    by: By = ("step",),
    *,
    where: Where | None = None,
    months: Months | None = None,
    part: float = 0.1,
    min_cases: int = 30,
    window: int = 30,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> StepTimes:
    """Say how long first attempts at steps take, and how often units come back where one was rushed or slow.

    Parameters
    ----------
    by, where
        month and week (in `by` alone), site, model, procedure, technician, billing, step, bench, tool.
    part
        The share of like attempts, above 0 and below 0.5, that counts as rushed, and as slow.
    min_cases
        Like attempts (same step, procedure and model) from which on pace is told.

    Returns
    -------
    StepTimes
        A row a group: attempts, minutes (their median), low_quarter and high_quarter (a quarter took less, a quarter
        more), matured (attempts in jobs followed the whole window), returned (of these, the unit came back), rate =
        returned / matured with Wilson's low and high. `.paces` has the same by pace: "rushed", "usual" and "slow".

    Notes
    -----
    A step that takes long may be the hard case that comes back anyway, and one that takes no time may have been
    logged afterwards: the rates stand beside each other, and are no cause. Minutes are from start to end as logged,
    breaks too. For a chart: `depot.control_chart("step_minutes", where="step=…")`.

    Examples
    --------
    >>> r = depot.steps.times(where="step=align button")
    >>> r.table.select("attempts", "minutes").row(0), r.paces.select("pace", "attempts").row(0)
    ((1921, 4.0), ('rushed', 53))

    Half of 1,921 first attempts took 4 minutes or less; 53 were rushed.
    """
    import polars as pl

    check_level(QUESTION, level)
    check_index_disposition(QUESTION, index_disposition)
    days_asked(QUESTION, "window", window)
    whole_number(QUESTION, "min_cases", min_cases, 1, of="attempts")
    if not is_number(part) or not 0 < part < 0.5:
        raise RequestError(f"{QUESTION}: part is a share above 0 and below 0.5, such as 0.1: {part!r}.")
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    values = {
        "as_of": snapshot.day, "outer": float(part), "min_cases": min_cases, "window": window,
        "disposition": index_disposition,
    }
    table = counts(
        snapshot.store, "step_times", by=asked.by, where=asked.where, months=asked.months, values=values
    )
    table = with_shares(table, part="returned", whole="matured", share="rate", level=level)
    minutes = {"median": "minutes", "quarter": "low_quarter", "three_quarters": "high_quarter"}
    made = table.with_columns(
        *((pl.col(name) / 60).round(4).alias(new) for name, new in minutes.items()),
        pl.col("pace").replace_strict({p: i for i, p in enumerate(PACES)}, return_dtype=pl.Int64).alias("place"),
    ).sort([*asked.by, "place"], nulls_last=True).select(
        *asked.by, "pace", "attempts", "minutes", "low_quarter", "high_quarter", "matured", "returned", "rate", "low",
        "high",
    )
    settings = {
        **asked.settings(), "part": part, "min_cases": min_cases, "window": window, "as_of": snapshot.day,
        "index_disposition": index_disposition, "level": level,
    }
    notes = [
        f"Rushed and slow: quicker or slower than {100 * part:g} % of the first attempts at the same step of the same "
        "procedure on the same model. Rates beside each other show no cause: a hard case takes longer, and comes back "
        "more often.",
        TESTS,
    ] if made.height else []
    paces = made.filter(pl.col("pace") != ALL)
    made = made.filter(pl.col("pace") == ALL).drop("pace")
    return StepTimes(made, settings, (*snapshot.notes, *notes), paces=paces)
