"""Before an action starts: how many jobs and weeks it takes to see the change it is to bring."""

from datetime import timedelta
from math import ceil

from rqa.answers.core.action_scope import EXPECTED_FORMS, ActionScope, check_scope, expected_ratio, scope_of
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import comebacks_seen
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, Where, check_level, is_number, whole_number
from rqa.answers.improve.action_judged import DAYS_A_MONTH, plan_before
from rqa.answers.improve.action_work import BEFORE_DAYS, action_work
from rqa.answers.improve.scope_seen import unseen
from rqa.errors import RequestError
from rqa.words import counted, fixed, percent

QUESTION = "power"
MOST_MONTHS = 60


class ActionPower(Answer):
    """What an action takes to be seen: month, known_on, jobs_after, weeks, chance, smallest_ratio, enough."""

    question = "Work it takes to see a change"
    needs = SEEN
    apart = ("weeks",)
    lists = "It looks ahead: these jobs are still to come."


def power(
    snapshot: Snapshot,
    scope: Where | str | None = None,
    *,
    change: float | str = 0.5,
    power: float = 0.8,
    level: float = 0.95,
    window: int = 30,
    months: int = 12,
) -> ActionPower:
    """Say how long it takes to see an action, if it begins now and work goes on as in the last year.

    `scope` is written as that of an action ("model=Marl-10; step=close case") or as filters by name; None is the whole
    depot. `change` is the
    factor on the come-back rate (0.5: a halving), or words such as "by a third". Looked at each month end like
    `depot.verdicts()`, by the same rule, and beside the same work where there is as much of it.

    Columns: month (from now), known_on (when that month's jobs have matured), jobs_after, weeks (until known_on),
    chance (to have seen the change by then, were that the last look), smallest_ratio (the least change seen with
    `power`; null: not even that all come-backs end), enough (whether the chance is at least `power`).

    >>> r = depot.actions.power("site=Alder").table.row(-1, named=True)
    >>> r["month"], r["chance"], r["enough"]
    (12, 0.264324, False)

    With a year more of Alder's work a halving would be seen with a chance of 26 %, which is not enough.
    """
    days_asked(QUESTION, "window", window)
    whole_number(QUESTION, "months", months, 1, MOST_MONTHS)
    check_level(QUESTION, level)
    check_level(QUESTION, power, "power")
    ratio = expected_ratio(change) if isinstance(change, str) else change
    if not is_number(ratio) or ratio is None or ratio < 0 or ratio == 1:
        raise RequestError(
            f"{QUESTION}: change is a factor on the rate such as 0.5, not 1, or words ({EXPECTED_FORMS}): {change!r}."
        )
    asked = ActionScope() if scope is None else scope_of(scope, of=QUESTION)
    check_scope(snapshot.store, asked, of=QUESTION)
    work = action_work(snapshot, asked, snapshot.day + timedelta(days=1), window, before_days=BEFORE_DAYS + window)
    # The days whose jobs have matured: a year of them, or as many as there are.
    days = max(1, (snapshot.day + timedelta(days=1 - window) - work.first_on).days)
    plan, serves = plan_before(
        work.own, work.beside, days=days, ratio=ratio, power=power, level=level, months=months
    )
    settings = {
        "scope": str(asked) or "the whole depot", "outcome": work.outcome, "change": ratio, "power": power,
        "level": level, "window": window, "as_of": snapshot.day,
    }
    import polars as pl

    if plan is None:
        schema = {"month": pl.Int64, "known_on": pl.Date, "jobs_after": pl.Int64, "weeks": pl.Float64,
                  "chance": pl.Float64, "smallest_ratio": pl.Float64, "enough": pl.Boolean}
        none = unseen(snapshot, asked) or "There is no matured work in the scope."
        return ActionPower(
            pl.DataFrame(schema=schema), settings, (*snapshot.notes, *work.left_out, *(() if work.untold else (none,)))
        )
    waits = [ceil(month * DAYS_A_MONTH) + window for month in range(1, months + 1)]
    table = pl.DataFrame(
        {
            "month": range(1, months + 1),
            "known_on": [snapshot.day + timedelta(days=d) for d in waits],
            "jobs_after": [round(jobs) for jobs in plan.after],
            "weeks": [round(d / 7, 1) for d in waits],
            "chance": rounded(plan.chance),
            "smallest_ratio": rounded(plan.smallest_ratio),
            "enough": plan.chance >= power,
        },
        schema_overrides={"month": pl.Int64, "jobs_after": pl.Int64},
    )
    beside = work.like if serves else "nothing"
    if not comebacks_seen(snapshot):
        return ActionPower(table.with_columns(enough=pl.lit(None, dtype=pl.Boolean)), settings, snapshot.notes)
    notes = [
        f"Before: {percent(plan.rate)} of matured jobs came back ({work.outcome}); "
        f"{counted(round(plan.after[0]), 'job')} a month; beside it: {beside}."
    ]
    if plan.looks is None:
        notes.append(
            f"{counted(months, 'month is', 'months are')} not enough for a chance of {percent(power, decimals=0)}."
        )
    else:
        row = table.row(plan.looks - 1, named=True)
        notes.append(
            f"It takes {counted(row['jobs_after'], 'matured job')}, known after "
            f"{counted(fixed(row['weeks'], 0), 'week')}, on {row['known_on']}."
        )
    return ActionPower(table, settings, (*snapshot.notes, *notes, *work.left_out))
