"""What a control chart is made of: the points of each group in order, counted by the engine, before any limits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.periods import every_period, following, last_day
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_one_quantity, check_values, scope
from rqa.answers.yields.clean import clean_jobs
from rqa.answers.yields.first_pass import first_pass_yield
from rqa.errors import RequestError
from rqa.measures.run import counts, groupings
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

    from rqa.spc.recommendation import Kind

QUESTION = "control_chart"
INDEX = "repaired"


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
    "first_run_pass": Measure("passed", "exposures", True),
}
"""The measures that are shares, each an answer of its own."""


@dataclass(frozen=True)
class Charted:
    """What kind of figure a measure is, its unit, the file that counts it where it is no share, and what it is read at.

    Readings at different steps or tests (`at`) are different quantities, which a chart must not mix.
    """

    kind: "Kind"
    unit: str
    counted: str = ""
    at: str = ""


CHARTED: Mapping[str, Charted] = {
    **{name: Charted("share", "share") for name in MEASURES},
    "failed_checks": Charted("rate", "failed checks a job", "failed_checks"),
    "labour_minutes": Charted("measurement", "minutes", "measured_jobs"),
    "step_values": Charted("measurement", "", "measured_steps", "step"),
    "step_minutes": Charted("measurement", "minutes", "measured_minutes", "step"),
    "test_values": Charted("measurement", "", "measured_tests", "test"),
    "jobs_between_comebacks": Charted("jobs-between", "jobs", "comeback_gaps"),
    "days_between_comebacks": Charted("time-between", "days", "comeback_days"),
}
"""Every measure that can be charted."""


@dataclass(frozen=True, eq=False)
class Series:
    """The points of one chart in order.

    `data` is what `rqa.spc.which_chart` takes for the measure's kind, an entry a point: count and size, values (an
    array a point), or gaps. `size` says how much work is behind each point; a point that is not `mature` may change.
    """

    group: tuple[object, ...]
    periods: tuple[date, ...]
    size: NDArray[np.int64]
    mature: NDArray[np.bool_]
    data: Mapping[str, Sequence[object] | NDArray[np.int64]]


@dataclass(frozen=True, eq=False)
class ChartCounts:
    """All charts of one question, with what the counting had to say."""

    series: tuple[Series, ...]
    groups: Mapping[str, "pl.DataType"]
    unit: str
    where: object
    months: tuple[date, date] | None
    notes: tuple[str, ...]
    units: Mapping[str, str] = field(default_factory=dict)
    """Units by group where they differ."""


def monthly(
    snapshot: Snapshot,
    measure: str,
    *,
    by: By = ("month",),
    window: int,
    where: Where | None,
    months: Months | None = None,
) -> Answer:
    """A measure that is a share, by month, week or anything else, as its own answer."""
    if measure == "comebacks":
        return comebacks(snapshot, window=window, by=by, where=where, months=months)
    if measure == "clean_jobs":
        return clean_jobs(snapshot, by=by, where=where, months=months)
    of = "diagnostics" if measure == "first_run_pass" else None
    return first_pass_yield(snapshot, by=by, where=where, months=months, of=of)


def ripens(measure: str, window: int) -> int:
    """Days after its end until a period's figure no longer changes."""
    return window if measure == "comebacks" else 0


def is_mature(first: date, snapshot: Snapshot, wait: int, period: str = "month") -> bool:
    """Whether a period's figure is final at the as-of day."""
    return last_day(first, period) + timedelta(days=wait) <= snapshot.day


def series_of(
    snapshot: Snapshot,
    measure: str,
    groups: tuple[str, ...],
    *,
    period: str,
    window: int,
    where: Where | None,
    months: Months | None,
) -> ChartCounts:
    """The points of every group's chart."""
    kind = CHARTED[measure].kind
    if kind == "share":
        return _shares(snapshot, measure, groups, period=period, window=window, where=where, months=months)
    if kind in ("jobs-between", "time-between"):
        return _gaps(snapshot, measure, groups, window=window, where=where, months=months)
    return _by_period(snapshot, measure, groups, period=period, where=where, months=months)


