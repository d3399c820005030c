"""Which chart fits rare events: by the jobs or the time from each to the next."""

import numpy as np
from scipy import special

from rqa.arguments import Numbers
from rqa.spc.dispersion import dispersion, standardised
from rqa.spc.rare_event_chart import POWER, g_chart, t_chart
from rqa.spc.recommendation import LEAST_MEASURED, UNLIKELY, Findings, Recommendation


def of_job_gaps(x: Numbers) -> Recommendation:
    """The chart for numbers of jobs between events."""
    said = _findings("jobs-between", x)
    if said.points < LEAST_MEASURED:
        return said.too_few(LEAST_MEASURED)
    said.reasons.append(
        "The event is rare and counted by the jobs between; such gaps are far from normal, so the limits are exact."
    )
    if said.average < 1:
        said.cautions.append("More than every second job has the event: a p chart by period says more.")
    # Two geometric gaps differ by 1 / (1 + q) of twice their mean, with q the chance of one more job.
    _look_at_inequality(said, x, (1.0 + said.average) / (1.0 + 2.0 * said.average))
    said.look_at_neighbours("gap")
    return said.fits(g_chart, x, options={"limits": "exact"})


def of_time_gaps(x: Numbers) -> Recommendation:
    """The chart for times between events."""
    said = _findings("time-between", x)
    if said.points < LEAST_MEASURED:
        return said.too_few(LEAST_MEASURED)
    said.reasons.append("The event is rare and timed; the times are transformed to be nearly normal.")
    said.cautions.append("If the volume of work varies, count the jobs between events instead (kind 'jobs-between').")
    if (x == 0).mean() > 0.1:
        said.cautions.append(
            "More than a tenth of the gaps are 0: the clock's unit is too coarse, or events come in pairs."
        )
    _look_at_inequality(said, x, 0.5)
    said.look_at_neighbours("gap")
    return said.fits(t_chart, x)


def inequality(x: Numbers) -> float:
    """Gini statistic of gaps: their mean difference over twice their mean."""
    m = len(x)
    rank = np.arange(1, m + 1)
    return float(((2 * rank - m - 1) * np.sort(x)).sum() / (m - 1) / x.sum())


def _findings(kind: str, x: Numbers) -> Findings:
    y = x**POWER
    average = float(x.mean()) if len(x) else float("nan")
    centre, sigma = (float(y.mean()), float(y.std(ddof=1))) if len(x) > 1 else (float("nan"), float("nan"))
    spread = dispersion(standardised(y, np.full(len(x), centre), np.full(len(x), sigma)))
    return Findings(kind=kind, points=len(x), average=average, spread=spread)  # type: ignore[arg-type]


def _look_at_inequality(said: Findings, x: Numbers, expected: float) -> None:
    """Caution if gaps are not as unequal as at a constant rate; the statistic's variance is 1 / (12 (m - 1))."""
    if not said.average > 0:
        return
    distance = (inequality(x) - expected) * np.sqrt(12.0 * (len(x) - 1))
    if 2.0 * special.ndtr(-abs(distance)) < UNLIKELY:
        word = (
            "more unequal than at a constant rate, as if events came in bursts"
            if distance > 0
            else ("more even than at a constant rate")
        )
        said.cautions.append(f"The gaps are {word}: the limits do not keep their promise.")
