"""Which chart fits counts by period: by how often the event happens and how the periods spread."""

import numpy as np

from rqa.arguments import Counts, Numbers
from rqa.spc.dispersion import Dispersion
from rqa.spc.laney_chart import laney_p_chart, laney_u_chart
from rqa.spc.probability_limits import FEW_EVENTS
from rqa.spc.proportion_chart import p_chart, share_lines, share_spread
from rqa.spc.rate_chart import c_chart, rate_lines, rate_spread, u_chart
from rqa.spc.recommendation import LEAST_COUNTED, LEAST_MEASURED, UNLIKELY, Findings, Kind, Recommendation
from rqa.words import counted


def of_shares(x: Counts, n: Counts) -> Recommendation:
    """The chart for jobs with an event among jobs."""
    whole = np.ones(len(x), dtype=np.bool_)
    centre, sigma, _, _ = share_lines(x, n, whole, "normal")
    spread = share_spread(x, n, centre, sigma, whole)
    return _counted("share", x, n, min(int(x.sum()), int((n - x).sum())), spread)


def of_rates(x: Counts, n: Numbers) -> Recommendation:
    """The chart for events on what could have had them."""
    whole = np.ones(len(x), dtype=np.bool_)
    centre, sigma, _, _ = rate_lines(x, n, whole, "normal")
    spread = rate_spread(x, n, centre, sigma, whole)
    return _counted("rate", x, n, int(x.sum()), spread)


def _counted(kind: Kind, x: Counts, n: Counts | Numbers, rarer: int, spread: Dispersion) -> Recommendation:
    m = int((n > 0).sum())
    average = rarer / m if m else float("nan")
    said = Findings(kind=kind, points=m, average=average, spread=spread)
    if m < LEAST_COUNTED:
        return said.too_few(LEAST_COUNTED)
    if average < 1:
        what = "events" if rarer == x.sum() else "jobs without the event"
        join = f"; or join {counted(int(np.ceil(FEW_EVENTS / average)), 'period')} into one" if rarer else ""
        said.reasons.append(
            f"There are {average:.2g} {what} a period on average, too few to judge a period by: chart the gaps between "
            f"them (kind 'jobs-between'){join}."
        )
        return said.elsewhere("g_chart", {"limits": "exact"})
    shares = "shares" if kind == "share" else "rates"
    said.reasons.append(
        "Each job has the event or not, so the share of the jobs that have it is charted."
        if kind == "share"
        else "A job can have several events, so their number for its size is charted."
    )
    # A test of the spread sees months that differ by a sixth in half of all charts only: where there are events enough,
    # limits are as wide as the points step.
    wider = average >= FEW_EVENTS and m >= LEAST_MEASURED and spread.ratio_next > 1.0
    if wider or spread.more_next < UNLIKELY or max(spread.less_next, spread.less) < UNLIKELY:
        return _laney(said, shares, x, n)
    options = {}
    if average < FEW_EVENTS:
        options = {"limits": "exact"}
        said.reasons.append(f"With {average:.1f} events a period on average, normal limits mislead; exact ones do not.")
    else:
        said.reasons.append(f"The {shares} step from period to period no more than chance would have them.")
    if spread.more < UNLIKELY:
        said.cautions.append(
            "The points spread more than chance as a whole, though not from period to period: the level moved. Look "
            "for when, and split the chart there."
        )
    said.look_at_neighbours("period")
    if kind == "rate" and bool((n == 1).all()):
        return said.fits(c_chart, x, options=options)
    return said.fits(p_chart if kind == "share" else u_chart, count=x, size=n, options=options)


def _laney(said: Findings, shares: str, x: Counts, n: Counts | Numbers) -> Recommendation:
    spread = said.spread
    times = f"{spread.ratio_next**0.5:.2f} times as far from period to period as chance would have them"
    clear = min(spread.more_next, spread.less_next, spread.less) < UNLIKELY
    then = ", so limits of chance alone do not fit." if clear else "; the limits are as wide."
    said.reasons.append(f"The {shares} step {times}{then}")
    if said.points < LEAST_MEASURED:
        return said.too_few(LEAST_MEASURED)
    if spread.ratio_next < 1:
        said.cautions.append("Points that spread less than chance: are several benches mixed in each?")
    said.look_at_neighbours("period")
    return said.fits(laney_p_chart if said.kind == "share" else laney_u_chart, count=x, size=n)
