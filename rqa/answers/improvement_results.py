"""The answers to the questions of `rqa.improvement_questions`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rqa.answers.counted_comebacks import Counted
from rqa.answers.finding import Finding
from rqa.answers.grounds import Sentence
from rqa.answers.result import Answer

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, eq=False, repr=False)
class MonthFindings(Answer):
    """What there is to act on: id, state, kind, where, what, measure, size, low, high, jobs, avoided, p_value,
    p_adjusted, caution, check.

    `findings` holds those of the rows, in their order, `gone` those that held a month before, `compared` the number of
    comparisons made by kind, `answers` the answers about risky steps and tests behind them, by name. `lacking` says
    what could not be compared and why, `counted` which come-backs were; None where no month is over.
    """

    gone: tuple[Finding, ...] = ()
    compared: Mapping[str, int] = field(default_factory=dict)
    answers: Mapping[str, Answer] = field(default_factory=dict)
    lacking: tuple[Sentence, ...] = ()
    counted: Counted | None = None

    question = "Findings of the month"
    shown = ("id", "state", "where", "what", "avoided", "check")


class MonthFigures(Answer):
    """The month's figures: figure, month, count, size, share, low, high, before_count, before_size, before_share,
    difference, difference_low, difference_high, p_value, verdict."""

    question = "Figures of the month"
    shown = ("figure", "month", "count", "size", "share", "low", "high", "before_share", "p_value", "verdict")


class ComebackCosts(Answer):
    """What come-backs cost, in the workspace's currency: comebacks, known, cost, cost_low, cost_high, mean, low, high,
    share, cumulative, labour, parts, freight, goodwill, still_open, no_costs, no_labour, no_parts, no_freight,
    not_counted."""

    question = "Cost of come-backs"


class Targets(Answer):
    """Goals of a month: measure, name, month, goal, at_least, value, low, high, count, size, met, sentence.

    `at_least` says that the goal is a least value, not a most; `met` is one of yes, no, cannot be told yet.
    """

    question = "Goals"


@dataclass(frozen=True, eq=False, repr=False)
class Verdicts(Answer):
    """Whether actions worked: action_id, what, scope, finding_id, owner, started_on, outcome, jobs_before,
    returned_before, jobs_after, returned_after, under_way, difference, low, high, ratio, ratio_low, ratio_high,
    comparison, other_before, other_returned_before, other_after, other_returned_after, net, net_low, net_high, p_value,
    expected, jobs_needed, verdict, seen_on, expected_on, warning, checks_before, yield_before, checks_after,
    yield_after, concurrent.

    `sides` holds the plain rates: action_id, work ("in scope", "beside it"), side, jobs, returned, rate, low, high.
    """

    sides: "pl.DataFrame | None" = None

    question = "Did it work"
    shown = ("action_id", "what", "started_on", "verdict", "expected_on", "net", "net_low", "net_high")


@dataclass(frozen=True, eq=False, repr=False)
class ActionTrend(Answer):
    """An action's months with the trend before drawn on: month, side, jobs, returned, rate, low, high, fitted,
    unchanged, unchanged_low, unchanged_high.

    `terms` holds what changed: term ("jump", "bend"), odds_ratio, low, high, p_value.
    """

    terms: "pl.DataFrame | None" = None

    question = "Trend before and after"


class ActionPower(Answer):
    """What an action takes to be seen: month, known_on, jobs_after, weeks, chance, smallest_ratio, enough."""

    question = "Work it takes to see a change"


class ActionSavings(Answer):
    """What actions spared: action_id, what, verdict, jobs_after, avoided, avoided_low, avoided_high, mean_cost, cost,
    cost_low, cost_high."""

    question = "Come-backs and cost spared by actions"


class StepCosts(Answer):
    """What come-backs laid to steps cost: step, attributed, cost, low, high, share, cumulative."""

    question = "Cost of come-backs by step"
