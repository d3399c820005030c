"""Which picture each answer about come-backs in depth has."""

from collections.abc import Callable
from typing import Any

from rqa.answers.comeback_results import (
    ChronicUnits,
    Cohorts,
    ComebackCauses,
    ComebackCurve,
    ComebackHazard,
    ComebackMarks,
    CurveComparison,
    DaysUntil,
    FindingMatrix,
    Projection,
    ProjectionBacktest,
    RecurrenceDifference,
    Recurrences,
    ReturnIndices,
    ReturnTrends,
    WorstShare,
)
from rqa.answers.result import Answer
from rqa.plots.by_days import plot_by_days
from rqa.plots.comeback_rows import (
    plot_causes,
    plot_chronic,
    plot_comparison,
    plot_marks,
    plot_trends,
    plot_until,
    plot_worst,
)
from rqa.plots.heat import plot_cohorts, plot_matrix
from rqa.plots.projected import plot_backtest, plot_indices, plot_projection

COMEBACK_PICTURES: dict[type[Answer], Callable[..., Any]] = {
    ComebackCurve: plot_by_days,
    ComebackHazard: plot_by_days,
    Recurrences: plot_by_days,
    RecurrenceDifference: plot_by_days,
    ComebackCauses: plot_causes,
    ComebackMarks: plot_marks,
    CurveComparison: plot_comparison,
    DaysUntil: plot_until,
    ReturnTrends: plot_trends,
    ChronicUnits: plot_chronic,
    WorstShare: plot_worst,
    Cohorts: plot_cohorts,
    FindingMatrix: plot_matrix,
    Projection: plot_projection,
    ProjectionBacktest: plot_backtest,
    ReturnIndices: plot_indices,
}
MANY_ROWS = (ComebackCurve, ComebackHazard, Recurrences, RecurrenceDifference, Cohorts, ReturnIndices)
"""Answers with a row a day or month, of which a picture draws only what turns, in a limited number of panels."""
