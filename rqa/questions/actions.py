"""`depot.actions`: whether actions worked, what they spared, what it takes to see a change, and goals."""

from rqa.answers.improve.action_power import power as _power
from rqa.answers.improve.action_savings import action_savings as _action_savings
from rqa.answers.improve.action_trend import action_trend as _action_trend
from rqa.answers.improve.goals import targets as _targets
from rqa.answers.improve.recheck import recheck_plan as _recheck_plan
from rqa.answers.improve.rechecked import rechecked as _rechecked
from rqa.asking import Area, question


class Actions(Area):
    """Whether actions worked, what they spared, what it takes to see a change, and goals."""

    savings = question(_action_savings)
    trend = question(_action_trend)
    power = question(_power)
    targets = question(_targets)
    recheck_plan = question(_recheck_plan)
    rechecked = question(_rechecked)
