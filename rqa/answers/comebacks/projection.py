"""What a month's come-back rate will be once all its jobs are followed, and whether such projections came true."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.comebacks.closing_days import (
    RECENT,
    ClosingDays,
    SeenMonths,
    closing_days,
    day_number,
    first_days,
    last_days,
    seen_on,
)
from rqa.answers.core.case_lists import CaseList, Count, marked
from rqa.answers.core.follow_up_counts import check_index_disposition, column, days_asked, group_numbers
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import comebacks_seen
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import (
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_values,
    month_end,
    month_range,
    scope,
    whole_number,
)
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import counted, percent

if TYPE_CHECKING:
    import polars as pl

PROJECTION, BACKTEST = "projection", "projection_backtest"
HISTORY = 6
"""Closing months that lie before the first past day looked from."""
FIGURES = ("projected", "low", "high", "final_low", "final_high")


class Projection(Answer):
    """Rate that a month will show: month, jobs, matured, returned_so_far, projected, low, high, final limits."""

    question = "Projected come-backs"
    needs = (*SEEN, "matured_jobs")
    lists = CaseList(
        "listed_index_jobs", {"jobs": Count(), **marked("matured", "returned_so_far")}, returned="returned_so_far"
    )


@dataclass(frozen=True, eq=False, repr=False)
class ProjectionBacktest(Answer):
    """Past projections and what came true: seen_on, month, jobs, matured, projected, limits, came_true, held.

    `inside` of `judged` projections held the figure that came.
    """

    inside: int = 0
    judged: int = 0

    question = "Projections tried on the past"
    in_table_only = ("matured",)
    needs = (*SEEN, "matured_jobs")
    lists = "It looks at the depot from past days. Ask projection() of rqa.open(…, as_of=…) for the jobs of one."


def projection(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    recent: int = RECENT,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Projection:
    """Say what each closing month's come-back rate will be once all its jobs have been out `window` days.

    Parameters
    ----------
    window
        Days within which a return counts.
    by, where
        site, model, procedure, technician, billing.
    months
        First and last month shown; all months count towards what is known.
    recent
        Closing months, up to the one of the as-of day, whose hazard and differences stand for what is still to come.

    Returns
    -------
    Projection
        A row a month (of a group): jobs, matured, returned_so_far (within the window, of all its jobs, matured or not),
        projected with low and high, which hold the month's true rate, and final_low and final_high, which hold the
        figure that the month will show once it is mature.

    Notes
    -----
    A mature month is its own rate, with Wilson's limits, and final_low and final_high equal it. Of a younger one, each
    job keeps what happened to it so far; beyond its age, jobs not yet back return as those of recent months did at the
    same age, times the pace of the month's own returns so far. So a month that runs hot is told as such. The limits
    carry the chance variation of both, and that a month may be twice or half as fast as those before. Where recent
    months were not followed for `window` days there is no data. A month that is not over is projected for the jobs
    closed so far. Recent months are no guide after a change of work, parts or models.

    Examples
    --------
    >>> r = depot.projection().table.row(-1, named=True)
    >>> r["jobs"], r["matured"], r["projected"], r["low"], r["high"]
    (154, 0, 0.042671, 0.016229, 0.087314)

    Of June's 154 jobs none is mature yet; 4.3 % are expected back, and 1.6 to 8.7 % would not surprise.
    """
    check_level(PROJECTION, level)
    whole_number(PROJECTION, "recent", recent, 1, of="months")
    asked = _scope(PROJECTION, snapshot, by, where, index_disposition)
    groups, made = _groups(PROJECTION, snapshot, asked, window, index_disposition)
    span = month_range(PROJECTION, months)
    today = day_number(snapshot.day)
    seen = [seen_on(days, today, recent=recent, level=level) for days in made]
    table = _table(groups, seen, asked.by)
    if span is not None:
        table = table.filter(table["month"].is_between(*span))
    settings = {
        "window": window, "as_of": snapshot.day, "recent": recent, "index_disposition": index_disposition,
        **asked.settings(), "months": span, "level": level, "method": "own follow-up, pooled hazard beyond",
    }
    return Projection(table, settings, tuple(_notes(snapshot, seen, window, recent, table)))


def projection_backtest(
    snapshot: Snapshot,
    window: int = 30,
    *,
    where: Where | None = None,
    recent: int = RECENT,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ProjectionBacktest:
    """Make the projection as it would have been made at each past month's end, and compare it with what came true.

    A row a past month's end and month of which some jobs had not matured then, and all have now: seen_on, month, jobs,
    matured (then), projected, low, high, final_low, final_high, came_true (the mature rate) and held, whether that lies
    within the final limits. `inside` of `judged` held. The first day looked from has six closing months before it.

    Rows that share a month share its chance variation, so a run of misses is one surprise rather than several. Jobs and
    returns that were entered late count here as if they had been known on their day.

    >>> r = depot.returns.projection_backtest().table
    >>> int(r["held"].sum()), r.height
    (11, 11)

    In eleven months of eleven the true rate lay within what was projected at that month's end.
    """
    import polars as pl

    check_level(BACKTEST, level)
    whole_number(BACKTEST, "recent", recent, 1, of="months")
    asked = _scope(BACKTEST, snapshot, (), where, index_disposition)
    _, made = _groups(BACKTEST, snapshot, asked, window, index_disposition)
    rows = tried(made[0], day_number(snapshot.day), recent=recent, level=level) if made else tried_nothing()
    table = pl.DataFrame([
        pl.Series("seen_on", [date(1970, 1, 1) + timedelta(days=int(d)) for d in rows["seen_on"]], dtype=pl.Date),
        pl.Series("month", first_days(rows["month"]), dtype=pl.Date),
        *(column(name, rows[name]) for name in ("jobs", "matured", *FIGURES, "came_true")),
        pl.Series("held", rows["held"], dtype=pl.Boolean),
    ])
    settings = {
        "window": window, "as_of": snapshot.day, "recent": recent, "index_disposition": index_disposition,
        "where": dict(asked.where), "level": level, "method": "own follow-up, pooled hazard beyond",
    }
    inside, judged = int(rows["held"].sum()), len(rows["held"])
    notes = list(snapshot.notes)
    if not comebacks_seen(snapshot):
        inside, judged = 0, 0
        table = table.with_columns(held=pl.lit(None, dtype=pl.Boolean))
    elif judged:
        notes.append(
            f"{inside} of {counted(judged, 'past projection')} held the rate that came: {percent(inside / judged)}, "
            f"where {level * 100:g} % are promised of many."
        )
    else:
        notes.append("The store does not reach far enough back to try a projection on the past.")
    return ProjectionBacktest(table, settings, tuple(notes), inside=inside, judged=judged)


def tried(days: ClosingDays, today: int, *, recent: int, level: float) -> "dict[str, np.ndarray]":
    """Every past projection of one group's months, and the rate that came; arrays of one length."""
    there = days.upto(today)
    months = np.unique(there.month)
    if not months.size:
        return tried_nothing()
    came = seen_on(days, today, recent=recent, level=level)
    true = np.full(int(months[-1]) + 1, np.nan)
    mature = last_days(came.month) + days.window <= today
    true[came.month[mature]] = came.projection.projected[mature]
    parts: list[dict[str, np.ndarray]] = []
    for end in range(int(months[0]) + HISTORY, int(months[-1]) + 1):
        day = int(last_days(np.array([end]))[0])
        if day >= today:
            break
        then = seen_on(days, day, recent=recent, level=level)
        known = np.isfinite(true[then.month]) & np.isfinite(then.projection.projected)
        young = (then.matured < then.projection.jobs) & known
        p = then.projection
        figures = {name: getattr(p, name)[young] for name in FIGURES}
        truth = true[then.month[young]]
        # The limits are counts over jobs like the rate itself, up to the rounding of a division.
        held = (figures["final_low"] <= truth + 1e-12) & (truth <= figures["final_high"] + 1e-12)
        parts.append(
            {"seen_on": np.full(int(young.sum()), day), "month": then.month[young], "jobs": p.jobs[young],
             "matured": then.matured[young], **figures, "came_true": truth, "held": held}
        )
    return {name: np.concatenate([p[name] for p in parts]) for name in parts[0]} if parts else tried_nothing()


