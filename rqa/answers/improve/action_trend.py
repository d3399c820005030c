"""The months before and after an action: did the rate jump, or its trend bend, beside the trend it had before."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.core.action_scope import check_scope, read_scope
from rqa.answers.core.case_lists import CaseList
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot, check_level, month_end, next_month
from rqa.answers.improve.action_lists import BY_MONTH, action_list
from rqa.answers.improve.action_work import ActionWork, action_work
from rqa.answers.improve.verdicts import action_named, last_begun
from rqa.words import counted, month_name, percent

if TYPE_CHECKING:
    import polars as pl

QUESTION = "action_trend"
HISTORY_DAYS = 3 * 366
LEAST_BEFORE, LEAST_AFTER = 12, 3
"""Whole months on each side below which no trend is fitted."""


@dataclass(frozen=True, eq=False, repr=False)
class ActionTrend(Answer):
    """An action's months with the trend before drawn on: month, side, jobs, returned, rate, low, high, fitted,
    unchanged, unchanged_low, unchanged_high.

    `terms` holds what changed: term ("jump", "bend"), odds_ratio, low, high, p_value.
    """

    terms: "pl.DataFrame | None" = None

    question = "Trend before and after"
    in_table_only = ("unchanged_low", "unchanged_high")
    needs = ("actions", *SEEN)

    def listed(self) -> CaseList | str:
        """The jobs in the scope of the action, but for those under way at its start."""
        s: Any = self.settings
        if self.asked_of is None or s["action"] is None:
            return "Add an action first: rqa action WORKSPACE --what …"
        return action_list(
            self.asked_of.snapshot, read_scope(s["scope"]), s["started_on"], s["window"], counts=BY_MONTH,
            before_days=HISTORY_DAYS, returned="returned",
        )


def action_trend(
    snapshot: Snapshot, action: str | None = None, *, window: int = 30, level: float = 0.95
) -> ActionTrend:
    """Say whether come-backs on an action's work jumped at its start, or their trend bent, by whole mature months.

    The month of the start is left out (side "start"), and so are jobs under way at the start. With twelve months before
    and three after a binomial regression with a trend, a jump and a bend is fitted (`rqa.stats.interrupted_series`);
    limits allow for months that vary by more than chance. Up to three years before the start are taken. By default the
    action begun last of those whose scope the store has; without one there are no months.

    Columns: month, side ("before", "start", "after"), jobs, returned, rate with its Wilson interval low, high; fitted;
    unchanged, the trend before drawn on, with unchanged_low, unchanged_high. Without a fit the last four are null.
    `terms`: jump, the odds at the start against the trend before; bend, the growth of the trend a month, as odds_ratio
    with low, high, p_value.

    >>> depot.actions.trend("ACT-1").table.select("side", "returned", "jobs").row(0)
    ('before', 1, 11)

    In the first month before the action, 1 of 11 jobs came back.
    """
    days_asked(QUESTION, "window", window)
    check_level(QUESTION, level)
    if action is None:
        action = last_begun(snapshot)
    if action is None:
        return _no_action(snapshot, window, level)
    row = action_named(snapshot, QUESTION, action)
    scope = read_scope(row["scope"], of=f"{QUESTION}: {action}")
    check_scope(snapshot.store, scope, of=f"{QUESTION}: {action}")
    work = action_work(snapshot, scope, row["started_on"], window, before_days=HISTORY_DAYS)
    months = _months(snapshot, work, row["started_on"], window)
    table, terms, said = _fitted(months, level)
    settings = {
        "action": action, "scope": row["scope"], "started_on": row["started_on"], "outcome": work.outcome,
        "window": window, "as_of": snapshot.day, "level": level,
    }
    notes = (
        *snapshot.notes, *work.left_out, *said, f"{month_name(row['started_on'])}, in which it began, is in no fit."
    )
    return ActionTrend(table, settings, notes, terms=terms)


def _no_action(snapshot: Snapshot, window: int, level: float) -> ActionTrend:
    """The answer where no action can be judged."""
    import polars as pl

    months = pl.DataFrame(schema={"month": pl.Date, "side": pl.String, "jobs": pl.Int64, "returned": pl.Int64})
    table, terms, _ = _fitted(months, level)
    settings = {"action": None, "scope": None, "started_on": None, "outcome": None, "window": window,
                "as_of": snapshot.day, "level": level}
    said = "No action that has begun has a scope that names work of this store; depot.verdicts() says what is amiss."
    return ActionTrend(table, settings, (*snapshot.notes, said), terms=terms)


def _months(snapshot: Snapshot, work: ActionWork, started_on: date, window: int) -> "pl.DataFrame":
    """A row a whole mature month: side, jobs, returned; months without work too."""
    import polars as pl

    start = started_on.replace(day=1)
    summed = work.own.filter(pl.col("side") != "under way").group_by("closed_month").agg(
        pl.col("matured").sum().alias("jobs"), pl.col("returned").sum()
    )
    there = {m: (jobs, returned) for m, jobs, returned in summed.iter_rows()}
    rows = []
    month = min(there, default=start)
    while (snapshot.day - month_end(month)).days >= window:
        side = "before" if month < start else "after" if month > start else "start"
        rows.append((month, side, *there.get(month, (0, 0))))
        month = next_month(month)
    schema = {"month": pl.Date, "side": pl.String, "jobs": pl.Int64, "returned": pl.Int64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _fitted(months: "pl.DataFrame", level: float) -> tuple["pl.DataFrame", "pl.DataFrame", list[str]]:
    import polars as pl

    from rqa.stats import interrupted_series, proportion_interval

    shown = proportion_interval(successes=months["returned"].to_numpy(), trials=months["jobs"].to_numpy(), level=level)
    table = months.with_columns(rate=rounded(shown.estimate), low=rounded(shown.low), high=rounded(shown.high))
    lines = ("fitted", "unchanged", "unchanged_low", "unchanged_high")
    sides = months["side"].to_numpy()
    used = sides != "start"
    before, after = int((sides == "before").sum()), int((sides == "after").sum())
    terms = pl.DataFrame(
        schema={"term": pl.String, "odds_ratio": pl.Float64, "low": pl.Float64, "high": pl.Float64,
                "p_value": pl.Float64}
    )
    nothing = table.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in lines)
    if before < LEAST_BEFORE or after < LEAST_AFTER:
        return nothing, terms, [
            f"{counted(before, 'whole month')} before and {after} mature ones after: a trend is fitted from "
            f"{LEAST_BEFORE} and {LEAST_AFTER} on. depot.verdicts() sets before beside after."
        ]
    fit = interrupted_series(
        count=months["returned"].to_numpy()[used], size=months["jobs"].to_numpy()[used], first_after=before,
        place=np.flatnonzero(used).astype(np.float64), level=level,
    )
    if np.isnan(fit.estimate).any():
        return nothing, terms, ["Too few come-backs on one side to fit a trend; depot.verdicts() judges it."]
    for name in lines:
        values = np.full(used.size, np.nan)
        values[used] = getattr(fit, name)
        table = table.with_columns(rounded(values).alias(name))
    kept = [fit.terms.index(name) for name in ("jump", "bend")]
    terms = pl.DataFrame(
        {"term": ["jump", "bend"], "odds_ratio": rounded(np.exp(fit.estimate[kept])),
         "low": rounded(np.exp(fit.low[kept])), "high": rounded(np.exp(fit.high[kept])),
         "p_value": rounded_p_values(fit.p_value[kept])}
    )
    jump, low, high = (float(np.exp(x[kept[0]])) for x in (fit.estimate, fit.low, fit.high))
    said = [
        f"Chance alone makes as much of a jump and bend with p = {fit.either_p:.2g}. The odds jump to x{jump:.2f} "
        f"({percent(level, decimals=0)} interval {low:.2f} to {high:.2f})."
    ]
    if fit.dispersion > 1.0:
        said.append(f"Months vary {fit.dispersion:.1f} times as much as chance has it; limits are widened for it.")
    return table, terms, said
