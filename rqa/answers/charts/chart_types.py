"""From points to a chart with limits: the kind that fits, or the one asked for, or none and why."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.charts.chart_basis import ChartSettings
from rqa.answers.charts.chart_rules import signals_by_point
from rqa.answers.charts.chart_series import Series
from rqa.answers.charts.season import season
from rqa.answers.core.scope import check_one_of
from rqa.errors import RequestError
from rqa.words import did_you_mean, plural

if TYPE_CHECKING:
    from rqa.spc import Chart
    from rqa.spc.patterns import PointRule
    from rqa.spc.recommendation import Kind

QUESTION = "control_chart"
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.86
"""A usual memory, and the width that makes false alarms as rare as those of three-sigma limits (tested)."""

NO_LIMITS = "no limits"
NAMES = {
    "p": "p chart", "np": "np chart", "laney_p": "p' chart", "u": "u chart", "c": "c chart", "laney_u": "u' chart",
    "individuals": "individuals chart", "xbar_r": "X-bar chart with R", "xbar_s": "X-bar chart with S", "g": "g chart",
    "t": "t chart", "ewma": "EWMA",
}
TAKES: Mapping["Kind", tuple[str, ...]] = {
    "share": ("p", "np", "laney_p", "individuals", "ewma"),
    "rate": ("u", "laney_u", "individuals", "ewma"),
    "measurement": ("xbar_s", "xbar_r", "individuals", "ewma"),
    "jobs-between": ("g",),
    "time-between": ("t",),
}
TOO_RARE = (
    "Less than one event (or job without it) a period is too little to judge periods by, so there are no limits: take "
    "longer periods or wider groups, come-backs by the gaps between them (jobs_between_comebacks), or ask for "
    "chart='p' with limits='exact'."
)
UNSETTLED = 0.01
"""Chance of such a correlation of neighbours below which points are not taken as independent of one another."""
FEW = 8
"""One point in so many may be out without speaking against the chart."""
PLAIN: Mapping["Kind", str] = {"share": "p_chart", "rate": "u_chart"}
WITH_LIMITS = ("p", "np", "u", "g")
"""Charts that have exact limits besides the normal ones."""


@dataclass(frozen=True, eq=False)
class ChartColumns:
    """One chart's columns, an entry a point; without limits where they are refused. `notes` say which chart and why."""

    name: str
    value: NDArray[np.float64]
    centre: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    signal: list[str]
    stage: list[int]
    notes: tuple[str, ...]
    alarm: float | None = None
    """Chance of a false alarm a point where it is not that of near-normal points under the rules."""
    promised: bool = True
    """Whether such a chance can be told: not where the points follow the season, or one another."""


def check_chart(kind: "Kind", chart: str, limits: str | None) -> None:
    """Raise `RequestError` for a chart that the measure cannot have."""
    if chart != "auto" and chart not in TAKES[kind]:
        raise RequestError(
            f"{QUESTION}: there is no chart {chart!r} of this measure. There is: auto, {', '.join(TAKES[kind])}."
            f"{did_you_mean(str(chart), ('auto', *TAKES[kind]))}"
        )
    if limits is not None:
        check_one_of(QUESTION, "limits", limits, ("normal", "exact"))
    if limits is not None and chart not in WITH_LIMITS:
        raise RequestError(f"{QUESTION}: limits= goes with chart= one of {', '.join(WITH_LIMITS)}.")