def _shares(
    snapshot: Snapshot,
    measure: str,
    groups: tuple[str, ...],
    *,
    period: str,
    window: int,
    where: Where | None,
    months: Months | None,
) -> ChartCounts:
    in_months = months if period == "month" else None
    answer = monthly(snapshot, measure, by=(*groups, period), window=window, where=where, months=in_months)
    asked = scope(QUESTION, by=(), where=None, months=months, allowed=("month",))
    m, wait = MEASURES[measure], ripens(measure, window)
    table = _within(answer.table, period, asked.months)
    made = []
    for group, part in _parts(table, groups):
        seen = {row[period]: (row[m.count], row[m.size]) for row in part.iter_rows(named=True)}
        periods = _span(table, period)
        count, size = np.array([seen.get(p, (0, 0)) for p in periods], dtype=np.int64).reshape(-1, 2).T
        mature = np.array([is_mature(p, snapshot, wait, period) for p in periods], dtype=np.bool_)
        made.append(Series(group, tuple(periods), size, mature, {"count": count, "size": size}))
    return ChartCounts(
        tuple(made), _kinds(table, groups), "share", answer.settings["where"], asked.months, answer.notes
    )


def _by_period(
    snapshot: Snapshot, measure: str, groups: tuple[str, ...], *, period: str, where: Where | None,
    months: Months | None,
) -> ChartCounts:
    """Rates and measurements by period."""
    file = CHARTED[measure].counted
    asked = scope(QUESTION, by=groups, where=where, months=months, allowed=tuple(groupings(file)))
    check_values(snapshot.store, QUESTION, asked.where)
    check_one_quantity(QUESTION, CHARTED[measure].at, asked)
    table = kept_counts(snapshot, file, replace(asked, by=(*groups, period), months=None), {"as_of": snapshot.day})
    dated = table.filter(table[period].is_not_null())
    notes = list(snapshot.notes)
    undated = table.height - dated.height
    if undated:
        notes.append("What has no date and no dated job is in no period.")
    table, mixed = _one_unit_each(_within(dated, period, asked.months), groups)
    if mixed:
        notes.append(f"Left out, as its values come in several units: {'; '.join(mixed)}.")
    units = _units(table, groups)
    unit = CHARTED[measure].unit or (next(iter(units.values())) if len(set(units.values())) == 1 else "")
    made = []
    for group, part in _parts(table, groups):
        periods = _span(table, period)
        place = {p: i for i, p in enumerate(periods)}
        mature = np.array([is_mature(p, snapshot, 0, period) for p in periods], dtype=np.bool_)
        at = np.array([place[p] for p in part[period]], dtype=np.int64)
        size = np.zeros(len(periods), dtype=np.int64)
        if file == "failed_checks":
            count = size.copy()
            size[at], count[at] = part["jobs"].to_numpy(), part["failed"].to_numpy()
            data: Mapping[str, Sequence[object] | NDArray[np.int64]] = {"count": count, "size": size}
        else:
            number = part["readings"].to_numpy()
            every, where_to = np.repeat(part["value"].to_numpy(), number), np.repeat(at, number)
            size = np.bincount(where_to, minlength=len(periods)).astype(np.int64)
            order = np.argsort(where_to, kind="stable")
            data = {"values": np.split(every[order], np.cumsum(size)[:-1])}
        made.append(Series(group, tuple(periods), size, mature, data))
    kinds = _kinds(table, groups)
    units = {} if unit else units
    return ChartCounts(tuple(made), kinds, unit, dict(asked.where), asked.months, tuple(notes), units)


