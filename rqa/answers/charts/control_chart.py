"""Is a figure steady from period to period: the control chart of any measure of the store."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.charts.chart_basis import Aside, ChartSettings, Stages, basis, check_fits, filters
from rqa.answers.charts.chart_marks import LevelChange, change_of_measure, goal_of
from rqa.answers.charts.chart_rules import ewma_false_alarms, false_alarms, rules_named
from rqa.answers.charts.chart_series import (
    CHARTED,
    MEASURES,
    ChartCounts,
    Measure,
    Series,
    is_mature,
    monthly,
    ripens,
    series_of,
)
from rqa.answers.charts.chart_types import EWMA_WEIGHT, EWMA_WIDTH, NO_LIMITS, ChartColumns, check_chart, make
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import ATTEMPTS, CHECKS, COMEBACKS, JOBS, RUNS, CaseList, Count, marked
from rqa.answers.core.periods import A_YEAR, PERIODS, period_name
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, names_of, rounded
from rqa.answers.core.scope import By, Months, Snapshot, Where, split_groups
from rqa.errors import RequestError
from rqa.measures.groupings import TEST_LOG
from rqa.words import there_is

if TYPE_CHECKING:
    import polars as pl

    from rqa.spc.patterns import PointRule

__all__ = ["MEASURES", "Measure", "control_chart", "is_mature", "monthly", "ripens"]

QUESTION = "control_chart"
NUMBER = "cases"
"""The unit of an np chart, which shows how many and not what share."""
NAMED = 5
"""Groups listed before a note that holds for some of them."""
NO_ALARMS = "No chart has limits, so none can raise an alarm, true or false."
NOT_PROMISED = "That does not hold {}, where the points follow the season or one another: more alarms are due."
A_HUNDRED = 100
"""Points over which false alarms are told where a point is an event and no period."""


DAYS = {"jobs_between_comebacks": ("closed_day", "="), "days_between_comebacks": ("opened_day", "=")}
"""The day that a point of these measures stands at: a point is a come-back."""
LISTED = {
    "comebacks": (
        "listed_index_jobs", {"size": Count(("matured",)), "returned": Count(("returned",), classed=True)}, JOBS
    ),
    "first_pass_yield": ("listed_attempts", {"size": Count(("exposure",)), **marked("passed", "failed")}, CHECKS),
    "first_run_pass": ("listed_runs", {"size": Count(("exposure",)), **marked("passed", "failed")}, RUNS),
    "clean_jobs": ("listed_clean_jobs", {"size": Count(), **marked("clean", "unclean")}, JOBS),
    "failed_checks": ("listed_checked_jobs", {"size": Count()}, JOBS),
    "labour_minutes": ("listed_labour", {"size": Count()}, JOBS),
    "step_values": ("listed_attempts", {"size": Count(("measured",))}, ATTEMPTS),
    "step_minutes": ("listed_attempts", {"size": Count(("first_timed",))}, ATTEMPTS),
    "test_values": ("listed_runs", {"size": Count(("measured",))}, RUNS),
    "jobs_between_comebacks": ("listed_index_jobs", {"returned": Count(("returned",))}, COMEBACKS),
    "days_between_comebacks": ("listed_index_jobs", {"returned": Count(("returned_so_far",))}, COMEBACKS),
}
"""The list behind each measure's points, how its counts are told in it, and what a row is."""


@dataclass(frozen=True, eq=False, repr=False)
class ControlChart(Answer):
    """A control chart: period, size, value, centre, lower, upper, signal, mature; stage, set_aside where asked for.

    `alarms` says how often its rules raise a false alarm, or that there are no limits to break. `change` is a change of
    the level in the last year, `goal` the goal in force: of a share by month, charted as a whole; else None.
    """

    alarms: str = ""
    change: LevelChange | None = None
    goal: float | None = None

    question = "Control chart"

    def listed(self) -> CaseList:
        """What each point's figure is made from; a point without a value is of jobs that have not matured."""
        measure, period = str(self.settings["measure"]), str(self.settings["period"])
        file, told, rows = LISTED[measure]
        where = self.settings.get("where")
        named = {*names_of(self.settings["by"]), *(where if isinstance(where, dict) else ())}
        if measure == "first_pass_yield" and named & {*TEST_LOG}:
            file, rows = "listed_runs", RUNS
        key = {"period": period} if period in PERIODS else {}
        at = {} if period in PERIODS else {"period": DAYS[measure]}
        return CaseList(file, {n: replace(c, at=at) for n, c in told.items()}, rows=rows, keys=key)

    def units_asked(self) -> Mapping[str, str]:
        """Shares where the measure is one."""
        shares = self.settings.get("unit") == SHARE
        return dict.fromkeys(("value", "centre", "lower", "upper"), SHARE) if shares else {}


