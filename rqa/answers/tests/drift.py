"""Do test stations drift, or stand apart, on comparable work: trends and levels beside the others, with charts."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.finding import Finding
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.periods import A_YEAR, PERIODS, every_period, span_of
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import (
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_values,
    is_number,
    scope,
)
from rqa.answers.tests.station_charts import chart_rows, charts_frame
from rqa.answers.tests.station_contrasts import (
    NOTHING,
    StationDifferences,
    StationEstimate,
    StationReadings,
    apart,
    held_apart,
    level,
    slope,
)
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.stats import benjamini_hochberg
from rqa.words import counted, estimate

if TYPE_CHECKING:
    import polars as pl

QUESTION = "drift"
DRIFT, DIFFERENCE = "station drift", "station difference"
MEASURE = "station_values"
ALLOWED = 0.05
TOO_LITTLE = "too little work to say"
NO_SCATTER = "no scatter to judge by"
"""Readings that do not vary: how often chance alone brings a difference cannot be told."""
NOTHING_BESIDE, TOO_FEW = "nothing to compare with", "too few periods to say"
ALONE = "one station only: units or season may have changed as well as the station"
TWO = (
    "two stations to hold against each other only: which of them moved the logs cannot say; the one with the steeper "
    "course of its own is named"
)
OTHER = "see the other station"
CAUTION = "stations differ in the units they happen to get as well"


@dataclass(frozen=True, eq=False, repr=False)
class StationDrift(Answer):
    """Stations against the others on comparable work: test, unit, station, readings, compared, periods, mean, apart,
    apart_low, apart_high, apart_p, trend, trend_low, trend_high, trend_p, signals, verdict.

    `charts` has a row a period: test, unit, station, period, readings, mean, value, centre, lower, upper, signal, ewma,
    ewma_lower, ewma_upper, ewma_signal.
    """

    charts: "pl.DataFrame | None" = None

    question = "Drift of stations"
    in_table_only = ("compared", "periods", "mean", "apart_p", "trend_low", "trend_high", "signals")
    needs = ("test_values", "station")
    lists = "It is made from measured values. Ask the table diagnostics with depot.query for each."


@dataclass(frozen=True, eq=False)
class Station:
    """One station at one test: its readings, how far it lay from the others, and what that amounts to."""

    test: str
    unit: str | None
    station: str
    readings: int
    mean: float
    seen: StationDifferences
    level: StationEstimate
    slope: StationEstimate
    caution: str
    told_by_other: bool
    sigma: float

    @property
    def compared(self) -> int:
        """Readings' worth of comparison: of two equal halves half of one."""
        return round(float(self.seen.weight.sum()))


def drift(
    snapshot: Snapshot,
    period: str = "month",
    *,
    where: Where | None = None,
    months: Months | None = None,
    baseline: Months | None = None,
    min_cases: int = 10,
    level: float = 0.95,
) -> StationDrift:
    """Say which test stations drift, or measure otherwise than the others, on comparable units.

    Parameters
    ----------
    period
        "month" or "week": the points of the charts, and what drift is counted over.
    where, months
        Filters on test, site, model, procedure, technician, billing; months of the runs.
    baseline
        The months that set centre and limits of the charts; all unless given.
    min_cases
        Readings below which a period has no point on the charts, and a station nothing to say.
    level
        Confidence level of the limits.

    Returns
    -------
    StationDrift
        A row a test and station. readings, compared (readings' worth of comparison with the others), periods, mean;
        apart: how far its readings lie from the others', with limits and p; trend: how much that changes a period, with
        limits and p; signals on its charts; verdict: "drifts", "stands apart", "drifts and stands apart", "not
        distinguishable", "see the other station", "no scatter to judge by" (the readings do not vary), "nothing to
        compare with" (no other station on comparable work), "too few periods to say", "too little work to say" (fewer
        than `min_cases` readings). `.charts` has a chart of single values and an EWMA of each station. Two findings a
        test and station: trend and level.

    Notes
    -----
    First runs only, since a run again has been chosen by its first outcome. Compared is like with like: same test,
    period, model and procedure, at the station and at the others, with weights that make the scatter least. A value far
    out (three quartile distances beyond the quartiles) counts as on that fence, so that a fault of a unit hardly moves
    its station. Station and others see the same units on average, so what changes in the units moves both.

    The error of a level or trend is taken from the scatter of readings or from that of the periods about it, whichever
    is more, with Student's t over the periods: a station that wanders gets wide limits, not a false trend. Where a
    station is plainly out (p below 1 %), the one without which the rest agree best is no longer among the others, or
    its drift would show in theirs, turned round. Where two are all, or all that is left, they are one comparison: it is
    stated for the one that moves more by itself, and the other has the verdict "see the other station". With one
    station its own course is all there is.

    The verdict holds among all that were compared (Benjamini-Hochberg, 5 %). A step, such as after a calibration, shows
    on the charts rather than in the trend.

    Examples
    --------
    >>> r = depot.tests.drift().table
    >>> r.filter(r["verdict"] == "drifts and stands apart").select("test", "station", "trend").rows()
    [('charge rate', 'S2', 0.00546)]

    What station S2 reads of the charge rate grows by 0.005 A each month.
    """
    check_level(QUESTION, level)
    check_one_of(QUESTION, "period", period, PERIODS)
    if not is_number(min_cases) or min_cases < 2 or int(min_cases) != min_cases:
        raise RequestError(f"{QUESTION}: min_cases is a whole number from 2: {min_cases!r}.")
    asked = scope(QUESTION, by=("test",), where=where, months=months, allowed=("test", *JOB_NAMES))
    check_values(snapshot.store, QUESTION, asked.where)
    span = None if baseline is None else span_of(QUESTION, "baseline", baseline)
    table = kept_counts(
        replace(snapshot, from_rows=snapshot.from_rows or period != "month"), MEASURE, asked,
        {"as_of": snapshot.day, "period": period},
    )
    stations: list[Station] = []
    points: list[dict[str, object]] = []
    parts = table.partition_by(["test", "unit"], maintain_order=True) if table.height else []
    for part in parts:
        names = part["at_station"].unique().sort().to_list()
        periods = every_period(part["period"].min(), part["period"].max(), period)  # type: ignore[arg-type]
        work = _work(part, names, periods)
        found = _stations(part, names, work, min_cases, level)
        stations += found
        for one in found:
            points += chart_rows(one.test, one.unit, one.station, one.seen, _own(work, names.index(one.station)),
                                 float(part["middle"][0]), periods, span, min_cases)
    stated = [f for s in stations for f in _findings(s, period)]
    charts = charts_frame(points)
    settings = {
        "period": period, "as_of": snapshot.day, **asked.settings(), "baseline": baseline, "min_cases": min_cases,
        "level": level,
    }
    return StationDrift(
        _table(stations, charts, int(min_cases)),
        settings,
        (*snapshot.notes, *_notes(table, stations, asked)),
        tuple(stated),
        charts=charts,
    )


