"""On which days after closing units come back: first days speak of the work and its tests, later ones of new faults."""

from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import Cause, by_day, causes_asked, days_asked, follow_up, notes_on, told
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level, is_number
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.words import counted

QUESTION = "comeback_hazard"


class ComebackHazard(Answer):
    """Chance to return by day since closing: day, at_risk, returned, raw, hazard, se, low, high."""

    question = "Come-backs by day"
    needs = SEEN
    lists = CaseList(
        "listed_followed_jobs",
        {"at_risk": Count(at={"day": ("day", ">=")}), "returned": Count(("returned",), classed=True)},
    )


def comeback_hazard(
    snapshot: Snapshot,
    by: By = (),
    *,
    upto: int = 90,
    bandwidth: float = 7,
    cause: Cause = None,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ComebackHazard:
    """Say how likely a unit still out is to come back on each day since closing, smoothed over neighbouring days.

    `by`, `where`, `months`, `cause` as of `comeback_curve`; `bandwidth` says how many days to each side are looked at
    (1: each day by itself). Columns: day, at_risk, returned, raw (the day's own returned / at_risk), hazard with se,
    low, high. With a cause, other classes and retirement end the follow-up.

    A peak narrower than the bandwidth is lowered and widened by it; look at raw, and at another bandwidth, before
    acting on its height.

    >>> r = depot.returns.hazard().table
    >>> r["hazard"][7], r["hazard"][60]
    (0.002513, 0.000587)

    A week after closing 25 of 10,000 units come back on a day, two months after it 6.
    """
    import numpy as np

    from rqa.stats import smoothed_hazard

    check_level(QUESTION, level)
    upto = days_asked(QUESTION, "upto", upto)
    if not is_number(bandwidth) or not 1 <= bandwidth <= upto + 1:
        raise RequestError(f"{QUESTION}: bandwidth is a number of days from 1 to upto: {bandwidth!r}.")
    wanted = causes_asked(QUESTION, cause)
    # Days within reach beyond the last one shown belong to its smoothing.
    reach = upto + int(np.ceil(bandwidth))
    seen = follow_up(
        QUESTION, snapshot, by=by, where=where, months=months, index_disposition=index_disposition, upto=reach,
        classes=(wanted,),
    )
    own = np.array([not wanted or c in wanted for c in CLASSES])
    back = seen.returned[:, :-1, own].sum(axis=-1)
    gone = seen.returned[:, :-1, ~own].sum(axis=-1) + seen.censored[:, :-1]
    # What lies beyond was followed through the last day looked at.
    gone[:, -1] += seen.followed[:, -1]
    r = smoothed_hazard(day=seen.day[:-1], returned=back, censored=gone, bandwidth=bandwidth, level=level)
    columns = {name: getattr(r, name) for name in ("at_risk", "returned", "raw", "hazard", "se", "low", "high")}
    settings = {
        "upto": upto, "bandwidth": bandwidth, "as_of": snapshot.day, "cause": wanted,
        "index_disposition": index_disposition,
        **seen.asked.settings(), "level": level, "method": "local linear, Epanechnikov",
    }
    notes = [
        *notes_on(snapshot, seen, index_disposition), f"Smoothed over {counted(f'{bandwidth:g}', 'day')} to each side."
    ]
    return ComebackHazard(by_day(seen, upto, told(snapshot, wanted, columns)[1], r.at_risk), settings, tuple(notes))
