"""From an answer to its picture, by the kind of answer."""

from collections.abc import Callable
from typing import Any

from rqa.answers.diagnostic_results import Agreement, LimitChoices, MeasuredReadings, StationDrift
from rqa.answers.improvement_results import ActionPower, ActionTrend, ComebackCosts, Verdicts
from rqa.answers.needs import EMPTY, said_of, untold
from rqa.answers.result import (
    Answer,
    CapabilityIndices,
    CleanJobs,
    ComebackCusum,
    Comebacks,
    Comparison,
    ControlChart,
    Defects,
    Failures,
    FirstPassYield,
    Learning,
    Rework,
    ReworkRoutes,
    RolledYield,
    TimeToDetect,
)
from rqa.answers.risk_results import (
    Attribution,
    Breaches,
    Bursts,
    Clusters,
    CoFailures,
    Conformance,
    StepMap,
    StepRelativeRisk,
    StepRisk,
)
from rqa.errors import RequestError
from rqa.plots.agreement_rows import plot_agreement
from rqa.plots.burst_timeline import plot_bursts
from rqa.plots.cluster_rows import plot_clusters
from rqa.plots.co_failure_matrix import plot_co_failures
from rqa.plots.comeback_pictures import COMEBACK_PICTURES, MANY_ROWS
from rqa.plots.conformance_rows import plot_breaches, plot_conformance
from rqa.plots.control import chart_title, plot_control
from rqa.plots.costs import plot_costs
from rqa.plots.defect_rates import plot_defects
from rqa.plots.diagnostic_pictures import DIAGNOSTIC_PICTURES
from rqa.plots.funnel import comparison_title, plot_comparison
from rqa.plots.groups import plot_groups
from rqa.plots.limit_curve import plot_limits
from rqa.plots.margins import plot_capability, plot_detection
from rqa.plots.months import plot_months
from rqa.plots.practice import plot_learning
from rqa.plots.reading import by_of, heading, read
from rqa.plots.reading_spread import plot_readings
from rqa.plots.routes import plot_routes
from rqa.plots.staircase import plot_failures
from rqa.plots.station_courses import plot_stations
from rqa.plots.step_map import plot_relative_risk, plot_step_map, plot_step_risk
from rqa.plots.theme import WIDTH, nothing
from rqa.plots.touch_matrix import plot_touch_matrix
from rqa.plots.verdict_months import plot_action_power, plot_action_trend
from rqa.plots.verdict_rows import plot_verdicts
from rqa.plots.watched import plot_watched, watched_title
from rqa.words import counted

MOST_ROWS = 2000
"""Beyond this a picture cannot be read and a saved notebook grows heavy."""
SHARES = (Comebacks, FirstPassYield, RolledYield, CleanJobs, Rework)
OTHERS: dict[type[Answer], Callable[..., Any]] = {
    ActionPower: plot_action_power,
    ActionTrend: plot_action_trend,
    ControlChart: plot_control,
    ComebackCosts: plot_costs,
    ComebackCusum: plot_watched,
    Comparison: plot_comparison,
    Defects: plot_defects,
    Failures: plot_failures,
    Learning: plot_learning,
    ReworkRoutes: plot_routes,
    CapabilityIndices: plot_capability,
    TimeToDetect: plot_detection,
    Verdicts: plot_verdicts,
    Attribution: plot_touch_matrix,
    Bursts: plot_bursts,
    StepMap: plot_step_map,
    StepRelativeRisk: plot_relative_risk,
    StepRisk: plot_step_risk,
    Breaches: plot_breaches,
    Conformance: plot_conformance,
    Clusters: plot_clusters,
    CoFailures: plot_co_failures,
    LimitChoices: plot_limits,
    MeasuredReadings: plot_readings,
    StationDrift: plot_stations,
    Agreement: plot_agreement,
    **COMEBACK_PICTURES,
    **DIAGNOSTIC_PICTURES,
}
"""What is no row of shares, each with what draws it."""


def plot(
    result: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    most: int | None = None,
) -> Any:
    """Draw an answer of the depot as an Altair chart.

    Shares by group become a dot and an interval on each row; by month, a line with intervals where months that have
    not matured are hollow and framed; a control chart gets its limits as a band and its signals a shape and a word; so
    does a sum that watches job by job. A comparison becomes a funnel, failures a staircase, practice curves. Margins
    within limits and times to detect are a dot and a line on each row. Come-backs by day are a step line in its band
    with the numbers still followed below it; months not yet mature are projected in a frame of their own; cohorts and
    findings are shaded cells with their number. Limits are a curve of faulty jobs caught against sound ones held back,
    measured values histograms, stations a course each, agreement bars and kappas. An empty answer becomes a chart that
    says so.

    `headed`: whether the chart carries its own title. `width`: pixels, or "container" on a page. `selection`:
    whether it answers to clicks and hovering beyond tooltips. `most`: how many rows of shares by group are drawn, in
    the order the chart states.

    Raises `RequestError` for an answer of more than 2,000 rows, for one with too many panels by month, and for
    something that is no answer with a picture.
    """
    drawn: tuple[type[Answer], ...] = (*SHARES, *OTHERS)
    if not isinstance(result, drawn):
        kinds = ", ".join(k.__name__ for k in drawn)
        raise RequestError(f"there is no picture of {type(result).__name__}; there is one of {kinds}.")
    rows = result.table.height
    if rows > MOST_ROWS and not isinstance(result, (*MANY_ROWS, CoFailures, LimitChoices)):
        raise RequestError(
            f"{counted(rows, 'row is', 'rows are')} more than a picture can show ({MOST_ROWS:,}); ask for fewer "
            "groupings in by=, or narrow the question with where= or months=."
        )
    if rows == 0 or untold(result):
        return nothing(title=_title(result), why=said_of(result, EMPTY), headed=headed, width=width)
    if type(result) in OTHERS:
        return OTHERS[type(result)](result, headed=headed, width=width, selection=selection)
    if {"month", "week"} & set(by_of(result)):
        return plot_months(result, headed=headed, width=width, selection=selection)
    return plot_groups(result, headed=headed, width=width, selection=selection, most=most)


def _title(result: Answer) -> str:
    if isinstance(result, ControlChart):
        return chart_title(result)
    if isinstance(result, ComebackCusum):
        return watched_title(result)
    if isinstance(result, Comparison):
        return comparison_title(result)
    return heading(read(result)) if isinstance(result, SHARES) else result.question