def _work(part: "pl.DataFrame", names: list[str], periods: list[date]) -> StationReadings:
    where = {p: i for i, p in enumerate(periods)}
    kinds: dict[tuple[object, ...], int] = {}
    kind = [kinds.setdefault(pair, len(kinds)) for pair in part.select("of_model", "of_procedure").iter_rows()]
    return StationReadings(
        periods=len(periods),
        station=np.array([names.index(s) for s in part["at_station"]], dtype=np.int64),
        period=np.array([where[p] for p in part["period"]], dtype=np.int64),
        kind=np.array(kind, dtype=np.int64),
        readings=part["readings"].to_numpy(),
        total=part["total"].to_numpy(),
        squares=part["squares"].to_numpy(),
    )


def _stations(
    part: "pl.DataFrame", names: list[str], work: StationReadings, min_cases: int, confidence: float
) -> list[Station]:
    test, unit, middle = part["test"][0], part["unit"][0], float(part["middle"][0])
    every = range(len(names))
    trusted = [] if len(names) == 1 else list(every)
    while (out := held_apart(work, trusted, confidence)) is not None:
        trusted.remove(out)
    figures = [_figures(apart(work, s, trusted), confidence) for s in every]
    made = []
    pair = trusted if len(trusted) == 2 else []
    silent = _less_moved(work, pair) if pair else None
    for s, name in enumerate(names):
        own = work.station == s
        n = int(work.readings[own].sum())
        seen = apart(work, s, trusted)
        here, change = figures[s]
        little = n < min_cases or float(seen.weight.sum()) == 0
        if little or s == silent:
            here, change = NOTHING, NOTHING
        if len(names) == 1:
            here = NOTHING
        mean = middle + float(work.total[own].sum()) / n
        caution = ALONE if len(names) == 1 else TWO if s in pair else CAUTION
        by_other, sigma = s == silent and not little, float(work.variance**0.5)
        made.append(Station(test, unit, name, n, mean, seen, here, change, caution, by_other, sigma))
    return made


def _figures(seen: StationDifferences, confidence: float) -> tuple[StationEstimate, StationEstimate]:
    return level(seen, confidence), slope(seen, confidence)


def _less_moved(work: StationReadings, pair: Sequence[int]) -> int:
    """Of two stations the one whose own course is the less steep; the second where that cannot be told."""
    p = [slope(apart(work, s, ()), 0.95).p_value for s in pair]
    return pair[0 if np.isfinite(p).all() and p[0] > p[1] else 1]


def _own(work: StationReadings, station: int) -> tuple[Sequence[int], Sequence[float]]:
    """Readings and their mean distance from the middle, period by period; NaN without any."""
    own = work.station == station
    n = np.bincount(work.period[own], weights=work.readings[own], minlength=work.periods)
    total = np.bincount(work.period[own], weights=work.total[own], minlength=work.periods)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n > 0, total / n, np.nan)
    return n.astype(np.int64).tolist(), mean.tolist()


