"""How the share of jobs that came back grows with the days since closing, every job followed as far as it was."""

from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.comebacks.left_service import curve_note
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import (
    Cause,
    FollowUp,
    by_day,
    by_group,
    causes_asked,
    days_asked,
    follow_up,
    notes_on,
    told,
)
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level, is_number
from rqa.contract import CLASSES
from rqa.errors import RequestError

if TYPE_CHECKING:
    from rqa.stats import CumulativeIncidence

CURVE, UNTIL = "comeback_curve", "days_until"


class ComebackCurve(Answer):
    """Share returned by day since closing: day, at_risk, returned, censored, share, se, low, high."""

    question = "Come-back curve"
    needs = SEEN

    def listed(self) -> CaseList:
        """Those at risk on a day are the jobs followed until then or longer; with a cause leaving service is an end."""
        censored = "followed" if self.settings["cause"] else "censored"
        at_risk = Count(at={"day": ("day", ">=")})
        return CaseList(
            "listed_followed_jobs",
            {"at_risk": at_risk, "returned": Count(("returned",), classed=True), "censored": Count((censored,))},
        )


class DaysUntil(Answer):
    """By which day a share has returned, and mean days out: jobs, day, low, high, days_out, days_low, days_high."""

    question = "Days until come-backs"
    needs = SEEN
    lists = CaseList("listed_followed_jobs", {"jobs": Count(), "returned": Count(("returned",))})


def comeback_curve(
    snapshot: Snapshot,
    by: By = (),
    *,
    upto: int = 180,
    cause: Cause = None,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ComebackCurve:
    """Say what share of the repaired units has come back by each day since closing, young jobs included.

    Parameters
    ----------
    by, where, months
        Groupings, filters and closing months, as of `comebacks`, and part_no and lot of the parts fitted.
    upto
        Last day of the curve.
    cause
        A class of come-back, or several together; None counts any return.
    index_disposition
        "repaired", or "no_fault_found" for units that left without a fault found.
    level
        Of the limits, strictly between 0 and 1.

    Returns
    -------
    ComebackCurve
        A row a group and day from 0 on, as long as anybody was followed: at_risk (still out as the day begins),
        returned (on the day), censored (last seen on the day without a return), share (returned by the end of the day)
        with se, low and high.

    Notes
    -----
    Any return: Kaplan-Meier with Greenwood's se; a unit that leaves service is followed until then. With a cause:
    Aalen-Johansen; other classes and retirement compete, take their jobs out of at_risk, and are in neither returned
    nor censored. Limits are log-log, and hold for one day at a time. Nobody returned yet has share 0 with a high above
    it; no jobs have no rows. Where no return has its fault written down, shares of classes that hang on it are null.

    The share of a day beyond the youngest job's age rests on the older jobs alone: if the work has changed since, the
    curve's end speaks of the past.

    Raises `RequestError` for a name, class, day or level that does not exist.

    Examples
    --------
    >>> r = depot.returns.curve(upto=90).table.row(-1, named=True)
    >>> r["day"], r["share"], r["low"], r["high"]
    (90, 0.09791, 0.086582, 0.110628)

    Nearly one job in ten is back within 90 days.
    """
    check_level(CURVE, level)
    upto = days_asked(CURVE, "upto", upto)
    wanted = causes_asked(CURVE, cause)
    seen = follow_up(
        CURVE, snapshot, by=by, where=where, months=months, index_disposition=index_disposition, upto=upto,
        classes=(wanted,),
    )
    settings = {
        "upto": upto, "as_of": snapshot.day, "cause": wanted, "index_disposition": index_disposition,
        **seen.asked.settings(), "level": level, "method": "Aalen-Johansen" if wanted else "Kaplan-Meier",
    }
    notes = notes_on(snapshot, seen, index_disposition, competing=bool(wanted))
    if wanted:
        r = by_cause(seen, wanted, level)
        columns = {
            "at_risk": r.at_risk, "returned": r.returned[..., 0], "censored": r.censored, "share": r.share[..., 0],
            "se": r.se[..., 0], "low": r.low[..., 0], "high": r.high[..., 0],
        }
        at_risk = r.at_risk
    else:
        from rqa.stats import kaplan_meier

        k = kaplan_meier(day=seen.day, returned=seen.back, censored=seen.censored, level=level)
        columns = {name: getattr(k, name) for name in ("at_risk", "returned", "censored", "share", "se", "low", "high")}
        at_risk = k.at_risk
    table = by_day(seen, upto, told(snapshot, wanted, columns)[1], at_risk)
    if not wanted and not seen.asked.by:
        shares = dict(table.select("day", "share").iter_rows())
        notes += curve_note(
            snapshot, shares, where=seen.asked.where, months=seen.asked.months, index_disposition=index_disposition
        )
    return ComebackCurve(table, settings, tuple(notes))


def by_cause(seen: FollowUp, wanted: tuple[str, ...], level: float) -> "CumulativeIncidence":
    """Incidence of the classes wanted, together as cause 0, of the others as 1 and of retirement as 2."""
    from rqa.stats import cumulative_incidence

    own = np.array([c in wanted for c in CLASSES])
    causes = (seen.returned[..., own].sum(axis=-1), seen.returned[..., ~own].sum(axis=-1), seen.retired)
    return cumulative_incidence(day=seen.day, returned=np.stack(causes, axis=-1), censored=seen.followed, level=level)


def days_until(
    snapshot: Snapshot,
    share: float = 0.05,
    *,
    by: By = (),
    upto: int = 365,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> DaysUntil:
    """Say by which day a share of the units has come back, and how many of the first `upto` days a unit stays out.

    Columns: jobs, returned (both within `upto` days); day, the first on which `share` (0.5: the median) has returned,
    with low and high, null where the curve does not get there by `upto`; days_out, the mean days without a return out
    of the first `upto` (restricted mean), with days_low and days_high, null where nobody was followed so long. Made
    from the curve of any return; see `comeback_curve`.

    >>> depot.returns.days_until(0.05).table.select("day", "low", "high").row(0)
    (20.0, 15.0, 33.0)

    One job in twenty is back after 20 days; the limits are 15 and 33 days.
    """
    from rqa.stats import kaplan_meier

    check_level(UNTIL, level)
    if not is_number(share) or not 0 < share < 1:
        raise RequestError(f"{UNTIL}: share is a number between 0 and 1, such as 0.05: {share!r}.")
    upto = days_asked(UNTIL, "upto", upto)
    seen = follow_up(UNTIL, snapshot, by=by, where=where, months=months, index_disposition=index_disposition, upto=upto)
    curve = kaplan_meier(day=seen.day, returned=seen.back, censored=seen.censored, level=level)
    reached, out = curve.days_until(share), curve.mean_days(upto)
    columns = {
        "jobs": seen.jobs, "returned": seen.back[:, : upto + 1].sum(axis=1),
        **{n: np.where(getattr(reached, n) > upto, np.nan, getattr(reached, n)) for n in ("day", "low", "high")},
        "days_out": out.days, "days_low": out.low, "days_high": out.high,
    }
    table = by_group(seen, columns)
    settings = {
        "share": share, "upto": upto, "as_of": snapshot.day, "index_disposition": index_disposition,
        **seen.asked.settings(), "level": level, "method": "Kaplan-Meier",
    }
    return DaysUntil(table, settings, tuple(notes_on(snapshot, seen, index_disposition)))
