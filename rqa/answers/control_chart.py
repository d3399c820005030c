"""Is a figure steady from month to month: the p chart of come-backs, first-pass yield or clean jobs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from rqa.answers.clean_jobs import clean_jobs
from rqa.answers.comebacks import comebacks
from rqa.answers.first_pass_yield import first_pass_yield
from rqa.answers.result import Answer, ControlChart, rounded
from rqa.answers.scope import By, Moment, Months, Where, month_end, next_month
from rqa.errors import RequestError

if TYPE_CHECKING:
    import polars as pl

QUESTION = "control_chart"
PERIODS = ("month",)


@dataclass(frozen=True)
class Measure:
    """Which columns of an answer are the events and the size, and which way is good."""

    count: str
    size: str
    up_is_good: bool


MEASURES = {
    "comebacks": Measure("returned", "matured", False),
    "first_pass_yield": Measure("passed", "exposures", True),
    "clean_jobs": Measure("clean", "jobs", True),
}
SIDES = {"above": "above the upper limit", "below": "below the lower limit"}


def control_chart(
    now: Moment,
    measure: str = "comebacks",
    *,
    by: By = (),
    period: str = "month",
    window: int = 30,
    where: Where | None = None,
    months: Months | None = None,
) -> ControlChart:
    """Say whether a share is steady from month to month, or whether some month fell out of the pattern of chance.

    `measure` is comebacks, first_pass_yield or clean_jobs; `by` draws one chart for each group. Columns: period (first
    day of the month), size, value, centre, lower, upper, signal ("" or which limit the value is beyond), mature.
    Months without a job keep their place, with size 0 and no value. Months whose follow-up (or which themselves) are
    not over are not mature: they show their value so far, move no limit, and have no limits and no signal.
    """
    if measure not in MEASURES:
        raise RequestError(f"{QUESTION}: there is no measure {measure!r}. There is: {', '.join(MEASURES)}.")
    if period not in PERIODS:
        raise RequestError(f"{QUESTION}: there is no period {period!r}. There is: {', '.join(PERIODS)}.")
    groups = (by,) if isinstance(by, str) else tuple(by)
    if "month" in groups:
        raise RequestError(f"{QUESTION}: the chart runs by month already; leave month out of by=.")
    answer = monthly(now, measure, by=(*groups, "month"), window=window, where=where, months=months)
    settings = {
        "measure": measure, "period": period, "window": window if measure == "comebacks" else None, "as_of": now.day,
        "by": groups, "where": answer.settings["where"], "months": answer.settings["months"],
        "rule": "beyond the limits",
    }  # fmt: skip
    table = _charts(now, answer.table, MEASURES[measure], groups, ripens(measure, window))
    notes = list(answer.notes)
    late = table.filter(~table["mature"])["period"].unique().sort().to_list()
    if late:
        notes.append(f"Not mature, shown and not judged: {', '.join(f'{m:%Y-%m}' for m in late)}.")
    return ControlChart(table, settings, tuple(notes))


def monthly(
    now: Moment, measure: str, *, by: By = ("month",), window: int, where: Where | None, months: Months | None = None
) -> Answer:
    """The measure by month, as its own answer."""
    if measure == "comebacks":
        return comebacks(now, window=window, by=by, where=where, months=months)
    if measure == "first_pass_yield":
        return first_pass_yield(now, by=by, where=where, months=months)
    return clean_jobs(now, by=by, where=where, months=months)


def ripens(measure: str, window: int) -> int:
    """Days after its end until a month's figure no longer changes."""
    return window if measure == "comebacks" else 0


def is_mature(month: date, now: Moment, wait: int) -> bool:
    """Whether a month's figure is final at the as-of day."""
    return month_end(month) + timedelta(days=wait) <= now.day


def _charts(now: Moment, table: "pl.DataFrame", m: Measure, groups: Sequence[str], wait: int) -> "pl.DataFrame":
    import polars as pl

    kinds: dict[str, pl.DataType] = {name: table.schema[name] for name in groups}
    schema = {
        **kinds, "period": pl.Date(), "size": pl.Int64(), "value": pl.Float64(), "centre": pl.Float64(),
        "lower": pl.Float64(), "upper": pl.Float64(), "signal": pl.String(), "mature": pl.Boolean(),
    }  # fmt: skip
    parts = table.partition_by(list(groups), maintain_order=True) if groups else [table] * (table.height > 0)
    span = (table["month"].min(), table["month"].max())
    charts = [pl.DataFrame(_chart(now, part, m, groups, wait, span), schema=schema) for part in parts]
    return pl.concat(charts) if charts else pl.DataFrame(schema=schema)


def _chart(
    now: Moment, part: "pl.DataFrame", m: Measure, groups: Sequence[str], wait: int, span: Sequence[object]
) -> dict[str, object]:
    import numpy as np

    from rqa.spc import p_chart

    month, last = span
    seen = {row["month"]: (row[m.count], row[m.size]) for row in part.iter_rows(named=True)}
    periods: list[date] = []
    while isinstance(month, date) and isinstance(last, date) and month <= last:
        periods.append(month)
        month = next_month(month)
    count, size = np.array([seen.get(p, (0, 0)) for p in periods], dtype=np.int64).T
    mature = np.array([is_mature(p, now, wait) for p in periods])
    value = np.where(size > 0, count / np.maximum(size, 1), np.nan)
    centre, lower, upper = (np.full(len(periods), np.nan) for _ in range(3))
    signal = [""] * len(periods)
    if mature.any():
        chart = p_chart(count=count[mature], size=size[mature])
        centre[mature], lower[mature], upper[mature] = chart.centre, chart.lower, chart.upper
        places = np.flatnonzero(mature)
        for s in chart.signals:
            signal[places[s.index]] = SIDES[s.side]
    return {
        **{name: [part[name][0]] * len(periods) for name in groups},
        "period": periods, "size": size.tolist(), "value": rounded(value), "centre": rounded(centre),
        "lower": rounded(lower), "upper": rounded(upper), "signal": signal, "mature": mature.tolist(),
    }  # fmt: skip
