"""Which picture each answer about the outcomes of diagnostics has."""

from collections.abc import Callable
from typing import Any

from rqa.answers.core.result import Answer
from rqa.answers.tests.coverage import CoverageGap
from rqa.answers.tests.escapes import Escapes
from rqa.answers.tests.outcomes import DiagnosticOutcomes
from rqa.answers.tests.predictive_values import PredictiveValues
from rqa.answers.tests.releases import Releases
from rqa.answers.tests.retests import RetestPasses
from rqa.plots.tests.escapes import plot_coverage, plot_escapes
from rqa.plots.tests.rows import plot_outcomes, plot_releases, plot_retests, plot_worth

DIAGNOSTIC_PICTURES: dict[type[Answer], Callable[..., Any]] = {
    DiagnosticOutcomes: plot_outcomes,
    RetestPasses: plot_retests,
    Escapes: plot_escapes,
    CoverageGap: plot_coverage,
    PredictiveValues: plot_worth,
    Releases: plot_releases,
}
