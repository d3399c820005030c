"""Measured values against their limits: how they spread, how near they come, and whether they pile up there."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rqa.answers.core.case_lists import MEASURED, RUNS, CaseList, Count
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_one_quantity,
    check_values,
    is_number,
    scope,
)
from rqa.answers.tests.reading_shape import GroupReadings, Values
from rqa.answers.tests.reading_tables import (
    LIMITS,
    QUANTILES,
    bands_frame,
    histogram_frame,
    piled,
    readings_frame,
    with_indices,
)
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES, TEST_LOG
from rqa.words import counted, listed, plural

if TYPE_CHECKING:
    import polars as pl

QUESTION = "readings"
MEASURE = "readings_by_value"
GROUPINGS = (*PERIODS, *JOB_NAMES, *TEST_LOG)
Gauge = Mapping[str, float]


@dataclass(frozen=True, eq=False, repr=False)
class MeasuredReadings(Answer):
    """Measured values against their limits: the groups, unit, lower_limit, upper_limit, readings, missing, outside,
    outside_share, outside_low, outside_high, mean, sigma, minimum, p05, p25, median, p75, p95, maximum, cpk, ppk,
    ppk_low, ppk_high, no_index, gauge_sigma, guard_lower, guard_upper, in_band.

    `histogram` holds the counts behind it: the groups, unit, lower_limit, upper_limit, start, end, readings. `bands`
    the three counts beside each limit: the groups, unit, side, limit, width, nearest, second, third, expected, p_value.
    """

    histogram: "pl.DataFrame | None" = None
    bands: "pl.DataFrame | None" = None

    question = "Measured values"
    in_table_only = (
        "missing", "outside_low", "outside_high", "sigma", "minimum", "p05", "p25", "p75", "p95", "maximum", "cpk",
        "ppk_low", "ppk_high", "no_index", "gauge_sigma", "guard_lower", "guard_upper", "in_band",
    )
    needs = ("test_values",)
    lists = CaseList("listed_runs", {"readings": Count(("measured",))}, rows=RUNS, keys=MEASURED)


def readings(
    snapshot: Snapshot,
    by: By = ("test",),
    *,
    where: Where | None = None,
    months: Months | None = None,
    gauge_sigma: float | Gauge | None = None,
    risk: float = 0.05,
    level: float = 0.95,
) -> MeasuredReadings:
    """Say how measured values lie within their limits, and whether they pile up just inside one.

    Parameters
    ----------
    by, where, months
        Groupings and filters: test, station, site, model, procedure, technician, billing; month and week in `by` alone.
        Each test is another quantity: it must be named in `by`, or one in `where`.
    gauge_sigma
        Standard deviation of measuring error, in the test's unit: one number, or one by test. None takes that of the
        test's gauge study, where there is one; of several the last by name.
    risk
        Chance that a unit just on its limit may have of passing the guard band, below one half.
    level
        Confidence level of the intervals.

    Returns
    -------
    MeasuredReadings
        A row a group, unit and pair of limits, of first runs. readings, missing (runs without a value), outside (beyond
        a limit) with its share and Wilson's limits, mean, sigma, minimum, quantiles, maximum; cpk, ppk with its
        interval and no_index (why there is none) as `Depot.capability` has them; gauge_sigma, guard_lower, guard_upper,
        in_band (readings within the limits, but not within the guard band). `.histogram` for the picture; `.bands` for
        the counts inside each limit. A finding a group and limit: values piled up inside.

    Notes
    -----
    Quantiles are read off counts by value: the least value that so many readings do not exceed.

    Piling up is looked for in all runs, later ones as well, in three bands half a standard deviation wide (by the
    quartiles, in whole steps of writing) inside the limit: a smooth fall towards it would bring second^2 / third in the
    nearest (`rqa.stats.pile_up_test`, one-sided). Limits of the ratio are rough, and counts a half is added to.

    A value beyond its limit that passed, or within and failed, counts by its value here; yields count outcomes.

    Examples
    --------
    >>> depot.tests.readings().table.select("test", "outside", "readings", "ppk").row(0)
    ('cell load', 45, 2725, 0.769231)

    45 of 2,725 readings of the cell load lie beyond a limit.
    """
    check_level(QUESTION, level)
    if not is_number(risk) or not 0 < risk < 0.5:
        raise RequestError(f"{QUESTION}: risk is a number above 0 and below 0.5: {risk!r}.")
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    check_one_quantity(QUESTION, "test", asked)
    sigmas = _gauge(snapshot, gauge_sigma)
    table = kept_counts(snapshot, MEASURE, asked, {"as_of": snapshot.day})
    held, unmeasured = _held(table, asked.by)
    rows, met = [], set()
    for h in held:
        test = _test(h, asked)
        row, meets = _row(h, sigmas.get(test, sigmas.get("")), risk)
        rows.append(row)
        met |= {test} if meets else set()
    groups = {name: table.schema[name] for name in asked.by}
    near = bands_frame(held, groups)
    settings = {
        "as_of": snapshot.day, **asked.settings(), "gauge_sigma": dict(sigmas) or None, "risk": risk, "level": level,
        "method": "wilson",
    }
    notes = [*snapshot.notes, *_notes(held, unmeasured, asked)]
    notes += _gauge_notes({_test(h, asked) for h in held}, met, sigmas, given=gauge_sigma is not None)
    made = with_indices(snapshot, readings_frame(rows, [h.group for h in held], groups, level), asked, level)
    return MeasuredReadings(
        made, settings, tuple(notes), tuple(piled(near, asked)), histogram=histogram_frame(held, groups), bands=near
    )


def _gauge(snapshot: Snapshot, given: float | Gauge | None) -> dict[str, float]:
    """Sigma of measuring error by test; under "" that of any."""
    if given is None:
        from rqa.answers.tests.agreement import gauge_sigmas

        return gauge_sigmas(snapshot)
    whole = {"": given} if not isinstance(given, Mapping) else dict(given)
    for test, sigma in whole.items():
        if not is_number(sigma) or sigma < 0:
            raise RequestError(f"{QUESTION}: gauge_sigma is a number from 0, or such by test: {test} {sigma!r}.")
    if isinstance(given, Mapping):
        check_values(snapshot.store, QUESTION, {"test": tuple(whole)})
    return {test: float(sigma) for test, sigma in whole.items()}


def _held(table: "pl.DataFrame", groups: tuple[str, ...]) -> tuple[list[GroupReadings], int]:
    """What was read under each pair of limits; and how many groups measured nothing at all."""
    import polars as pl

    found, silent = [], 0
    keys = [*groups, *LIMITS]
    whole = table.partition_by(list(groups), maintain_order=True) if groups and table.height else [table]
    for group in whole:
        if not group["value"].is_not_null().any():
            silent += group.height > 0
            continue
        for part in group.sort([*keys, "value"]).partition_by(keys, maintain_order=True):
            head, valued = part.row(0, named=True), part.filter(pl.col("value").is_not_null())
            value = valued["value"].to_numpy()
            found.append(
                GroupReadings(
                    tuple(head[g] for g in groups), head["unit"], head["lower_limit"], head["upper_limit"],
                    _values(value, valued["first"].to_numpy()), _values(value, valued["every"].to_numpy()),
                    int(part.filter(pl.col("value").is_null())["first"].sum()),
                )
            )
    return found, silent


def _values(value: Any, number: Any) -> Values:
    there = number > 0
    return Values(value[there], number[there])


def _test(h: GroupReadings, asked: Scope) -> str:
    return str(h.group[asked.by.index("test")]) if "test" in asked.by else asked.where["test"][0]


def _row(h: GroupReadings, sigma: float | None, risk: float) -> tuple[dict[str, object], bool]:
    """A row of the table, and whether the guard bands of both limits meet."""
    from rqa.stats import guard_band

    v, no_limit = h.first, h.lower is None and h.upper is None
    low = high = None
    meets = False
    if sigma is not None and not no_limit:
        try:
            band = guard_band(sigma=sigma, lower_limit=h.lower, upper_limit=h.upper, risk=risk)
            low, high = band.lower, band.upper
        except ValueError:
            meets = True
    outside = None if no_limit else v.outside(h.lower, h.upper)
    within = outside is None or (low is None and high is None)
    return {
        "unit": h.unit, "lower_limit": h.lower, "upper_limit": h.upper, "readings": v.readings, "missing": h.missing,
        "outside": outside, "mean": v.mean, "sigma": v.sigma, "minimum": v.quantile(0.0),
        **{name: v.quantile(share) for name, share in QUANTILES.items()}, "maximum": v.quantile(1.0),
        "gauge_sigma": sigma, "guard_lower": low, "guard_upper": high,
        "in_band": None if within else v.outside(low, high) - (outside or 0),
    }, meets


def _notes(held: list[GroupReadings], unmeasured: int, asked: Scope) -> list[str]:
    notes = ["First runs, each reading held to the limits stored with it."]
    if unmeasured:
        notes.append(f"{unmeasured} of the groups measured nothing: not in the table.")
    missing = sum(h.missing for h in held)
    if missing:
        notes.append(f"{counted(missing, 'run')} of measured tests {plural(missing, 'has', 'have')} no value.")
    free = sorted({_test(h, asked) for h in held if h.lower is None and h.upper is None})
    if free:
        notes.append(f"No limit is known of {listed(free)}: nothing to be outside of.")
    if set(PERIODS) & set(asked.by):
        notes.append("Cpk and Ppk are not given by month or week: leave the period out of by=.")
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes


def _gauge_notes(tests: set[str], met: set[str], sigmas: Gauge, *, given: bool) -> list[str]:
    notes = []
    without = sorted(t for t in tests if t not in sigmas and "" not in sigmas)
    if without:
        notes.append(f"Measuring error of {listed(without)} is not known: no guard band. Give gauge_sigma=.")
    if not given and tests & set(sigmas):
        notes.append(
            "Guard bands are drawn for the measuring error found in the gauge studies (`depot.tests.agreement`)."
        )
    if met:
        notes.append(
            f"Guard bands of {listed(sorted(met))} leave nothing between the limits: the gauge does not serve for them."
        )
    return notes