def _findings(s: Station, period: str) -> list[Finding]:
    unit = s.unit or ""
    beside = "" if s.caution == ALONE else " against the other stations"
    made = []
    for kind, f, measure, words in (
        (DRIFT, s.slope, f"change a {period}", ("drifts up by {}", "drifts down by {}", f" a {period}{beside}")),
        (DIFFERENCE, s.level, "difference", ("reads higher by {}", "reads lower by {}",
                                            f"{beside} on comparable work")),
    ):
        if not np.isfinite(f.p_value):
            continue
        low, high = estimate(f.low, unit), estimate(f.high, unit)
        one = Finding(
            kind=kind, scope={"test": s.test, "station": s.station},
            what=f"{words[f.value < 0].format(estimate(abs(f.value), unit))}{words[2]} ({low} to {high})",
            measure=f"{measure}, {unit}" if unit else measure, size=f.value, low=f.low, high=f.high, worse=True,
            jobs=s.readings, p_value=f.p_value, caution=s.caution,
            check="measure one unit a few times at this station and at another, or a reference unit at this one",
            in_sd=(f.value * (A_YEAR[period] if kind == DRIFT else 1) / s.sigma) if s.sigma > 0 else None,
        )
        made.append(one)
    return made


def _table(stations: list[Station], charts: "pl.DataFrame", min_cases: int) -> "pl.DataFrame":
    import polars as pl

    figures = {"apart": [s.level for s in stations], "trend": [s.slope for s in stations]}
    columns: dict[str, object] = {
        "test": [s.test for s in stations], "unit": [s.unit for s in stations],
        "station": [s.station for s in stations], "readings": [s.readings for s in stations],
        "compared": [s.compared for s in stations],
        "periods": [int(np.isfinite(s.seen.value).sum()) for s in stations],
        "mean": rounded(s.mean for s in stations),
    }
    for name, found in figures.items():
        columns |= {
            name: rounded(f.value for f in found), f"{name}_low": rounded(f.low for f in found),
            f"{name}_high": rounded(f.high for f in found), f"{name}_p": rounded_p_values(f.p_value for f in found),
        }
    columns["signals"] = [
        charts.filter(
            (pl.col("test") == s.test) & pl.col("unit").eq_missing(pl.lit(s.unit)) & (pl.col("station") == s.station)
            & ((pl.col("signal") != "") | (pl.col("ewma_signal") != ""))
        ).height
        for s in stations
    ]
    told = _verdicts(figures["apart"], figures["trend"])
    judged = {(s.test, s.unit) for s, verdict in zip(stations, told, strict=True) if verdict}
    columns["verdict"] = [
        OTHER if s.told_by_other and (s.test, s.unit) in judged else verdict or _untold(s, min_cases)
        for s, verdict in zip(stations, told, strict=True)
    ]
    schema = {
        "test": pl.String(), "unit": pl.String(), "station": pl.String(),
        **{n: pl.Int64() for n in ("readings", "compared", "periods")}, "mean": pl.Float64(),
        **{f"{n}{end}": pl.Float64() for n in figures for end in ("", "_low", "_high", "_p")},
        "signals": pl.Int64(), "verdict": pl.String(),
    }
    return pl.DataFrame(columns, schema=schema).sort(["test", "unit", "station"])


def _verdicts(levels: list[StationEstimate], slopes: list[StationEstimate]) -> list[str]:
    p = np.array([f.p_value for pair in zip(levels, slopes, strict=True) for f in pair])
    told = np.isfinite(p)
    found = np.zeros(len(p), dtype=bool)
    if told.any():
        found[told] = benjamini_hochberg(p_values=p[told], allowed=ALLOWED).found
    words = {
        (False, False): "not distinguishable", (True, False): "stands apart", (False, True): "drifts",
        (True, True): "drifts and stands apart",
    }
    pairs = zip(found.reshape(-1, 2).tolist(), told.reshape(-1, 2), strict=True)
    return [words[far, moves] if known.any() else "" for (far, moves), known in pairs]


def _untold(s: Station, min_cases: int) -> str:
    """Why neither level nor trend of a station can be told."""
    if s.readings < min_cases:
        return TOO_LITTLE
    if not s.compared:
        return NOTHING_BESIDE
    scatter = s.seen.variance[np.isfinite(s.seen.variance)]
    return NO_SCATTER if scatter.size and not scatter.all() else TOO_FEW


def _notes(table: "pl.DataFrame", stations: list[Station], asked: Scope) -> list[str]:
    notes = [] if stations else ["No first run has a value, a station, a day and a known job: nothing to compare."]
    fenced = int(table["fenced"].sum()) if table.height else 0
    if fenced:
        notes.append(
            f"{counted(fenced, 'reading far out counts', 'readings far out count')} as on the fence (three quartile "
            "distances beyond quartiles)."
        )
    for caution in (ALONE, TWO):
        tests = sorted({s.test for s in stations if s.caution == caution})
        if tests:
            notes.append(f"{', '.join(tests)}: {caution}.")
    if stations:
        notes.append(
            "A station is held against the others on the same model and procedure in the same period; one plainly out "
            "is left out of the others."
        )
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
