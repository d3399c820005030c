"""What the page asks of a depot; anything that answers these questions can have a page."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from rqa.answers.comeback_results import Projection
from rqa.answers.diagnostic_results import CoverageGap, Escapes
from rqa.answers.grounds import Grounds
from rqa.answers.improvement_results import ActionSavings, ComebackCosts, MonthFindings, StepCosts, Targets, Verdicts
from rqa.answers.month import MonthAgainstBefore
from rqa.answers.result import (
    CleanJobs,
    Comebacks,
    Comparison,
    ControlChart,
    FirstPassYield,
    LoadedFiles,
    LooseEnds,
    Overlaps,
    Refused,
    Remarks,
)
from rqa.answers.risk_results import BatteryBreaches, StepMap, StepRisk

if TYPE_CHECKING:
    import polars as pl


class Asked(Protocol):
    """A depot, as far as the page is concerned."""

    @property
    def as_of(self) -> datetime:
        """The time at which it is looked at."""

    @property
    def path(self) -> Path:
        """The store's file."""

    @property
    def about(self) -> dict[str, str]:
        """Title and so on."""

    @property
    def people(self) -> frozenset[str]:
        """The groupings that name people."""

    def grounds(self, *args: Any, **kwargs: Any) -> Grounds:
        """What there is to rest a statement on."""

    def comebacks(self, *args: Any, **kwargs: Any) -> Comebacks:
        """Come-backs."""

    def first_pass_yield(self, *args: Any, **kwargs: Any) -> FirstPassYield:
        """First-pass yield."""

    def clean_jobs(self, *args: Any, **kwargs: Any) -> CleanJobs:
        """Clean jobs."""

    def control_chart(self, *args: Any, **kwargs: Any) -> ControlChart:
        """A control chart."""

    def month_against_before(self, *args: Any, **kwargs: Any) -> MonthAgainstBefore | None:
        """One month against those before."""

    def projection(self, *args: Any, **kwargs: Any) -> Projection:
        """What months not yet mature will show."""

    def compare(self, *args: Any, **kwargs: Any) -> Comparison:
        """Who differs from what their work brings."""

    def step_risk(self, *args: Any, **kwargs: Any) -> StepRisk:
        """Risky steps."""

    def step_map(self, *args: Any, **kwargs: Any) -> StepMap:
        """A procedure with its risk."""

    def battery_breaches(self, *args: Any, **kwargs: Any) -> BatteryBreaches:
        """Breaches of the battery's order."""

    def escapes(self, *args: Any, **kwargs: Any) -> Escapes:
        """Faults caught and escaped."""

    def coverage_gap(self, *args: Any, **kwargs: Any) -> CoverageGap:
        """What no test covers."""

    def verdicts(self, *args: Any, **kwargs: Any) -> Verdicts:
        """Whether actions worked."""

    def action_savings(self, *args: Any, **kwargs: Any) -> ActionSavings:
        """What actions spared."""

    def costs(self, *args: Any, **kwargs: Any) -> ComebackCosts:
        """What come-backs cost."""

    def step_costs(self, *args: Any, **kwargs: Any) -> StepCosts:
        """What come-backs laid to steps cost."""

    def targets(self, *args: Any, **kwargs: Any) -> Targets:
        """Whether goals are met."""

    def loaded(self) -> LoadedFiles:
        """What was loaded."""

    def refused(self) -> Refused:
        """What was refused."""

    def remarks(self) -> Remarks:
        """What deserves a look."""

    def loose_ends(self) -> LooseEnds:
        """What to chase."""

    def overlaps(self) -> Overlaps:
        """Overlapping jobs."""

    def findings(self, *args: Any, **kwargs: Any) -> MonthFindings:
        """What there is to act on."""

    def query(self, *args: Any, **kwargs: Any) -> "pl.DataFrame":
        """A SELECT of the page's own, for what no answer says."""
