"""The answers to the questions of `rqa.risk_questions`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False)
class Bursts(Answer):
    """Where and when events were bunched: burst, dimension, part_no, group, first, last, periods, events, cases,
    expected, ratio, low, high, shape, p_value, p_within, verdict, echo_of, shared.

    `series` holds the counts of each listed group by period: dimension, part_no, group, period, cases, events,
    expected.
    """

    series: "pl.DataFrame | None" = None

    question = "Bursts"


class Attribution(Answer):
    """Come-backs laid to steps: the cause, subsystem, exposures, candidate_in, attributed, per_10000, low, high,
    tested, escaping, told_apart."""

    question = "Come-backs laid to steps"


@dataclass(frozen=True, eq=False)
class Clusters(Answer):
    """Failures that share their marks: cluster, jobs, share, marks, stability, firmness, returned, rate, low, high,
    too_often.

    `marks` holds every mark of each cluster: cluster, kind, mark, inside, elsewhere, telling; `places` what was
    compared: cluster, dimension, part_no, group, jobs, of_cluster, expected, ratio, low, high, p_value, p_adjusted.
    """

    marks: "pl.DataFrame | None" = None
    places: "pl.DataFrame | None" = None

    question = "Failures alike"


class CoFailures(Answer):
    """Failures met together: first_kind, first, second_kind, second, jobs, first_jobs, second_jobs, together, expected,
    lift, low, high, p_value, p_adjusted, verdict."""

    question = "Failures met together"


class StepExposure(Answer):
    """How often steps were done: jobs, logged, done, checked, failed, skipped, again, chances, per_job; with step among
    the groupings also subsystems, hazards."""

    question = "Exposure"


class StepRelativeRisk(Answer):
    """Come-backs after what happened at a step: after, step, place, class, jobs, returned, rate, other_jobs,
    other_returned, other_rate, strata, ratio, low, high, method, p_value, p_adjusted, unlike_p."""

    question = "Come-backs after what happened at a step"
