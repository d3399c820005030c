"""The answers to the questions of `rqa.risk_questions`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False, repr=False)
class Bursts(Answer):
    """Where and when events were bunched: burst, dimension, part_no, group, first, last, periods, events, cases,
    expected, ratio, low, high, lot_inside, shape, p_value, p_within, verdict, echo_of, shared.

    `series` holds the counts of each listed group by period: dimension, part_no, group, period, cases, events,
    expected.
    """

    series: "pl.DataFrame | None" = None

    question = "Bursts"


class Attribution(Answer):
    """Come-backs laid to steps: the cause, subsystem, exposures, candidate_in, attributed, per_10000, low, high,
    tested, escaping, told_apart."""

    question = "Come-backs laid to steps"


@dataclass(frozen=True, eq=False, repr=False)
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


class Conformance(Answer):
    """Steps done as they should be: step (per step), jobs, as_should, share, low, high, and jobs with each kind of
    breach: missing, skipped, left_failed, out_of_order, check_before_tightening, count_not_done, unequal_connectors,
    irreversible_before_hold; per job also pairing."""

    question = "Conformance with the procedure"


@dataclass(frozen=True, eq=False, repr=False)
class Breaches(Answer):
    """Breaches of the procedure and the come-backs after them: kind, step (where asked for), jobs, breached, share,
    low, high, matured, returned, breached_matured, breached_returned, expected, measure, ratio, ratio_low, ratio_high,
    p_value, p_adjusted, verdict.

    `benches` sets each bench beside the others: kind, bench, jobs, breached, other_jobs, other_breached, share, low,
    high, expected, ratio, ratio_low, ratio_high, p_value, p_adjusted; None where groups other than bench are asked for.
    """

    benches: "pl.DataFrame | None" = None

    question = "Breaches of the procedure"


class BatteryBreaches(Answer):
    """Breaches of the battery's order, job by job: job_id, unit_id, site, day, kind, step, other_step, what, acted_at,
    reached_at, bench; technician where asked for."""

    question = "Breaches of the battery's order"


class StepRisk(Answer):
    """Risk of each step: checked, failed, fails_per_1000, fails_low, fails_high, exposures, attributed,
    per_10000, low, high, shared_with, escaping, cost, cost_per_1000, cost_low, cost_high, hazards, caution,
    next_check."""

    question = "Risky steps"


class StepMap(Answer):
    """A procedure's steps in order: place, step, phase, hold_point, irreversible, and the columns of `StepRisk`."""

    question = "Step map"
