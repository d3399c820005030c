"""By what margin do measured tests and steps keep within their limits, or why can that not be said."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import ATTEMPTS, RUNS, CaseList, Count
from rqa.answers.core.case_lists import MEASURED as READ_WITH
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import (
    By,
    Months,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_one_quantity,
    check_values,
    is_number,
    scope,
    split_groups,
)
from rqa.errors import RequestError
from rqa.measures.run import groupings
from rqa.words import counted, plural, there_is

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import Capability
    from rqa.stats.capability_index import CapabilityIndex

QUESTION = "capability"
MEASURED = {"test_values": ("measured_tests", "test"), "step_values": ("measured_steps", "step"),
            "labour_minutes": ("measured_jobs", "")}
METHODS = ("auto", "normal", "percentile")
NO_LIMITS = "No limit is known: give lower_limit= or upper_limit=."
NOT_NORMAL = "Plainly not normal"


class CapabilityIndices(Answer):
    """Margins within limits: unit, limits, readings, mean, sigma, cpk, ppk, low, high, outside, method, refused."""

    question = "Capability"
    in_table_only = ("sigma", "cpk", "outside_low", "outside_high", "method", "refused")
    units: ClassVar[Mapping[str, str]] = {"outside": SHARE}

    def listed(self) -> CaseList:
        """The readings: of first runs, or of first attempts at steps."""
        of_steps = self.settings["measure"] == "step_values"
        file, rows = ("listed_attempts", ATTEMPTS) if of_steps else ("listed_runs", RUNS)
        return CaseList(file, {"readings": Count(("measured",))}, rows=rows, keys={} if of_steps else READ_WITH)


@dataclass(frozen=True, eq=False)
class Readings:
    """The readings of one group under one pair of limits, week by week."""

    group: tuple[object, ...]
    unit: str | None
    lower: float | None
    upper: float | None
    weeks: list[NDArray[np.float64]]


def capability(
    snapshot: Snapshot,
    measure: str = "test_values",
    *,
    by: By | None = None,
    where: Where | None = None,
    months: Months | None = None,
    lower_limit: float | None = None,
    upper_limit: float | None = None,
    method: str = "auto",
    level: float = 0.95,
) -> CapabilityIndices:
    """Say by what margin measured values keep within their limits: Cpk and Ppk with intervals, or why not.

    Parameters
    ----------
    measure
        test_values (first runs of diagnostics), step_values (first attempts), labour_minutes (of repaired jobs).
    by, where, months
        Groupings, filters and months, as for a control chart; by test or by step unless given.
    lower_limit, upper_limit
        The limits to keep. Tests that store their own are held to these, run by run; steps store none.
    method
        "normal"; "percentile", which needs no normal shape but 740 readings; "auto" takes normal, and percentile where
        the readings are plainly not normal and enough.
    level
        Confidence level of the intervals.

    Returns
    -------
    CapabilityIndices
        A row a group and pair of limits. Columns: unit, lower_limit, upper_limit, readings, mean, sigma (of the whole),
        cpk (what the process can do, by the spread within weeks), ppk (what it did) with its interval low, high,
        outside (share of readings beyond a limit) with outside_low and outside_high, method, refused ("" or why there
        is no index). See `rqa.stats.capability`.

    Notes
    -----
    Landmarks: 1 means that three deviations fit between mean and nearer limit; below 0 the mean itself is outside. The
    readings of a week are a subgroup. A process that is not steady gets no index, as one figure would speak of no one
    time: look at its control chart and ask for the months that hold now.

    Examples
    --------
    >>> depot.charts.capability().table.select("test", "ppk", "low", "high").row(0)
    ('cell load', 0.769231, 0.0, 0.789474)

    A ppk below 1: the readings of the cell load spread wider than their limits leave room for.
    """
    if measure not in MEASURED:
        raise RequestError(f"{QUESTION}: there are no readings {measure!r}. {there_is(measure, MEASURED)}")
    check_one_of(QUESTION, "method", method, METHODS)
    check_level(QUESTION, level)
    for name, limit in (("lower_limit", lower_limit), ("upper_limit", upper_limit)):
        if limit is not None and not is_number(limit):
            raise RequestError(f"{QUESTION}: {name} is a number: {limit!r}.")
    file, usual = MEASURED[measure]
    groups = split_groups(QUESTION, (usual,) * bool(usual) if by is None else by)
    asked = scope(QUESTION, by=groups, where=where, months=months, allowed=tuple(groupings(file)))
    check_values(snapshot.store, QUESTION, asked.where)
    check_one_quantity(QUESTION, usual, asked)
    table = kept_counts(snapshot, file, replace(asked, by=(*groups, "week")), {"as_of": snapshot.day})
    found = _readings(table, groups, (lower_limit, upper_limit))
    rows = [(*r.group, *_row(r, method, level)) for r in found]
    settings = {
        "measure": measure, "as_of": snapshot.day, **asked.settings(), "lower_limit": lower_limit,
        "upper_limit": upper_limit, "method": method, "level": level,
    }
    return CapabilityIndices(_table(rows, table, groups), settings, (*snapshot.notes, *_notes(rows, len(groups))))


def _readings(
    table: "pl.DataFrame", groups: tuple[str, ...], given: tuple[float | None, float | None]
) -> list[Readings]:
    import polars as pl

    for name in ("unit", "lower_limit", "upper_limit"):
        if name not in table.columns:
            table = table.with_columns(pl.lit(None, dtype=pl.String if name == "unit" else pl.Float64).alias(name))
    for name, limit in zip(("lower_limit", "upper_limit"), given, strict=True):
        if limit is not None:
            table = table.with_columns(pl.lit(float(limit)).alias(name))
    keys = [*groups, "unit", "lower_limit", "upper_limit"]
    found = []
    for part in table.sort([*keys, "week", "value"]).partition_by(keys, maintain_order=True) if table.height else []:
        head = part.row(0, named=True)
        weeks = [
            np.repeat(w["value"].to_numpy(), w["readings"].to_numpy())
            for w in part.partition_by("week", maintain_order=True)
        ]
        group = tuple(head[name] for name in groups)
        found.append(Readings(group, head["unit"], head["lower_limit"], head["upper_limit"], weeks))
    return found


def _row(r: Readings, method: str, level: float) -> tuple[object, ...]:
    if r.lower is None and r.upper is None:
        every = np.concatenate(r.weeks)
        spread = float(every.std(ddof=1)) if len(every) > 1 else None
        return (r.unit, None, None, len(every), float(every.mean()), spread, *[None] * 7, "none", NO_LIMITS)
    made = _indices(r, method, level)
    outside = made.outside
    return (
        r.unit, r.lower, r.upper, made.n, made.mean, made.sigma_overall, made.cpk.estimate, *_three(made.ppk),
        float(outside.estimate), float(outside.low), float(outside.high), made.method, " ".join(made.refusals),
    )


def _indices(r: Readings, method: str, level: float) -> "Capability":
    from rqa.stats import capability as indices
    from rqa.stats.capability_checks import LEAST_FOR_PERCENTILES

    def by(way: str) -> "Capability":
        try:
            return indices(r.weeks, lower_limit=r.lower, upper_limit=r.upper, method=way, level=level)  # type: ignore[arg-type]
        except ValueError as error:
            raise RequestError(f"{QUESTION}: {error}") from error

    made = by("normal" if method == "auto" else method)
    shape_alone = len(made.refusals) == 1 and made.refusals[0].startswith(NOT_NORMAL)
    return by("percentile") if method == "auto" and shape_alone and made.n >= LEAST_FOR_PERCENTILES else made


def _three(index: "CapabilityIndex") -> tuple[float, float, float]:
    return index.estimate, index.low, index.high


def _table(rows: list[tuple[object, ...]], table: "pl.DataFrame", groups: tuple[str, ...]) -> "pl.DataFrame":
    import polars as pl

    numbers = ("lower_limit", "upper_limit", "mean", "sigma", "cpk", "ppk", "low", "high", "outside", "outside_low",
               "outside_high")
    names = ("unit", "lower_limit", "upper_limit", "readings", "mean", "sigma", "cpk", "ppk", "low", "high", "outside",
             "outside_low", "outside_high", "method", "refused")
    schema: dict[str, pl.DataType] = {name: table.schema[name] for name in groups}
    schema |= {n: pl.Float64() if n in numbers else pl.Int64() if n == "readings" else pl.String() for n in names}
    made = pl.DataFrame(rows, schema=schema, orient="row")
    return made.with_columns(pl.Series(name, rounded(made[name])) for name in numbers)


def _notes(rows: list[tuple[object, ...]], keys: int) -> list[str]:
    notes = ["Subgroups are the readings of a week. An index is no promise: read the low end of its interval."]
    if any(row[keys + 13] == "percentile" for row in rows):
        notes.append(
            "Where readings are plainly not normal the percentile method is used: it has no Cpk, and its intervals are "
            "wide as they hold whatever the shape."
        )
    refused = sum(bool(row[keys + 14]) for row in rows)
    if refused:
        notes.append(
            f"{refused} of {counted(len(rows), 'row')} {plural(refused, 'has', 'have')} no index, for the reason in "
            "the column refused."
        )
    return notes
