"""The questions about the diagnostics as a measuring system; `Depot` has them all."""

from rqa.answers.scope import Moment


class DiagnosticQuestions:
    """What the diagnostics catch, what escapes them, and whether they can be believed."""

    _now: Moment
