"""The questions about come-backs in depth, as a depot takes them; `Depot` has them all."""

from typing import TYPE_CHECKING

from rqa.answers.needs import grounded
from rqa.answers.scope import By, Moment, Months, Where

if TYPE_CHECKING:
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
    from rqa.answers.follow_up_counts import Cause


class ComebackQuestions:
    """When units come back, why, how often, and what the months not yet mature will show."""

    _now: Moment

    @grounded
    def comeback_curve(
        self,
        by: By = (),
        upto: int = 180,
        cause: "Cause" = None,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ComebackCurve":
        """Share returned by each day since closing; see `rqa.answers.curves`.

        Groupings: month, week, site, model, procedure, technician, billing, and step, bench, tool, phase or test,
        station or part_no, lot.
        """
        from rqa.answers.curves import comeback_curve

        return comeback_curve(
            self._now, by=by, upto=upto, cause=cause, where=where, months=months, index=index, level=level
        )

    @grounded
    def days_until(
        self,
        share: float = 0.05,
        by: By = (),
        upto: int = 365,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "DaysUntil":
        """By which day a share has returned, and mean days out; groupings as of `comeback_curve`."""
        from rqa.answers.curves import days_until

        return days_until(
            self._now, share=share, by=by, upto=upto, where=where, months=months, index=index, level=level
        )

    @grounded
    def comeback_hazard(
        self,
        by: By = (),
        upto: int = 90,
        bandwidth: float = 7,
        cause: "Cause" = None,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ComebackHazard":
        """Chance to come back by day since closing; see `rqa.answers.hazards`. Groupings as of `comeback_curve`."""
        from rqa.answers.hazards import comeback_hazard

        return comeback_hazard(
            self._now, by=by, upto=upto, bandwidth=bandwidth, cause=cause, where=where, months=months, index=index,
            level=level,
        )  # fmt: skip

    @grounded
    def compare_curves(
        self,
        by: By,
        window: int = 90,
        within: By = (),
        cause: "Cause" = None,
        weights: str = "log-rank",
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "CurveComparison":
        """Whether groups come back at the same pace; see `rqa.answers.curve_comparison`.

        Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.curve_comparison import compare_curves

        return compare_curves(
            self._now, by=by, window=window, within=within, cause=cause, weights=weights, where=where, months=months,
            index=index, level=level,
        )  # fmt: skip

    @grounded
    def comeback_causes(
        self,
        window: int = 90,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ComebackCauses":
        """Classes of come-backs, as shares of the returns and of the jobs; see `rqa.answers.causes`.

        Groupings: month, week, site, model, procedure, technician, billing, and step, bench, tool, phase or test,
        station.
        """
        from rqa.answers.causes import comeback_causes

        return comeback_causes(self._now, window=window, by=by, where=where, months=months, index=index, level=level)

    @grounded
    def comeback_matrix(
        self,
        window: int = 90,
        named: str = "complaint",
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "FindingMatrix":
        """What the customer named, or what had been repaired, against what was found on return.

        See `rqa.answers.findings_of_returns`. Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.findings_of_returns import comeback_matrix

        return comeback_matrix(
            self._now, window=window, named=named, by=by, where=where, months=months, index=index, level=level
        )

    @grounded
    def comeback_marks(
        self,
        window: int = 90,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ComebackMarks":
        """Come-backs that found nothing, fitted the same part again, or had passed the tests that cover the fault.

        See `rqa.answers.findings_of_returns`. Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.findings_of_returns import comeback_marks

        return comeback_marks(self._now, window=window, by=by, where=where, months=months, index=index, level=level)

    @grounded
    def recurrences(
        self,
        by: By = (),
        upto: int = 365,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Recurrences":
        """Mean returns of a unit by age; see `rqa.answers.unit_returns`.

        Groupings: month, site, model, procedure, technician, billing, of the unit's first repair.
        """
        from rqa.answers.unit_returns import recurrences

        return recurrences(self._now, by=by, upto=upto, where=where, months=months, index=index, level=level)

    @grounded
    def recurrence_difference(
        self,
        by: str,
        groups: tuple[str, str],
        upto: int = 365,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "RecurrenceDifference":
        """Mean returns of one group's units less those of another; groupings as of `recurrences`."""
        from rqa.answers.unit_returns import recurrence_difference

        return recurrence_difference(
            self._now, by=by, groups=groups, upto=upto, where=where, months=months, index=index, level=level
        )

    @grounded
    def return_trends(
        self,
        by: By = (),
        upto: int = 365,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ReturnTrends":
        """Whether units come back more or less often as they age; groupings as of `recurrences`."""
        from rqa.answers.unit_returns import return_trends

        return return_trends(self._now, by=by, upto=upto, where=where, months=months, index=index, level=level)

    @grounded
    def chronic_units(
        self,
        by: By = ("model",),
        upto: int = 365,
        most: int = 20,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
    ) -> "ChronicUnits":
        """Units that came back most often, and whether that is luck; see `rqa.answers.unit_lists`."""
        from rqa.answers.unit_lists import chronic_units

        return chronic_units(self._now, by=by, upto=upto, most=most, where=where, months=months, index=index)

    @grounded
    def worst_share(
        self,
        by: By = (),
        worst: tuple[float, ...] = (0.01, 0.05, 0.1),
        upto: int = 365,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
    ) -> "WorstShare":
        """Share of all returns that the worst units hold, beside what luck would give them."""
        from rqa.answers.unit_lists import worst_share

        return worst_share(self._now, by=by, worst=worst, upto=upto, where=where, months=months, index=index)

    @grounded
    def projection(
        self,
        window: int = 30,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        recent: int = 12,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Projection":
        """Rate that each closing month will show once mature; see `rqa.answers.projected_months`.

        Groupings: site, model, procedure, technician, billing.
        """
        from rqa.answers.projected_months import projection

        return projection(
            self._now, window=window, by=by, where=where, months=months, recent=recent, index=index, level=level
        )

    @grounded
    def projection_backtest(
        self,
        window: int = 30,
        where: Where | None = None,
        recent: int = 12,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ProjectionBacktest":
        """Projections as they would have been made at each past month's end, beside what came true."""
        from rqa.answers.projected_months import projection_backtest

        return projection_backtest(self._now, window=window, where=where, recent=recent, index=index, level=level)

    @grounded
    def cohorts(
        self,
        by: By = (),
        upto: int = 12,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Cohorts":
        """Share of each closing month's jobs back by the same month's end, the next one's, and so on.

        See `rqa.answers.month_cohorts`. Groupings: site, model, procedure, technician, billing, and part_no, lot.
        """
        from rqa.answers.month_cohorts import cohorts

        return cohorts(self._now, by=by, upto=upto, where=where, months=months, index=index, level=level)

    @grounded
    def return_indices(
        self,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "ReturnIndices":
        """Returns per 100 units and year by time in service, as the telecom trade counts them.

        See `rqa.answers.month_cohorts`. Groupings: site, model, procedure, technician, billing.
        """
        from rqa.answers.month_cohorts import return_indices

        return return_indices(self._now, by=by, where=where, months=months, index=index, level=level)
