"""The answers to the questions of `rqa.improvement_questions`."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rqa.answers.finding import Finding
from rqa.answers.result import Answer


@dataclass(frozen=True, eq=False, repr=False)
class MonthFindings(Answer):
    """What there is to act on: id, state, kind, what, measure, size, low, high, jobs, avoided, p_value, p_adjusted,
    caution, check.

    `findings` holds those of the rows, in their order, `gone` those that held a month before, `compared` the number of
    comparisons made by kind.
    """

    gone: tuple[Finding, ...] = ()
    compared: Mapping[str, int] = field(default_factory=dict)

    question = "Findings of the month"


class ComebackCosts(Answer):
    """What come-backs cost, in the workspace's currency: comebacks, known, cost, cost_low, cost_high, mean, low, high,
    share, cumulative, labour, parts, freight, goodwill, still_open, no_labour, no_parts, no_freight."""

    question = "Cost of come-backs"


class Targets(Answer):
    """Goals of a month: measure, name, month, goal, at_least, value, low, high, count, size, met, sentence.

    `at_least` says that the goal is a least value, not a most; `met` is one of yes, no, cannot be told yet.
    """

    question = "Goals"
