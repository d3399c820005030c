"""The questions about risky steps, as a depot takes them; `Depot` has them all."""

from typing import TYPE_CHECKING

from rqa.answers.scope import By, Moment, Months, Where

if TYPE_CHECKING:
    from rqa.answers.risk_results import Bursts


class RiskQuestions:
    """Which acts send units back, in what order they were done, and where and when failures bunch."""

    _now: Moment

    def bursts(
        self,
        what: str = "comebacks",
        dimensions: By = (),
        period: str = "week",
        window: int = 30,
        classes: By = ("repeat", "workmanship"),
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