def tried_nothing() -> "dict[str, np.ndarray]":
    """No past projection."""
    whole = {name: np.zeros(0, dtype=np.int64) for name in ("seen_on", "month", "jobs", "matured")}
    return {**whole, **{n: np.zeros(0) for n in (*FIGURES, "came_true")}, "held": np.zeros(0, dtype=np.bool_)}


def _scope(question: str, snapshot: Snapshot, by: By, where: Where | None, index_disposition: str) -> Scope:
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=None, allowed=JOB_NAMES)
    check_values(snapshot.store, question, asked.where)
    return asked


def _groups(
    question: str, snapshot: Snapshot, asked: Scope, window: int, index_disposition: str
) -> "tuple[pl.DataFrame, list[ClosingDays]]":
    table = counts(
        snapshot.store, "closing_days", by=asked.by, where=asked.where,
        values={
            "window": days_asked(question, "window", window), "as_of": snapshot.day, "disposition": index_disposition
        },
    )
    groups, group = group_numbers(table, asked.by)
    closed = table["closed_on"].cast(int).to_numpy()
    elapsed, jobs = table["elapsed_days"].fill_null(-1).to_numpy(), table["jobs"].to_numpy()
    number = groups.height if asked.by else min(table.height, 1)
    parts = [group == g for g in range(number)]
    return groups, [closing_days(window, closed[own], elapsed[own], jobs[own]) for own in parts]