def make(
    series: Series, kind: "Kind", *, chart: str, limits: str | None, rules: "tuple[PointRule, ...]",
    basis: ChartSettings,
) -> ChartColumns:
    """The chart of one group. Points that are not mature have a value, no limits and no signal."""
    points = len(series.periods)
    ripe = np.flatnonzero(series.mature)
    value = shown_values(series, kind)
    lines = [np.full(points, np.nan) for _ in range(3)]
    signal, stage, name, alarm, promised = [""] * points, [1] * points, "", None, True
    periods = [series.periods[i] for i in ripe]
    places = basis.places(periods)
    for start in basis.starts(series.periods):
        stage[start:] = [number + 1 for number in stage[start:]]
    try:
        name, options, notes, promised = _chosen(series, ripe, kind, chart, limits, places)
        if name:
            waves = _season(series, ripe, kind, value)
            notes, promised = [*notes, *waves], promised and not waves
            made = judged(_maker(name, kind)(_of(series, ripe), {**options, **places}), name, rules)
            value = _unjudged(series, name, value)
            value[ripe], drawn = _read(made)
            for line, row in zip(lines, drawn, strict=True):
                line[ripe] = row
            words = signals_by_point(made, len(ripe))
            for place, said in zip(ripe, words, strict=True):
                signal[place] = said
            notes += _warnings(made, series, ripe)
            alarm = getattr(made, "false_alarm", None)
    except RequestError:
        raise
    except ValueError as error:
        raise RequestError(f"{QUESTION}: {error}") from error
    exact = bool(name) and options.get("limits") == "exact"
    centre, lower, upper = lines
    return ChartColumns(
        name=(NAMES[name] if name else NO_LIMITS) + (", exact limits" if exact else ""),
        value=value, centre=centre, lower=lower, upper=upper, signal=signal, stage=stage, notes=tuple(notes),
        alarm=alarm, promised=promised,
    )


def shown_values(series: Series, kind: "Kind") -> NDArray[np.float64]:
    """Each point as it is read without any chart: a share, a rate, a mean, a gap; NaN without data."""
    if kind in ("share", "rate"):
        count, size = np.asarray(series.data["count"]), series.size
        return np.where(size > 0, count / np.maximum(size, 1), np.nan)
    if kind == "measurement":
        return np.array([np.mean(v) if len(v) else np.nan for v in series.data["values"]], dtype=np.float64)  # type: ignore[arg-type]
    return np.asarray(series.data["gaps"], dtype=np.float64)


def _unjudged(series: Series, name: str, value: NDArray[np.float64]) -> NDArray[np.float64]:
    """What points that are not mature show on this chart: their number on an np chart, no average on an EWMA."""
    if name == "np":
        return np.where(series.size > 0, np.asarray(series.data["count"], dtype=np.float64), np.nan)
    return np.full(len(value), np.nan) if name == "ewma" else value


def judged(chart: "Chart", name: str, rules: "tuple[PointRule, ...]") -> "Chart":
    """The chart put to the rules; an EWMA carries the past along, so that its limits alone judge it."""
    from rqa.spc.chart import judge

    return chart if name == "ewma" else judge(chart, *rules)


def _chosen(
    series: Series, ripe: NDArray[np.intp], kind: "Kind", chart: str, limits: str | None, places: Mapping[str, Any]
) -> tuple[str, dict[str, Any], list[str], bool]:
    """Name and options of the chart, "" where limits are refused, what to say of it, whether its points are apart."""
    from rqa.spc import which_chart

    options = {} if limits is None else {"limits": limits}
    if not len(ripe):
        unripe = ["No point is mature yet, so there are no limits."]
        return ("", {}, unripe, True) if chart == "auto" else (chart, options, [], True)
    setting = np.array(places.get("baseline", [True] * len(ripe)), dtype=np.bool_)
    setting[list(places.get("set_aside", {}))] = False
    found = which_chart(kind=kind, **_of(series, ripe[setting]))
    if chart != "auto":
        # What the data warn of holds whatever chart is asked for.
        return chart, options, list(found.cautions), not found.spread.p_correlation < UNSETTLED
    loud = _few_that_are_out(series, ripe[setting], kind) if found.more_points else []
    if loud:
        # Too few points to take the spread from: a few that changed say nothing against the chart that is to find them.
        calm = which_chart(kind=kind, **_of(series, np.array([p for p in ripe[setting] if p not in loud])))
        if calm.chart == PLAIN[kind] and not calm.more_points:
            days = ", ".join(str(series.periods[p]) for p in loud)
            without = f"That holds without {days}, which the chart calls out."
            return calm.chart.removesuffix("_chart"), dict(calm.options), [*calm.reasons, without], True
    if found.more_points or found.chart is None:
        return "", {}, [*found.reasons], True
    name = found.chart.removesuffix("_chart")
    if name not in TAKES[kind]:
        return "", {}, [TOO_RARE], True
    apart = not found.spread.p_correlation < UNSETTLED
    return name, dict(found.options), [" ".join(found.reasons), *found.cautions], apart