@asked_once
def control_chart(
    snapshot: Snapshot,
    measure: str = "comebacks",
    *,
    by: By = (),
    period: str = "month",
    window: int = 30,
    where: Where | str | None = None,
    months: Months | None = None,
    chart: str = "auto",
    limits: str | None = None,
    rules: str | None = None,
    baseline: Months | Sequence[date] | None = None,
    stages: Stages = (),
    set_aside: Aside | None = None,
) -> ControlChart:
    """Say whether a figure is steady from period to period, or whether some point fell out of the pattern of chance.

    Parameters
    ----------
    measure
        Shares: comebacks (of matured jobs), first_pass_yield (of steps; of diagnostics with test or station among the
        names), first_run_pass (of diagnostics), clean_jobs. Events that a job can have several of: failed_checks (first
        attempts at steps that failed, a job). Measured: labour_minutes (of repaired jobs); step_minutes and
        step_values (first attempts), test_values (first runs), with step or test in `by`, or one of them in `where`.
        Rare events: jobs_between_comebacks, days_between_comebacks.
    by, where
        One chart for each group, and filters, as the measure's own answer takes them. The id of an action in place of
        filters is its scope.
    period
        "month" or "week" (ISO, Monday to Sunday), in the site's calendar. The gaps between come-backs have a point a
        come-back instead.
    window
        Days within which a return counts as a come-back.
    months
        First and last month charted. Weeks belong to the month of their Monday.
    chart
        "auto" takes the chart that fits the data, and says why (`rqa.spc.which_chart`); or a chart by name: p, np,
        laney_p, u, laney_u, individuals, xbar_s, xbar_r, g, t, ewma, as far as the measure can have it.
    limits
        "normal" or "exact", for a p, np, u or g chart asked for by name.
    rules
        "few" (beyond the limits, eight in a row on one side), "limits" alone, "western_electric" or "nelson". None
        takes few, and limits alone for gaps counted in jobs, whose mean is not their middle.
    baseline
        Months (or days), both ends included, that set the limits: ("2025-01", "2025-12"), or all of them in a list.
        None takes all mature points.
    stages
        Days, months, or ids of the table actions at which the chart is split; each stage has limits of its own.
    set_aside
        Points left out of limits and judgement: a reason in words by month, or by a day of the week.

    Returns
    -------
    ControlChart
        Columns after the groups: period (first day; of gaps the day), size (jobs, checks or readings behind the point),
        value, centre, lower, upper, signal ("" or which rules and side), mature; stage, counted from 1, and set_aside
        (the reason, else "") where asked for. `settings["chart"]` says which charts were drawn, `notes` why, how often
        their rules raise a false alarm, and what to beware of. Of a share by month, charted as a whole, `change` is a
        change of its level in the last year (see `charts.level`) and `goal` the goal in force; its picture draws both.

    Notes
    -----
    Landmarks: periods without work keep their place, with size 0 and no value. Periods whose follow-up (or which
    themselves) are not over are not mature: they show their value so far, move no limit, and have no limits and no
    signal. Where limits from so few points are not defensible there are none, and a note says how many more it takes.

    Examples
    --------
    >>> r = depot.control_chart().table
    >>> r.filter(r["mature"])["signal"].unique().to_list()
    ['']

    In every mature month the share of come-backs lies where a steady process puts it.
    """
    if measure not in CHARTED:
        raise RequestError(f"{QUESTION}: there is no measure {measure!r}. {there_is(measure, CHARTED)}")
    if period not in PERIODS:
        raise RequestError(f"{QUESTION}: there is no period {period!r}. {there_is(period, PERIODS)}")
    groups = split_groups(QUESTION, by)
    kind = CHARTED[measure].kind
    check_chart(kind, chart, limits)
    rules = rules or ("limits" if kind == "jobs-between" or chart == "ewma" else "few")
    ruled = rules_named(QUESTION, rules)
    if chart == "ewma" and rules != "limits":
        raise RequestError(f"{QUESTION}: an EWMA carries the past along, so its limits alone judge it: rules='limits'.")
    kept = filters(snapshot, where)
    found = series_of(snapshot, measure, groups, period=period, window=window, where=kept, months=months)
    each = "come-back" if kind in ("jobs-between", "time-between") else period
    based = basis(snapshot, period=each, baseline=baseline, stages=stages, set_aside=set_aside)
    for series in found.series:
        check_fits(based, [p for p, m in zip(series.periods, series.mature, strict=True) if m], each)
    made = [make(s, kind, chart=chart, limits=limits, rules=ruled, basis=based) for s in found.series]
    follows = measure == "comebacks" or each == "come-back"
    settings = {
        "measure": measure, "period": each, "window": window if follows else None, "as_of": snapshot.day, "by": groups,
        "where": found.where, "months": found.months, "chart": _charts_said(found.series, made),
        "unit": NUMBER if chart == "np" else found.unit or None, "units": dict(found.units), "rules": rules,
        "baseline": based.baseline, "stages": tuple((stage.name, stage.day) for stage in based.stages),
        "set_aside": _aside_said(based, each),
    }
    notes = [*found.notes, *_late(found.series, each), *_of_groups(found.series, made)]
    limited = [m for m in made if m.name != NO_LIMITS]
    alarms = _alarms(ruled, limited, each, ewma=chart == "ewma") if limited else NO_ALARMS
    if limited:
        notes.append(alarms)
    whole = measure in MEASURES and period == "month" and not groups
    plain = whole and not (based.baseline or based.stages or based.set_aside)
    return ControlChart(
        _table(found, made, based), settings, (*notes, *based.notes), alarms=alarms,
        change=change_of_measure(snapshot, measure, window=window, where=kept) if plain else None,
        goal=goal_of(snapshot, measure, window) if whole and not found.where else None,
    )


