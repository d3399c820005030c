"""The questions about risky steps, as a depot takes them; `Depot` has them all."""

from rqa.answers.scope import Moment


class RiskQuestions:
    """Which acts send units back, in what order they were done, and where and when failures bunch."""

    _now: Moment
