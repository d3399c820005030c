"""The answers about come-backs in depth: one type per question."""

from dataclasses import dataclass

from rqa.answers.result import Answer


class ComebackCurve(Answer):
    """Share returned by day since closing: day, at_risk, returned, censored, share, se, low, high."""

    question = "Come-back curve"


class DaysUntil(Answer):
    """By which day a share has returned, and mean days out: jobs, day, low, high, days_out, days_low, days_high."""

    question = "Days until come-backs"


class ComebackHazard(Answer):
    """Chance to return by day since closing: day, at_risk, returned, raw, hazard, se, low, high."""

    question = "Come-backs by day"


@dataclass(frozen=True, eq=False, repr=False)
class CurveComparison(Answer):
    """Groups beside the others: jobs, observed, expected, share, low, high, others, difference, ratio, their limits.

    `p_value` is that of the log-rank test of all groups being alike, None where nothing can be compared.
    """

    statistic: float | None = None
    degrees_of_freedom: int = 0
    p_value: float | None = None

    question = "Come-back curves compared"


class ComebackCauses(Answer):
    """Classes of come-backs: class, returned, of_returns, low, high, median_day, incidence and its limits."""

    question = "Classes of come-backs"


class FindingMatrix(Answer):
    """What was named against what was found: returned, of_row, low, high."""

    question = "Complaint and finding"


class ComebackMarks(Answer):
    """Marks of come-backs: mark, cases, marked, share, low, high."""

    question = "Marks of come-backs"


class Recurrences(Answer):
    """Mean returns of a unit by age: day, at_risk, mcf, se, low, high."""

    question = "Returns of a unit by age"


class RecurrenceDifference(Answer):
    """Mean returns of one group's units less those of another: day, difference, se, low, high."""

    question = "Difference of mean returns"


class ReturnTrends(Answer):
    """Whether units come back more or less often as they age: units, returns, shape, low, high, tests, trend."""

    question = "Trend of returns with age"


class ChronicUnits(Answer):
    """Units that came back most often: unit_id, returns, expected, by_luck, p_adjusted and days."""

    question = "Units that come back most"


class WorstShare(Answer):
    """What the worst units hold: units, returns, worst, share, by_luck."""

    question = "Returns held by the worst units"


class Projection(Answer):
    """Rate that a month will show: month, jobs, matured, returned_so_far, projected, low, high, final limits."""

    question = "Projected come-backs"


@dataclass(frozen=True, eq=False, repr=False)
class ProjectionBacktest(Answer):
    """Past projections and what came true: seen_on, month, jobs, matured, projected, limits, came_true, held.

    `inside` of `judged` projections held the figure that came.
    """

    inside: int = 0
    judged: int = 0

    question = "Projections tried on the past"


class Cohorts(Answer):
    """Closing month by months since: month, age, jobs, returned, share, low, high, mature."""

    question = "Cohorts of closing months"


class ReturnIndices(Answer):
    """Returns per 100 units and year by time in service: month, returns, units, rate and limits of each index."""

    question = "Return rates by time in service"
