"""What a chart is set to, as far as its run length goes: the questions that `run_length` and `limit_for` take."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rqa import arguments
from rqa.spc.job_cusum import bernoulli_weights, changed_odds
from rqa.spc.moving_average import smoothing
from rqa.spc.patterns import PointRule, check_rules
from rqa.spc.rules import MONTHLY
from rqa.spc.tabular_cusum import check_limit

Arms = Literal["both", "above", "below"]


@dataclass(frozen=True, kw_only=True)
class ShewhartDesign:
    """A chart of independent points with limits `width` sigma from the centre, put to any set of rules.

    The rule "beyond the limits" goes by `width`; the zones of the other rules stay at the sigma they name.
    """

    rules: Sequence[PointRule] = MONTHLY
    width: float = 3.0

    def __post_init__(self) -> None:
        arguments.positive("width", self.width)
        check_rules(self.rules)


@dataclass(frozen=True, kw_only=True)
class EwmaDesign:
    """An EWMA chart; see `ewma_chart`."""

    weight: float
    width: float = 3.0
    limits: Literal["exact", "asymptotic"] = "exact"

    def __post_init__(self) -> None:
        smoothing(self.weight)
        arguments.positive("width", self.width)
        arguments.one_of("limits", self.limits, ("exact", "asymptotic"))


@dataclass(frozen=True, kw_only=True)
class CusumDesign:
    """A tabular CUSUM in sigma; see `cusum_chart`. `arms` says whether both sums are watched or one."""

    k: float = 0.5
    h: float = 5.0
    headstart: float = 0.0
    arms: Arms = "both"

    def __post_init__(self) -> None:
        arguments.amount("k", self.k)
        check_limit(self.h, self.headstart)
        arguments.one_of("arms", self.arms, ("both", "above", "below"))


@dataclass(frozen=True, kw_only=True)
class BernoulliDesign:
    """A Bernoulli CUSUM; see `bernoulli_cusum`. `reference` None is the one that p0 and p1 give."""

    p0: float
    p1: float
    h: float = 3.0
    headstart: float = 0.0
    reference: float | None = None

    def __post_init__(self) -> None:
        bernoulli_weights(p0=self.p0, p1=self.p1)
        check_limit(self.h, self.headstart)
        if self.reference is not None:
            arguments.share("reference", self.reference)


@dataclass(frozen=True, kw_only=True)
class RiskAdjustedDesign:
    """A risk-adjusted CUSUM for jobs of a known mix; see `risk_adjusted_cusum`.

    `expected` are the expected chances of the jobs of a typical time, strictly between 0 and 1: what comes next is
    taken as drawn from them.
    """

    expected: Sequence[float]
    odds_ratio: float = 2.0
    h: float = 4.5
    headstart: float = 0.0

    def __post_init__(self) -> None:
        mix = np.atleast_1d(arguments.shares("expected", self.expected))
        if mix.ndim != 1 or not len(mix) or ((mix == 0.0) | (mix == 1.0)).any():
            raise ValueError("expected must be a list of chances strictly between 0 and 1, one a job")
        changed_odds(self.odds_ratio)
        check_limit(self.h, self.headstart)
        object.__setattr__(self, "expected", tuple(mix.tolist()))


Design = ShewhartDesign | EwmaDesign | CusumDesign | BernoulliDesign | RiskAdjustedDesign
