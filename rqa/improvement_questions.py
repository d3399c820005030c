"""The questions about findings, actions, cost and targets; `Depot` has them all."""

from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.needs import grounded
from rqa.answers.scope import By, Moment, Months, Where
from rqa.progress import Progress, silent

if TYPE_CHECKING:
    from rqa.answers.improvement_results import (
        ActionPower,
        ActionSavings,
        ActionTrend,
        ComebackCosts,
        MonthFigures,
        MonthFindings,
        StepCosts,
        Targets,
        Verdicts,
    )


class ImprovementQuestions:
    """What to act on, whether it worked, what it costs and whether the goals are met."""

    _now: Moment

    @grounded
    def findings(self, month: str | date | None = None, progress: Progress = silent) -> "MonthFindings":
        """What there is to act on in a month, the lucky ones kept out; see `rqa.answers.month_findings`.

        `progress` is told each `rqa.progress.Stage` as it begins.
        """
        from rqa.answers.month_findings import findings

        return findings(self._now, month, progress)

    @grounded
    def month_figures(self, month: str | date | None = None, level: float = 0.95) -> "MonthFigures":
        """The month's main figures, each against the months before it; see `rqa.answers.month_figures`."""
        from rqa.answers.month_figures import month_figures

        return month_figures(self._now, month=month, level=level)

    @grounded
    def costs(
        self,
        by: By = ("class",),
        where: Where | None = None,
        months: Months | None = None,
        window: int = 90,
        level: float = 0.95,
    ) -> "ComebackCosts":
        """What come-backs cost, and which make up most of it; see `rqa.answers.comeback_costs`.

        Groupings: month, week (of coming back), site, model, procedure, billing, class.
        """
        from rqa.answers.comeback_costs import costs

        return costs(self._now, by=by, where=where, months=months, window=window, level=level)

    @grounded
    def step_costs(
        self, where: Where | None = None, months: Months | None = None, window: int = 90, level: float = 0.95
    ) -> "StepCosts":
        """What come-backs laid to steps cost, costliest first; see `rqa.answers.cost_by_step`."""
        from rqa.answers.cost_by_step import step_costs

        return step_costs(self._now, where=where, months=months, window=window, level=level)

    @grounded
    def targets(self, month: str | date | None = None, level: float = 0.95) -> "Targets":
        """Whether the goals of a month are met, and whether that can be told; see `rqa.answers.goals`."""
        from rqa.answers.goals import targets

        return targets(self._now, month=month, level=level)

    @grounded
    def verdicts(self, window: int = 30, level: float = 0.95) -> "Verdicts":
        """Whether the actions worked; see `rqa.answers.action_verdicts`."""
        from rqa.answers.action_verdicts import verdicts

        return verdicts(self._now, window=window, level=level)

    @grounded
    def action_savings(self, window: int = 30, level: float = 0.95) -> "ActionSavings":
        """Come-backs and cost that actions have spared so far; see `rqa.answers.action_savings`."""
        from rqa.answers.action_savings import action_savings

        return action_savings(self._now, window=window, level=level)

    @grounded
    def action_trend(self, action: str | None = None, window: int = 30, level: float = 0.95) -> "ActionTrend":
        """Months before and after an action, with the trend before drawn on; see `rqa.answers.action_months`.

        By default the action begun last.
        """
        from rqa.answers.action_months import action_trend

        return action_trend(self._now, action, window=window, level=level)

    @grounded
    def power(
        self,
        scope: Where | str | None = None,
        change: float | str = 0.5,
        power: float = 0.8,
        level: float = 0.95,
        window: int = 30,
        months: int = 12,
    ) -> "ActionPower":
        """How much work, and how long, it takes to see a change; see `rqa.answers.action_ahead`.

        Without a scope: of the whole depot.
        """
        from rqa.answers.action_ahead import power as asked

        return asked(self._now, scope, change=change, power=power, level=level, window=window, months=months)
