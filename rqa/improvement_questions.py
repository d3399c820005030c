"""The questions about findings, actions, cost and targets; `Depot` has them all."""

from rqa.answers.scope import Moment


class ImprovementQuestions:
    """What to act on, whether it worked, what it costs and whether the goals are met."""

    _now: Moment
