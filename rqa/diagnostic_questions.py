"""The questions about the diagnostics as a measuring system; `Depot` has them all."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rqa.answers.scope import By, Moment, Months, Where

if TYPE_CHECKING:
    from rqa.answers.diagnostic_results import Agreement, LimitChoices, MeasuredReadings, StationDrift


class DiagnosticQuestions:
    """What the diagnostics catch, what escapes them, and whether they can be believed."""

    _now: Moment

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

        Filters: test, station, site, model, procedure, technician, billing.
        """
        from rqa.answers.station_drift import drift

        return drift(self._now, period=period, where=where, months=months, baseline=baseline, least=least, level=level)

    def agreement(self, study: str | None = None, test: str | None = None, level: float = 0.95) -> "Agreement":
        """Whether measurements and judgements can be believed, from studies and from runs done again.

        See `rqa.answers.rater_agreement`.
        """
        from rqa.answers.rater_agreement import agreement

        return agreement(self._now, study=study, test=test, level=level)