def _gaps(
    snapshot: Snapshot, measure: str, groups: tuple[str, ...], *, window: int, where: Where | None,
    months: Months | None,
) -> ChartCounts:
    """Gaps between come-backs; a point is a come-back."""
    file = CHARTED[measure].counted
    allowed = tuple(name for name in groupings(file) if name not in ("month", "week"))
    asked = scope(QUESTION, by=groups, where=where, months=None, allowed=allowed)
    check_values(snapshot.store, QUESTION, asked.where)
    kept = scope(QUESTION, by=(), where=None, months=months, allowed=("month",)).months
    values = {"window": window, "as_of": snapshot.day, "disposition": INDEX}
    table = counts(snapshot.store, file, by=groups, where=asked.where, values=values)
    made = []
    for group, part in _parts(table, groups):
        if file == "comeback_gaps":
            part = part.sort("place").filter(part.sort("place")["jobs_between"].is_not_null())
            days, gap = part["closed_on"].to_list(), part["jobs_between"].to_numpy()
            size = gap + 1
        else:
            opened = np.repeat(part["opened_on"].to_numpy(), part["returned"].to_numpy())
            gap = np.diff(opened).astype("timedelta64[D]").astype(np.int64)
            days, size = [day.astype(object) for day in opened[1:].astype("datetime64[D]")], np.ones(len(gap), np.int64)
        chosen = np.array([kept is None or kept[0] <= d < following(kept[1], "month") for d in days], dtype=np.bool_)
        days = [d for d, c in zip(days, chosen, strict=True) if c]
        gap, size = gap[chosen], size[chosen]
        made.append(Series(group, tuple(days), size, np.ones(len(days), dtype=np.bool_), {"gaps": gap}))
    notes = (*snapshot.notes, *_gap_notes(measure, window))
    return ChartCounts(tuple(made), _kinds(table, groups), CHARTED[measure].unit, dict(asked.where), kept, notes)


def _gap_notes(measure: str, window: int) -> tuple[str, ...]:
    if measure == "jobs_between_comebacks":
        return (
            f"A point is a matured job that came back within {counted(window, 'day')}, by closing day; its value is "
            "the number of jobs without a come-back since the one before. Long gaps are good.",
        )
    return (
        f"A point is a come-back within {counted(window, 'day')}, by the day it was opened; its value is the number of "
        "days since the one before. Long gaps are good.",
    )


def _one_unit_each(table: "pl.DataFrame", groups: tuple[str, ...]) -> "tuple[pl.DataFrame, list[str]]":
    """The table without the groups whose values come in several units, and what was left out.

    Where no group would be left, all stay, for `_units` to refuse.
    """
    import polars as pl

    if "unit" not in table.columns or not groups:
        return table, []
    parts = list(_parts(table, groups))
    mixed = [group for group, part in parts if part["unit"].fill_null("").n_unique() > 1]
    if not mixed or len(mixed) == len(parts):
        return table, []
    kept = pl.concat([part for group, part in parts if group not in mixed])
    return kept, [" · ".join(map(str, group)) for group in mixed]


def _units(table: "pl.DataFrame", groups: tuple[str, ...]) -> dict[str, str]:
    """The unit of each group's measured values; a chart must not mix two."""
    found = {}
    for group, part in _parts(table, groups) if "unit" in table.columns else []:
        units = part["unit"].fill_null("").unique().sort().to_list()
        if len(units) > 1:
            what = ", ".join(map(str, group)) or "these values"
            listed = ", ".join(u or "no unit" for u in units)
            raise RequestError(
                f"{QUESTION}: {what} come in several units ({listed}), which cannot share a chart; narrow the question "
                "with where=, or name what tells them apart in by=."
            )
        found[" · ".join(map(str, group))] = units[0]
    return found


def _within(table: "pl.DataFrame", period: str, months: tuple[date, date] | None) -> "pl.DataFrame":
    """Weeks belong to the months their Monday lies in."""
    if months is None:
        return table
    first, after = months[0], following(months[1], "month")
    return table.filter((table[period] >= first) & (table[period] < after))


def _span(table: "pl.DataFrame", period: str) -> list[date]:
    first, last = table[period].min(), table[period].max()
    if not isinstance(first, date) or not isinstance(last, date):
        return []
    return every_period(first, last, period)


def _parts(table: "pl.DataFrame", groups: tuple[str, ...]) -> list[tuple[tuple[object, ...], "pl.DataFrame"]]:
    if not groups:
        return [((), table)] if table.height else []
    parts = table.sort(groups, maintain_order=True).partition_by(list(groups), maintain_order=True)
    return [(tuple(part[name][0] for name in groups), part) for part in parts]


def _kinds(table: "pl.DataFrame", groups: tuple[str, ...]) -> dict[str, "pl.DataType"]:
    return {name: table.schema[name] for name in groups}
