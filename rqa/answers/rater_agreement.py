"""Whether measurements and judgements can be believed."""

from rqa.answers.scope import Moment


def gauge_sigmas(now: Moment) -> dict[str, float]:
    """Sigma of measuring error by test, from the latest gauge study of each."""
    return {}
