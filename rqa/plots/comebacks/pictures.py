"""Which picture each answer about come-backs in depth has."""

from collections.abc import Callable
from typing import Any

from rqa.answers.comebacks.classes import ComebackCauses
from rqa.answers.comebacks.cohorts import Cohorts, ReturnIndices
from rqa.answers.comebacks.curve_comparison import CurveComparison
from rqa.answers.comebacks.curves import ComebackCurve, DaysUntil
from rqa.answers.comebacks.hazard import ComebackHazard
from rqa.answers.comebacks.projection import Projection, ProjectionBacktest
from rqa.answers.comebacks.recurrences import RecurrenceDifference, Recurrences, ReturnTrends
from rqa.answers.comebacks.return_matrix import ComebackMarks, FindingMatrix
from rqa.answers.comebacks.unit_lists import ChronicUnits, WorstShare
from rqa.answers.core.result import Answer
from rqa.plots.comebacks.by_days import plot_by_days
from rqa.plots.comebacks.projection import plot_backtest, plot_indices, plot_projection
from rqa.plots.comebacks.rows import (
    plot_causes,
    plot_chronic,
    plot_comparison,
    plot_marks,
    plot_trends,
    plot_until,
    plot_worst,
)
from rqa.plots.heat import plot_cohorts, plot_matrix

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
