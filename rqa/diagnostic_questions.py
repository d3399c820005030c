"""The questions about the diagnostics as a measuring system; `Depot` has them all."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rqa.answers.needs import grounded
from rqa.answers.scope import By, Moment, Months, Where

if TYPE_CHECKING:
    from rqa.answers.diagnostic_results import (
        Agreement,
        CoverageGap,
        DiagnosticOutcomes,
        Escapes,
        LimitChoices,
        MeasuredReadings,
        PredictiveValues,
        ReleaseFaults,
        Releases,
        RetestPasses,
        StationDrift,
    )


class DiagnosticQuestions:
    """What the diagnostics catch, what escapes them, and whether they can be believed."""

    _now: Moment

    @grounded
    def limits_tradeoff(
        self,
        test: str | Sequence[str] | None = None,
        side: str | None = None,
        window: int = 90,
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "LimitChoices":
        """What a tighter or looser limit would have done to past jobs; see `rqa.answers.limit_choices`.

        Filters: site, model, procedure, technician, billing.
        """
        from rqa.answers.limit_choices import limits_tradeoff

        return limits_tradeoff(
            self._now, test=test, side=side, window=window, where=where, months=months, index=index, level=level
        )

    @grounded
    def readings(
        self,
        by: By = ("test",),
        where: Where | None = None,
        months: Months | None = None,
        gauge_sigma: "float | Mapping[str, float] | None" = None,
        risk: float = 0.05,
        level: float = 0.95,
    ) -> "MeasuredReadings":
        """Measured values against their limits, guard bands, and values piled up; see `rqa.answers.measured_readings`.

        Groupings: test, with month, week, site, model, procedure, technician, billing, station.
        """
        from rqa.answers.measured_readings import readings

        return readings(self._now, by=by, where=where, months=months, gauge_sigma=gauge_sigma, risk=risk, level=level)

    @grounded
    def drift(
        self,
        period: str = "month",
        where: Where | None = None,
        months: Months | None = None,
        baseline: Months | None = None,
        least: int = 10,
        level: float = 0.95,
    ) -> "StationDrift":
        """Test stations that drift or stand apart on comparable work; see `rqa.answers.station_drift`.

        Filters: test, site, model, procedure, technician, billing.
        """
        from rqa.answers.station_drift import drift

        return drift(self._now, period=period, where=where, months=months, baseline=baseline, least=least, level=level)

    @grounded
    def agreement(self, study: str | None = None, test: str | None = None, level: float = 0.95) -> "Agreement":
        """Whether measurements and judgements can be believed, from studies and from runs done again.

        See `rqa.answers.rater_agreement`.
        """
        from rqa.answers.rater_agreement import agreement

        return agreement(self._now, study=study, test=test, level=level)

    @grounded
    def diagnostics(
        self, by: By = ("test",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "DiagnosticOutcomes":
        """First-run and final pass share, aborted runs, runs a job; see `rqa.answers.diagnostic_outcomes`.

        Groupings: month, week, site, model, procedure, technician, billing, test, station.
        """
        from rqa.answers.diagnostic_outcomes import diagnostics

        return diagnostics(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def retests(
        self, by: By = ("test",), where: Where | None = None, months: Months | None = None, level: float = 0.95
    ) -> "RetestPasses":
        """Fails that passed when run again with nothing done in between; see `rqa.answers.retest_passes`.

        Groupings: month, week, site, model, procedure, technician, billing, test, station.
        """
        from rqa.answers.retest_passes import retests

        return retests(self._now, by=by, where=where, months=months, level=level)

    @grounded
    def escapes(
        self,
        window: int = 90,
        by: By = ("test",),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Escapes":
        """Faults that each test caught, and those that escaped it; see `rqa.answers.escaped_faults`.

        Groupings: month, week, site, model, procedure, technician, billing, test, subsystem.
        """
        from rqa.answers.escaped_faults import escapes

        return escapes(self._now, window=window, by=by, where=where, months=months, index=index, level=level)

    @grounded
    def coverage_gap(
        self,
        window: int = 90,
        by: By = ("subsystem",),
        where: Where | None = None,
        months: Months | None = None,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "CoverageGap":
        """Come-backs whose fault no test covers, and their cost; see `rqa.answers.uncovered_faults`.

        Groupings: month, week, site, model, procedure, technician, billing, subsystem.
        """
        from rqa.answers.uncovered_faults import coverage_gap

        return coverage_gap(self._now, window=window, by=by, where=where, months=months, index=index, level=level)

    @grounded
    def predictive_values(
        self,
        window: int = 90,
        by: By = ("test",),
        where: Where | None = None,
        months: Months | None = None,
        level: float = 0.95,
    ) -> "PredictiveValues":
        """Fails after which nothing was found, and passes that came back; see `rqa.answers.diagnostic_alarms`.

        Groupings: month, week, site, model, procedure, technician, billing, test.
        """
        from rqa.answers.diagnostic_alarms import predictive_values

        return predictive_values(self._now, window=window, by=by, where=where, months=months, level=level)

    @grounded
    def releases(
        self,
        window: int = 90,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        usual: float = 0.8,
        level: float = 0.95,
    ) -> "Releases":
        """Jobs closed with a test missing, not passed or older than the work; see `rqa.answers.release_checks`.

        Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.release_checks import releases

        return releases(self._now, window=window, by=by, where=where, months=months, usual=usual, level=level)

    @grounded
    def release_faults(
        self,
        window: int = 90,
        where: Where | None = None,
        months: Months | None = None,
        usual: float = 0.8,
        most: int = 1000,
    ) -> "ReleaseFaults":
        """The jobs behind `releases`, one by one. Filters: site, model, procedure, technician, billing."""
        from rqa.answers.release_checks import release_faults

        return release_faults(self._now, window=window, where=where, months=months, usual=usual, most=most)