def _table(groups: "pl.DataFrame", seen: list[SeenMonths], by: tuple[str, ...]) -> "pl.DataFrame":
    import polars as pl

    place = np.repeat(np.arange(len(seen)), [s.month.size for s in seen])

    def together(name: str) -> np.ndarray:
        parts = [getattr(s.projection, name) for s in seen]
        return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)

    return pl.DataFrame([
        *(groups[name].gather(place) for name in by),
        pl.Series("month", [m for s in seen for m in first_days(s.month)], dtype=pl.Date),
        column("jobs", together("jobs")),
        pl.Series("matured", [int(n) for s in seen for n in s.matured], dtype=pl.Int64),
        column("returned_so_far", together("returned")),
        *(column(name, together(name)) for name in FIGURES),
    ])


def _notes(snapshot: Snapshot, seen: list[SeenMonths], window: int, recent: int, table: "pl.DataFrame") -> list[str]:
    notes = list(snapshot.notes)
    young = sorted({row["month"] for row in table.iter_rows(named=True) if row["matured"] < row["jobs"]})
    if young:
        named = ", ".join(f"{m:%Y-%m}" for m in young)
        notes.append(
            f"Projected, not yet mature on {snapshot.day}: {named}. Days still to come are taken from the jobs closed "
            f"in the last {counted(recent, 'month')}. All other months are mature rates."
        )
        if month_end(young[-1]) > snapshot.day:
            notes.append(f"{young[-1]:%Y-%m} is not over: its projection is of the jobs closed so far.")
    days = counted(window, "day")
    worked = set(table.filter(table["jobs"] > 0)["month"]) - set(young)
    due = sorted(month for month in worked if month_end(month) + timedelta(window) > snapshot.day)
    if due:
        notes.append(
            f"Followed for {days} already, but not final: {', '.join(f'{m:%Y-%m}' for m in due)}. A month is final and "
            f"judged {days} after its last day."
        )
    if any(not s.reaches for s in seen):
        notes.append(
            f"No job has been followed for {days} in some group: its young months have no projection."
        )
    if any(not s.spread_known for s in seen):
        notes.append(
            "With fewer than two mature recent months, or none that had returns, months are taken to differ by chance "
            "alone."
        )
    return notes
