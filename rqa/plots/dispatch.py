"""From an answer to its picture, by the kind of answer."""

from collections.abc import Callable
from typing import Any

from rqa.answers.charts.capability import CapabilityIndices
from rqa.answers.charts.control_chart import ControlChart
from rqa.answers.charts.cusum import ComebackCusum
from rqa.answers.charts.detection import TimeToDetect
from rqa.answers.comebacks.costs import ComebackCosts
from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.compare.comparison import Comparison
from rqa.answers.compare.practice import Learning
from rqa.answers.core.needs import said_of, untold
from rqa.answers.core.result import EMPTY, Answer
from rqa.answers.improve.action_power import ActionPower
from rqa.answers.improve.action_trend import ActionTrend
from rqa.answers.improve.verdicts import Verdicts
from rqa.answers.steps.attribution import Attribution
from rqa.answers.steps.bursts import Bursts
from rqa.answers.steps.clusters import Clusters
from rqa.answers.steps.co_failures import CoFailures
from rqa.answers.steps.conformance import Breaches, Conformance
from rqa.answers.steps.relative_risk import StepRelativeRisk
from rqa.answers.steps.risk import StepMap, StepRisk
from rqa.answers.tests.agreement import Agreement
from rqa.answers.tests.drift import StationDrift
from rqa.answers.tests.limits import LimitChoices
from rqa.answers.tests.readings import MeasuredReadings
from rqa.answers.yields.clean import CleanJobs
from rqa.answers.yields.defects import Defects
from rqa.answers.yields.first_pass import FirstPassYield
from rqa.answers.yields.pareto import Failures
from rqa.answers.yields.rework import Rework, ReworkRoutes
from rqa.answers.yields.rolled import RolledYield
from rqa.errors import RequestError
from rqa.plots.charts.control import chart_title, plot_control
from rqa.plots.charts.cusum import plot_watched, watched_title
from rqa.plots.charts.margins import plot_capability, plot_detection
from rqa.plots.comebacks.costs import plot_costs
from rqa.plots.comebacks.pictures import COMEBACK_PICTURES, MANY_ROWS
from rqa.plots.compare.funnel import comparison_title, plot_comparison
from rqa.plots.compare.practice import plot_learning
from rqa.plots.groups import plot_groups
from rqa.plots.improve.action_months import plot_action_power, plot_action_trend
from rqa.plots.improve.verdicts import plot_verdicts
from rqa.plots.months import plot_months
from rqa.plots.reading import by_of, heading, read
from rqa.plots.steps.bursts import plot_bursts
from rqa.plots.steps.clusters import plot_clusters
from rqa.plots.steps.co_failures import plot_co_failures
from rqa.plots.steps.conformance import plot_breaches, plot_conformance
from rqa.plots.steps.step_map import plot_relative_risk, plot_step_map, plot_step_risk
from rqa.plots.steps.touch_matrix import plot_touch_matrix
from rqa.plots.tests.agreement import plot_agreement
from rqa.plots.tests.drift import plot_stations
from rqa.plots.tests.limits import plot_limits
from rqa.plots.tests.pictures import DIAGNOSTIC_PICTURES
from rqa.plots.tests.readings import plot_readings
from rqa.plots.theme import WIDTH, nothing
from rqa.plots.yields.defects import plot_defects
from rqa.plots.yields.pareto import plot_failures
from rqa.plots.yields.rework import plot_routes
from rqa.renamed import earlier_arguments
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


@earlier_arguments
def plot(
    result: Answer,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
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
    whether it answers to clicks and hovering beyond tooltips. `limit`: how many rows of shares by group are drawn, in
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
    return plot_groups(result, headed=headed, width=width, selection=selection, limit=limit)


def _title(result: Answer) -> str:
    if isinstance(result, ControlChart):
        return chart_title(result)
    if isinstance(result, ComebackCusum):
        return watched_title(result)
    if isinstance(result, Comparison):
        return comparison_title(result)
    return heading(read(result)) if isinstance(result, SHARES) else result.question
