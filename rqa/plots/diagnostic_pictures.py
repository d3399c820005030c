"""Which picture each answer about the outcomes of diagnostics has."""

from collections.abc import Callable
from typing import Any

from rqa.answers.diagnostic_results import (
    CoverageGap,
    DiagnosticOutcomes,
    Escapes,
    PredictiveValues,
    Releases,
    RetestPasses,
)
from rqa.answers.result import Answer
from rqa.plots.diagnostic_rows import plot_outcomes, plot_releases, plot_retests, plot_worth
from rqa.plots.escape_rows import plot_coverage, plot_escapes

DIAGNOSTIC_PICTURES: dict[type[Answer], Callable[..., Any]] = {
    DiagnosticOutcomes: plot_outcomes,
    RetestPasses: plot_retests,
    Escapes: plot_escapes,
    CoverageGap: plot_coverage,
    PredictiveValues: plot_worth,
    Releases: plot_releases,
}