def _few_that_are_out(series: Series, places: NDArray[np.intp], kind: "Kind") -> list[int]:
    """The points that a plain chart of counts calls out, if they are few; else none."""
    if kind not in PLAIN:
        return []
    chart = _maker(PLAIN[kind].removesuffix("_chart"), kind)(_of(series, places), {})
    loud = [int(places[signal.index]) for signal in chart.signals]
    return loud if len(loud) <= max(1, len(places) // FEW) else []


def _season(series: Series, ripe: NDArray[np.intp], kind: "Kind", value: NDArray[np.float64]) -> list[str]:
    """What to say where the points of a chart by month or week follow the season."""
    if kind in ("jobs-between", "time-between") or not len(ripe):
        return []
    found = season(value[ripe], series.size[ripe].astype(np.float64), [series.periods[i] for i in ripe])
    return [] if found is None else [found.said(float(np.nanmean(np.abs(value[ripe]))))]


def _of(series: Series, places: NDArray[np.intp]) -> dict[str, Any]:
    """The data of some points."""
    return {
        name: [column[i] for i in places] if name == "values" else np.asarray(column)[places]
        for name, column in series.data.items()
    }


def _maker(name: str, kind: "Kind") -> Callable[[dict[str, Any], dict[str, Any]], "Chart"]:
    from rqa import spc

    function: Callable[..., Any] = getattr(spc, f"{name}_chart")
    if name in ("individuals", "ewma"):
        return lambda data, how: function(_singles(data, kind), **_ewma(how) if name == "ewma" else how)
    if kind in ("share", "rate"):
        return lambda data, how: function(**data, **how)
    return lambda data, how: function(next(iter(data.values())), **how)


def _singles(data: Mapping[str, Any], kind: "Kind") -> NDArray[np.float64]:
    if kind == "measurement":
        return np.array([np.mean(v) if len(v) else np.nan for v in data["values"]], dtype=np.float64)
    return np.where(data["size"] > 0, data["count"] / np.maximum(data["size"], 1), np.nan)


def _ewma(how: dict[str, Any]) -> dict[str, Any]:
    if "stages" in how or "set_aside" in how:
        raise RequestError(f"{QUESTION}: an EWMA takes a baseline, but no stages and no points set aside.")
    return {"weight": EWMA_WEIGHT, "width": EWMA_WIDTH, **how}


def _read(chart: "Chart") -> tuple[NDArray[np.float64], tuple[NDArray[np.float64], ...]]:
    """Values and lines in the unit of the measure."""
    from rqa.spc import TimeChart

    if isinstance(chart, TimeChart):
        return chart.gaps, (chart.gap_centre, chart.gap_lower, chart.gap_upper)
    return chart.values, (chart.centre, chart.lower, chart.upper)


def _warnings(chart: "Chart", series: Series, ripe: NDArray[np.intp]) -> list[str]:
    from rqa.spc import SubgroupChart

    warnings = list(chart.warnings)
    if isinstance(chart, SubgroupChart) and chart.spread.signals:
        # The chart itself names points by place, which nobody can see here.
        named = sorted({series.periods[ripe[s.index]] for s in chart.spread.signals})
        warnings = [w for w in warnings if not w.startswith("The spread within")]
        listed = ", ".join(map(str, named[:6])) + (", …" if len(named) > 6 else "")
        warnings.append(
            f"The spread within is out in the {plural(len(named), 'period')} from {listed}: settle that first, as the "
            "limits of the means rest on it."
        )
    return warnings
