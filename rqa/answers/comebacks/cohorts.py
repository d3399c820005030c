"""Closing months followed month by month, and the return rates by time in service that the telecom trade uses."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rqa.answers.comebacks.closing_days import day_number, first_days, last_days
from rqa.answers.core.case_lists import EVER, CaseList, Count
from rqa.answers.core.follow_up_counts import Counts, check_index_disposition, column, group_numbers, measure_for
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.readable import NUMBER
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import (
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_values,
    month_range,
    scope,
    whole_number,
)
from rqa.measures.groupings import JOB_NAMES, PARTS_LIST
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

COHORTS, INDICES = "cohorts", "return_indices"
GROUPINGS = (*JOB_NAMES, *PARTS_LIST)
LONGEST = 120
SERVICE = ("early", "one_year", "long_term")
BOUNDS = (6, 18)
"""The last month since closing of the first and of the second rate."""


class Cohorts(Answer):
    """Closing month by months since: month, age, jobs, returned, share, low, high, mature."""

    question = "Cohorts of closing months"
    needs = SEEN

    def listed(self) -> CaseList:
        """Every job of a month stands beside each age; returned are those back by that age."""
        return CaseList(
            "listed_followed_jobs",
            {"jobs": Count(at={"age": None}), "returned": Count(("returned",), at={"age": ("age", "<=")})},
            whole={"age": self.settings["upto"]}, values={"upto": EVER},
        )


class ReturnIndices(Answer):
    """Returns per 100 units and year by time in service: month, returns, units, rate and limits of each index."""

    question = "Return rates by time in service"
    units: ClassVar[Mapping[str, str]] = {"rate": NUMBER}
    needs = SEEN
    lists = "Its units are counted anew each month, so a job stands in many rows. Ask returns.cohorts() for the jobs."


def cohorts(
    snapshot: Snapshot,
    by: By = (),
    *,
    upto: int = 12,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Cohorts:
    """Say what share of each closing month's jobs had come back by the end of the same month, the next, and so on.

    Parameters
    ----------
    by, where
        site, model, procedure, technician, billing, and part_no, lot of the parts fitted.
    upto
        Months since closing up to which is counted; 0 is the closing month itself.
    months
        Closing months.

    Returns
    -------
    Cohorts
        A row a closing month (of a group) and age: month, age (calendar months since), jobs, returned (by the end of
        that calendar month, or so far), share = returned / jobs with Wilson's low and high, mature (whether that
        calendar month was over by the as-of day: only then is the cell final).

    Notes
    -----
    Units that left service stay among the jobs, as in the mature rate. Jobs of a month's last days have been out for
    fewer days at each age than those of its first: compare rows of one column, not columns.

    Examples
    --------
    >>> depot.returns.cohorts().table.select("age", "jobs", "returned", "share").row(1)
    (1, 94, 6, 0.06383)

    Of January's 94 jobs, 6 were back by the end of February.
    """
    import polars as pl

    check_level(COHORTS, level)
    whole_number(COHORTS, "upto", upto, 0, LONGEST, of="months")
    asked, groups, group, closed, left, outcome, jobs = _asked(COHORTS, snapshot, by, where, months, index_disposition)
    last = int(np.datetime64(snapshot.day, "M").astype(np.int64))
    keys, row = np.unique(np.stack([group, closed]), axis=1, return_inverse=True)
    row = row.ravel()
    number = np.bincount(row, weights=jobs, minlength=keys.shape[1]).astype(np.int64)
    back = np.zeros((keys.shape[1], upto + 1), dtype=np.int64)
    came = (outcome == "returned") & (left - closed <= upto)
    np.add.at(back, (row[came], (left - closed)[came]), jobs[came])
    back = back.cumsum(axis=1)
    cohort, age = np.nonzero(keys[1][:, np.newaxis] + np.arange(upto + 1) <= last)
    reached = keys[1][cohort] + age
    table = pl.DataFrame([
        *(groups[name].gather(keys[0][cohort]) for name in asked.by),
        pl.Series("month", first_days(keys[1][cohort]), dtype=pl.Date),
        pl.Series("age", age, dtype=pl.Int64),
        pl.Series("jobs", number[cohort], dtype=pl.Int64),
        pl.Series("returned", back[cohort, age], dtype=pl.Int64),
        pl.Series("mature", last_days(reached) <= day_number(snapshot.day), dtype=pl.Boolean),
    ])
    made = with_shares(table, part="returned", whole="jobs", share="share", level=level)
    made = made.select(*asked.by, "month", "age", "jobs", "returned", "share", "low", "high", "mature")
    settings = {
        "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(), "level": level,
        "method": "wilson",
    }
    notes = list(snapshot.notes)
    if asked.named & {*PARTS_LIST}:
        notes.append("A job counts once under each group its parts list names, so the groups share jobs.")
    return Cohorts(made, settings, tuple(notes))


def return_indices(
    snapshot: Snapshot,
    by: By = (),
    *,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ReturnIndices:
    """Say how many of 100 units in service come back in a year, by how long ago they were repaired.

    The open telecom measurement standard's three rates, with the closing of a repair in the place of shipment: early (0
    to 6 calendar months since closing), one_year (7 to 18), long_term (more than 18). Groupings: site, model,
    procedure, technician, billing. A row a month (of the return) and index: units (repaired so long ago and still out
    as the month begins, or closed in it), returns (of those, opened in the month), rate per 100 units and year with
    exact Poisson low and high. `months` keeps months of the return. The as-of month is left out unless it is over.
    Without units there is no data.

    These are rates of a month over all ages at once, not shares of repairs: they cannot be compared with the come-back
    rate. A unit that left service, or has come back, is no longer among the units of its old repair.

    >>> depot.returns.indices().table.select("index", "units", "returns", "rate").row(0)
    ('early', 94, 4, 51.06383)

    Early on, the 94 units of January came back at a rate of 51 per 100 units and year.
    """
    import polars as pl

    from rqa.stats import return_rates

    check_level(INDICES, level)
    span = month_range(INDICES, months)
    asked, groups, group, closed, left, outcome, jobs = _asked(
        INDICES, snapshot, by, where, None, index_disposition, JOB_NAMES
    )
    last = int(np.datetime64(snapshot.day, "M").astype(np.int64))
    if len(closed) and last_days(np.array([last]))[0] > day_number(snapshot.day):
        last -= 1
    # A unit not gone leaves after all that is looked at.
    gone = np.where(left < 0, last + 1, left)
    periods = np.arange(closed.min(), last + 1) if len(closed) else np.zeros(0, dtype=np.int64)
    size = int(group.max()) + 1 if len(group) else 0
    units = np.zeros((size, periods.size, len(SERVICE)), dtype=np.int64)
    returns = np.zeros_like(units)
    for place, period in enumerate(periods):
        age = np.searchsorted(BOUNDS, period - closed, side="left")
        there = (closed <= period) & (gone >= period)
        np.add.at(units[:, place], (group[there], age[there]), jobs[there])
        now_back = there & (outcome == "returned") & (left == period)
        np.add.at(returns[:, place], (group[now_back], age[now_back]), jobs[now_back])
    rates = return_rates(returns=returns, units=units, months=1, level=level)
    g, p, s = (a.ravel() for a in np.indices(units.shape))
    table = pl.DataFrame([
        *(groups[name].gather(g) for name in asked.by),
        pl.Series("month", first_days(periods[p]), dtype=pl.Date),
        pl.Series("index", [SERVICE[i] for i in s], dtype=pl.String),
        pl.Series("units", units.ravel(), dtype=pl.Int64),
        pl.Series("returns", returns.ravel(), dtype=pl.Int64),
        *(column(name, getattr(rates, name).ravel()) for name in ("rate", "low", "high")),
    ])
    if span is not None:
        table = table.filter(table["month"].is_between(*span))
    settings = {
        "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(), "months": span,
        "level": level, "method": "per 100 units and year, exact Poisson",
    }
    return ReturnIndices(table, settings, snapshot.notes)


def _asked(
    question: str, snapshot: Snapshot, by: By, where: Where | None, months: Months | None, index_disposition: str,
    allowed: tuple[str, ...] = GROUPINGS,
) -> "tuple[Scope, pl.DataFrame, Counts, Counts, Counts, np.ndarray, Counts]":
    """Scope, groups, and by entry: group, closing month, month left (-1: not yet), outcome, jobs."""
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=None, allowed=allowed)
    check_values(snapshot.store, question, asked.where)
    span = month_range(question, months)
    asked = Scope(asked.by, asked.where, span)
    table = counts(
        snapshot.store, measure_for(question, asked, "service_months"), by=asked.by, where=asked.where, months=span,
        values={"as_of": snapshot.day, "disposition": index_disposition},
    )
    groups, group = group_numbers(table, asked.by)
    closed, left = (
        table[name].to_numpy().astype("datetime64[M]").astype(np.int64) for name in ("closed_month", "left_month")
    )
    left = np.where(table["left_month"].is_null().to_numpy(), -1, left)
    return asked, groups, group, closed, left, table["outcome"].to_numpy(), table["jobs"].to_numpy()
