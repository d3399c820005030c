"""The questions about findings, actions, cost and targets; `Depot` has them all."""

from datetime import date
from typing import TYPE_CHECKING

from rqa.answers.scope import Moment

if TYPE_CHECKING:
    from rqa.answers.improvement_results import MonthFindings


class ImprovementQuestions:
    """What to act on, whether it worked, what it costs and whether the goals are met."""

    _now: Moment

    def findings(self, month: str | date | None = None) -> "MonthFindings":
        """What there is to act on in a month, the lucky ones kept out; see `rqa.answers.month_findings`."""
        from rqa.answers.month_findings import findings

        return findings(self._now, month)
