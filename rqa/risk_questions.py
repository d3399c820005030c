"""The questions about risky steps, as a depot takes them; `Depot` has them all."""

from typing import TYPE_CHECKING

from rqa.answers.needs import grounded
from rqa.answers.scope import By, Moment, Months, Where
from rqa.contract import OWN_WORK

if TYPE_CHECKING:
    from rqa.answers.attributed_causes import Per
    from rqa.answers.risk_results import (
        Attribution,
        BatteryBreaches,
        Breaches,
        Bursts,
        Clusters,
        CoFailures,
        Conformance,
        StepExposure,
        StepMap,
        StepRelativeRisk,
        StepRisk,
    )


class RiskQuestions:
    """Which acts send units back, in what order they were done, and where and when failures bunch."""

    _now: Moment

    @grounded
    def bursts(
        self,
        what: str = "comebacks",
        dimensions: By = (),
        period: str = "week",
        window: int = 30,
        classes: By = OWN_WORK,
        mix: By = ("model", "procedure", "billing"),
        where: Where | None = None,
        months: Months | None = None,
        longest: int | None = None,
        fewest: int = 3,
        simulations: int = 999,
        seed: int = 0,
        level: float = 0.95,
    ) -> "Bursts":
        """Where and when come-backs or failed checks were bunched; see `rqa.answers.burst_scan`.

        Dimensions: time, site, model, bench, technician, tool, lot, and step for failed checks.
        """
        from rqa.answers.burst_scan import bursts

        return bursts(
            self._now, what=what, dimensions=dimensions, period=period, window=window, classes=classes, mix=mix,
            where=where, months=months, longest=longest, fewest=fewest, simulations=simulations, seed=seed, level=level,
        )  # fmt: skip

    @grounded
    def attribution(
        self,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        window: int = 30,
        per: "Per" = "step",
        together: float = 0.9,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "Attribution":
        """Come-backs laid to the steps that touched what was found at fault; see `rqa.answers.attributed_causes`.

        Groupings: month, week, site, model, procedure, technician, billing; `per` step, hazard, bench or tool.
        """
        from rqa.answers.attributed_causes import attribution

        return attribution(
            self._now, by=by, where=where, months=months, window=window, per=per, together=together, index=index,
            level=level,
        )  # fmt: skip

    @grounded
    def clusters(
        self,
        window: int = 30,
        most: int = 80,
        patterns: int = 1500,
        smallest: int = 20,
        resamples: int = 12,
        seed: int = 0,
        level: float = 0.95,
    ) -> "Clusters":
        """Jobs that failed alike, and where each kind is met too often; see `rqa.answers.failure_clusters`."""
        from rqa.answers.failure_clusters import clusters

        return clusters(
            self._now, window=window, most=most, patterns=patterns, smallest=smallest, resamples=resamples, seed=seed,
            level=level,
        )  # fmt: skip

    @grounded
    def co_failures(self, window: int = 30, least: int = 10, level: float = 0.95) -> "CoFailures":
        """Failures of a job that meet more often than luck explains; see `rqa.answers.co_failure_pairs`."""
        from rqa.answers.co_failure_pairs import co_failures

        return co_failures(self._now, window=window, least=least, level=level)

    @grounded
    def step_exposure(
        self, by: By = ("step",), where: Where | None = None, months: Months | None = None
    ) -> "StepExposure":
        """How often steps were done, and their chances to make a defect; see `rqa.answers.exposures`.

        Groupings: month, week, site, model, procedure, technician, billing, step, bench, tool, phase, part_no, lot.
        """
        from rqa.answers.exposures import step_exposure

        return step_exposure(self._now, by=by, where=where, months=months)

    @grounded
    def step_relative_risk(
        self,
        after: By = ("failed check", "rework", "skipped check", "tool", "bench"),
        where: Where | None = None,
        months: Months | None = None,
        window: int = 30,
        classes: By = OWN_WORK,
        each_class: bool = False,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "StepRelativeRisk":
        """Come-backs after a failed or skipped check or rework, by tool and bench; see `rqa.answers.relative_risks`."""
        from rqa.answers.relative_risks import step_relative_risk

        return step_relative_risk(
            self._now, after=after, where=where, months=months, window=window, classes=classes, each_class=each_class,
            index=index, level=level,
        )  # fmt: skip

    @grounded
    def conformance(
        self,
        by: By = (),
        per: str = "step",
        where: Where | None = None,
        months: Months | None = None,
        level: float = 0.95,
    ) -> "Conformance":
        """Share of jobs in which each step, or the whole job, was done as it should; see `rqa.answers.conformance`.

        Groupings: month, week, site, model, procedure, technician, billing, bench.
        """
        from rqa.answers.conformance import conformance

        return conformance(self._now, by=by, per=per, where=where, months=months, level=level)

    @grounded
    def breaches(
        self,
        by: By = (),
        steps: bool = False,
        window: int = 30,
        where: Where | None = None,
        months: Months | None = None,
        level: float = 0.95,
    ) -> "Breaches":
        """How often each breach of the procedure is met, and come-backs after it; see `rqa.answers.conformance`.

        Groupings as of `conformance`.
        """
        from rqa.answers.conformance import breaches

        return breaches(self._now, by=by, steps=steps, window=window, where=where, months=months, level=level)

    @grounded
    def battery_breaches(
        self, where: Where | None = None, months: Months | None = None, people: bool = False
    ) -> "BatteryBreaches":
        """Every breach of the battery's order, job by job; see `rqa.answers.battery_breaches`."""
        from rqa.answers.battery_breaches import battery_breaches

        return battery_breaches(self._now, where=where, months=months, people=people)

    @grounded
    def step_risk(
        self,
        by: By = (),
        where: Where | None = None,
        months: Months | None = None,
        window: int = 30,
        sort: str = "per_10000",
        together: float = 0.9,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "StepRisk":
        """Failures, come-backs laid to it, escapes, cost and cautions of every step; see `rqa.answers.step_risks`.

        Groupings: month, week, site, model, procedure, technician, billing.
        """
        from rqa.answers.step_risks import step_risk

        return step_risk(
            self._now, by=by, where=where, months=months, window=window, sort=sort, together=together, index=index,
            level=level,
        )  # fmt: skip

    @grounded
    def step_map(
        self,
        procedure: str | None = None,
        where: Where | None = None,
        months: Months | None = None,
        window: int = 30,
        together: float = 0.9,
        index: str = "repaired",
        level: float = 0.95,
    ) -> "StepMap":
        """A procedure's steps in their order with their risk, by default of the one with most jobs.

        See `rqa.answers.step_risks`.
        """
        from rqa.answers.step_risks import step_map

        return step_map(
            self._now, procedure=procedure, where=where, months=months, window=window, together=together, index=index,
            level=level,
        )  # fmt: skip