def _table(found: ChartCounts, made: Sequence[ChartColumns], based: ChartSettings) -> "pl.DataFrame":
    import polars as pl

    schema: dict[str, pl.DataType] = {
        **found.groups, "period": pl.Date(), "size": pl.Int64(), "value": pl.Float64(), "centre": pl.Float64(),
        "lower": pl.Float64(), "upper": pl.Float64(), "signal": pl.String(), "mature": pl.Boolean(),
    }
    if based.stages:
        schema["stage"] = pl.Int64()
    if based.set_aside:
        schema["set_aside"] = pl.String()
    frames = []
    for series, chart in zip(found.series, made, strict=True):
        columns: dict[str, object] = {
            **{name: [value] * len(series.periods) for name, value in zip(found.groups, series.group, strict=True)},
            "period": list(series.periods), "size": series.size.tolist(), "value": rounded(chart.value),
            "centre": rounded(chart.centre), "lower": rounded(chart.lower), "upper": rounded(chart.upper),
            "signal": chart.signal, "mature": series.mature.tolist(), "stage": chart.stage,
            "set_aside": [based.set_aside.get(p, "") for p in series.periods],
        }
        frames.append(pl.DataFrame({name: columns[name] for name in schema}, schema=schema))
    return pl.concat(frames) if frames else pl.DataFrame(schema=schema)


def _alarms(rules: "tuple[PointRule, ...]", made: Sequence[ChartColumns], period: str, *, ewma: bool) -> str:
    points = A_YEAR.get(period, A_HUNDRED)
    span = "within a year" if period in A_YEAR else f"within {A_HUNDRED} points"
    loose = sum(not m.promised for m in made)
    not_here = f" {NOT_PROMISED.format('here' if len(made) == 1 else f'on {loose} of these')}" * (loose > 0)
    if ewma:
        said = ewma_false_alarms(weight=EWMA_WEIGHT, width=EWMA_WIDTH, points=points, charts=len(made), span=span)
        return said + not_here
    known = [m.alarm for m in made if m.alarm is not None]
    only_limits = len(rules) == 1 and len(known) == len(made)
    a_point = max(known) if only_limits else None
    return false_alarms(rules, points=points, charts=len(made), span=span, a_point=a_point) + not_here


def _late(series: Sequence[Series], period: str) -> list[str]:
    late = sorted({p for s in series for p, m in zip(s.periods, s.mature, strict=True) if not m})
    return [f"Not mature, shown and not judged: {', '.join(period_name(p, period) for p in late)}."] if late else []


def _charts_said(series: Sequence[Series], made: Sequence[ChartColumns]) -> str:
    """The charts' names, each with its groups where they differ."""
    return "; ".join(f"{name} ({who})" if who else name for name, who in _gathered(series, made, _name).items())


def _of_groups(series: Sequence[Series], made: Sequence[ChartColumns]) -> list[str]:
    """What is to be said of the charts, each sentence once, with the groups it holds for where these are not all."""
    said = _gathered(series, made, lambda chart: chart.notes)
    return [f"{who}: {note}" if who else note for note, who in said.items()]


def _name(chart: ChartColumns) -> tuple[str, ...]:
    return (chart.name,)


def _gathered(
    series: Sequence[Series], made: Sequence[ChartColumns], of: Callable[[ChartColumns], Iterable[str]]
) -> Mapping[str, str]:
    found: dict[str, list[str]] = {}
    for s, chart in zip(series, made, strict=True):
        for text in of(chart):
            found.setdefault(text, []).append(" · ".join(map(str, s.group)))
    return {text: "" if len(who) == len(made) else _some(who) for text, who in found.items()}


def _some(names: Sequence[str]) -> str:
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")


def _aside_said(based: ChartSettings, period: str) -> dict[str, str]:
    return {period_name(day, period): reason for day, reason in based.set_aside.items()}
