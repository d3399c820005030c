"""The questions about findings, actions, cost and targets; `Depot` has them all."""

from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.scope import By, Moment, Months, Where

if TYPE_CHECKING:
    from rqa.answers.improvement_results import ComebackCosts, MonthFindings, Targets


class ImprovementQuestions:
    """What to act on, whether it worked, what it costs and whether the goals are met."""

    _now: Moment

    def findings(self, month: str | date | None = None) -> "MonthFindings":
        """What there is to act on in a month, the lucky ones kept out; see `rqa.answers.month_findings`."""
        from rqa.answers.month_findings import findings

        return findings(self._now, month)

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

    def targets(self, month: str | date | None = None, level: float = 0.95) -> "Targets":
        """Whether the goals of a month are met, and whether that can be told; see `rqa.answers.goals`."""
        from rqa.answers.goals import targets

        return targets(self._now, month=month, level=level)
